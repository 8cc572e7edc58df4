"""What is recorded of a recipe's chips, in a file that all recipes of a folder share, and recording more."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from ladderlight.board import Board, Finding
from ladderlight.engine.trays import place_in
from ladderlight.errors import BuildError, DocumentError, LadderlightError, UsageError, nearest_word
from ladderlight.recipe import Recipe
from ladderlight.storage.locking import BusyError, locked
from ladderlight.storage.writing import write_whole
from ladderlight.system.frozen import Frozen
from ladderlight.units.arrays import Bytes
from ladderlight.units.words import joined
from ladderlight.workspace.burned import FILE, burn_of, chip_of
from ladderlight.workspace.documents import DamageError, read_document
from ladderlight.workspace.last_build import LastBuild, last_build
from ladderlight.workspace.manifest import inputs_digest_of

if TYPE_CHECKING:
    from ladderlight.workspace.models import Chip, Record

_ACTION = "record the chips again with ladderlight burned, which keeps the damaged file under another name"
_PATIENCE = 60.0


class Recorded(Frozen):
    """The chips of a revision of a recipe, those of the whole folder, and what is wrong with the record."""

    chips: tuple[Chip, ...] = ()
    record: Record | None = None
    """None where nothing is recorded, or it is damaged."""
    findings: tuple[Finding, ...] = ()

    def of_tray(self, number: int = 1) -> dict[str, Chip]:
        """Return the chips of a tray by device."""
        return {chip.device: chip for chip in self.chips if chip.tray == number}

    def images(self, board: Board, tray: int = 1) -> dict[str, Bytes]:
        """Return the bytes of each recorded device of a tray that still has the size that the board gives it."""
        sizes = {device.name: device.part.bytes for device in board.devices}
        same = {name: chip for name, chip in self.of_tray(tray).items() if chip.bytes == sizes.get(name)}
        return {name: image for name, chip in same.items() if (image := chip.contents) is not None}


def key_of(recipe: Recipe) -> str:
    """Return the name by which a record means a recipe: that of its file, escaped where it is not UTF-8."""
    return os.fsencode(recipe.path.name).decode("utf-8", "backslashreplace")


def recorded_chips(recipe: Recipe) -> Recorded:
    """Read what is recorded of a recipe's chips. A damaged record is a caution, and counts as none."""
    path = recipe.folder / FILE
    try:
        return _recorded(recipe, path)
    except DocumentError as error:
        cautions = [Finding(level="caution", where=fault.where, message=fault.message) for fault in error.faults]
        return Recorded(findings=tuple(cautions))


def record_chips(
    recipe: Recipe, build: LastBuild, names: Sequence[str] = (), trays: Sequence[int] = ()
) -> tuple[list[Chip], tuple[Finding, ...]]:
    """Record that devices (all of them when none is named) now hold what the last build gave, in some or all trays.

    Returns
    -------
    The new entries, and cautions: where a damaged record is kept. Entries of others stay as they are.

    Raises
    ------
    UsageError
        When the board has no device of a name, or the build no such tray.
    BuildError
        When the record cannot be written.
    """
    from ladderlight.workspace.models import Record

    devices = {device.name: device for device in recipe.board.devices}
    for name in names:
        if name not in devices:
            raise UsageError(f"the board has no device {name!r}; {nearest_word(name, devices)}")
    manifest, path = build.manifest, recipe.folder / FILE
    made = {"inputs": inputs_digest_of(manifest), "versions": manifest.get("versions") or None}
    made |= {"revision": recipe.revision} if recipe.revision else {}
    new = [
        chip_of(key_of(recipe), devices[name], tray.images[name], tray=tray.number or 1, **made)
        for tray in map(build.tray, build.numbers(trays))
        for name in names or devices
    ]
    with _alone_in(recipe.folder):
        cautions: tuple[Finding, ...] = ()
        try:
            recorded = _recorded(recipe, path)
        except DamageError as error:
            what = error.faults[0].message.removesuffix(f"; {_ACTION}")
            cautions = (_caution(path, f"{what}; kept as {_set_aside(path).name}, and the record begins anew"),)
            recorded = Recorded()
        write_whole(path, (recorded.record or Record()).with_chips(new).text.encode())
    return new, cautions


