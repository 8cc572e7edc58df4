"""The command line. Nothing is imported before it is needed, and for a build that has nothing to do no command."""

import atexit
import gc
import os
import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from ladderlight.commands.terminal.arguments import recipe_path
from ladderlight.commands.terminal.reporting import failure_of, print_document, print_lines, print_up_to_date
from ladderlight.commands.terminal.streams import flush_all, keeps_stdout, safe_streams
from ladderlight.errors import Fault
from ladderlight.storage.stopping import Stops, unwinding, workers_left
from ladderlight.system.paths import reason_of

PIPE_CLOSED = 141
"""As the shell reports a program that was ended by SIGPIPE (128 + 13)."""

_OBJECTS = 200_000
"""New ones after which garbage is looked for. With Python's own 700, a tenth of the start of a build is spent on it,
with 50,000 a twentieth."""

COMPLETION = "_LADDERLIGHT_COMPLETE"
"""The variable in which the installed completion scripts pass the shell's request."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit status: 0 done, 1 the work has errors, 2 wrong usage, 3 a bug.

    With ``--json`` there is one document on stdout whatever happens. A program that a signal stopped gives 128 and the
    signal's number. Without ``arguments`` the command line is the process's own, and the process ends here, unless it
    is profiled or debugged, or other threads than ours are still at work.
    """
    if arguments is None:
        gc.set_threshold(_OBJECTS)
    status = _status_of(list(sys.argv[1:] if arguments is None else arguments))
    if arguments is None and not sys.getprofile() and not sys.gettrace():
        if workers_left():  # for which functions at the end would wait
            from ladderlight.cache.store import remove_temporary

            remove_temporary()
        elif threading.active_count() > 1:
            return status
        else:
            atexit._run_exitfuncs()  # noqa: SLF001
        flush_all()
        os._exit(status)  # Python would free all memory bit by bit
    return status


def _status_of(arguments: Sequence[str]) -> int:
    # pydantic would look through all installed packages for plugins to itself, of which none is needed here
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    with unwinding() as stops, safe_streams() as (out, _):
        status, faults = _run(arguments, stops)
        print_lines(faults)
        if faults and "--json" in arguments[: arguments.index("--") if "--" in arguments else None]:
            print_document({"ok": False, "findings": [{"level": "error", **asdict(fault)} for fault in faults]})
        out.flush()
        if out.failure is not None and not out.broken:
            message = f"cannot be written ({reason_of(out.failure)}); choose another place"
            print_lines([Fault(where="stdout", message=message)])
            return status or 1
    if stops.number:
        return stops.status
    return PIPE_CLOSED if out.broken else status


def _run(arguments: Sequence[str], stops: Stops) -> tuple[int, Sequence[Fault]]:
    """Run a command. Return the status and the faults."""
    try:
        complete = None if COMPLETION in os.environ else keeps_stdout(_built_plainly)(*arguments)
        if complete is not None:
            return 0 if complete else 1, ()
        from ladderlight.commands.program import run

        return run(arguments)
    except KeyboardInterrupt as stop:
        return stops.status, [Fault(where="", message="; ".join(["stopped", *getattr(stop, "__notes__", ())]))]
    except (Exception, SystemExit) as error:  # noqa: BLE001 - the one place that turns a bug into an exit status
        return failure_of(error)


def _built_plainly(command: str = "", *words: str) -> bool | None:
    """Build a recipe of which no more than pictures have changed, with no option but ``--quiet``.

    Return whether all of it was built; None where something else is to be done.
    """
    names = [word for word in words if word not in ("--quiet", "-q")]
    if command != "build" or len(names) > 1 or any(name.startswith("-") for name in names):
        return None
    from ladderlight.workspace.up_to_date import Noted

    began, quiet = time.time_ns(), len(words) > len(names)
    noted = Noted.of(recipe_path(Path(names[0]) if names else None))
    if noted and (last := noted.unchanged()):
        print_up_to_date(last.output, quiet=quiet)
        return True
    if not noted or (recipe := noted.recipe()) is None:
        return None
    from ladderlight.commands.terminal.built import print_built
    from ladderlight.commands.terminal.progress import picture_progress
    from ladderlight.workspace.build import build

    with picture_progress(quiet=quiet) as (progress, refused):
        built = build(recipe, progress=progress, refused=refused, began=began)
    return bool(print_built(built, (), json_=False, quiet=quiet, verbose=False, cards=False)["ok"])
