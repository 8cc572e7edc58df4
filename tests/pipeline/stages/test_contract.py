"""The stage contract."""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest

from ladderlight import (
    Board,
    CodedPicture,
    Contents,
    Demand,
    DeviceFile,
    DeviceFileError,
    Example,
    Kept,
    Option,
    Origin,
    Picture,
    PictureError,
    Problem,
    refuse,
    stage,
)
from ladderlight.errors import PluginError
from ladderlight.stages.boundary import HooksOf
from ladderlight.stages.chain import check_chain
from ladderlight.stages.declaration import OptionDeclaration, declaration_of
from ladderlight.stages.kinds import Kind, flow_type, kind_of
from ladderlight.stages.registry import installed_stages


@stage(help="Reads.")
def source(path: Path, demand: Demand) -> list[Picture]: ...


@stage(help="Changes.")
def change(
    picture: Picture,
    board: Board,
    *,
    amount: Annotated[float, Option("how much", minimum=0, maximum=2)] = 1.0,
    side: Annotated[Literal["left", "right"], Option("which side")] = "left",
    pause: Annotated[float, Option("how long", unit="s")] = 0.0,
    count: int = 3,
) -> Picture: ...


@stage(help="Draws.")
def draw(board: Board, origin: Origin, *, number: int = 0) -> CodedPicture: ...


@stage(help="Reduces.")
def reduce(picture: Picture, board: Board) -> CodedPicture: ...


@stage(help="Marks.")
def mark(picture: CodedPicture) -> CodedPicture: ...


@stage(help="Arranges.")
def arrange(pictures: Sequence[CodedPicture], board: Board) -> Contents: ...


@stage(help="Emits.")
def emit(contents: Contents, board: Board) -> list[DeviceFile]: ...


usual = installed_stages().usual
STAGES = {
    Kind.SOURCE: source,
    Kind.CARD: draw,
    Kind.PICTURE: change,
    Kind.REDUCTION: reduce,
    Kind.CODED: mark,
    Kind.ARRANGEMENT: arrange,
    Kind.EMISSION: emit,
}


def declarations(*kinds: Kind) -> list[Any]:
    return [declaration_of(STAGES[kind]) for kind in kinds]


@pytest.mark.parametrize("kind", list(Kind))
def test_kind_is_read_off_the_annotations(kind: Kind) -> None:
    assert declaration_of(STAGES[kind]).kind is kind


def test_a_stage_stays_a_function_and_gets_what_its_signature_asks_for() -> None:
    seen: list[Any] = []

    @stage(help="Notes what it is given.")
    def noting(path: Path, board: Board, demand: Demand, *, frames: int = 1) -> list[Picture]:
        seen.extend((path, board, demand, frames))
        return []

    demand = Demand(width=3, height=4)
    declaration_of(noting).run(Path("a"), "the board", {"frames": 2}, demand=demand)  # type: ignore[arg-type]
    assert seen == [Path("a"), "the board", demand, 2]


def test_options_come_from_keyword_only_parameters() -> None:
    options = {option.name: option for option in declaration_of(change).options}
    assert list(options) == ["amount", "side", "pause", "count"]
    assert options["amount"].type_text == "number, 0 to 2"
    assert options["side"].type_text == '"left", "right"'
    assert options["pause"].type_text == "number in s"
    assert options["amount"].default == 1.0
    assert options["side"].option.help == "which side"


def test_an_example_is_part_of_the_declaration() -> None:
    @stage(help="Marks.", example=Example(options={"by": 2}))
    def shown(picture: CodedPicture) -> CodedPicture: ...

    assert declaration_of(shown).example.options == {"by": 2}
    assert declaration_of(mark).example == Example()


@pytest.mark.parametrize(
    ("annotation", "text"),
    [
        (tuple[float, float], "list of two numbers"),
        (tuple[int, str], "list of whole number, text"),
        (list[str], "list of text"),
        (list[list[float]], "list of lists of numbers"),
        (dict[str, float], "table of numbers"),
        (int | None, "whole number"),
        (Literal["all"] | int, '"all" or whole number'),
        (type("Colour", (str,), {}), "colour"),
    ],
)
def test_types_are_said_in_words(annotation: Any, text: str) -> None:
    option = OptionDeclaration(name="o", annotation=annotation, default=None, required=False, option=Option("help"))
    assert option.type_text == text


