"""Programmer files by content: which format a file has, and the bytes it holds at which addresses."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

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


@dataclass(frozen=True, kw_only=True)
class Segment:
    """Bytes that a file holds from an address on."""

    address: int
    data: bytes


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

    Parameters
    ----------
    name
        The file's name, for messages.
    data
        Its content.
    size
        How many bytes a file without addresses must hold; None allows any.
    element
        Bytes of one element of a format that lists words.
    order
        Byte order in which such elements become bytes.

    Raises
    ------
    DeviceFileError
        When the file is damaged or, in a format without addresses, of another size.
    """
    kind = format_of(data)
    if kind == "binary":
        if size is not None and len(data) != size:
            advice = likely_damage(data) or "check that it is the file of this device"
            raise DeviceFileError(f"holds {counted(len(data), 'byte')}, not {size:,}; {advice}", where=name)
        return [Segment(address=0, data=data)]
    try:
        text = data.decode("ascii")
    except UnicodeDecodeError as error:
        raise DeviceFileError(
            f"begins as text but byte {error.start} is not; the file is damaged, write it again", where=name
        ) from None
    if kind == "intel_hex":
        return _intel_hex(name, text)
    if kind == "s_record":
        return _s_record(name, text)
    if kind == "verilog_mem":
        return _verilog_mem(name, text, element, order)
    held = _c_array(name, text, element, order) if kind == "c_array" else _assembler(name, text)
    if size is not None and len(held) != size:
        raise DeviceFileError(
            f"holds {counted(len(held), 'byte')}, not {size:,}; check that it is the file of this device", where=name
        )
    return [Segment(address=0, data=held)]


Unpacked = tuple[int | str, int, int, bytes]


def _records(name: str, text: str, unpack: Callable[[str], Unpacked]) -> Iterator[tuple[str, int, bytes]]:
    """Yield kind, address and data of each record."""
    from bincopy import Error

    for number, line in enumerate(text.splitlines(), start=1):
        if line.strip():
            try:
                kind, address, _, data = unpack(line.strip())
            except (Error, ValueError) as reason:
                why = reason if isinstance(reason, Error) else "the record is cut short or not hexadecimal"
                raise DeviceFileError(f"{why}; the file is damaged, write it again", where=f"{name}:{number}") from None
            yield str(kind), address, data


def _joined(name: str, records: Iterable[tuple[int, bytes]]) -> list[Segment]:
    """Join records to stretches. Sorted, since inserting many one by one is slow."""
    stretches: list[tuple[int, bytearray]] = []
    for address, data in sorted((record for record in records if record[1]), key=lambda record: record[0]):
        if address + len(data) - 1 > _LAST:
            raise DeviceFileError(f"has bytes at {address:X}h, above {_LAST:X}h; write the file again", where=name)
        end = stretches[-1][0] + len(stretches[-1][1]) if stretches else -1
        if address < end:
            raise DeviceFileError(f"two records hold address {address:X}h; write the file again", where=name)
        if address == end:
            stretches[-1][1].extend(data)
        else:
            stretches.append((address, bytearray(data)))
    return [Segment(address=address, data=bytes(data)) for address, data in stretches]


def _intel_hex(name: str, text: str) -> list[Segment]:
    from bincopy import unpack_ihex  # slow to import

    segment = linear = 0
    held = []
    for kind, address, data in _records(name, text, unpack_ihex):
        if kind == "0":
            held.append((address + segment + linear, data))
        elif kind == "2":
            segment = int.from_bytes(data, "big") << 4
        elif kind == "4":
            linear = int.from_bytes(data, "big") << 16
        elif kind not in ("1", "3", "5"):
            raise DeviceFileError(f"has a record of type {kind}, which Intel HEX has not; write it again", where=name)
    ends = [number for number, line in enumerate(_lines(text)) if line[7:9] == "01"]
    _check_end(name, text, ends)
    return _joined(name, held)


def _s_record(name: str, text: str) -> list[Segment]:
    from bincopy import unpack_srec  # slow to import

    records = list(_records(name, text, unpack_srec))
    lines = _lines(text)
    # Some programs write no end record when there is nothing to run; a count record also marks a whole file.
    ending = "789" if any(line[1] in "789" for line in lines) else "56"
    _check_end(name, text, [number for number, line in enumerate(lines) if line[1] in ending])
    data = sum(line[1] in "123" for line in lines)
    for line in lines:
        if line[1] in "56" and int(line[4:-2], 16) != data:
            raise DeviceFileError(
                f"holds {counted(data, 'data record')}, but its count record has {int(line[4:-2], 16)}; "
                "records are missing, write it again",
                where=name,
            )
    return _joined(name, [(address, held) for kind, address, held in records if kind in "123"])


def _check_end(name: str, text: str, ends: list[int]) -> None:
    if not ends:
        raise DeviceFileError("has no end record, so it may be cut off; write it again", where=name)
    if ends[0] != len(_lines(text)) - 1:
        raise DeviceFileError("continues after its end record; write it again", where=name)


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


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
    """Read the numbers between the braces of the first array."""
    plain = re.sub(r"//[^\n]*|/\*.*?\*/", " ", text, flags=re.DOTALL)
    inside, closed, _ = plain.partition("{")[2].partition("}")
    if not closed:
        raise DeviceFileError("the array has no end, so it may be cut off; write it again", where=name)
    return _numbers(name, inside, element, order)


def _assembler(name: str, text: str) -> bytes:
    """Read the bytes behind the directive of each line; lines that end in a colon are labels."""
    rows = [line.split(None, 1) for line in _lines(text) if not line.endswith(":")]
    return _numbers(name, ",".join(row[-1] for row in rows), 1, "little")


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
