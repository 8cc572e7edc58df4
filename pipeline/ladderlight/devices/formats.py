"""Programmer files by content: which format a file has, and the bytes it holds at which addresses."""

import re
from collections.abc import Callable
from typing import Literal

from ladderlight.devices.records import Segment, intel_hex, s_record
from ladderlight.errors import DeviceFileError
from ladderlight.flow.pictures import ByteOrder
from ladderlight.units.words import counted

Format = Literal["binary", "intel_hex", "s_record", "verilog_mem", "c_array", "assembler"]

# Possessive throughout: a picture's words may look like anything, and must not cause backtracking.
_COMMENT = rb"(?:\s|//[^\n]*+\n|#[^\n]*+\n|/\*(?:[^*]|\*(?!/))*+\*/)*+"
_NUMBER = rb"(?:0x[0-9A-Fa-f]++|\$[0-9A-Fa-f]++|[0-9][0-9A-Fa-f]*+[Hh])"
_HEX_RECORD = rb"\s*+:(?:[0-9A-Fa-f]{2}){5,}+[ \t\r]*+(?:\n|$)"
_S_RECORD = rb"\s*+S[0-9](?:[0-9A-Fa-f]{2}){3,}+[ \t\r]*+(?:\n|$)"
_VERILOG = _COMMENT + rb"@[0-9A-Fa-f]++\s++[0-9A-Fa-f]++\s"
_C_ARRAY = _COMMENT + rb"[\w\s]++\[\s*+\w*+\s*+\]\s*+=\s*+\{"
_ASSEMBLER = rb"(?:[\w.$-]++:\s*?\n)?[ \t]++[.!\w]++[ \t]++" + _NUMBER + rb"[ \t]*+(?:,|\r?\n|$)"

_LAST = (1 << 32) - 1
"""The last address of any of the formats."""


def format_of(data: bytes) -> Format:
    """Return a file's format, found from its content; binary if it is none of the text formats."""
    for pattern, name in _TEXTS:
        if re.match(pattern, data):  # compiled only when a file is looked at
            return name
    return "binary"


def likely_damage(data: bytes) -> str:
    """Return which text format plain bytes begin like, in words; empty for none."""
    like = {b":": "Intel HEX", b"S": "an S-record file", b"@": "Verilog memory text"}.get(data[:1])
    return f"it begins like {like}, so it may be damaged" if like else ""


def segments_of(
    name: str, data: bytes, *, size: int | None = None, element: int = 1, order: ByteOrder = "little"
) -> list[Segment]:
    """Read a file of any of the formats.

    A file without addresses must hold ``size`` bytes; None allows any. ``element`` is the bytes of one element of a
    format that lists words, and ``order`` that of its bytes. Raises DeviceFileError when the file is damaged or, in a
    format without addresses, of another size.
    """
    kind = format_of(data)
    if kind in _RECORDS and data.isascii():
        return _RECORDS[kind](name, data)
    held = data
    if kind != "binary":
        try:
            text = data.decode("ascii")
        except UnicodeDecodeError as error:
            what = f"begins as text but byte {error.start} is not; the file is damaged, write it again"
            raise DeviceFileError(what, where=name) from None
        if kind == "verilog_mem":
            return _verilog_mem(name, text, element, order)
        held = _c_array(name, text, element, order) if kind == "c_array" else _assembler(name, text)
    if size is not None and len(held) != size:
        damage = likely_damage(data) if kind == "binary" else ""
        what = f"holds {counted(len(held), 'byte')}, not {size:,}; "
        raise DeviceFileError(what + (damage or "check that it is the file of this device"), where=name)
    return [Segment(address=0, data=held)]


def _verilog_mem(name: str, text: str, element: int, order: ByteOrder) -> list[Segment]:
    """Read ``$readmemh`` text: addresses count elements (IEEE 1364)."""
    plain = re.sub(r"//[^\n]*|/\*.*?\*/", " ", text, flags=re.DOTALL)
    segments: list[Segment] = []
    address, held = 0, bytearray()
    for token in plain.split():
        try:
            value = int(token.removeprefix("@"), 16)
            if token.startswith("@"):
                if held:
                    segments.append(Segment(address=address * element, data=bytes(held)))
                if not 0 <= value <= _LAST:
                    raise OverflowError
                address, held = value, bytearray()
            else:
                held += value.to_bytes(element, order)
        except (ValueError, OverflowError):
            raise DeviceFileError(
                f"{token[:20]!r} is not a hexadecimal element of {element * 8} bits or an address; "
                "check that it is the file of this device",
                where=name,
            ) from None
    if held:
        segments.append(Segment(address=address * element, data=bytes(held)))
    return segments


def _c_array(name: str, text: str, element: int, order: ByteOrder) -> bytes:
    plain = re.sub(r"//[^\n]*|/\*.*?\*/", " ", text, flags=re.DOTALL)
    inside, closed, _ = plain.partition("{")[2].partition("}")
    if not closed:
        raise DeviceFileError("the array has no end, so it may be cut off; write it again", where=name)
    return _numbers(name, inside, element, order)


def _assembler(name: str, text: str) -> bytes:
    """Read the bytes behind the directive of each line; lines that end in a colon are labels."""
    lines = (line.strip() for line in text.splitlines())
    numbers = (line.split(None, 1)[-1] for line in lines if line and not line.endswith(":"))
    return _numbers(name, ",".join(numbers), 1, "little")


def _numbers(name: str, text: str, element: int, order: ByteOrder) -> bytes:
    held = bytearray()
    for token in text.split(","):
        token = token.strip()
        if token:
            try:
                held += _number(token).to_bytes(element, order)
            except (ValueError, OverflowError):
                raise DeviceFileError(
                    f"{token[:20]!r} is not a number of {element * 8} bits; check that it is the file of this device",
                    where=name,
                ) from None
    return bytes(held)


def _number(token: str) -> int:
    if token.startswith("$"):
        return int(token[1:], 16)
    if token[-1] in "hH":
        return int(token[:-1], 16)
    return int(token, 0)


_TEXTS: tuple[tuple[bytes, Format], ...] = (
    (_HEX_RECORD, "intel_hex"),
    (_S_RECORD, "s_record"),
    (_VERILOG, "verilog_mem"),
    (_C_ARRAY, "c_array"),
    (_ASSEMBLER, "assembler"),
)
_RECORDS: dict[Format, Callable[[str, bytes], list[Segment]]] = {"intel_hex": intel_hex, "s_record": s_record}
