"""The manifest: what a build has written. The one model by which it is written and read."""

import hashlib
import json
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, ConfigDict, Field, JsonValue

from ladderlight.board.model.memory import Erasure
from ladderlight.devices.documents import ManifestDocument
from ladderlight.devices.files import refuse_name
from ladderlight.errors import DeviceFileError
from ladderlight.flow.pictures import ByteOrder, DeviceFile, Span
from ladderlight.system.passing import Passing
from ladderlight.system.printable import Written, json_pieces
from ladderlight.workspace.documents import Kept, Listed, read_document

FILE = "manifest.json"
"""Name of the manifest, in the output folder."""
FORMAT: Literal[1] = 1
_FEW = 32  # trays whose manifests wait as they are: to unpack those of all trays takes 0.1 s for 10,000 pictures
_LISTS = ("devices", "pictures")

Size = Annotated[int, Field(ge=0, le=1 << 32)]
TrayNumber = Annotated[int, Field(ge=1)] | None
"""None where there is one set of chips only."""


def _inside(name: str) -> str:
    try:
        refuse_name(name)
    except DeviceFileError:
        raise ValueError(f"names a device file {name[:60]!r} outside its folder") from None
    return name


class Blocks(Kept):
    """A run of pages or sectors, by the addresses of its first and last byte."""

    first: Size
    last: Size


class BurnEntry(Kept):
    """Whether a device must be burned, and how much of it; see :class:`ladderlight.workspace.burned.Burn`."""

    known: bool
    differing: Size
    erasure: Erasure
    text: str
    eraser: bool | None
    block: Size
    block_count: Size
    blocks: Listed[Blocks] | None


class BankEntry(Kept):
    """A bank as far as one device holds it, in words from the device's first one."""

    bank: Size
    pictures: Listed[str]
    first: Size
    last: Size
    used: Size = 0


class PieceEntry(Kept):
    """One file of a device, the checksums of the bytes that are burned from it, and the span of the image it holds."""

    file: Annotated[str, AfterValidator(_inside)]
    format: str = ""
    bytes: Size
    crc32: str = ""
    sum8: str = ""
    sum16: str = ""
    sum32: str = ""
    sha256: str = ""
    first: Size
    step: Annotated[int, Field(ge=1, le=4)]
    order: ByteOrder
    offset: Size

    def of_device(self, device: str) -> DeviceFile:
        """Return the file with its span, without data."""
        span = Span(first=self.first, count=self.bytes, step=self.step, order=self.order, offset=self.offset)
        return DeviceFile(device=device, name=self.file, data=b"", span=span)


class DeviceEntry(Kept):
    """One device, with its checksums in the byte order of its first file."""

    name: str
    tray: TrayNumber = None
    memory: str = ""
    part: str
    file: str | None = None
    files: Listed[str] = ()
    bytes: Size
    crc32: str = ""
    sum8: str = ""
    sum16: str = ""
    sum32: str = ""
    sha256: str
    changed: bool = True
    burn: BurnEntry | None = None
    words: Size = 0
    width: Size = 0
    first_word: Size = 0
    used_words: Size = 0
    free_words: Size = 0
    last_used: Size | None = None
    banks: Listed[BankEntry] = ()
    pieces: Listed[PieceEntry]


class InputEntry(Kept):
    """One file that a build is made from."""

    file: str
    bytes: Annotated[int, Field(ge=0)]
    sha256: str


