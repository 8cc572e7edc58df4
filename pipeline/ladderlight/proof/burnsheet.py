"""The burn sheet: what to burn into which chip, with what the programmer must show, on a page for the bench."""

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from markupsafe import Markup

from ladderlight.board import Board, Part
from ladderlight.devices.documents import DeviceDocument, ManifestDocument
from ladderlight.proof.board_words import cautions
from ladderlight.proof.templating import fill
from ladderlight.units.words import address, address_digits

_WIDTH = 78


@dataclass(kw_only=True)
class BurnSheet:
    """The burn sheet of a build, as text and as a page, after the chips of its trays are added, one tray at a time."""

    board: Board
    title: str = ""
    count: int = 0
    """How many chips there are."""
    burn: list[str] = field(default_factory=list)
    """The chips to burn, by their labels."""
    _notes: dict[str, None] = field(default_factory=dict)
    _sections: list[tuple[str, Markup]] = field(default_factory=list)
    _labels: list[Mapping[str, object]] = field(default_factory=list)

    def add(self, manifest: ManifestDocument) -> None:
        """Add the chips of a tray, or of a build without trays, from its manifest."""
        parts = {device.name: device.part for device in self.board.devices}
        devices = labelled(manifest)
        page = fill("burn-chips.html", devices=devices, parts=parts, level=2, first=self.count)
        text = (line for device in manifest["devices"] for line in ["", *_device(device, parts[device["name"]])])
        self._sections.append(("\n".join(text), Markup(page)))  # noqa: S704
        self.title = title_of(manifest)
        self.count += len(devices)
        self.burn += [str(device["label"]) for device in devices if device["changed"]]
        self._notes |= dict.fromkeys(manifest["notes"])
        if "tray" in manifest["devices"][0]:
            self._labels += [{key: device[key] for key in ("label", "part", "crc32")} for device in devices]

    def text(self) -> str:
        """Return the sheet as plain text, 78 columns wide."""
        title = f"Burn sheet: {self.title}"
        lines = [title, "=" * min(len(title), _WIDTH), ""]
        if not self.burn:
            lines += ["Nothing to burn: every chip holds what it should."]
        else:
            lines += _wrapped(f"Burn {len(self.burn)} of {self.count}: {', '.join(self.burn)}.")
        lines += [text for text, _ in self._sections]
        if self._notes:
            lines += ["", "Notes", "-----"]
        for note in self._notes:
            lines += _wrapped(note, indent="- ", hang=2)
        lines += ["", "Cautions", "--------"]
        for caution in cautions(self.board):
            lines += _wrapped(caution, indent="- ", hang=2)
        return "\n".join([*lines, ""])

    def page(self) -> str:
        """Return the sheet as one HTML document to print: a box to tick for every chip."""
        return fill(
            "burn-sheet.html",
            project=self.title,
            burn=self.burn,
            count=self.count,
            chips=[page for _, page in self._sections],
            labels=self._labels,
            notes=list(self._notes),
            cautions=cautions(self.board),
        )


def title_of(manifest: ManifestDocument) -> str:
    """Return the project's name, with the revision where it has several."""
    return f"{manifest['project']}, revision {manifest['revision']}" if "revision" in manifest else manifest["project"]


def chip_label(name: str, tray: int | None) -> str:
    """Return what a label on the chip says: its tray, where there are several, and the device."""
    return name if tray is None else f"tray {tray}, {name}"


def labelled(manifest: ManifestDocument) -> Sequence[Mapping[str, object]]:
    """Return the devices of a manifest, each with its label and the ``digits`` of its addresses."""
    return [
        {"label": chip_label(device["name"], device.get("tray")), "digits": address_digits(device["words"]), **device}
        for device in manifest["devices"]
    ]


def _device(device: DeviceDocument, part: Part) -> Iterator[str]:
    box = "[ ] burn" if device["changed"] else "[x] leave"
    head = f"{chip_label(device['name'], device.get('tray'))}  ({device['part']})"
    yield f"{head}{box:>{max(_WIDTH - len(head), len(box) + 2)}}"
    yield "-" * _WIDTH
    yield from _wrapped(f"state     {device['burn']['text']}", indent="  ", hang=12)
    yield from _wrapped(f"part      {part.package or 'package not stated'}", indent="  ", hang=12)
    yield from _wrapped(f"erasure   {part.erasing}", indent="  ", hang=12)
    for piece in device["pieces"]:
        yield f"  file      devices/{piece['file']}"
        yield (
            f"  size      {piece['bytes']:,} bytes ({piece['bytes']:04X}h)"
            + (f", loaded at {piece['offset']:04X}h" if piece["offset"] else "")
        )
        yield (
            f"  CRC-32    {piece['crc32']}    sum 16 bits {piece['sum16']}    8 bits {piece['sum8']}"
            f"    32 bits {piece['sum32']}"
        )
        # Two lines of eight groups each can be read off a screen against paper.
        groups = textwrap.wrap(piece["sha256"], 4)
        yield f"  SHA-256   {' '.join(groups[:8])}"
        # A programmer and a plain binary file have the same bytes; a file of records has more than these.
        yield f"            {' '.join(groups[8:])}" + ("" if piece["format"] == "binary" else "  of the bytes burned")
    others = [name for name in device["files"] if name not in {piece["file"] for piece in device["pieces"]}]
    if others:
        yield from _wrapped(f"beside it {', '.join(others)}", indent="  ", hang=12)
    for bank in device["banks"]:
        place = " to ".join(address(bank[end], device["words"]) for end in ("first", "last"))
        line = f"bank {bank['bank']:<5}{place}  {', '.join(bank['pictures'])}"
        yield from _wrapped(line, indent="  ", hang=14 + len(place))
    if device["last_used"] is None:
        yield "  in use    not read by the board"
    else:
        yield (
            f"  in use    {device['used_words']:,} of {device['words']:,} words, the last at "
            f"{address(device['last_used'], device['words'])}; {device['free_words']:,} not in use"
        )


def _wrapped(text: str, indent: str = "", hang: int = 0) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=indent, subsequent_indent=" " * hang)
