"""Headers of a recipe's pictures and the names of their frames, before any picture is decoded."""

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType

from ladderlight.board import Finding
from ladderlight.errors import PictureError
from ladderlight.flow.pictures import Origin, file_name
from ladderlight.recipe.files import PictureFile
from ladderlight.recipe.language.model import Recipe
from ladderlight.stages.boundary import HooksOf
from ladderlight.stages.contract import Probe
from ladderlight.storage.stopping import side_by_side
from ladderlight.system.frozen import Frozen

Known = Mapping[PictureFile, Probe]
"""Headers that need not be read."""


class Headers(Frozen):
    """What the headers hold, and what was found in them; files of a source without a probe stay unknown."""

    recipe: Recipe
    probes: Known
    findings: tuple[Finding, ...]

    @property
    def frames(self) -> int | None:
        """How many frames all files have; None when that is not known."""
        known = len(self.probes) == len(self.recipe.files)
        return sum(probe.frames for probe in self.probes.values()) if known else None

    def origins(self, names: Mapping[PictureFile, str]) -> list[Origin]:
        """Return the origins of the frames that are known, in the recipe's order; for names see ``unique_names``."""
        return [
            origin_of(self.recipe, file, names[file], index)
            for file, probe in self.probes.items()
            for index in range(probe.frames)
        ]


def headers_of(recipe: Recipe, unreadable: Collection[str] = (), known: Known = MappingProxyType({})) -> Headers:
    """Read the headers of all pictures, on threads, but for those that are unreadable or known."""

    def probed(file: PictureFile) -> Probe | list[Finding] | None:
        source, options = recipe.chain[0].declaration, recipe.options_for(file, 0)
        try:
            return HooksOf(source, recipe.board, options, recipe.viewing).probe(file.path, file.source)
        except PictureError as error:
            return [Finding(level="error", where=file.source, message=str(fault)) for fault in error.faults]

    files = [file for file in recipe.files if file.source not in unreadable]
    new = [file for file in files if file not in known]
    read = {**known, **dict(zip(new, side_by_side(probed, new), strict=True))}
    probes, findings = {}, list[Finding]()
    for file in files:
        match read[file]:
            case Probe() as probe:
                probes[file] = probe
                if probe.caution:
                    findings.append(Finding(level="caution", where=file.source, message=probe.caution))
            case list() as errors:
                findings += errors
    return Headers(recipe=recipe, probes=probes, findings=tuple(findings))


def origin_of(recipe: Recipe, file: PictureFile, name: str, index: int, *, animated: bool = False) -> Origin:
    """Return the origin of a frame of a file; ``name`` is that of :func:`unique_names`."""
    bank = recipe.bank_for(file)
    return Origin(
        name=f"{name}#{index}" if index else name,
        source=file.source,
        frame=index,
        bank=None if bank is None else bank + index,
        animated=animated,
    )


def _stem(source: str) -> str:
    """Return the stem of a file's name as a path has it; of thousands of files no paths are made."""
    name = file_name(source)
    end = name.rfind(".")
    return name[:end] if 0 < end < len(name) - 1 else name


def unique_names(files: Sequence[PictureFile]) -> dict[PictureFile, str]:
    """Name each file by its stem; later ones of the same stem get a number."""
    names: dict[PictureFile, str] = {}
    seen: dict[str, int] = {}
    for file in files:
        stem = _stem(file.source)
        seen[stem] = seen.get(stem, 0) + 1
        names[file] = stem if seen[stem] == 1 else f"{stem}~{seen[stem]}"
    return names
