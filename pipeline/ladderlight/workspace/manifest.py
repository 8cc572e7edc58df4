"""The manifest: what a build has written. The one model by which it is written and read."""

import hashlib
import json
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypedDict

from pydantic import AfterValidator, ConfigDict, Field, JsonValue

from ladderlight.board.model.memory import Erasure
from ladderlight.cache.marks import Seen
from ladderlight.devices.documents import DeviceDocument, ManifestDocument, PictureDocument
from ladderlight.devices.files import refuse_name
from ladderlight.errors import DeviceFileError
from ladderlight.flow.pictures import ByteOrder, DeviceFile, Span
from ladderlight.system.frozen import Frozen
from ladderlight.system.printable import json_value
from ladderlight.workspace.documents import Kept, Listed, read_document

if TYPE_CHECKING:
    from ladderlight.proof.burnsheet import BurnPart

FILE = "manifest.json"
"""Name of the manifest, in the output folder."""
FORMAT: Literal[1] = 1
_INPUT = '{{\n      "file": {},\n      "bytes": {},\n      "sha256": "{}"\n    }}'  # thousands, each alike
_FEW = 32  # trays whose manifests wait as they are: to unpack those of all trays takes 0.1 s for 10,000 pictures

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
        return digest_of_inputs((item.file, item.bytes, item.sha256) for item in self.inputs)


class MadeTray(TypedDict):
    """What a tray, or a build without trays, has in files that all trays share."""

    first: ManifestDocument
    """Its manifest without the lists that follow."""
    devices: str
    """As the manifest has them, in JSON."""
    pictures: str
    burn: "BurnPart"


def made_tray(manifest: ManifestDocument, burn: "BurnPart") -> MadeTray:
    """Return what a tray has in shared files, from its manifest."""
    devices, pictures = (
        ",\n    ".join(json_value(item, 4) for item in items) for items in (manifest["devices"], manifest["pictures"])
    )
    first: ManifestDocument = {**manifest, "devices": [], "pictures": []}
    return {"first": first, "devices": devices, "pictures": pictures, "burn": burn}


def manifest_of(made: MadeTray) -> ManifestDocument:
    """Return the manifest of a tray as plain values."""
    return {**made["first"], "devices": _items(made["devices"]), "pictures": _items(made["pictures"])}


def _items(text: str) -> list[Any]:
    found: list[Any] = json.loads(f"[{text}]")
    return found


class Manifests(Frozen):
    """The manifest of a build: those of its trays, most of them compressed while they wait, and its inputs."""

    seen: Mapping[str, Seen]
    _trays: list[bytes | MadeTray] = field(default_factory=list)

    def add(self, made: MadeTray) -> None:
        """Add that of another tray."""
        few = len(self._trays) < _FEW
        self._trays.append(made if few else zlib.compress(json.dumps(made).encode(), 1))

    def __iter__(self) -> Iterator[MadeTray]:
        """Yield what all trays have in shared files."""
        return (json.loads(zlib.decompress(each)) if isinstance(each, bytes) else each for each in self._trays)

    @property
    def first(self) -> ManifestDocument:
        """That of the first tray, without its lists: project, revision and versions are the same in all."""
        return next(iter(self))["first"]

    @property
    def devices(self) -> Iterator[DeviceDocument]:
        """The devices of all trays."""
        return (device for made in self for device in _items(made["devices"]))

    @property
    def inputs(self) -> Iterator[Mapping[str, object]]:
        """The files that the build is made from."""
        return ({"file": name, "bytes": each.size, "sha256": each.sha256} for name, each in self.seen.items())

    @property
    def pictures(self) -> Iterator[PictureDocument]:
        """The pictures of all trays."""
        return (picture for made in self for picture in _items(made["pictures"]))

    @property
    def notes(self) -> list[str]:
        """Notes on the trays, each once."""
        return list(dict.fromkeys(note for made in self for note in made["first"]["notes"]))

    @property
    def document(self) -> ManifestDocument:
        """The manifest as plain values; of thousands of pictures they take much memory."""
        joined = self.first.copy()
        joined["devices"], joined["pictures"] = list(self.devices), list(self.pictures)
        joined["inputs"], joined["notes"] = list(self.inputs), self.notes
        return joined

    def text(self) -> Iterator[str]:
        """Yield the manifest as JSON that can be printed, its long lists piece by piece."""
        lists: dict[str, Iterable[str]] = {
            "devices": (made["devices"] for made in self),
            "inputs": (_INPUT.format(json_value(name), each.size, each.sha256) for name, each in self.seen.items()),
            "pictures": (made["pictures"] for made in self),
        }
        before = "{\n  "
        for key, value in {**self.first, "notes": self.notes}.items():
            yield f"{before}{json_value(key)}: "
            before = ",\n  "
            if key in lists:
                inside = "[\n    "
                for items in filter(None, lists[key]):
                    yield f"{inside}{items}"
                    inside = ",\n    "
                yield "\n  ]" if inside[0] == "," else "[]"
            else:
                yield json_value(value, 2)
        yield "\n}\n"


def digest_of_inputs(inputs: Iterable[tuple[str, int, str]]) -> str | None:
    """Return one SHA-256 for all files that a build is made from: names, sizes, SHA-256; None when none is known."""
    listed = [list(item) for item in inputs]
    return hashlib.sha256(json.dumps(listed).encode()).hexdigest() if listed else None


def read_manifest(output: Path) -> Manifest | None:
    """Return the manifest of an output folder, or None when nothing was built there.

    Raises
    ------
    DocumentError
        When it is damaged.
    """
    return read_document(output / FILE, Manifest, "build again")
