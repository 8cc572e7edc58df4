"""The plan of a build, made before anything runs: what is worked out of which files, and by which keys it is known.

A node is a unit taken through the stages up to a point. A unit is one file, or the files of one animation: from the
reduction on, each of its frames may need the one before. Results are kept at two points, before the reduction and at
the end, and where a survey stops all pictures on their way. A survey is a fold over all units.

A node's key is the digest of all that its result may depend on: the files' contents and names, and of each stage the
code, the options, the size that is needed of a source, the viewing, the survey's total, and what the stage has asked
of the board. The last is known only when the stage has run: nodes are looked for by what those before have used.
"""

import hashlib
import pickle
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import compress, count
from secrets import token_hex
from typing import Self

from ladderlight.cache.marks import Seen
from ladderlight.engine.board_use import BoardDigests, Used
from ladderlight.flow.pictures import Origin, file_name, matching
from ladderlight.recipe import PictureFile, Recipe
from ladderlight.recipe.headers import origin_of, unique_names
from ladderlight.recipe.language.model import CardUse
from ladderlight.stages.boundary import HooksOf
from ladderlight.stages.code import code_of, reads_files
from ladderlight.stages.contract import Demand, Survey
from ladderlight.stages.kinds import Kind
from ladderlight.system.frozen import Frozen
from ladderlight.system.value import digest_of


@dataclass(frozen=True, kw_only=True, slots=True)
class Unit:
    """One file, or the files of one animation, in order.

    ``still`` is up to which distance a colour counts as unchanged; None where the files do not say.
    """

    files: tuple[PictureFile, ...]
    still: float | None = None


class Fold(Frozen):
    """The total of a survey, and its digest; empty when it has none, so that nothing after it is kept."""

    survey: Survey
    digest: str

    @classmethod
    def of(cls, total: object) -> Self:
        """Take a total."""
        try:
            digest = hashlib.sha256(pickle.dumps(total, 5)).hexdigest()
        except Exception:  # noqa: BLE001 - what a plugin adds up may be anything
            digest = ""
        return cls(survey=Survey(total=total), digest=digest)


Folds = Mapping[int, Fold]
"""What the surveys of a chain's stages have seen, by the stage's index."""


class Base(Frozen):
    """What the keys of a node have in common.

    ``sort`` is shared by all nodes of the same stages; ``lasting`` is whether the node's result may be found again by
    a later build.
    """

    text: str
    sort: str
    lasting: bool