def test_good_options_are_converted() -> None:
    values, problems = declaration_of(change).check({"amount": 2, "pause": "20 ms"})
    assert problems == []
    assert values == {"amount": 2.0, "pause": pytest.approx(0.02)}


@pytest.mark.parametrize(
    ("raw", "where", "words"),
    [
        ({"amuont": 1}, ("amuont",), ["amuont", "did you mean 'amount'?"]),
        ({"amount": 3}, ("amount",), ["3", "2"]),
        ({"amount": True}, ("amount",), ["true"]),
        ({"count": True}, ("count",), ["true"]),
        ({"count": 1.5}, ("count",), ["1.5"]),
        ({"side": "lfet"}, ("side",), ["lfet", "did you mean 'left'?"]),
        ({"pause": "3 ohm"}, ("pause",), ["ohm"]),
    ],
)
def test_bad_options_are_problems_that_say_what_to_do(raw: Any, where: Any, words: list[str]) -> None:
    _, problems = declaration_of(change).check(raw)
    assert [problem.where for problem in problems] == [where]
    for word in words:
        assert word in str(problems[0]).lower()


def test_swallowing_parameters_are_refused() -> None:
    @stage(help="Swallows.")
    def swallow(picture: Picture, **more: int) -> Picture: ...

    with pytest.raises(PluginError, match=r"stage 'swallow'.*\*\*more"):
        declaration_of(swallow)


def test_an_unknown_kind_is_refused_with_the_known_ones() -> None:
    @stage(help="Odd.")
    def odd(picture: Picture) -> Contents: ...

    with pytest.raises(PluginError, match=r"stage 'odd'.*Picture -> Picture"):
        declaration_of(odd)


def test_an_unmarked_function_is_refused() -> None:
    def plain(picture: Picture) -> Picture: ...

    with pytest.raises(PluginError, match="mark the function with @stage"):
        declaration_of(plain)


Pics = Sequence[Picture]


@pytest.mark.parametrize(
    ("first", "result", "kind"),
    [
        (Path, Pics, Kind.SOURCE),
        (Path, Iterator[Picture], Kind.SOURCE),
        (Path, Generator[Picture, None, None], Kind.SOURCE),
        (Annotated[Picture, "in linear light"], Picture, Kind.PICTURE),
        (Board, CodedPicture, Kind.CARD),
        (tuple[CodedPicture, ...], Contents, Kind.ARRANGEMENT),
        (Contents, Sequence[DeviceFile], Kind.EMISSION),
        (Contents, Picture, None),
        (set[CodedPicture], Contents, None),
    ],
)
def test_kinds_follow_from_types(first: Any, result: Any, kind: Kind | None) -> None:
    assert kind_of(flow_type(first), flow_type(result)) is kind


def test_a_type_that_only_has_the_name_of_a_picture_is_none() -> None:
    class Picture: ...

    def paint(picture): ...

    paint.__annotations__ = {"picture": Picture, "return": Picture}
    with pytest.raises(PluginError, match="of no known kind"):
        declaration_of(stage(help="Paints.")(paint))


def test_a_whole_chain_is_accepted() -> None:
    chain = declarations(
        Kind.SOURCE,
        Kind.PICTURE,
        Kind.PICTURE,
        Kind.REDUCTION,
        Kind.CODED,
        Kind.ARRANGEMENT,
        Kind.ARRANGEMENT,
        Kind.EMISSION,
        Kind.EMISSION,
    )
    assert check_chain(chain, usual) == []


def test_stages_in_the_wrong_order_are_both_named() -> None:
    chain = declarations(Kind.SOURCE, Kind.REDUCTION, Kind.PICTURE, Kind.ARRANGEMENT, Kind.EMISSION)
    (problem,) = check_chain(chain, usual)
    assert problem.where == (2,)
    assert problem.what == ("stage 'change' (picture to picture) cannot follow 'reduce' (picture to coded picture)")
    assert problem.action == "put 'change' before 'reduce'"


def test_a_card_belongs_in_no_chain() -> None:
    (problem,) = check_chain(declarations(Kind.SOURCE, Kind.CARD, Kind.REDUCTION), usual)
    assert (problem.where, problem.action) == ((1,), 'write cards = ["draw"] in [pictures]')


