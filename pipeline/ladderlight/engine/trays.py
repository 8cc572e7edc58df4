"""Trays: complete sets of chips, and the pictures that each holds."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from ladderlight.engine.cards import card_origins
from ladderlight.engine.plan import Plan
from ladderlight.errors import ArrangementError, Fault, Problem
from ladderlight.flow.pictures import Origin
from ladderlight.recipe import PictureFile, Recipe
from ladderlight.recipe.language.model import CardUse
from ladderlight.stages.boundary import HooksOf
from ladderlight.system.frozen import Frozen


class Tray(Frozen):
    """One complete set of chips with its pictures. ``number`` is None where a recipe has one set only."""

    number: int | None = None
    files: tuple[PictureFile, ...] = ()
    cards: Mapping[str, CardUse] = field(default_factory=dict)
    """By the name of each card's picture."""

    @property
    def folder(self) -> str:
        """Its folder, with a slash; empty where there is one set only."""
        return folder_of(self.number)

    def place(self, where: str) -> str:
        """Return a place in it, in words."""
        return place_in(self.number, where)


def folder_of(number: int | None) -> str:
    """Return the folder of a tray, with a slash."""
    return "" if number is None else f"tray-{number:02d}/"


def place_in(number: int | None, where: str) -> str:
    """Return a place in a tray, in words."""
    return where if number is None else f"tray {number}, {where}"


def deal(plan: Plan, frames: Mapping[PictureFile, int]) -> tuple[Tray, ...]:
    """Deal the pictures and cards of a recipe to trays, in order.

    The frames of a file, and those of an animation, stay in one tray. A picture whose bank is taken waits for the next
    tray. Trays that nothing is dealt to are left out. ``frames`` is how many frames each file has.

    Raises ArrangementError with one line for each picture that cannot be dealt.
    """
    recipe, cards = plan.recipe, plan.cards
    if recipe.per_tray is None or not (recipe.files or cards):
        return (Tray(files=recipe.files, cards=cards),)
    hands = [*_files(plan, frames), *_cards(cards)]
    table = _Table(size=recipe.per_tray)
    faults = [fault for hand in hands for fault in table.refusals(hand)]
    if faults:
        raise ArrangementError.of(faults)
    dealt: dict[int, list[_Hand]] = defaultdict(list)
    for hand in sorted(hands, key=lambda hand: not hand.trays):  # what has its tray takes its place first
        dealt[table.put(hand)].append(hand)
    return tuple(
        Tray(
            number=number,
            files=tuple(sorted((file for hand in dealt[number] for file in hand.files), key=plan.numbers.__getitem__)),
            cards={name: card for name, card in cards.items() if any(hand.card == name for hand in dealt[number])},
        )
        for number in sorted(dealt)
    )


def crowding(recipe: Recipe, trays: Iterable[Tray], frames: Iterable[Origin]) -> Iterator[tuple[str, Problem]]:
    """Yield why the arrangements will not find room for the frames and cards of a tray, with the place."""
    origins: dict[str, list[Origin]] = defaultdict(list)
    for origin in frames:
        origins[origin.source].append(origin)
    for tray in trays:
        known = [origin for file in tray.files for origin in origins[file.source]]
        known += card_origins(tray.cards, known, recipe.board)
        for use in recipe.chain:
            stage = use.declaration
            for problem in HooksOf(stage, recipe.board, use.options, recipe.viewing).capacity(known):
                yield tray.place(stage.name), problem


@dataclass(frozen=True, kw_only=True, slots=True)
class _Hand:
    """What goes into one tray together: a file, the files of an animation, or a card."""

    what: str
    frames: int
    trays: frozenset[int]
    banks: frozenset[int]
    files: tuple[PictureFile, ...] = ()
    card: str = ""


@dataclass(kw_only=True)
class _Table:
    """The trays while they are dealt to: how many pictures each holds, and which banks are taken."""

    size: int
    counts: dict[int, int] = field(default_factory=lambda: defaultdict(int))
    banks: dict[int, set[int]] = field(default_factory=lambda: defaultdict(set))
    current: int = 1

    def refusals(self, hand: _Hand) -> Iterator[Fault]:
        """Yield what keeps a hand out of every tray."""
        if len(hand.trays) > 1:
            shown = ", ".join(map(str, sorted(hand.trays)))
            yield Fault(where=hand.what, message=f"an animation cannot be in trays {shown}; choose one of them")
        if hand.frames > self.size:
            yield Fault(
                where=hand.what,
                message=f"{hand.frames} frames must stay in one tray, but per_tray allows {self.size}; raise per_tray, "
                'or read fewer frames with "every"',
            )

    def put(self, hand: _Hand) -> int:
        """Return the tray of a hand. The arrangement reports a tray that lacks room for it."""
        number = next(iter(hand.trays), self.current)
        while not hand.trays and (self.counts[number] + hand.frames > self.size or self.banks[number] & hand.banks):
            number += 1
        if not hand.trays and not hand.banks:
            self.current = number
        self.counts[number] += hand.frames
        self.banks[number] |= hand.banks
        return number


def _files(plan: Plan, frames: Mapping[PictureFile, int]) -> Iterator[_Hand]:
    recipe = plan.recipe
    for files in (unit.files for unit in plan.units):
        banks = {file: bank for file in files if (bank := recipe.bank_for(file)) is not None}
        yield _Hand(
            what=files[0].source,
            frames=sum(frames[file] for file in files),
            trays=frozenset(tray for file in files if (tray := recipe.tray_for(file)) is not None),
            banks=frozenset(bank + index for file, bank in banks.items() for index in range(frames[file])),
            files=files,
        )


def _cards(cards: Mapping[str, CardUse]) -> Iterator[_Hand]:
    for name, card in cards.items():
        trays, banks = (frozenset() if value is None else frozenset([value]) for value in (card.tray, card.bank))
        yield _Hand(what=f"card {name!r}", frames=1, trays=trays, banks=banks, card=name)
