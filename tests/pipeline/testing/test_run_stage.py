"""What plugin authors test their stages with."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import pytest

from ladderlight import (
    Board,
    CodedPicture,
    Contents,
    DeviceFile,
    Kept,
    Option,
    Picture,
    Problem,
    Survey,
    Viewing,
    stage,
)
from ladderlight.board.advice.checks import problems_of
from ladderlight.stages.registry import installed_stages
from ladderlight.testing import RecipeError, StageFailure, grey_ramp, picture_of, run_stage, small_board


def test_the_small_board_works_and_the_ramp_fits_it() -> None:
    board = small_board()
    assert problems_of(board) == []
    assert (board.geometry.width, board.geometry.height, board.bank_count, len(board.palette)) == (20, 15, 2, 64)
    ramp = grey_ramp()
    assert ramp.pixels.shape == (15, 20, 3)
    assert ramp.pixels[0, :, 1].tolist() == pytest.approx([at / 19 for at in range(20)])


def _rule(board: Board, options: Any, viewing: Viewing) -> Iterator[Problem]:
    if viewing.distance is not None and options["pause"] > viewing.distance:
        yield Problem(where=("pause",), what="too long", action="shorten it")


@stage(help="Dims.", rule=_rule)
def dim(
    picture: Picture,
    board: Board,
    *,
    by: Annotated[float, Option("how much", minimum=0, maximum=1)] = 0.5,
    pause: Annotated[float, Option("how long", unit="s")] = 1.0,
) -> Picture:
    assert pause >= len(board.memories) * 0.01
    return picture.with_pixels(picture.pixels * np.float32(1 - by))


def test_options_are_checked_and_completed_as_in_a_recipe() -> None:
    white = picture_of(np.ones((2, 2, 3)))
    assert float(run_stage(dim, white).pixels.max()) == 0.5
    assert float(run_stage(dim, white, by=0.25, pause="20 ms").pixels.max()) == 0.75
    with pytest.raises(RecipeError, match=r"dim: .*'paus'; did you mean 'pause'\?"):
        run_stage(dim, white, paus=1)
    with pytest.raises(RecipeError, match=r"^dim: too long; shorten it$"):
        run_stage(dim, white, viewing=Viewing(distance=0.5))


def test_a_broken_result_names_the_stage() -> None:
    @stage(help="Glares.")
    def glare(picture: Picture) -> Picture:
        return picture.with_pixels(picture.pixels + np.float32(1))

    with pytest.raises(StageFailure, match=r"^stage 'glare' of plugin 'test' gave pixels from 1 to 2, not"):
        run_stage(glare, grey_ramp())


def test_a_survey_sees_the_picture_itself_or_what_the_test_says() -> None:
    @stage(help="Levels.", survey=lambda board, options: lambda picture: picture.pixels.mean())
    def level(picture: Picture, survey: Survey) -> Picture:
        return picture.with_pixels(np.full_like(picture.pixels, survey.total))

    assert float(run_stage(level, grey_ramp()).pixels.max()) == pytest.approx(0.5)
    assert float(run_stage(level, grey_ramp(), survey=Survey(total=0.125)).pixels.max()) == 0.125


def test_codes_to_keep_are_given() -> None:
    @stage(help="Reduces.")
    def flat(picture: Picture) -> CodedPicture:
        return picture.coded(np.zeros(picture.pixels.shape[:2], dtype=np.uint16))

    kept = Kept(codes=np.full((15, 20), -1, dtype=np.int32))
    kept.codes[2, 3] = 7
    found = run_stage(flat, grey_ramp(), kept=kept).codes
    assert (int(found[2, 3]), int(found.sum())) == (7, 7)


def test_sources_and_emissions_give_lists(tmp_path: Path) -> None:
    @stage(help="Reads.")
    def lamp(path: Path) -> Iterator[Picture]:
        yield picture_of(np.zeros((1, 1, 3)), name=path.stem)

    @stage(help="Writes.")
    def crate(contents: Contents) -> Iterator[DeviceFile]:
        yield DeviceFile(device="picture", name="a.bin", data=b"\x01")

    (picture,) = run_stage(lamp, tmp_path / "quay.png")
    assert picture.origin.name == "quay"
    assert [file.data for file in run_stage(crate, Contents(memories={}))] == [b"\x01"]


def test_built_in_stages_run_from_file_to_device_files(tmp_path: Path) -> None:
    """A chain by hand, on the small board: what a plugin author would put a stage of their own into."""
    file = tmp_path / "grey.ppm"
    file.write_bytes(b"P6 20 15 255\n" + bytes([128]) * 900)
    value: Any = file
    get = installed_stages().get
    for name in ("read", "crop", "resize", "diffuse"):
        value = run_stage(get(name).function, value)
        value = value[0] if isinstance(value, list) else value
    contents = run_stage(get("bank_pictures").function, [value])
    (written,) = run_stage(get("binary").function, contents)
    assert len(written.data) == 65536
    assert contents.pictures[0].bank == 0
