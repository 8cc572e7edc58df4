"""The page: what each stage does, an example with its result, and a table of its options."""

import inspect
import json
import re
from collections.abc import Iterator
from importlib.resources import files
from itertools import takewhile
from pathlib import Path

from ladderlight.errors import BuildError
from ladderlight.reference.examples import Played, play, strip_png
from ladderlight.stages.contract import Example
from ladderlight.stages.declaration import OptionDeclaration, StageDeclaration
from ladderlight.stages.kinds import Kind
from ladderlight.stages.registry import StageRegistry
from ladderlight.stages.wording import stage_table, use_table

FOLDER = "reference"
"""Where the pictures are, beside the page."""

_TITLE = "# The stages\n"
_INTRODUCTION = f"""{_TITLE}
A recipe's chain is a list of stages. Each takes what the one before gives, in the order of the kinds below. Cards stand
in no chain: a recipe lists them under `cards` in `[pictures]`. This page is generated from the stages' own declarations
by `python -m ladderlight.reference plugins/README.md`; the command `ladderlight stages NAME` shows the same options and
example.

A few words: "linear light" means numbers that stand for amounts of light, as they blend in the eye, not for a file's
encoded values. "Guns" are red, green and blue; they are independent when no ladder line feeds two of them. Where the
table says "number in m" or "in s", a recipe may also give a quantity with its unit, such as `"60 cm"` or `"20 ms"`.

Each stage is shown at work: what went in on the left, what came out on the right. The board is that of
`ladderlight start`, 160 by 120 pixels in 64 colours, unless the example has a board of its own. `crop` and `resize` are
shown with the file in its full size; other picture stages with the picture at the board's size, each pixel enlarged to
two by two. The photographs are `cafe`, by Rachel Michetti, courtesy of Pikolo Espresso Bar (CC0), and `quay-cat`, by
Stefan van der Walt (CC0); all else was drawn by this project.
"""
_HEAD = 4
_LONGEST = 88


def reference(registry: StageRegistry) -> tuple[str, dict[str, bytes]]:
    """Return the reference page of the built-in stages in Markdown, and its pictures by file name, each a PNG."""
    lines = [_INTRODUCTION]
    pictures = {}
    kind = None
    for summary in registry.summaries():
        if summary.plugin != "builtin":
            continue
        declaration = registry.get(summary.use)
        if declaration.kind is not kind:
            kind = declaration.kind
            lines.append(f"## {str(kind).capitalize()}: {kind.phrase}\n")
        played = play(registry, declaration)
        picture = strip_png(played)
        if picture is not None:
            pictures[f"{declaration.name}.png"] = picture
        lines += _section(declaration, played, pictured=picture is not None)
    return "\n".join(lines), pictures


def write_reference(path: Path, registry: StageRegistry) -> None:
    """Write the page and its pictures, and remove old ones. Raises BuildError when another file is at its path."""
    if path.exists() and not path.read_bytes().startswith(_TITLE.encode()):
        raise BuildError("is not a reference page; choose another path", where=path)
    page, pictures = reference(registry)
    folder = path.parent / FOLDER
    folder.mkdir(exist_ok=True)
    for old in folder.glob("*.png"):
        if old.name not in pictures:
            old.unlink()
    for name, data in pictures.items():
        (folder / name).write_bytes(data)
    path.write_text(page, encoding="utf-8")


def _section(declaration: StageDeclaration, played: Played, *, pictured: bool) -> Iterator[str]:
    yield f"### `{declaration.name}`\n"
    yield f"{declaration.help}\n"
    notes = _notes(declaration)
    if notes:
        yield f"{notes}\n"
    yield from _example(declaration, played, pictured=pictured)
    if declaration.options:
        yield "| option | value | default | meaning |"
        yield "|---|---|---|---|"
        for option in declaration.options:
            yield f"| `{option.name}` | {_cell(option.type_text)} | {_default(option)} | {_cell(option.option.help)} |"
        yield ""


def _example(declaration: StageDeclaration, played: Played, *, pictured: bool) -> Iterator[str]:
    usual = _tables(Example().board)
    own = [table for table in _tables(declaration.example.board) if table not in usual]
    yield "```toml"
    yield from (f"{table}\n" for table in (*own, *map(use_table, declaration.example.others)))
    yield stage_table(declaration)
    yield "```\n"
    if pictured:
        yield f"![{_alternative(declaration)}]({FOLDER}/{declaration.name}.png)\n"
        yield from _caption(played)
    if declaration.kind is Kind.EMISSION:
        # With its size, unless that depends on a library's way of compressing.
        sizes = [(file.name, f": {len(file.data)} bytes" if file.span else "") for file in played.after]
        yield ", ".join(f"`{name}`{size}" for name, size in sizes) + "\n"
        yield from _head(played.after[0].data)


def _alternative(declaration: StageDeclaration) -> str:
    if declaration.kind is Kind.CARD:
        return f"{declaration.name}: {declaration.help.partition(':')[0]}"
    shown = declaration.example.shows
    return f"{declaration.name}: {shown}" if shown else f"{declaration.name} before and after"


def _caption(played: Played) -> Iterator[str]:
    """Yield what the sides of a picture are, where that is not plain to see."""
    if played.declaration.kind is Kind.SOURCE:
        yield "Left: the file, transparent where chequered.\n"
    elif played.declaration.kind is Kind.ARRANGEMENT and played.after.tile_sets:
        memories = dict.fromkeys(f"memory `{tile_set.memory}`" for tile_set in played.after.tile_sets)
        yield f"Right: what {' and '.join(memories)} holds, in the order of the numbers that choose from it.\n"
    elif played.declaration.kind is Kind.ARRANGEMENT:
        side = "Right" if played.files else "Above"
        yield f"{side}: the memory, from its lowest address at the top left; dark purple is what nothing reads.\n"


def _tables(board: str) -> list[str]:
    text = (files("ladderlight.reference") / "boards" / f"{board}.toml").read_text(encoding="utf-8")
    return [table.strip() for table in re.split(r"^(?=\[)", text, flags=re.MULTILINE)[1:]]


def _head(data: bytes) -> Iterator[str]:
    try:
        rows = data.decode("ascii").splitlines()
    except UnicodeDecodeError:
        return
    yield "```text"
    yield from (row if len(row) <= _LONGEST else f"{row[:_LONGEST]} ..." for row in rows[:_HEAD])
    yield "```\n"


def _notes(declaration: StageDeclaration) -> str:
    """Return the paragraphs of the docstring before its errors and numpydoc sections, without the first line."""
    text = inspect.getdoc(declaration.function) or ""
    body = text.partition("\n\n")[2]

    def is_prose(paragraph: str) -> bool:
        rows = paragraph.splitlines()
        return not (paragraph.startswith("Raises ") or (len(rows) > 1 and set(rows[1]) == {"-"}))

    return "\n\n".join(takewhile(is_prose, body.split("\n\n"))).replace("``", "`")


def _default(option: OptionDeclaration) -> str:
    default = option.default
    if option.required or default is None:
        return "needed" if option.required else "not set"
    whole = isinstance(default, float) and default.is_integer()
    return f"`{_cell(json.dumps(int(default) if whole else default))}`"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")
