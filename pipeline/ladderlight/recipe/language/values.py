"""The kinds of value that a recipe is made of, as pydantic annotations."""

import re
from collections.abc import Callable, Collection
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BaseModel, Field, PlainValidator, TypeAdapter, WithJsonSchema
from pydantic_core import CoreSchema
from pydantic_core.core_schema import no_info_plain_validator_function

from ladderlight.board import MODES, PART_NAMES, PARTS
from ladderlight.board.model.ladder import Assembly, Joined
from ladderlight.board.model.lines import LineSyntaxError, Signal, expand, expand_names, line
from ladderlight.errors import nearest_word
from ladderlight.stages.annotations import Described
from ladderlight.stages.validation import as_json
from ladderlight.units.parsing import DATE, MisfitError, exact_quantity, named, unit_of

_T = TypeVar("_T")
LARGEST_MEMORY = 1 << 26
"""Words; far beyond any parallel memory, and still small enough to be held at once."""


@dataclass(frozen=True, kw_only=True)
class Between(Described):
    """Put on ``float`` or ``Fraction``: a quantity from ``low`` to ``high``, or above ``low``."""

    unit: str
    low: str
    high: str
    above: bool = False
    text: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "text", f"a {unit_of(self.unit).quantity} {self.limits}")

    @property
    def limits(self) -> str:
        """The limits in words."""
        return f"above {self.low} and up to {self.high}" if self.above else f"from {self.low} to {self.high}"

    def read(self, value: object) -> Fraction:
        """Read a quantity and check its limits."""
        number = exact_quantity(value, self.unit)
        low, high = exact_quantity(self.low, self.unit), exact_quantity(self.high, self.unit)
        if not low <= number <= high or (self.above and number == low):
            # A plain number is shown with its unit: 25.175 for a clock means hertz, to the writer's surprise.
            plain = f"{value} {self.unit}" if self.unit != "%" else f"{float(number) * 100:g} %"
            shown = named(value) if isinstance(value, str) else plain
            raise MisfitError(f"is {shown}, which is out of range", f"use {self.text}")
        return number

    def __get_pydantic_core_schema__(self, source: type[float] | type[Fraction], _handler: object) -> CoreSchema:
        return no_info_plain_validator_function(lambda value: source(self.read(value)))

    def __get_pydantic_json_schema__(self, _schema: object, _handler: object) -> dict[str, Any]:
        examples = re.findall(r'"([^"]+)"', unit_of(self.unit).example)
        return {"type": ["number", "string"], "description": self.text, "examples": examples}


_EXPONENT = re.compile(r"(?<=\d)[eE]\+(?=\d)")


class Paired(Between):
    """Put on ``Assembly``: a resistance, or two in parallel or in series, as in ``680 || 11k`` and ``33 + 1k3``."""

    def __get_pydantic_core_schema__(self, source: type[Any], _handler: object) -> CoreSchema:
        return no_info_plain_validator_function(self._assembly)

    def __get_pydantic_json_schema__(self, schema: object, handler: object) -> dict[str, Any]:
        found = super().__get_pydantic_json_schema__(schema, handler)
        pairs = ["680 || 11k", "33 + 1k3"]
        return found | {"description": f"{self.text}, or a pair", "examples": [*found["examples"], *pairs]}

    def _assembly(self, value: object) -> Assembly:
        signs: tuple[tuple[Joined, str], ...] = (("parallel", "||"), ("series", "+"))
        for joined, sign in signs:
            if isinstance(value, str) and sign in _EXPONENT.sub("", value):
                parts = [part.strip() for part in value.split(sign)]
                if len(parts) != 2 or not all(parts):
                    raise MisfitError(
                        f"is {value!r}, which is not a pair", 'join two resistors, as in "680 || 11k" or "33 + 1k3"'
                    )
                return Assembly(parts=tuple(float(self.read(part)) for part in parts), joined=joined)
        return Assembly(parts=(float(self.read(value)),))


