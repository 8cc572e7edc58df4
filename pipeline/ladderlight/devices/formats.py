"""Programmer files by content: which format a file has, and the bytes it holds at which addresses."""

import re
from codecs import BOM_UTF8
from collections.abc import Callable, Generator, Iterable, Iterator
from typing import Literal

import numpy as np

from ladderlight.errors import DeviceFileError
from ladderlight.flow.pictures import ByteOrder
from ladderlight.system.frozen import Frozen
from ladderlight.units.words import counted

Format = Literal["binary", "intel_hex", "s_record", "verilog_mem", "c_array", "assembler"]

# Possessive throughout: a picture's words may look like anything, and must not cause backtracking.
_COMMENT = rb"(?:\s|//[^\n]*+\n|#[^\n]*+\n|/\*(?:[^*]|\*(?!/))*+\*/)*+"
_NUMBER = rb"(?:0x[0-9A-Fa-f]++|\$[0-9A-Fa-f]++|[0-9][0-9A-Fa-f]*+[Hh])"
_BEGINNINGS: dict[Format, bytes] = {
    "intel_hex": rb"\s*+:(?:[0-9A-Fa-f]{2}){5,}+[ \t\r]*+(?:\n|$)",
    "s_record": rb"\s*+S[0-9](?:[0-9A-Fa-f]{2}){3,}+[ \t\r]*+(?:\n|$)",
    "verilog_mem": _COMMENT + rb"@[0-9A-Fa-f]++\s++[0-9A-Fa-f]++\s",
    "c_array": _COMMENT + rb"[\w\s]++\[\s*+\w*+\s*+\]\s*+=\s*+\{",
    "assembler": rb"(?:[\w.$-]++:\s*?\n)?[ \t]++[.!\w]++[ \t]++" + _NUMBER + rb"[ \t]*+(?:,|\r?\n|$)",
}
_LAST = (1 << 32) - 1  # the last address of any of the formats
_FIRST, _MOST = 16, 4096
"""Records that are decoded together: few at first, more while they are alike, so that a file of many forms is not
decoded again and again."""
_FEW = 4  # records alike that are not worth it
_SHORTEST = 11  # bytes of the shortest line with data
_ADDRESS_BYTES = {"0": 2, "1": 2, "2": 3, "3": 4, "5": 2, "6": 3, "7": 4, "8": 3, "9": 2}
"""Of each kind of S-records; those of kinds 1 to 3 hold data."""
_NO_DIGIT = 255
_DIGITS = np.full(256, _NO_DIGIT, dtype=np.uint8)
for _letters in (b"0123456789abcdef", b"0123456789ABCDEF"):
    _DIGITS[np.frombuffer(_letters, dtype=np.uint8)] = np.arange(16)


class Segment(Frozen):
    """Bytes that a file holds from an address on."""

    address: int
    data: bytes | bytearray


class _Run(Frozen):
    """Records of one kind that follow each other in the file and in their addresses."""

    kind: str
    address: int
    data: bytes
    records: int = 1


# Intel Hexadecimal Object File Format Specification, Revision A, 1988; Motorola's S-records as in the manual page
# srec(5). They are read in pieces: a whole file in single records would take thirty times its bytes.
def intel_hex(name: str, data: bytes) -> list[Segment]:
    """Read an Intel HEX file; ASCII. Raises DeviceFileError when it is damaged or cut off."""
    ended = continued = False
    segment = linear = 0

    def held() -> Iterator[tuple[int, bytes]]:
        nonlocal ended, continued, segment, linear
        for run in _runs(name, data, b":", _intel_hex_record):
            continued |= ended
            if run.kind == "0":
                yield run.address + segment + linear, run.data
            elif run.kind == "1":
                ended = True
            elif run.kind == "2":
                segment = int.from_bytes(run.data, "big") << 4
            elif run.kind == "4":
                linear = int.from_bytes(run.data, "big") << 16
            elif run.kind not in ("3", "5"):
                what = f"has a record of type {run.kind}, which Intel HEX has not; write it again"
                raise DeviceFileError(what, where=name)

    segments = _joined(name, held())
    _check_end(name, found=ended, last=not continued)
    return segments


