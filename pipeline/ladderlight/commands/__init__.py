"""The commands. One file each; whatever is slow to import is imported when a command runs."""

import gc
import os
import sys
from collections.abc import Sequence
from copy import copy
from dataclasses import asdict
from functools import cache
from typing import Annotated, Any

import typer
from typer.completion import shell_complete

from ladderlight import __version__
from ladderlight.commands import about, bench, build, burned, check, compare, decode, faults, ladder, start, watch
from ladderlight.commands.terminal.mistakes import WrongUsage, fault_of
from ladderlight.commands.terminal.reporting import failure_of, print_document, print_lines
from ladderlight.commands.terminal.streams import keeps_stdout, safe_streams
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

app = typer.Typer(
    name="ladderlight",
    help="Prepare pictures for boards of counters, memories and resistor ladders, from one recipe file.",
    epilog="Start with: ladderlight start my-board",
    rich_markup_mode=None,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
COMMANDS = (
    *(start.start, check.check, build.build, watch.watch, bench.bench, burned.burned, faults.faults),
    *(compare.compare, decode.decode, ladder.ladder, about.stages, about.schema, about.guide),
)


def _print_version(wanted: bool) -> None:  # noqa: FBT001 - as the library calls it
    if wanted:
        print(f"ladderlight {__version__}")  # noqa: T201 - the commands are where printing happens
        raise typer.Exit


_Version = Annotated[bool, typer.Option("--version", help="Print the version.", is_eager=True, callback=_print_version)]


@app.callback()
def _main(*, version: _Version = False) -> None:
    pass


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit status: 0 done, 1 the work has errors, 2 wrong usage, 3 a bug.

    With ``--json`` there is one document on stdout whatever happens. A program that a signal stopped gives 128 and the
    signal's number. Without ``arguments`` the command line is the process's own; the process then ends here if a stop
    has left threads at work.
    """
    if arguments is None:
        gc.set_threshold(_OBJECTS)
    status = _status_of(list(sys.argv[1:] if arguments is None else arguments))
    if arguments is None and workers_left():
        from ladderlight.cache.store import remove_temporary

        remove_temporary()
        os._exit(status)
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


@cache
def _program(first: str) -> Any:  # of a type of the library's own, which it does not export
    """Return the program with the command that the first argument names, alone to start sooner, or with all."""
    program = copy(app)
    program.registered_commands = []
    for command in [one for one in COMMANDS if one.__name__ == first] or COMMANDS:
        program.command()(keeps_stdout(command))
    made: Any = typer.main.get_command(program)
    for parameter in (each for one in made.commands.values() for each in one.params):
        if parameter.param_type_name == "argument":  # its name says enough; some editions add list[str] and the like
            parameter.display_type_rich = lambda ctx: None  # noqa: ARG005 - as the library calls it
    return made


def _run(arguments: Sequence[str], stops: Stops) -> tuple[int, Sequence[Fault]]:
    """Run a command, or answer a shell that completes one. Return the status and the faults."""
    if request := os.environ.get(COMPLETION):
        return shell_complete(_program(""), {}, "ladderlight", COMPLETION, request), ()
    command = _program(arguments[0] if arguments else "")
    try:
        # The library's own way of running would catch Ctrl-C and print wrong usage in its words.
        try:
            context = command.make_context("ladderlight", list(arguments))
        except SystemExit:  # how the library ends after a completion script was shown or installed
            return 0, ()
        with context:
            command.invoke(context)
    except typer.Exit as end:
        return end.exit_code, ()
    except WrongUsage as error:
        if type(error).__name__ == "NoArgsIsHelpError":
            print(error.format_message(), file=sys.stderr)  # noqa: T201
            return 2, ()
        return 2, [fault_of(error, arguments, {command.__name__: command for command in COMMANDS})]
    except KeyboardInterrupt as stop:
        return stops.status, [Fault(where="", message="; ".join(["stopped", *getattr(stop, "__notes__", ())]))]
    except (Exception, SystemExit) as error:  # noqa: BLE001 - the one place that turns a bug into an exit status
        return failure_of(error)
    return 0, ()
