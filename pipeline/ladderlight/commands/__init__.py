"""The commands. One file each; whatever is slow to import is imported when a command runs."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Sequence
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from ladderlight import __version__
from ladderlight.commands import build, burned, check, compare, decode, ladder, schema, stages, start, watch
from ladderlight.commands.report_stream import keeps_stdout
from ladderlight.commands.reporting import print_faults
from ladderlight.errors import LadderlightError, StageFailure
from ladderlight.workspace.stopping import Stops, Unwound, unwinding

BUG = 3


class _Commands(TyperGroup):
    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt as stop:
            raise Unwound(stop) from None


app = typer.Typer(
    cls=_Commands,
    name="ladderlight",
    help="Prepare pictures for boards of counters, memories and resistor ladders, from one recipe file.",
    epilog="Start with: ladderlight start my-board, then ladderlight build my-board/recipe.toml",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for command in (
    start.start,
    check.check,
    build.build,
    watch.watch,
    burned.burned,
    compare.compare,
    decode.decode,
    ladder.ladder,
    stages.stages,
    schema.schema,
):
    app.command()(keeps_stdout(command))


def _print_version(*, wanted: bool) -> None:
    if wanted:
        print(f"ladderlight {__version__}")  # noqa: T201 - the commands are where printing happens
        raise typer.Exit


@app.callback()
def _main(
    *,
    version: Annotated[
        bool,
        typer.Option(
            "--version", help="Print the version.", is_eager=True, callback=lambda v: _print_version(wanted=v)
        ),
    ] = False,
) -> None:
    pass


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and give the exit status: 0 done, 1 the work has errors, 2 wrong usage, 3 a bug.

    A program that a signal stopped gives 128 and the signal's number.
    """
    with unwinding() as stops:
        status = _run(list(sys.argv[1:] if arguments is None else arguments), stops)
        return stops.status if stops.number else status


def _run(arguments: list[str], stops: Stops) -> int:
    try:
        app(args=arguments)
    except SystemExit as end:  # the library's own: a usage error, or a command that gives a status
        return end.code if isinstance(end.code, int) else 0
    except Unwound as stop:
        _complain(stop.text)
        return stops.status
    except KeyboardInterrupt:  # before a command began
        _complain("stopped")
        return stops.status
    except LadderlightError as error:
        _complain(str(error))
        if "--json" in arguments:
            print_faults(error.faults)
        return error.exit_status
    except StageFailure as error:
        traceback.print_exception(error.__cause__ or error)
        _complain(f"bug: {error}")
        return BUG
    except Exception as error:  # noqa: BLE001 - the one place that turns a bug into an exit status
        traceback.print_exception(error)
        _complain(f"bug: {type(error).__name__}: {error}; please report it with the lines above")
        return BUG
    return 0


def _complain(text: str) -> None:
    print(text, file=sys.stderr)  # noqa: T201