def s_record(name: str, data: bytes) -> list[Segment]:
    """Read S-records; ASCII. Raises DeviceFileError when damaged, cut off, or without records that the file counts."""
    total = lines = 0
    counts: list[int] = []
    firsts: dict[str, int] = {}

    def held() -> Iterator[tuple[int, bytes]]:
        nonlocal total, lines
        for run in _runs(name, data, b"S", _s_record):
            firsts.setdefault("end" if run.kind in "789" else "count" if run.kind in "56" else run.kind, lines)
            lines += run.records
            if run.kind in "56":
                counts.append(run.address)
            elif run.kind in "123":
                total += run.records
                yield run.address, run.data

    segments = _joined(name, held())
    # Some programs write no end record when there is nothing to run; a count record also marks a whole file.
    first = firsts.get("end", firsts.get("count"))
    _check_end(name, found=first is not None, last=first == lines - 1)
    for count in counts:
        if count != total:
            raise DeviceFileError(
                f"holds {counted(total, 'data record')}, but its count record has {count}; "
                "records are missing, write it again",
                where=name,
            )
    return segments


def _check_end(name: str, *, found: bool, last: bool) -> None:
    if not found:
        raise DeviceFileError("has no end record, so it may be cut off; write it again", where=name)
    if not last:
        raise DeviceFileError("continues after its end record; write it again", where=name)


def _intel_hex_record(line: str) -> _Run:
    record = _record(line, ":", 1, surplus=5, checked=0)
    return _Run(kind=str(record[3]), address=int.from_bytes(record[1:3], "big"), data=record[4:-1])


def _s_record(line: str) -> _Run:
    record, end = _record(line, "S", 2, surplus=1, checked=0xFF), 1 + _ADDRESS_BYTES.get(line[1], 0)
    if end == 1:
        raise _BadRecordError(f"record {line!r} is of a type that S-records have not")
    return _Run(kind=line[1], address=int.from_bytes(record[1:end], "big"), data=record[end:-1])


def _record(line: str, mark: str, begin: int, *, surplus: int, checked: int) -> bytes:
    """Return the bytes of a record whose first is its length less ``surplus``; with its checksum all add up to one."""
    if not line.startswith(mark):
        raise _BadRecordError(f"record {line!r} does not begin with {mark!r}")
    try:
        record = bytes.fromhex(line[begin:])
    except ValueError:
        raise _BadRecordError("the record is cut short or not hexadecimal") from None
    if len(record) < 4 or len(record) != record[0] + surplus:
        raise _BadRecordError(f"record {line!r} is not as long as it says")
    expected = (checked - sum(record[:-1])) & 0xFF
    if record[-1] != expected:
        raise _BadRecordError(f"expected checksum {expected:02X} in record {line!r}, but got {record[-1]:02X}")
    return record


class _BadRecordError(Exception):
    """What is wrong with a record."""


def _runs(name: str, data: bytes, mark: bytes, unpack: Callable[[str], _Run]) -> Iterator[_Run]:
    """Yield the records of a file; many alike at once, where they begin with the mark."""
    place, most = 0, _FIRST
    while place < len(data):
        alike, whole = (yield from _alike(data, place, most)) if data.startswith(mark, place) else (0, False)
        most = min(4 * most, _MOST) if whole else _FIRST
        if alike:
            place += alike
            continue
        end = data.find(b"\n", place) + 1 or len(data)
        for line in data[place:end].decode("ascii").splitlines():
            if line.strip():
                try:
                    run = unpack(line.strip())
                except _BadRecordError as why:
                    number = len(data[:end].decode("ascii").splitlines())
                    where = f"{name}:{number}"
                    raise DeviceFileError(f"{why}; the file is damaged, write it again", where=where) from None
                yield run
        place = end