def test_only_a_card_is_given_its_origin() -> None:
    def asks(picture: Picture, origin: Origin) -> Picture: ...

    with pytest.raises(PluginError, match="only a card is given its origin"):
        declaration_of(stage(help="Asks.")(asks))


def test_two_reductions_cannot_stand_in_one_chain() -> None:
    chain = declarations(Kind.SOURCE, Kind.REDUCTION, Kind.REDUCTION, Kind.ARRANGEMENT, Kind.EMISSION)
    (problem,) = check_chain(chain, usual)
    assert problem.action == "keep one of the two"


@pytest.mark.parametrize("missing", [Kind.SOURCE, Kind.REDUCTION, Kind.ARRANGEMENT, Kind.EMISSION])
def test_a_missing_kind_is_named_with_a_stage_to_add(missing: Kind) -> None:
    needed = [Kind.SOURCE, Kind.REDUCTION, Kind.ARRANGEMENT, Kind.EMISSION]
    (problem,) = check_chain(declarations(*(kind for kind in needed if kind is not missing)), usual)
    assert missing.phrase in problem.what
    added = installed_stages().get(problem.action.removeprefix("add use = ").strip('"'))
    assert added.kind is missing


def test_a_rule_is_given_the_board_and_all_options():
    seen = []

    def rule(board, options):
        seen.append((board, dict(options)))
        if options["count"] > 3:
            yield Problem(where=("count",), what="too many", action="use 3")

    @stage(help="Counts.", rule=rule)
    def counting(picture: Picture, *, count: int = 3, side: str = "left", more: int) -> Picture: ...

    declaration = declaration_of(counting)
    assert HooksOf(declaration, "the board", {"more": 1}).problems() == []
    (problem,) = HooksOf(declaration, "the board", {"count": 4, "more": 1}).problems()
    assert (problem.where, str(problem)) == (("count",), "too many; use 3")
    assert seen == [
        ("the board", {"count": 3, "side": "left", "more": 1}),
        ("the board", {"count": 4, "side": "left", "more": 1}),
    ]
    assert HooksOf(declaration_of(change), "the board", {}).problems() == []


@pytest.mark.parametrize("hooks", [{"capacity": lambda origins, board, options: []}, {"needs_pictures": False}])
def test_only_an_arrangement_has_a_capacity_or_needs_no_pictures(hooks: dict[str, Any]) -> None:
    @stage(help="Crowds.", **hooks)
    def crowd(pictures: Sequence[CodedPicture]) -> Contents: ...

    @stage(help="Crowds.", **hooks)
    def lonely(picture: Picture) -> Picture: ...

    declared = declaration_of(crowd)
    assert (declared.hooks.get("capacity"), declared.needs_pictures) == (
        hooks.get("capacity"),
        hooks.get("needs_pictures", True),
    )
    with pytest.raises(PluginError, match="only an arrangement places pictures; leave out capacity and needs_pictures"):
        declaration_of(lonely)


def test_a_hook_that_asks_for_what_is_not_known_is_refused() -> None:
    def rule(board: Board, options: Any, moon: int) -> list[Problem]: ...

    @stage(help="Glows.", rule=rule)
    def glow(picture: Picture) -> Picture: ...

    with pytest.raises(
        PluginError,
        match=r"the rule of stage 'glow'.*'moon' is of no type that can be injected; annotate it Board or Viewing",
    ):
        declaration_of(glow)


def test_only_a_reduction_keeps_codes() -> None:
    @stage(help="Keeps.")
    def keep(picture: CodedPicture, kept: Kept) -> CodedPicture: ...

    with pytest.raises(PluginError, match="only a reduction keeps codes"):
        declaration_of(keep)


def test_the_first_problem_is_raised_and_none_is_no_error() -> None:
    outside = Problem(where=("focus",), what="focus is outside", action="move it in")
    unknown = Problem(where=("keep",), what="keep is unknown", action="")
    refuse((), PictureError)
    with pytest.raises(PictureError, match=r"^focus is outside; move it in$"):
        refuse(iter([outside, unknown]), PictureError)
    with pytest.raises(DeviceFileError, match=r"^keep is unknown$"):
        refuse([unknown], DeviceFileError)
