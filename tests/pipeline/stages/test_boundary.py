"""What stages and their hooks do wrong, named with stage and plugin."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import pytest

from ladderlight import (
    Animation,
    Board,
    CodedPicture,
    Contents,
    Demand,
    DeviceFile,
    Kept,
    MemoryContents,
    Option,
    Origin,
    Picture,
    PictureError,
    Probe,
    Problem,
    Survey,
    Viewing,
    stage,
)
from ladderlight.board import Finding
from ladderlight.errors import StageFailure
from ladderlight.stages.boundary import (
    HooksOf,
    open_file,
    run_stage,
)
from ladderlight.stages.declaration import StageDeclaration, declaration_of
from ladderlight.testing import small_board

ORIGIN = Origin(name="mole", source="mole.png")


def picture(value: float, dtype: type = np.float32) -> Picture:
    pixels = np.full((2, 3, 3), 0.5, dtype=dtype)
    pixels[1, 2, 0] = value
    return Picture(origin=ORIGIN, pixels=pixels)


def source(result: Any) -> StageDeclaration:
    @stage(help="Gives what it is told.")
    def lamp(path: Path) -> list[Picture]:
        return result

    return declaration_of(lamp, plugin="harbour")


def ended(kind: type[BaseException]) -> StageDeclaration:
    @stage(help="Ends everything.")
    def lamp(path: Path) -> list[Picture]:
        raise kind(0)

    return declaration_of(lamp, plugin="harbour")


@pytest.mark.parametrize(
    ("result", "words"),
    [
        (None, "None, not a list of Picture,"),
        ("a.png", "a str, not a list of Picture,"),
        ([], "no picture"),
        ([3], "an int, not a Picture,"),
        ([picture(np.nan)], "pixels that are not numbers, or infinite,"),
        ([picture(-np.inf)], "pixels that are not numbers, or infinite,"),
        ([picture(1.01)], "pixels from 0.5 to 1.01, not from 0 to 1,"),
        ([picture(-0.25)], "pixels from -0.25 to 0.5, not from 0 to 1,"),
        ([picture(0.5), picture(0.5, np.float64)], "pixels of float64 (2, 3, 3), not float32 (height, width, 3),"),
        ([Picture(origin=ORIGIN, pixels=[[0.5]])], "pixels that are a list, not an array,"),  # type: ignore[arg-type]
        ([replace(picture(0.5), origin="a.png")], "a str, not an Origin, as origin of a picture"),
        ([replace(picture(0.5), notes=None)], "notes that are None, not a dict,"),
        # RFC 8259, section 6: numbers that are not finite have no JSON
        ([picture(0.5).with_notes({"depth": [math.nan]})], "a note 'depth' that is a list, not a JSON value,"),
        ([picture(0.5).with_notes({"depth": -math.inf})], "a note 'depth' that is -inf, not a JSON value,"),
    ],
)
def test_what_a_source_gives_wrong_is_named(board: Board, result: Any, words: str) -> None:
    with pytest.raises(StageFailure) as caught:
        list(open_file(source(result), Path("mole.png"), board, {}, "mole.png"))
    assert str(caught.value) == f"stage 'lamp' of plugin 'harbour' gave {words} for mole.png"


@pytest.mark.parametrize("light", [-0.00005, -0.0, 0.0, 1.0, 1.00005])
def test_light_may_stray_by_rounding(board: Board, light: float) -> None:
    (given,) = open_file(source([picture(light)]), Path("mole.png"), board, {}, "mole.png")
    assert float(given.pixels[1, 2, 0]) == pytest.approx(light, abs=1e-7)


def test_a_generator_is_run_through_where_its_stage_is_known(board: Board) -> None:
    def frames() -> Iterator[Picture]:
        yield picture(0.25)
        yield picture(0.75)

    (first, second) = open_file(source(frames()), Path("mole.png"), board, {}, "mole.png")
    assert [float(frame.pixels[1, 2, 0]) for frame in (first, second)] == [0.25, 0.75]

    def broken() -> Iterator[Picture]:
        yield picture(0.25)
        raise IndexError("no frame 2")

    opened = open_file(source(broken()), Path("mole.png"), board, {}, "mole.png")
    assert float(next(opened).pixels[1, 2, 0]) == 0.25
    with pytest.raises(StageFailure, match=r"'lamp' of plugin 'harbour' failed on mole\.png: IndexError: no frame 2"):
        next(opened)


def test_rounding_beyond_the_range_is_no_fault(board: Board) -> None:
    (kept,) = open_file(source([picture(np.float32(1.00001))]), Path("mole.png"), board, {}, "mole.png")
    assert float(kept.pixels.max()) == pytest.approx(1.00001)


def test_expected_errors_pass(board: Board) -> None:
    @stage(help="Refuses.")
    def lamp(path: Path) -> list[Picture]:
        raise PictureError("is dark; use another")

    with pytest.raises(PictureError, match="is dark"):
        list(open_file(declaration_of(lamp, plugin="harbour"), Path("mole.png"), board, {}, "mole.png"))


@pytest.mark.parametrize("kind", [SystemExit, GeneratorExit, BaseException])
def test_a_stage_cannot_end_the_program(board: Board, kind: type[BaseException]) -> None:
    with pytest.raises(StageFailure, match=f"'lamp' of plugin 'harbour' failed on mole.png: {kind.__name__}"):
        list(open_file(ended(kind), Path("mole.png"), board, {}, "mole.png"))


def test_ctrl_c_ends_the_program_but_not_a_stage_on_a_thread_that_raises_it(board: Board) -> None:
    with pytest.raises(KeyboardInterrupt):
        list(open_file(ended(KeyboardInterrupt), Path("mole.png"), board, {}, "mole.png"))
    seen: list[BaseException] = []

    def work() -> None:
        try:
            list(open_file(ended(KeyboardInterrupt), Path("mole.png"), board, {}, "mole.png"))
        except BaseException as error:  # noqa: BLE001 - whatever comes out
            seen.append(error)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert [type(error) for error in seen] == [StageFailure]


def hooked(**hooks: Any) -> StageDeclaration:
    @stage(help="Has a hook.", **hooks)
    def glow(picture: Picture, *, amount: Annotated[int, Option("how much")] = 7) -> Picture:
        return picture

    return declaration_of(glow, plugin="harbour")


@pytest.mark.parametrize("size", [None, 5, Demand(width=0, height=4), Demand(width=1.5, height=4)])  # type: ignore[arg-type]
def test_a_demand_that_is_none_is_named(board: Board, size: Any) -> None:
    with pytest.raises(StageFailure, match=r"^the demand of stage 'glow' of plugin 'harbour' gave .*for mole\.png$"):
        HooksOf(hooked(demand=lambda demand, board, options: size), board, {}).demand(Demand(), "mole.png")


def test_hooks_get_the_defaults(board: Board) -> None:
    def demand(demand: Demand, board: Board, options: Any) -> Demand:
        return Demand(width=options["amount"], height=options["amount"])

    assert HooksOf(hooked(demand=demand), board, {}).demand(Demand(), "a") == Demand(width=7, height=7)
    assert HooksOf(hooked(demand=demand), board, {"amount": 3}).demand(Demand(), "a") == Demand(width=3, height=3)
    assert HooksOf(hooked(), board, {}).demand(Demand(width=3, height=3), "a") == Demand()


def test_an_exception_without_a_text_is_named_all_the_same(board: Board) -> None:
    class MuteError(ValueError):
        def __str__(self) -> str:
            raise RuntimeError

    @stage(help="Fails.")
    def mute(picture: Picture) -> Picture:
        raise MuteError

    named = r"^stage 'mute' of plugin 'p' failed on mole.png: MuteError: its text cannot be read$"
    with pytest.raises(StageFailure, match=named):
        run_stage(declaration_of(mute, plugin="p"), picture(0.5), board, {}, "mole.png")


def test_a_hook_that_fails_is_named(board: Board) -> None:
    failing = hooked(demand=lambda demand, board, options: options["depth"])
    with pytest.raises(StageFailure) as caught:
        HooksOf(failing, board, {}).demand(Demand(), "mole.png")
    assert str(caught.value) == "the demand of stage 'glow' of plugin 'harbour' failed on mole.png: KeyError: 'depth'"


def test_a_survey_that_is_no_function_is_named(board: Board) -> None:
    @stage(help="Looks.", survey=lambda board, options: options["amount"] or None)
    def gather(picture: Picture, survey: Survey, *, amount: int = 7) -> Picture: ...

    declaration = declaration_of(gather, plugin="harbour")
    with pytest.raises(StageFailure, match=r"the survey of stage 'gather' .* gave an int, not a function of a picture"):
        HooksOf(declaration, board, {}).look("mole.png")
    assert HooksOf(declaration, board, {"amount": 0}).look("mole.png") is None


def arrangement(**hooks: Any) -> StageDeclaration:
    @stage(help="Arranges.", **hooks)
    def quay(pictures: list[CodedPicture], *, first: int = 2) -> Contents: ...

    return declaration_of(quay, plugin="harbour")


@pytest.mark.parametrize("found", [None, ["too many"], 3])
def test_a_capacity_that_gives_no_problems_is_named(board: Board, found: Any) -> None:
    crowded = arrangement(capacity=lambda origins, board, options: found)
    with pytest.raises(
        StageFailure, match=r"^the capacity of stage 'quay' of plugin 'harbour' gave .* for the pictures$"
    ):
        HooksOf(crowded, board, {}).capacity([ORIGIN])


def test_a_capacity_gets_origins_and_defaults(board: Board) -> None:
    def capacity(origins: Any, board: Board, options: Any) -> Iterator[Problem]:
        if len(origins) > options["first"]:
            yield Problem(where=(), what=origins[0].name, action="leave it out", certain=False)

    declared = arrangement(capacity=capacity)
    (problem,) = HooksOf(declared, board, {}).capacity([ORIGIN] * 3)
    assert (str(problem), problem.certain) == ("mole; leave it out", False)
    assert HooksOf(declared, board, {}).capacity([ORIGIN] * 2) == []
    assert HooksOf(arrangement(), board, {}).capacity([ORIGIN] * 3) == []


def test_an_animation_of_another_type_is_named(board: Board) -> None:
    with pytest.raises(StageFailure, match="the animation of stage 'quay' of plugin 'harbour' gave a str, not"):
        HooksOf(arrangement(animation=lambda options: "*"), board, {}).animation()
    found = HooksOf(arrangement(animation=lambda options: Animation(still=options["first"])), board, {}).animation()
    assert found == Animation(still=2)


@pytest.mark.parametrize("found", [None, 3, Probe(frames=0, width=1, height=1), Probe(frames="2", width=1, height=1)])  # type: ignore[arg-type]
def test_a_probe_of_another_type_is_named(board: Board, found: Any) -> None:
    @stage(help="Reads.", probe=lambda path, options: found)
    def lamp(path: Path) -> list[Picture]: ...

    with pytest.raises(StageFailure, match=r"^the probe of stage 'lamp' of plugin 'harbour' gave .* for mole\.png$"):
        HooksOf(declaration_of(lamp, plugin="harbour"), board, {}).probe(Path("mole.png"), "mole.png")


@pytest.mark.parametrize("found", [None, 3, "too dark", ["too dark"], [Problem(where="amount", what="", action="")]])  # type: ignore[arg-type]
def test_a_rule_that_gives_no_problems_is_named(board: Board, found: Any) -> None:
    with pytest.raises(StageFailure, match=r"^the rule of stage 'glow' of plugin 'harbour' gave .* for its options$"):
        HooksOf(hooked(rule=lambda board, options: found), board, {}).problems()


@pytest.mark.parametrize(
    ("result", "words"),
    [
        (None, "None, not a list of DeviceFile,"),
        ("picture.bin", "a str, not a list of DeviceFile,"),
        ([b"bytes"], "a bytes, not a DeviceFile,"),
        (
            [DeviceFile(device="picture", name="a.bin", data="text")],
            "a DeviceFile with a str as name and a str as data",
        ),  # type: ignore[arg-type]
    ],
)
def test_what_an_emission_gives_wrong_is_named(board: Board, result: Any, words: str) -> None:
    @stage(help="Writes.")
    def crate(contents: Contents) -> list[DeviceFile]:
        return result

    with pytest.raises(StageFailure) as caught:
        run_stage(declaration_of(crate, plugin="harbour"), Contents(memories={}), board, {}, "the contents")
    assert str(caught.value) == f"stage 'crate' of plugin 'harbour' gave {words} for the contents"


def words_of(dtype: type) -> MemoryContents:
    return MemoryContents(words=np.zeros(131072, dtype=dtype), written=np.zeros(131072, dtype=np.uint32))


@pytest.mark.parametrize(
    ("memories", "words"),
    [
        ({"pictures": words_of(np.uint32)}, "words for a memory 'pictures', which the board does not have,"),
        ({"picture": words_of(np.int64)}, "int64, not uint8, uint16 or uint32, as words of memory 'picture'"),
        ({"picture": b""}, "a bytes, not MemoryContents,"),
    ],
)
def test_what_an_arrangement_gives_wrong_is_named(board: Board, memories: Any, words: str) -> None:
    @stage(help="Arranges.")
    def quay(pictures: list[CodedPicture]) -> Contents:
        return Contents(memories=memories)

    with pytest.raises(StageFailure) as caught:
        run_stage(declaration_of(quay, plugin="harbour"), [], board, {}, "the pictures")
    assert str(caught.value) == f"stage 'quay' of plugin 'harbour' gave {words} for the pictures"


SEEN_FROM = Viewing(distance=2.5)


def test_every_hook_gets_its_defaults_and_the_values_that_it_asks_for_by_type(board: Board) -> None:
    seen: dict[str, Any] = {}

    def rule(board: Board, options: Any, viewing: Viewing, again: Board) -> list[Problem]:
        seen["rule"] = (options, viewing, again)
        return []

    def demand(demand: Demand, board: Board, options: Any, viewing: Viewing) -> Demand:
        seen["demand"] = (options, viewing, board)
        return demand

    def survey(board: Board, options: Any, viewing: Viewing) -> None:
        seen["survey"] = (options, viewing, board)

    def advice(animated: bool, board: Board, options: Any, viewing: Viewing) -> Iterator[Finding]:
        seen["advice"] = (options, viewing, board)
        yield Finding(level="note", where="glow", message=f"animated: {animated}")

    @stage(help="Glows.", rule=rule, demand=demand, survey=survey, advice=advice)
    def glow(picture: Picture, survey: Survey, *, amount: int = 7) -> Picture: ...

    def probe(path: Path, options: Any, viewing: Viewing, board: Board) -> Probe:
        seen["probe"] = (options, viewing, board)
        return Probe(frames=1, width=2, height=3)

    @stage(help="Reads.", probe=probe)
    def lamp(path: Path, *, amount: int = 7) -> list[Picture]: ...

    def animation(options: Any, board: Board, viewing: Viewing) -> Animation:
        seen["animation"] = (options, viewing, board)
        return Animation()

    def capacity(origins: Any, board: Board, options: Any, viewing: Viewing) -> list[Problem]:
        seen["capacity"] = (options, viewing, board)
        return []

    @stage(help="Arranges.", animation=animation, capacity=capacity)
    def quay(pictures: list[CodedPicture], *, amount: int = 7) -> Contents: ...

    of_picture, of_source, arranging = (
        HooksOf(declaration_of(each), board, {}, SEEN_FROM) for each in (glow, lamp, quay)
    )
    of_picture.problems()
    of_picture.demand(Demand(), "a")
    of_picture.look("a")
    (note,) = of_picture.advice(animated=True)
    assert note.message == "animated: True"
    of_source.probe(Path("a"), "a")
    arranging.animation()
    arranging.capacity([ORIGIN])
    hooks = ("rule", "demand", "survey", "advice", "probe", "animation", "capacity")
    assert seen == dict.fromkeys(hooks, ({"amount": 7}, SEEN_FROM, board))


@pytest.mark.parametrize("found", [None, "share them", ["share them"]])
def test_advice_of_another_type_is_named(board: Board, found: Any) -> None:
    with pytest.raises(StageFailure, match=r"^the advice of stage 'glow' of plugin 'harbour' gave .* for its options$"):
        HooksOf(hooked(advice=lambda animated, board, options: found), board, {}).advice(animated=False)


def test_a_reduction_that_does_not_ask_for_the_codes_to_keep_has_them_put_over_its_result(board: Board) -> None:
    @stage(help="Reduces.")
    def plain(picture: Picture) -> CodedPicture:
        return picture.coded(np.full((2, 3), 5, dtype=np.uint16))

    @stage(help="Reduces, and keeps what it likes.")
    def asking(picture: Picture, kept: Kept) -> CodedPicture:
        assert kept.codes is not None
        return picture.coded(np.full((2, 3), kept.codes.max() + 1, dtype=np.uint16))

    kept = Kept(codes=np.array([[-1, 9, -1], [-1, -1, 0]], dtype=np.int32))
    given = (picture(0.5), board, {}, "mole.png")
    assert run_stage(declaration_of(plain), *given, kept=kept).codes.tolist() == [[5, 9, 5], [5, 5, 0]]
    assert run_stage(declaration_of(asking), *given, kept=kept).codes.tolist() == [[10] * 3] * 2
    assert run_stage(declaration_of(plain), *given).codes.tolist() == [[5] * 3] * 2


def test_a_card_of_another_size_than_the_board_is_the_fault_of_its_stage() -> None:
    @stage(help="Gives a card that is too small.")
    def buoy(board: Board) -> CodedPicture:
        return CodedPicture.of_card(np.zeros((3, 4), dtype=np.uint16))

    board = small_board()
    with pytest.raises(
        StageFailure, match=r"stage 'buoy' of .* gave 4x3 codes, not the board's 20x15, for card 'buoy'"
    ):
        run_stage(declaration_of(buoy, plugin="harbour"), board, board, {}, "card 'buoy'")
