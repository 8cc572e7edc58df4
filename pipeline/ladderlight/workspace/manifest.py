"""The manifest: what a build has written."""

import hashlib
import json
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypedDict

from ladderlight.cache.marks import Seen
from ladderlight.devices.documents import DeviceDocument, ManifestDocument, PictureDocument
from ladderlight.system.frozen import Frozen
from ladderlight.system.printable import json_value
from ladderlight.workspace.documents import read_document

if TYPE_CHECKING:
    from ladderlight.proof.burnsheet import BurnPart

FILE = "manifest.json"
"""Name of the manifest, in the output folder."""
FORMAT: Literal[1] = 1
_INPUT = '{{\n      "file": {},\n      "bytes": {},\n      "sha256": "{}"\n    }}'  # thousands, each alike
_FEW = 32  # trays whose manifests wait as they are: to unpack those of all trays takes 0.1 s for 10,000 pictures


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
        document: ManifestDocument = json.loads("".join(self.text()))
        return document

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


def trays_of(manifest: ManifestDocument) -> tuple[int | None, ...]:
    """Return the trays that were built, in order; None alone where there is one set of chips only."""
    return tuple(dict.fromkeys(device.get("tray") for device in manifest["devices"]))


def inputs_digest_of(manifest: ManifestDocument) -> str | None:
    """Return one SHA-256 for all files that a build is made from; None when nothing is known of them."""
    inputs = manifest.get("inputs", ())
    return digest_of_inputs((each["file"], each["bytes"], each["sha256"]) for each in inputs)


def read_manifest(output: Path) -> ManifestDocument | None:
    """Return the manifest of an output folder, or None when nothing was built there.

    Raises DocumentError when it is damaged.
    """
    from ladderlight.workspace.models import Manifest

    found = read_document(output / FILE, Manifest, "build again")
    document: Any = found and found.model_dump(mode="json", exclude_unset=True)
    return document  # type: ignore[no-any-return]
