"""Single files that a command writes to a path of the user's: they replace that command's own, and nothing else."""

import hashlib
import re
import struct
import zlib
from collections.abc import Iterable, Mapping
from pathlib import Path

from ladderlight.errors import BuildError, Fault
from ladderlight.storage.writing import write_whole

_PNG = b"\x89PNG\r\n\x1a\n"
_IHDR_END = len(_PNG) + 25
"""The header comes first and is of 13 bytes (W3C PNG, 5.6 and 11.2.1), beside its length, name and checksum."""
_HEAD = 1024  # bytes of a file in which the mark is found
_PNG_MARK = re.compile(rb"\0\0\0.tEXtSoftware\0(Ladderlight [^\0]*?, [0-9a-f]{64}).{4}", re.DOTALL)
_CSV_HEAD = b",Ladderlight\r\n"
"""The last head of a table of comma-separated values: the column for the mark, empty in every row."""
_CSV_MARK = re.compile(rb',"(Ladderlight [^"]*?, [0-9a-f]{64})"\r\n')
_HTML_HEAD = b"<head>\n"
_HTML_MARK = re.compile(rb'<meta name="generator" content="(Ladderlight [^"]*?, [0-9a-f]{64})">\n')


def refuse_others(paths: Iterable[Path], *, command: str, inputs: Iterable[Path]) -> None:
    """Check that files may be written: that each is new, or what the same command wrote and nobody has changed since.

    ``command`` is the command and its option, such as ``check --page``. ``inputs`` are files that are read, by whatever
    name: none of them is written over. Raises BuildError with all that may not be written.
    """
    read = [path for path in inputs if path.exists()]
    faults: list[Fault] = []
    out_of_reach: dict[tuple[Path, str | None], list[Path]] = {}
    for path in paths:
        try:
            there = path.exists()
        except OSError as error:
            out_of_reach.setdefault((path.parent, error.strerror), []).append(path)
            continue
        if there and (reason := _reason(path, command, read)):
            faults.append(Fault(where=str(path), message=f"{reason}; choose another name"))
    for (folder, cause), files in out_of_reach.items():
        where = files[0] if len(files) == 1 else folder
        faults.append(Fault(where=str(where), message=f"cannot be written ({cause}); choose another name"))
    if faults:
        raise BuildError.of(faults)


def export(files: Mapping[Path, bytes], *, command: str, inputs: Iterable[Path]) -> None:
    """Write pages (HTML), pictures (PNG) and tables (CSV), marked as the command's own; see ``refuse_others``.

    Raises BuildError when one may not or cannot be written. None is written when one may not.
    """
    refuse_others(files, command=command, inputs=inputs)
    for path, data in files.items():
        write_whole(path, marked(data, command))


def marked(data: bytes, command: str) -> bytes:
    """Put the name of the command and a digest of the rest into a page, a picture or a table.

    They are where others look for neither: in a table they head its last column, ``Ladderlight``, which is empty.
    """
    mark = f"Ladderlight {command}, {hashlib.sha256(data).hexdigest()}".encode("ascii")
    if data.startswith(_PNG):
        chunk = b"tEXtSoftware\0" + mark
        chunk = struct.pack(">I", len(chunk) - 4) + chunk + struct.pack(">I", zlib.crc32(chunk))
        return data[:_IHDR_END] + chunk + data[_IHDR_END:]
    if _HTML_HEAD not in data:
        return data.replace(_CSV_HEAD, b',"' + mark + b'"\r\n', 1)
    head = data.index(_HTML_HEAD) + len(_HTML_HEAD)
    return data[:head] + b'<meta name="generator" content="' + mark + b'">\n' + data[head:]


def _is_own(path: Path, command: str) -> bool:
    """Whether a file is as the command wrote it. One without a mark is not read further, however large it is."""
    with path.open("rb") as file:
        data = file.read(_HEAD)
        found = (_PNG_MARK if data.startswith(_PNG) else _HTML_MARK if _HTML_HEAD in data else _CSV_MARK).search(data)
        if not found:
            return False
        data += file.read()
    rest = data[: found.start()] + (_CSV_HEAD if found.re is _CSV_MARK else b"") + data[found.end() :]
    return marked(rest, command) == data


def _reason(path: Path, command: str, inputs: Iterable[Path]) -> str | None:
    try:
        if not path.is_file():
            return "is not a file"
        used = next((each for each in inputs if each.samefile(path)), None)
        if used:
            return f"is an input, {used}" if used != path else "is an input"
        return None if _is_own(path, command) else f"is not what {command} wrote there before, or was changed since"
    except OSError as error:
        return f"cannot be read ({error.strerror})"
