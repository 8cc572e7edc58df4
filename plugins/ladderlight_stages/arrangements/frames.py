"""An animation: frames in banks that a counter steps through."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from math import ceil, floor
from typing import Annotated, Any, Literal

from ladderlight import (
    Animation,
    ArrangementError,
    Board,
    CodedPicture,
    Contents,
    Example,
    Option,
    Origin,
    Problem,
    refuse,
    stage,
)
from ladderlight.units.words import in_words, joined
from ladderlight_stages.banks import bank_problems, refuse_misfits, selected, too_many
from ladderlight_stages.perception.measures import flicker
from ladderlight_stages.tiling.placing import place
from ladderlight_stages.tiling.tiling import Choice

Fill = Literal["stretch", "repeat", "hold"]
NEAR = 0.01
"""Share of a step by which it may miss a whole number of frames."""


def _animation(options: Mapping[str, Any]) -> Animation:
    return Animation(match=options["match"], still=options["still"])


def _rule(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    yield from _none_left(options["first"], board.bank_count)
    yield from _too_short(options.get("step"), board)


def _none_left(first: int, banks: int) -> Iterator[Problem]:
    if first >= banks:
        what = f"the board has {banks} bank{'s' * (banks != 1)}, and none from {first} on"
        yield Problem(where=("first",), what=what, action="lower first")


def _too_short(step: float | None, board: Board) -> Iterator[Problem]:
    if step is not None and step < (1 - NEAR) / board.raster.frame_rate:
        shortest = in_words(1 / board.raster.frame_rate, "s", digits=4)
        what = f"step is {in_words(step, 's')}, less than the {shortest} of one frame of the board"
        yield Problem(where=("step",), what=what, action=f"use {shortest} or a multiple of it")


def _capacity(origins: Sequence[Origin], board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:
    def assign(chosen: Sequence[CodedPicture]) -> Mapping[int, CodedPicture]:
        _banks_for(_sequence(chosen, ping_pong=options["ping_pong"]), board, options["first"], options["count"])
        return {}  # the bank of each frame depends on their durations

    return bank_problems(origins, board, options["match"], assign)


def _sequence(chosen: Sequence[CodedPicture], *, ping_pong: bool) -> list[CodedPicture]:
    return [*chosen, *chosen[-2:0:-1]] if ping_pong else list(chosen)


def _banks_for(sequence: Sequence[CodedPicture], board: Board, first: int, count: int | None) -> Sequence[int]:
    every = range(board.bank_count)
    refuse(_none_left(first, len(every)), ArrangementError)
    banks = every[first:] if count is None else every[first : first + count]
    if len(sequence) > len(banks) and len(banks) < len(every):
        raise ArrangementError(
            f'{len(sequence)} frames need as many banks, but "first" and "count" leave {len(banks)} of the '
            f'{len(every)} that the wiring has; change them, or read fewer frames with "every"'
        )
    if len(sequence) > len(banks):
        raise ArrangementError(too_many(sequence[len(banks) :], len(banks), len(sequence), board))
    return banks


@stage(
    help="Put the frames of an animation into the banks that a counter steps through.",
    rule=_rule,
    capacity=_capacity,
    animation=_animation,
    example=Example(
        shows="three pictures, and the memory with them and the second again, as the board shows them there and back",
        options={"step": "50 ms", "ping_pong": True},
        pictures=("lighthouse", "ferry", "chart"),
    ),
)
def frames(
    pictures: Sequence[CodedPicture],
    board: Board,
    *,
    match: Annotated[str, Option("names of the pictures that are frames, with * and ?")] = Animation.match,
    step: Annotated[float | None, Option("time for which the board shows each bank", minimum=1e-6, unit="s")] = None,
    ping_pong: Annotated[bool, Option("run back to the first frame instead of jumping to it")] = False,
    fill: Annotated[
        Fill, Option("how the frames fill all banks: stretched, repeated, or with the last frame held")
    ] = "stretch",
    first: Annotated[int, Option("first bank to use, counted from 0 among those of the wiring", minimum=0)] = 0,
    count: Annotated[int | None, Option("number of banks to fill; all that follow if not given", minimum=1)] = None,
    still: Annotated[  # noqa: ARG001 - acted upon before: see _animation
        float,
        Option(
            "distance in OKLab that a colour may move and keep its code; 0.02 is about the least that is seen",
            minimum=0,
            maximum=1,
        ),
    ] = Animation.still,
    merge: Annotated[bool, Option("replace tiles or colours by the most similar ones when there are too many")] = True,
) -> Contents:
    """Put the frames of an animation into the banks that a counter steps through.

    A frame that is shown longer fills several banks. Its duration comes from its file; frames without one are all
    shown for the same time. ``step`` is the time for which the board's frame counter stays at one bank. With it,
    durations become whole numbers of banks; without it, the shortest frame takes one bank. A board changes banks
    between two of its own frames, so a step must be a whole number of them: for any other a note names the nearest.
    Then the frames are fitted to all banks: ``stretch`` gives each frame its share of them, ``repeat`` plays the frames
    as often as they fit and stretches the whole, ``hold`` shows the last frame in the banks that are left. Boards with
    tile or look-up memories work as well.

    The frames are those that ``match``, of one file or of several, in the recipe's order. Where a frame looks like the
    one before, up to ``still``, it keeps its codes, so that dithering does not crawl; where it looks like the first
    again, it has the codes of the first. It is compared with the frame in which a code was chosen, so that slow fades
    are followed. Each frame's ``metrics`` in the manifest include ``still_share``, the share of pixels without a
    visible difference from the frame before, and ``flicker_share``, the share of those whose codes change all the same.

    Raises ArrangementError when there are more frames than banks, or the pictures do not fit the wiring.
    """
    chosen = selected(pictures, match)
    refuse_misfits(chosen, board)
    if not chosen:
        return place([], [], board, Choice(merge=merge))
    refuse(_too_short(step, board), ArrangementError)
    sequence = _sequence(chosen, ping_pong=ping_pong)
    banks = _banks_for(sequence, board, first, count)
    durations = [frame.origin.duration for frame in sequence]
    shares = bank_shares(durations, len(banks), step=step, fill=fill)
    shown = [sequence[index % len(sequence)] for index, share in enumerate(shares) for _ in range(share)]
    contents = place(shown, banks, board, Choice(merge=merge))
    runs = len(shares) // len(sequence)
    known = [duration for duration in durations if duration]
    whole = runs * sum(known) if len(known) == len(durations) else None
    held = step or (whole and whole / len(banks))
    placed = tuple(replace(picture, step=held) for picture in contents.pictures)
    note = f"{len(sequence)} frames{f' {runs} times' * (runs > 1)} in {len(banks)} banks"
    if step is not None:
        note += f"; all banks take {len(banks) * step:.4g} s"
        if whole is not None:
            note += f", the durations of the frames add up to {whole:.4g} s"
    notes = [*contents.notes, note, *_between_frames(step, board)]
    found = flicker(sequence, board.palette)
    if found.changed:
        notes.append(
            f"flicker: {found.changed:.1%} of the pixels change from frame to frame, lightness by {found.jump:.2f} of "
            f"100; {_unmoved(chosen, found.unmoved):.1%} change where the picture does not"
        )
    return replace(contents, pictures=placed, notes=tuple(notes))


def _between_frames(step: float | None, board: Board) -> Iterator[str]:
    """Yield a note when a step is not a whole number of the board's frames, with the nearest that are."""
    if step is None:
        return
    frame = 1 / float(board.raster.frame_rate)
    if abs(step - round(step / frame) * frame) > NEAR * step:
        nearest = [in_words(count * frame, "s", digits=4) for count in (floor(step / frame), ceil(step / frame))]
        yield (
            f"step is {in_words(step, 's')}, {step / frame:.2f} frames of the board, which changes banks only between "
            f"frames; use {joined(nearest, 'or')}"
        )