def _alike(data: bytes, place: int, most: int) -> Generator[_Run, None, tuple[int, bool]]:
    """Yield at most so many data records from a place on, good and as long as the first there, if they are not few.

    Returns the bytes of the file that they take, and whether all were.
    """
    length = data.find(b"\n", place) + 1 - place
    count = min(most, (len(data) - place) // length) if length >= _SHORTEST else 0
    if count < _FEW:
        return 0, False
    lines = np.frombuffer(data, dtype=np.uint8, count=count * length, offset=place).reshape(count, length)
    ending = 2 if lines[0, -2] == ord("\r") else 1
    kind = "0" if lines[0, 0] == ord(":") else chr(lines[0, 1])
    mark, address = (1, 2) if lines[0, 0] == ord(":") else (2, _ADDRESS_BYTES[kind] if kind in "123" else 0)
    digits = _DIGITS[lines[:, mark : length - ending]]
    if not address or digits.shape[1] % 2 or digits.shape[1] // 2 < address + 3:
        return 0, False
    good = (lines[:, :mark] == lines[0, :mark]).all(axis=1) & (lines[:, -ending:] == lines[0, -ending:]).all(axis=1)
    good &= (digits != _NO_DIGIT).all(axis=1)
    record = digits[:, ::2] << 4 | digits[:, 1::2]
    sums = record.sum(axis=1, dtype=np.uint8)
    if mark == 1:
        good &= (record[:, 0] == record.shape[1] - 5) & (record[:, 3] == 0) & (sums == 0)
    else:
        good &= (record[:, 0] == record.shape[1] - 1) & (sums == 0xFF)
    kept = count if good.all() else int(np.argmin(good))
    if kept < _FEW:
        return 0, False
    held = record[:kept, 1 + address + (mark == 1) : -1]
    places = record[:kept, 1 : 1 + address].astype(np.int64) @ (256 ** np.arange(address)[::-1])
    breaks = np.flatnonzero(np.diff(places) != held.shape[1]) + 1
    for first, end in zip((0, *breaks.tolist()), (*breaks.tolist(), kept), strict=True):
        yield _Run(kind=kind, address=int(places[first]), data=held[first:end].tobytes(), records=end - first)
    return kept * length, kept == count


def _joined(name: str, records: Iterable[tuple[int, bytes]]) -> list[Segment]:
    runs: list[tuple[int, bytearray]] = []
    for address, data in records:
        if not data:
            continue
        if address + len(data) - 1 > _LAST:
            raise DeviceFileError(f"has bytes at {address:X}h, above {_LAST:X}h; write the file again", where=name)
        if runs and address == runs[-1][0] + len(runs[-1][1]):
            runs[-1][1].extend(data)
        else:
            runs.append((address, bytearray(data)))
    stretches: list[tuple[int, bytearray]] = []
    for address, held in sorted(runs, key=lambda run: run[0]):
        end = stretches[-1][0] + len(stretches[-1][1]) if stretches else -1
        if address < end:
            raise DeviceFileError(f"two records hold address {address:X}h; write the file again", where=name)
        if address == end:
            stretches[-1][1].extend(held)
        else:
            stretches.append((address, held))
    return [Segment(address=address, data=held) for address, held in stretches]


def format_of(data: bytes) -> Format:
    """Return a file's format, found from its content; binary if it is none of the text formats."""
    text = data.removeprefix(BOM_UTF8)
    for name, pattern in _BEGINNINGS.items():
        if re.match(pattern, text):  # compiled only when a file is looked at
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
    if kind != "binary":
        data = data.removeprefix(BOM_UTF8)  # as some editors begin a text
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
    stretches = [(0, bytearray())]
    for token in plain.split():
        try:
            value = int(token.removeprefix("@"), 16)
            if not token.startswith("@"):
                stretches[-1][1].extend(value.to_bytes(element, order))
            elif 0 <= value <= _LAST:
                stretches.append((value, bytearray()))
            else:
                raise OverflowError
        except (ValueError, OverflowError):
            raise DeviceFileError(
                f"{token[:20]!r} is not a hexadecimal element of {element * 8} bits or an address; "
                "check that it is the file of this device",
                where=name,
            ) from None
    return [Segment(address=address * element, data=held) for address, held in stretches if held]


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
                what = f"{token[:20]!r} is not a number of {element * 8} bits; check that it is the file of this device"
                raise DeviceFileError(what, where=name) from None
    return bytes(held)


def _number(token: str) -> int:
    if token.startswith("$"):
        return int(token[1:], 16)
    if token[-1] in "hH":
        return int(token[:-1], 16)
    return int(token, 0)


_RECORDS: dict[Format, Callable[[str, bytes], list[Segment]]] = {"intel_hex": intel_hex, "s_record": s_record}