Frequency = Annotated[Fraction, Between(unit="Hz", low="1 kHz", high="1 GHz")]
Seconds = Annotated[float, Between(unit="s", low="0 s", high="1 ms")]
LadderOhms = Annotated[Assembly, Paired(unit="ohm", low="0 ohm", high="1 Gohm", above=True)]
SupplyVolts = Annotated[float, Between(unit="V", low="0 V", high="50 V", above=True)]
LowVolts = Annotated[float, Between(unit="V", low="0 V", high="50 V")]
Ohms = Annotated[float, Between(unit="ohm", low="0 ohm", high="1 Gohm", above=True)]
DriverOhms = Annotated[float, Between(unit="ohm", low="0 ohm", high="1 Mohm")]
Tolerance = Annotated[float, Between(unit="%", low="0 %", high="50 %")]
Glow = Annotated[float, Between(unit="%", low="0 %", high="99 %")]
Distance = Annotated[float, Between(unit="m", low="5 cm", high="1 km")]
ScreenWidth = Annotated[float, Between(unit="m", low="1 cm", high="100 m")]


def either(
    scalar: Any, table: type[BaseModel], *, is_table: Callable[[dict[str, Any]], bool] = lambda _: True
) -> PlainValidator:
    """Make the check of a value that is a table or something shorter."""

    @cache
    def adapter() -> TypeAdapter[Any]:
        return TypeAdapter(scalar)

    def read(value: object) -> Any:
        if named(value) == DATE:  # which is a table to JSON
            raise MisfitError(f"is {DATE}", "")
        if isinstance(value, dict) and is_table(value):
            return table.model_validate_json(as_json(value), strict=True)
        return adapter().validate_json(as_json(value), strict=True)

    return PlainValidator(read, json_schema_input_type=scalar | table)


def channel(table: type[BaseModel]) -> PlainValidator:
    """Make the check of a channel: a table of line to resistance, or that of an R-2R ladder."""

    def is_rail(value: dict[str, Any]) -> bool:
        if not value:
            raise MisfitError("has no line", 'write each line with its resistor, such as { r0 = "1k3", r1 = "680" }')
        return bool({"r2r", "lines"} & set(value))

    return either(dict[LineName, LadderOhms], table, is_table=is_rail)


def known(
    what: str, words: Collection[str], otherwise: str = "", *, usual: Collection[str] | None = None
) -> AfterValidator:
    """Make the check that a text is one of some words; ``otherwise`` is another way out.

    Messages suggest the ``usual`` words, all of them when left out.
    """
    suggested = words if usual is None else usual

    def check(text: str) -> str:
        if text not in words:
            longer = [word for word in suggested if text and word.startswith(text)]
            hint = f"use one of {', '.join(longer)}" if len(longer) > 1 else nearest_word(text, suggested)
            if otherwise:
                hint += f" Otherwise {otherwise}" if hint.endswith("?") else f", or {otherwise}"
            raise MisfitError(f"is {text!r}, which is not a known {what}", hint)
        return text

    return AfterValidator(check)


def _enum(words: Collection[str]) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "enum": list(words)})


ModeName = Annotated[str, known("mode", MODES), _enum(MODES)]
PartNumber = Annotated[
    str, known("part", PART_NAMES, "give words and width instead of part", usual=PARTS), _enum(PART_NAMES)
]

_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")


def _address_entry(text: str) -> str:
    _read(expand, text)
    return text


def _data_entry(text: str) -> str:
    for name in filter(_is_reserved, _read(expand_names, text)):
        shown = f"is {text!r}, and {name!r}" if text != name else f"is {text!r}, which"
        raise MisfitError(f"{shown} is {_is_reserved(name)}", "give what the pin drives another name, such as r0")
    return text


def _read(expanding: Callable[[str], list[_T]], text: str) -> list[_T]:
    """Expand an entry. A message of the board's arithmetic names the text and, after a semicolon, what to do."""
    try:
        return expanding(text)
    except LineSyntaxError as error:
        what, _, action = str(error).removeprefix(repr(text)).strip().partition("; ")
        raise MisfitError(f"is {text!r}, which {what}", action) from None


