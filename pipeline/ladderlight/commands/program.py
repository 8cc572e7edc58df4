"""The program as the library makes it from the commands' declarations; one file each."""

import os
import sys
from collections.abc import Callable, Sequence
from copy import copy
from functools import cache
from importlib import import_module
from typing import Annotated, Any

import typer
from typer.completion import shell_complete

from ladderlight import __version__
from ladderlight.commands import COMPLETION
from ladderlight.commands.terminal.mistakes import WrongUsage, fault_of
from ladderlight.commands.terminal.streams import keeps_stdout
from ladderlight.errors import Fault

app = typer.Typer(
    name="ladderlight",
    help="Prepare pictures for boards of counters, memories and resistor ladders, from one recipe file.",
    epilog="Start with: ladderlight start my-board",
    rich_markup_mode=None,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
COMMANDS = {
    **{name: name for name in ("start", "check", "build", "watch", "bench", "burned", "faults", "compare", "decode")},
    "ladder": "ladder",
    "stages": "about",
    "schema": "about",
    "guide": "about",
}
"""The commands, in the order of the help, and the modules that have them."""


def _print_version(wanted: bool) -> None:  # noqa: FBT001 - as the library calls it
    if wanted:
        print(f"ladderlight {__version__}")  # noqa: T201 - the commands are where printing happens
        raise typer.Exit


_Version = Annotated[bool, typer.Option("--version", help="Print the version.", is_eager=True, callback=_print_version)]


@app.callback()
def _main(*, version: _Version = False) -> None:
    pass


def command_of(name: str) -> Callable[..., None]:
    """Return the function of a command."""
    command: Callable[..., None] = getattr(import_module(f"ladderlight.commands.{COMMANDS[name]}"), name)
    return command


@cache
def _program(first: str) -> Any:  # of a type of the library's own, which it does not export
    """Return the program with the command that the first argument names, alone to start sooner, or with all."""
    program = copy(app)
    program.registered_commands = []
    for name in [first] if first in COMMANDS else COMMANDS:
        program.command()(keeps_stdout(command_of(name)))
    made: Any = typer.main.get_command(program)
    for parameter in (each for one in made.commands.values() for each in one.params):
        if parameter.param_type_name == "argument":  # its name says enough; some editions add list[str] and the like
            parameter.display_type_rich = lambda ctx: None  # noqa: ARG005 - as the library calls it
    return made


def run(arguments: Sequence[str]) -> tuple[int, Sequence[Fault]]:
    """Run a command, or answer a shell that completes one. Return the status and the faults of wrong usage."""
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
        return 2, [fault_of(error, arguments, {name: command_of(name) for name in COMMANDS})]
    return 0, ()
