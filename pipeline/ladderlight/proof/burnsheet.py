"""The burn sheet: what to burn into which chip, with what the programmer must show, on a page for the bench."""

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import TypedDict

from markupsafe import Markup

from ladderlight.board import Board, Part
from ladderlight.devices.documents import DeviceDocument, ManifestDocument
from ladderlight.proof.board_words import cautions
from ladderlight.proof.templating import fill
from ladderlight.units.words import address, address_digits

_WIDTH = 78


class BurnPart(TypedDict):
    """What a tray, or a build without trays, has on the burn sheet."""

    title: str
    chips: Sequence[str]
    """By their labels."""
    burn: Sequence[str]
    """The chips to burn."""
    notes: Sequence[str]
    text: str
    page: str
    """As HTML."""
    labels: str
    """To cut out, as HTML; empty where there are no trays."""


def burn_part(board: Board, manifest: ManifestDocument) -> BurnPart:
    """Return the part of the burn sheet on the chips of a tray, or of a build without trays, from its manifest."""
    parts = {device.name: device.part for device in board.devices}
    devices, title = labelled(manifest), title_of(manifest)
    text = (line for device in manifest["devices"] for line in ["", *_device(device, parts[device["name"]])])
    return {
        "title": title,
        "chips": [str(device["label"]) for device in devices],
        "burn": [str(device["label"]) for device in devices if device["changed"]],
        "notes": manifest["notes"],
        "text": "\n".join(text),
        "page": fill("burn-chips.html", devices=devices, parts=parts, level=2),
        "labels": fill("burn-labels.html", devices=devices, project=title).rstrip(),
    }


def burn_sheet(board: Board, parts: Sequence[BurnPart]) -> str:
    """Return the burn sheet as plain text, 78 columns wide."""
    title = f"Burn sheet: {parts[0]['title']}"
    lines = [title, "=" * min(len(title), _WIDTH), "", *_wrapped(_lead(parts)), *(part["text"] for part in parts)]
    notes = _notes(parts)
    if notes:
        lines += ["", "Notes", "-----"]
    for note in notes:
        lines += _wrapped(note, indent="- ", hang=2)
    lines += ["", "Cautions", "--------"]
    for caution in cautions(board):
        lines += _wrapped(caution, indent="- ", hang=2)
    return "\n".join([*lines, ""])


def burn_page(board: Board, parts: Sequence[BurnPart]) -> str:
    """Return the burn sheet as one HTML document to print: a box to tick for every chip."""
    return fill(
        "burn-sheet.html",
        project=parts[0]["title"],
        lead=_lead(parts),
        chips=Markup("").join(Markup(part["page"]) for part in parts),  # noqa: S704 - of our own templates
        labels=Markup("\n").join(Markup(part["labels"]) for part in parts if part["labels"]),  # noqa: S704
        notes=_notes(parts),
        cautions=cautions(board),
    )


def _lead(parts: Sequence[BurnPart]) -> str:
    burn = [label for part in parts for label in part["burn"]]
    if not burn:
        return "Nothing to burn: every chip holds what it should."
    return f"Burn {len(burn)} of {sum(len(part['chips']) for part in parts)}: {'; '.join(burn)}."


def _notes(parts: Sequence[BurnPart]) -> list[str]:
    return list(dict.fromkeys(note for part in parts for note in part["notes"]))


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