def burn_findings(recipe: Recipe) -> list[Finding]:
    """Return a note for each chip that differs from the last build; none before chips have been recorded."""
    recorded = recorded_chips(recipe)
    found = list(recorded.findings)
    if not recorded.chips:
        return found
    try:
        build = last_build(recipe.output, recipe.board, recipe.owner)
        for tray in map(build.tray, build.numbers()):
            held = recorded.of_tray(tray.number or 1)
            for device in recipe.board.devices:
                burn = burn_of(held.get(device.name), device, tray.images[device.name])
                if burn.needed:
                    where = place_in(tray.number, f"device {device.name}")
                    found.append(Finding(level="note", where=where, message=burn.text))
    except DocumentError:
        pass  # reported by the caution about the last build
    except LadderlightError as error:
        if (recipe.output / "manifest.json").exists():
            found.append(Finding(level="note", where="last build", message=f"no comparison with the chips: {error}"))
        return found
    return found


def _recorded(recipe: Recipe, path: Path) -> Recorded:
    """Choose a recipe's chips; those of format 1 are its own where no other recipe of the folder has such devices."""
    if not os.path.lexists(path):
        return Recorded()
    from ladderlight.workspace.models import Record

    record = read_document(path, Record, _ACTION) or Record()
    key = key_of(recipe)
    devices = {device.name: device for device in recipe.board.devices}
    unclaimed = {chip.device: chip for chip in record.of_recipe(None)} if recipe.revision is None else {}
    claimed = {chip.device for chip in record.of_recipe(key) if chip.tray == 1}
    open_ = [name for name in devices if name in unclaimed and name not in claimed]
    others = recipe.neighbours if open_ else ()
    rivals = {name: [other.name for other in others if other.has(name, unclaimed[name].part)] for name in open_}
    record = record.adopted_by(key, [name for name in open_ if not rivals[name]])
    findings = []
    doubtful = [name for name in open_ if rivals[name]]
    if doubtful:
        names = ", ".join(dict.fromkeys(other for name in doubtful for other in rivals[name]))
        what = f"{', '.join(doubtful)} may belong to {recipe.path.name} or to {names}"
        findings.append(_caution(path, f"{what}; record these chips again with ladderlight burned"))
    own = record.of_recipe(key, recipe.revision)
    findings += _orphans(recipe, record, path) if not own else []
    sizes = {name: device.part.bytes for name, device in devices.items()}  # chips of another size are not looked at
    damaged = [chip for chip in own if chip.bytes == sizes.get(chip.device) and chip.contents is None]
    for chip in damaged:
        whose = f" of tray {chip.tray}" if chip.tray > 1 else ""
        what = f"the image of device {chip.device!r}{whose} is damaged"
        findings.append(_caution(path, f"{what}; record this chip again"))
    good = tuple(chip for chip in own if chip not in damaged)
    return Recorded(chips=good, record=record, findings=tuple(findings))


def _orphans(recipe: Recipe, record: Record, path: Path) -> list[Finding]:
    """Return a caution where nothing is recorded of a recipe, but chips of its devices are of one that is gone."""
    devices = {(device.name, device.part.number) for device in recipe.board.devices}
    names = {chip.recipe for chip in record.chips if chip.recipe and (chip.device, chip.part) in devices}
    gone = sorted(name for name in names if not os.path.lexists(recipe.folder / name))
    if not gone:
        return []
    what = f"has chips of {joined(gone)}, which {'is' if len(gone) == 1 else 'are'} gone"
    action = f"if that is {recipe.path.name} under its former name, record the chips again with ladderlight burned"
    return [_caution(path, f"{what}; {action}")]


def _caution(path: Path, message: str) -> Finding:
    return Finding(level="caution", where=str(path), message=message)


def _set_aside(path: Path) -> Path:
    """Rename a damaged record to a name that is free."""
    number = 1
    while (aside := path.with_name(f"{path.stem}-damaged{f'-{number}' * (number > 1)}{path.suffix}")).exists():
        number += 1
    try:
        return path.rename(aside)
    except OSError as error:
        raise BuildError(f"cannot be renamed ({error.strerror}); move it away", where=path) from None


@contextmanager
def _alone_in(folder: Path) -> Iterator[None]:
    """Keep other processes that record chips in a folder waiting, where system and file system can lock a folder."""
    with ExitStack() as stack:
        with suppress(OSError):
            try:
                stack.enter_context(locked(folder, patience=_PATIENCE))
            except BusyError:
                raise BuildError("another program records chips here; try again", where=folder) from None
        yield