def _unmoved(chosen: Sequence[CodedPicture], seen: float) -> float:
    """Return the share of pixels that change where the picture does not, from the metrics, else from the codes."""
    measured = [frame.metrics for frame in chosen if "flicker_share" in frame.metrics]
    shares = [metrics["still_share"] * metrics["flicker_share"] for metrics in measured]
    return sum(shares) / len(shares) if shares else seen


def bank_shares(durations: Sequence[float | None], banks: int, *, step: float | None, fill: Fill) -> list[int]:
    """Return the number of banks of each frame, 1 or more; they add up to ``banks``, of which no fewer than frames.

    ``durations`` are the seconds that each frame is meant to be shown; None counts as the mean of the others. ``step``
    are those that one bank is shown; when not given, the shortest frame is taken to need one bank. With ``fill``
    ``stretch`` frames get banks in proportion; with ``repeat`` as many whole runs of the frames as fit, then stretched,
    and the result has an entry for each frame of each run; with ``hold`` the last frame gets the rest.
    """
    known = [duration for duration in durations if duration]
    mean = sum(known) / len(known) if known else 1.0
    wanted = [duration or mean for duration in durations]
    unit = step if step is not None else min(wanted)
    whole = [max(1, round(duration / unit)) for duration in wanted]
    if fill == "hold" and sum(whole) <= banks:
        return [*whole[:-1], whole[-1] + banks - sum(whole)]
    if fill == "repeat" and sum(whole) <= banks:
        runs = banks // sum(whole)
        return _apportion([float(share) for share in whole * runs], banks)
    return _apportion(wanted, banks)


def _apportion(weights: Sequence[float], seats: int) -> list[int]:
    """Share out seats in proportion, at least one each, by the method of largest remainders; ties go to the first."""
    quotas = [weight * seats / sum(weights) for weight in weights]
    shares = [max(1, int(quota)) for quota in quotas]
    while sum(shares) < seats:
        least = max(range(len(shares)), key=lambda index: (quotas[index] - shares[index], -index))
        shares[least] += 1
    while sum(shares) > seats:
        several = [index for index, share in enumerate(shares) if share > 1]
        most = max(several, key=lambda index: (shares[index] - quotas[index], -index))
        shares[most] -= 1
    return shares