class PictureEntry(Kept):
    """One picture and its bank. Notes and metrics of the stages follow, under keys of their own."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, JsonValue] = Field(init=False)

    name: str
    tray: TrayNumber = None
    source: str = ""
    frame: Size = 0
    duration: int | float | None = None
    memory: str | None = None
    memories: Listed[str] = ()
    bank: Size
    step: int | float | None = None
    """Seconds for which the board shows the bank, where a counter steps through the banks."""
    screen: str | None = None
    """The file in the output folder that shows it; equal screens share one."""


class Manifest(Kept):
    """A manifest. What no command reads back has a default: builds of earlier versions may lack it."""

    format: Literal[1]
    project: str = ""
    revision: str | None = None
    devices: Listed[DeviceEntry]
    inputs: Listed[InputEntry] = ()
    versions: dict[str, str] = Field(default_factory=dict)
    notes: Listed[str] = ()
    pictures: Listed[PictureEntry]

    @property
    def trays(self) -> tuple[int | None, ...]:
        """The trays that were built, in order; None alone where there is one set of chips only."""
        return tuple(dict.fromkeys(device.tray for device in self.devices))

    @property
    def document(self) -> ManifestDocument:
        """The manifest as plain JSON values, keys in the order in which they are written; made anew whenever asked."""
        document: ManifestDocument = json.loads(json.dumps(self.model_dump(exclude_unset=True)))
        return document

    @property
    def inputs_digest(self) -> str | None:
        """One SHA-256 for all files that the build is made from; None when nothing is known of them."""
        return digest_of_inputs(self.inputs)


Texts = Mapping[str, str]
"""What a tray adds to the manifest, as JSON (:func:`texts_of`), and to the burn sheet."""


def texts_of(manifest: ManifestDocument) -> dict[str, str]:
    """Return a tray's manifest as text: its ``devices`` and ``pictures`` as the manifest has them, and the ``rest``."""
    rest = {name: [] if name in _LISTS else value for name, value in manifest.items()}
    return {
        "devices": Written.of(manifest["devices"]),
        "pictures": Written.of(manifest["pictures"]),
        "rest": json.dumps(rest),
    }


def document_of(texts: Texts) -> ManifestDocument:
    """Return a tray's manifest as plain values."""
    joined: ManifestDocument = json.loads(texts["rest"]) | {name: _values(texts[name]) for name in _LISTS}
    return joined


def _values(text: str) -> list[Any]:
    found: list[Any] = json.loads(f"[{text}]")
    return found


@dataclass(frozen=True, kw_only=True)
class Manifests:
    """What the trays of a build give, most of it compressed while they wait for each other, and the inputs."""

    inputs: Sequence[InputEntry]
    _trays: list[bytes | Texts] = field(default_factory=list)

    def add(self, made: Texts) -> None:
        """Add that of another tray."""
        few = len(self._trays) < _FEW
        self._trays.append(made if few else zlib.compress(json.dumps(made).encode(), 1))

    def __iter__(self) -> Iterator[Texts]:
        """Yield that of all trays."""
        return (json.loads(zlib.decompress(each)) if isinstance(each, bytes) else each for each in self._trays)

    def joined(self, items: Callable[[str], Iterable[Any]] = _values) -> ManifestDocument:
        """Return the manifest of the build; its long lists pass, see :class:`ladderlight.system.passing.Passing`.

        ``items`` turns the text of those of a tray into values.
        """
        rest = [json.loads(each["rest"]) for each in self]
        joined: ManifestDocument = rest[0]
        joined["notes"] = list(dict.fromkeys(note for each in rest for note in each["notes"]))
        joined["devices"] = Passing(lambda: (item for each in self for item in items(each["devices"])))
        joined["inputs"] = Passing(lambda: (each.model_dump() for each in self.inputs))
        joined["pictures"] = Passing(lambda: (item for each in self for item in items(each["pictures"])))
        return joined

    @property
    def file(self) -> Iterator[bytes]:
        """Pieces of the manifest's file."""
        return map(str.encode, json_pieces(self.joined(lambda text: [Written(text)])))


def digest_of_inputs(inputs: Iterable[InputEntry]) -> str | None:
    """Return one SHA-256 for all files that a build is made from; None when nothing is known of them."""
    listed = [[item.file, item.bytes, item.sha256] for item in inputs]
    return hashlib.sha256(json.dumps(listed).encode()).hexdigest() if listed else None


def read_manifest(output: Path) -> Manifest | None:
    """Return the manifest of an output folder, or None when nothing was built there.

    Raises
    ------
    DocumentError
        When it is damaged.
    """
    return read_document(output / FILE, Manifest, "build again")