class Plan(Frozen, eq=False):
    """The plan of a recipe's pictures."""

    recipe: Recipe
    seen: Mapping[str, Seen] = field(default_factory=dict)
    """The files as they were read, by their sources. Results of a file that was not are good for this build alone."""
    nonce: str = field(default_factory=token_hex)
    _demands: dict[tuple[int, ...], Demand] = field(default_factory=dict)
    _known_steps: dict[tuple[object, ...], str] = field(default_factory=dict)

    @cached_property
    def names(self) -> dict[PictureFile, str]:
        """The name of each file's pictures."""
        return unique_names(self.recipe.files)

    @cached_property
    def numbers(self) -> dict[PictureFile, int]:
        """The number of each file in the recipe."""
        return {file: number for number, file in enumerate(self.recipe.files)}

    @cached_property
    def cards(self) -> dict[str, CardUse]:
        """The cards, each by the name of its stage, with a number where a picture or card has that name already."""
        taken = set(self.names.values())
        found: dict[str, CardUse] = {}
        for card in self.recipe.cards:
            name = next(name for name in _numbered(card.declaration.name) if name not in taken)
            taken.add(name)
            found[name] = card
        return found

    @cached_property
    def reduction(self) -> int:
        """Index of the reduction in the chain."""
        return next(at for at, use in enumerate(self.recipe.chain) if use.declaration.kind is Kind.REDUCTION)

    @cached_property
    def end(self) -> int:
        """Index after the last stage that sees one picture at a time."""
        return 1 + max(at for at, use in enumerate(self.recipe.chain) if use.declaration.kind.per_picture)

    @cached_property
    def units(self) -> tuple[Unit, ...]:
        """The units, in the order of their first files. Of several animations that a file belongs to the first counts.

        Every file that belongs to none stands alone.
        """
        recipe = self.recipe
        alone = dict.fromkeys(recipe.files)
        units = []
        for use in recipe.chain:
            if use.declaration.kind is not Kind.ARRANGEMENT:
                continue
            animation = HooksOf(use.declaration, recipe.board, use.options, recipe.viewing).animation()
            if animation is None:
                continue
            named = [(file, (self.names[file], file_name(file.source))) for file in recipe.files]
            members = tuple(file for file in matching(animation.match, named) if file in alone)
            for file in members:
                del alone[file]
            if members:
                units.append(Unit(files=members, still=animation.still))
        return tuple(sorted((*units, *(Unit(files=(file,)) for file in alone)), key=lambda u: self.numbers[u.files[0]]))

    @cached_property
    def _animated(self) -> frozenset[PictureFile]:
        return frozenset(file for unit in self.units if unit.still is not None for file in unit.files)

    @cached_property
    def looks(self) -> dict[int, frozenset[PictureFile]]:
        """The stages that look at pictures first, by index, and at which files."""
        recipe, found = self.recipe, {}
        for at, stage in enumerate(use.declaration for use in recipe.chain):
            if "survey" not in stage.hooks:
                continue
            looking = (
                HooksOf(stage, recipe.board, recipe.options_for(file, at), recipe.viewing).look(file.source)
                for file in recipe.files
            )
            if looked := frozenset(compress(recipe.files, looking)):
                found[at] = looked
        return found

    @cached_property
    def points(self) -> tuple[int, ...]:
        """The indices of the stages before which pictures are kept."""
        return tuple(sorted({self.reduction, *(at for at in self.looks if at < self.reduction)}))

    @cached_property
    def returns(self) -> bool:
        """Whether one build comes back to pictures that reach the reduction: after surveys, and for animations."""
        return bool(self.looks) or any(len(unit.files) > 1 for unit in self.units)

    def origin(self, file: PictureFile, index: int) -> Origin:
        """Return the origin of a frame of a file."""
        return origin_of(self.recipe, file, self.names[file], index, animated=file in self._animated)

    def demand(self, file: PictureFile) -> Demand:
        """Return the size that the first picture stage needs, by the demands from last to first."""
        changes = self._changes(file)
        if changes not in self._demands:
            recipe, demand = self.recipe, Demand()
            for at, use in reversed(list(enumerate(recipe.chain))):
                if (stage := use.declaration).kind is Kind.PICTURE:
                    options = recipe.options_for(file, at)
                    demand = HooksOf(stage, recipe.board, options, recipe.viewing).demand(demand, file.source)
            self._demands[changes] = demand
        return self._demands[changes]

    def base(self, files: Sequence[PictureFile], until: int, folds: Folds, *more: object) -> Base:
        """Return what the keys of a node have in common: all but what is used of the board."""
        sort = self._sorts[until]
        try:
            parts = [
                (self.seen[file.source].sha256, repr(self.origin(file, 0)), self._steps(file, until, folds))
                for file in files
            ]
            return Base(text=digest_of((sort, parts, more)), sort=sort, lasting=True)
        except (KeyError, TypeError):  # not known, or options or totals that are not plain
            text = digest_of((self.nonce, sort, [file.source for file in files], more))
            return Base(text=text, sort=sort, lasting=False)

    def look(self, files: Sequence[PictureFile], at: int) -> tuple[object, ...]:
        """Return what a look at files depends on beside their pictures and the board."""
        alone = (self.nonce,) if self._reading[at] else ()
        return (self.recipe.viewing, self._codes[at], *alone, *(self._options(file, at) for file in files))

    def key(self, base: Base, used: Used) -> str:
        """Return the key of a node that has used this of the board."""
        return digest_of((base.text, self._board_digests.of(used)))

    def _steps(self, file: PictureFile, until: int, folds: Folds) -> str:
        """Return the digest of what the results of stages depend on; files with the same options share it."""
        key = until, self._changes(file), tuple((at, fold.digest) for at, fold in folds.items())
        if key not in self._known_steps:
            self._known_steps[key] = digest_of([self._step(file, at, folds) for at in range(until)])
        return self._known_steps[key]

    def _step(self, file: PictureFile, at: int, folds: Folds) -> tuple[object, ...]:
        """Return what a stage's result depends on beside what flows in, and the board."""
        stage = self.recipe.chain[at].declaration
        if self._reading[at]:
            raise TypeError("the stage may read other files")
        step: list[object] = [self._codes[at], self._options(file, at)]
        if "Viewing" in stage.takes:
            step.append(self.recipe.viewing)
        if "Demand" in stage.takes:
            step.append(self.demand(file))
        if "Survey" in stage.takes and at in folds:
            if not folds[at].digest:
                raise TypeError("the total of the survey is not plain")
            step.append(folds[at].digest)
        return tuple(step)

    @cached_property
    def _codes(self) -> list[str]:
        return [code_of(use.declaration) for use in self.recipe.chain]

    @cached_property
    def _sorts(self) -> list[str]:
        return [digest_of((tuple(self._codes[:until]), until)) for until in range(self.end + 1)]

    @cached_property
    def _reading(self) -> list[bool]:
        return [reads_files(use.declaration) for use in self.recipe.chain]

    def _options(self, file: PictureFile, at: int) -> str:
        return digest_of(dict(self.recipe.options_for(file, at)))

    def _changes(self, file: PictureFile) -> tuple[int, ...]:
        """Return which overrides of the recipe apply to a file."""
        return tuple(place for place, override in enumerate(self.recipe.overrides) if file in override.files)

    @cached_property
    def _board_digests(self) -> BoardDigests:
        return BoardDigests(board=self.recipe.board)


def _numbered(name: str) -> Iterator[str]:
    yield name
    yield from (f"{name}~{number}" for number in count(2))
