"""Several pictures in different lines of one bank."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Annotated, Any

import numpy as np

from ladderlight import ArrangementError, Board, CodedPicture, Contents, Example, Option, Origin, Problem, stage
from ladderlight.board.model.lines import LineSyntaxError, expand_names
from ladderlight_stages.banks import assign_banks, bank_problems, placed, refuse_misfits, selected
from ladderlight_stages.tiling.placing import place
from ladderlight_stages.tiling.tiling import Choice


def _problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    try:
        _masks(options["lines"], board)
    except ArrangementError as error:
        yield Problem.of(error, "lines")


def _capacity(origins: Sequence[Origin], board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    def assign(chosen: Sequence[CodedPicture]) -> Mapping[int, CodedPicture]:
        joined = [_named(group) for group in _groups(chosen, _masks(options["lines"], board))]
        return dict(zip(assign_banks(joined, board), joined, strict=True))

    return bank_problems(origins, board, options["match"], assign)


def _groups(chosen: Sequence[CodedPicture], masks: Sequence[int]) -> list[Sequence[CodedPicture]]:
    return [chosen[start : start + len(masks)] for start in range(0, len(chosen), len(masks))]


def _named(group: Sequence[CodedPicture]) -> CodedPicture:
    return replace(group[0], origin=replace(group[0].origin, name="+".join(p.origin.name for p in group)))


@stage(
    help="Put several pictures into one bank, each into ladder lines of its own.",
    rule=_problems,
    capacity=_capacity,
    example=Example(
        shows="a cat and a lighthouse, and the memory with both in one place, in red, and in green and blue",
        options={"lines": ["r0-r1", "g0-g1 b0-b1"]},
        pictures=("quay-cat", "lighthouse"),
    ),
)
def planes(
    pictures: Sequence[CodedPicture],
    board: Board,
    *,
    match: Annotated[str, Option("names of the pictures to place, with * and ?")] = "*",
    lines: Annotated[
        list[str] | None,
        Option('ladder lines of each plane, such as ["r0-r2", "g0-g2 b0-b1"]; one plane for each memory if not given'),
    ] = None,
) -> Contents:
    """Put several pictures into one bank, each into ladder lines of its own.

    The pictures go to the planes in turn: with two planes the first two pictures share a bank, then the next two. Of
    each picture only the bits of its plane's lines are taken. Lines in no plane are low, and so are planes of the last
    bank without a picture. The bank of a group is that of its first picture. A single picture spread over several
    memories does not need this stage: every arrangement does that.

    Raises ArrangementError when a line drives no ladder or is in two planes, or the pictures do not fit.
    """
    chosen = selected(pictures, match)
    refuse_misfits(chosen, board)
    masks = _masks(lines, board)
    groups = _groups(chosen, masks)
    joined = []
    for group in groups:
        codes = np.zeros((board.geometry.height, board.geometry.width), dtype=np.uint16)
        for picture, mask in zip(group, masks, strict=False):
            codes |= picture.codes & np.uint16(mask)
        joined.append(CodedPicture(origin=_named(group).origin, codes=codes))
    banks = assign_banks(joined, board)
    contents = place(joined, banks, board, Choice())
    pairs = ((picture, bank) for group, bank in zip(groups, banks, strict=True) for picture in group)
    return replace(contents, pictures=placed(pairs))


def _masks(lines: Sequence[str] | None, board: Board) -> list[int]:
    bits = {line: bit for bit, line in enumerate(board.code_lines)}
    if lines is None:
        return [sum(1 << bits[name] for name in memory.data if name in bits) for memory in board.driving_memories]
    masks: list[int] = []
    for number, text in enumerate(lines, start=1):
        try:
            names = [name for entry in text.split() for name in expand_names(entry)]
        except LineSyntaxError as error:
            raise ArrangementError(f"plane {number}: {error}") from error
        unknown = [name for name in names if name not in bits]
        if unknown or not names:
            raise ArrangementError(
                f"plane {number} has {' and '.join(map(repr, unknown)) or 'no line'}; the ladders have "
                + ", ".join(board.code_lines)
            )
        mask = sum({1 << bits[name] for name in names})
        doubled = [name for name in names if any(mask_before >> bits[name] & 1 for mask_before in masks)]
        if doubled:
            raise ArrangementError(
                f"plane {number} has {doubled[0]!r}, which another plane has too; leave it out of one of them"
            )
        masks.append(mask)
    if not masks:
        raise ArrangementError("lines is empty; write the lines of each plane, or leave the option out")
    return masks
