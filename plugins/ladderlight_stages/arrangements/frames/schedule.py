"""The schedule of an animation: which share of the banks each frame gets."""

from collections.abc import Sequence
from typing import Literal

Fill = Literal["stretch", "repeat", "hold"]


def bank_shares(durations: Sequence[float | None], banks: int, *, step: float | None, fill: Fill) -> list[int]:
    """Return the number of banks of each frame, 1 or more; they add up to ``banks``.

    Parameters
    ----------
    durations
        Seconds that each frame is meant to be shown; None counts as the mean of the others.
    banks
        How many banks there are, at least as many as frames.
    step
        Seconds that one bank is shown; when not given, the shortest frame is taken to need one bank.
    fill
        ``stretch``: in proportion to the durations. ``repeat``: as many whole runs of the frames as fit, then
        stretched; the result has an entry for each frame of each run. ``hold``: the last frame gets the rest.
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
        most = max(
            (index for index, share in enumerate(shares) if share > 1),
            key=lambda index: (shares[index] - quotas[index], -index),
        )
        shares[most] -= 1
    return shares