def _is_reserved(name: str) -> str:
    """Return what else a name stands for, or nothing."""
    signal = line(name).signal
    if name == "-" or signal is Signal.NAMED:
        return ""
    return "a constant" if signal is Signal.CONSTANT else "a counter's bit"


def ladder_lines(entries: tuple[str, ...]) -> tuple[str, ...]:
    """Expand the lines of an R-2R ladder."""
    lines = [line for entry in entries for line in expand_names(entry)]
    if "-" in lines:
        raise MisfitError("has an entry '-', which is not a line", "list the lines only, least significant first")
    doubled = next((line for line in lines if lines.count(line) > 1), None)
    if doubled:
        raise MisfitError(f"has line {doubled!r} twice", "list each line once, least significant first")
    return entries


def _memory_name(text: str) -> str:
    if not _NAME.fullmatch(text):
        plain = re.sub(r"\W+", "_", text.strip().lower(), flags=re.ASCII).strip("_")
        better = plain if _NAME.fullmatch(plain) else f"memory_{plain}".rstrip("_")
        raise MisfitError(f"is {text!r}, which is not a plain name", f"use letters, digits and _, such as {better!r}")
    if line(text).signal is not Signal.NAMED:
        raise MisfitError(f"is {text!r}, which is the name of a line", "use a name such as 'picture'")
    return text


def _line_name(text: str) -> str:
    if not _NAME.fullmatch(text):
        raise MisfitError("is not a plain name", "name one line that a data pin drives, such as r0")
    if _is_reserved(text):
        raise MisfitError(f"is {_is_reserved(text)}", "name a line that a data pin drives, such as r0")
    return text


LineName = Annotated[str, AfterValidator(_line_name)]
AddressEntry = Annotated[str, AfterValidator(_address_entry)]
DataEntry = Annotated[str, AfterValidator(_data_entry)]
MemoryName = Annotated[str, AfterValidator(_memory_name)]


def _signs(text: object) -> tuple[bool, bool]:
    signs = re.sub(r"[\s,/]+", "", text) if isinstance(text, str) else ""
    if not re.fullmatch(r"[-+]{2}", signs):
        raise MisfitError(f"is {named(text)}", 'write the signs of line and frame sync, such as "- -" or "+ -"')
    return signs[0] == "+", signs[1] == "+"


def _proportion(text: object) -> Fraction:
    match = re.fullmatch(r"(\d{1,5})\s*:\s*(\d{1,5})", text.strip()) if isinstance(text, str) else None
    if not match or not int(match[1]) or not int(match[2]):
        raise MisfitError(f"is {named(text)}", 'write the screen\'s width to its height, such as "4:3"')
    return Fraction(int(match[1]), int(match[2]))


Polarity = Annotated[
    tuple[bool, bool],
    PlainValidator(_signs),
    WithJsonSchema({"type": "string", "pattern": r"^\s*[-+][\s,/]*[-+]\s*$"}),
    Described('two signs such as "- -"'),
]
Proportion = Annotated[
    Fraction,
    PlainValidator(_proportion),
    WithJsonSchema({"type": "string", "pattern": r"^\s*\d{1,5}\s*:\s*\d{1,5}\s*$"}),
    Described('a proportion such as "4:3"'),
]


def _per_tray(value: object) -> str | int:
    if value == "banks" and isinstance(value, str):
        return value
    if isinstance(value, bool) or not isinstance(value, int):
        raise MisfitError(f"is {named(value)}", 'write "banks", or a number of pictures such as 4')
    if not 1 <= value <= _MOST_PER_TRAY:
        raise MisfitError(f"is {value}, which is out of range", f"use 1 to {_MOST_PER_TRAY}")
    return value


_REVISION = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")
_TAKEN = ("devices", "proof")  # folders of a build of a recipe without revisions


def _revision_name(text: str) -> str:
    if text.casefold() in _TAKEN:
        raise MisfitError("is the name of a folder of builds", "choose another for the revision, such as 'b'")
    if not _REVISION.fullmatch(text):
        raise MisfitError("cannot name a revision", "use letters, digits, - and _, such as 'b'")
    return text


def _each_once(names: dict[str, str]) -> dict[str, str]:
    seen: dict[str, str] = {}
    for name in names:
        other = seen.setdefault(name.casefold(), name)
        if other != name:
            raise MisfitError(f"has {other!r} and {name!r}, which would share an output folder", "rename one of them")
    return names


RevisionName = Annotated[str, AfterValidator(_revision_name)]
Revisions = Annotated[
    dict[RevisionName, Annotated[str, Field(min_length=1)]], Field(min_length=1), AfterValidator(_each_once)
]
"""Board files by the names of their revisions."""

_MOST_PER_TRAY = 65536
PerTray = Annotated[
    str | int,
    PlainValidator(_per_tray),
    WithJsonSchema({"type": ["integer", "string"], "examples": ["banks", 4]}),
    Described('"banks", or a number of pictures such as 4'),
]
TrayNumber = Annotated[int, Field(ge=1, le=9999)]
WordWidth = Annotated[int, Field(ge=1, le=32)]


_PRINTED = re.compile(r"[A-Za-z0-9][A-Za-z0-9 .+/_-]{0,39}")


def _printed(text: str) -> str:
    if not _PRINTED.fullmatch(text):
        use = "use up to 40 letters, digits, spaces and . + - / _, as printed on the chip or in its datasheet"
        raise MisfitError(f"is {named(text)}", use)
    return text


Printed = Annotated[str, AfterValidator(_printed)]
"""What is printed on a chip, or the name of its package: it goes into comments of device files and names nothing."""


def _page(value: object) -> int:
    if isinstance(value, bool):
        raise MisfitError(f"is {named(value)} where a number of bytes is meant", 'write 64 or "4 KiB"')
    number = exact_quantity(value, "B")
    if number.denominator != 1 or not 1 <= number <= LARGEST_MEMORY or int(number).bit_count() > 1:
        raise MisfitError(f"is {named(value)}, which is not a page or sector", "use a power of two of bytes")
    return int(number)


PageBytes = Annotated[
    int,
    PlainValidator(_page),
    WithJsonSchema({"type": ["integer", "string"], "examples": [64, "4 KiB"]}),
    Described('a number of bytes such as 64, or a size such as "4 KiB"'),
]


class ByteCount(int):
    """A capacity that was given in bytes."""


def _words(value: object) -> int:
    """Read a capacity: words as a whole number, or bytes such as ``"128 KiB"``.

    How many words the bytes are depends on the width, and is checked with it.
    """
    if isinstance(value, str):
        number = exact_quantity(value, "B")
        if number.denominator != 1 or not 2 <= number <= LARGEST_MEMORY * 4:
            raise MisfitError(f"is {named(value)}, which is out of range", f"use 2 to {LARGEST_MEMORY * 4} bytes")
        return ByteCount(number)
    if isinstance(value, bool) or not isinstance(value, int):
        raise MisfitError(f"is {named(value)}, not a number of words", 'write 131072 or "128 KiB"')
    if not 2 <= value <= LARGEST_MEMORY:
        raise MisfitError(f"is {named(value)}, which is out of range", f"use 2 to {LARGEST_MEMORY}")
    if value & (value - 1):
        near = 1 << value.bit_length()
        raise MisfitError(f"is {named(value)}, which is not a power of two", f"use {near // 2} or {near}")
    return value


Words = Annotated[
    int,
    PlainValidator(_words),
    WithJsonSchema({"type": ["integer", "string"], "examples": [131072, "128 KiB"]}),
    Described('a number of words such as 131072, or a size such as "128 KiB"'),
]
