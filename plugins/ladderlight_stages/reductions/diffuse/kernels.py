"""Error diffusion kernels as published: the shares of a pixel's error and where they go.

Each kernel is declared once, here. Rows are read as in the papers' figures: ``ahead`` are the pixels after the current
one in the direction of the scan; each row of ``below`` is centred under the current pixel.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ladderlight import Board, Frozen, PictureError, Problem

VARIABLE = ("ostromoukhov", "zhou_fang")
"""Kernels whose coefficients depend on the level of the picture; see ``variable``."""
REACH_AHEAD = 2
"""Pixels ahead that a kernel may reach."""
REACH_BELOW = 8
"""Rows down, and pixels to either side in them, that a kernel may reach."""


class Kernel(Frozen):
    """Numerators over one divisor, and the paper that they are from."""

    ahead: tuple[float, ...]
    below: tuple[tuple[float, ...], ...]
    divisor: float
    source: str

    def taps(self) -> Iterator[tuple[int, int, float]]:
        """Yield (rows down, pixels ahead, numerator) of every entry that is not zero."""
        for distance, numerator in enumerate(self.ahead, start=1):
            if numerator:
                yield 0, distance, numerator
        for down, row in enumerate(self.below, start=1):
            for place, numerator in enumerate(row):
                if numerator:
                    yield down, place - len(row) // 2, numerator

    @property
    def total(self) -> float:
        """The share of the error that is passed on: 1, or less for kernels that drop some."""
        return sum(numerator for _, _, numerator in self.taps()) / self.divisor


KERNELS = {
    "floyd_steinberg": Kernel(
        ahead=(7,),
        below=((3, 5, 1),),
        divisor=16,
        source="R. W. Floyd and L. Steinberg, An adaptive algorithm for spatial greyscale, Proc. SID 17 (1976) 75-77",
    ),
    "jarvis_judice_ninke": Kernel(
        ahead=(7, 5),
        below=((3, 5, 7, 5, 3), (1, 3, 5, 3, 1)),
        divisor=48,
        source="J. F. Jarvis, C. N. Judice and W. H. Ninke, A survey of techniques for the display of continuous tone "
        "pictures on bilevel displays, Computer Graphics and Image Processing 5 (1976) 13-40",
    ),
    "stucki": Kernel(
        ahead=(8, 4),
        below=((2, 4, 8, 4, 2), (1, 2, 4, 2, 1)),
        divisor=42,
        source="P. Stucki, MECCA - a multiple-error correcting computation algorithm for bilevel image hardcopy "
        "reproduction, research report RZ1060 (1981)",
    ),
    "burkes": Kernel(
        ahead=(8, 4),
        below=((2, 4, 8, 4, 2),),
        divisor=32,
        source="D. Burkes, Presentation of the Burkes error filter for use in preparing continuous-tone images for "
        "presentation on bi-level devices (1988), unpublished",
    ),
    "sierra": Kernel(
        ahead=(5, 3),
        below=((2, 4, 5, 4, 2), (0, 2, 3, 2, 0)),
        divisor=32,
        source="F. Sierra, three-row filter (1989), unpublished",
    ),
    "sierra_two_row": Kernel(
        ahead=(4, 3),
        below=((1, 2, 3, 2, 1),),
        divisor=16,
        source="F. Sierra, two-row filter (1990), unpublished",
    ),
    "sierra_light": Kernel(
        ahead=(2,),
        below=((1, 1, 0),),
        divisor=4,
        source="F. Sierra, filter light (1990), unpublished",
    ),
    "atkinson": Kernel(
        ahead=(1, 1),
        below=((1, 1, 1), (0, 1, 0)),
        divisor=8,
        source="W. Atkinson's filter of the mid-1980s, unpublished; it passes on six eighths of the error",
    ),
    "fan": Kernel(
        ahead=(7,),
        below=((1, 3, 5, 0, 0),),
        divisor=16,
        source="Z. Fan, A simple modification of error diffusion weights, IS&T 46th annual conference (1993) 113-115",
    ),
    "shiau_fan": Kernel(
        ahead=(4,),
        below=((1, 1, 2, 0, 0),),
        divisor=8,
        source="J. N. Shiau and Z. Fan, A set of easily implementable coefficients in error diffusion with reduced "
        "worm artifacts, Proc. SPIE 2658 (1996) 222-225, first set",
    ),
    "shiau_fan_wide": Kernel(
        ahead=(8,),
        below=((1, 1, 2, 4, 0, 0, 0),),
        divisor=16,
        source="Shiau and Fan (1996), second set",
    ),
    # Published for hexagonal pixels, in a figure with columns of half a pixel: 32 two columns ahead, then rows such as
    # 12 . 26 . 30 . 16. With columns of whole pixels the pixels would fall into two separate nets. Here the pixels of
    # every other row count as shifted by half a pixel, as in the paper; in a serpentine scan each row sees the shift
    # backwards.
    "stevenson_arce": Kernel(
        ahead=(32,),
        below=((12, 26, 30, 16, 0), (12, 26, 12), (5, 12, 12, 5, 0)),
        divisor=200,
        source="R. L. Stevenson and G. R. Arce, Binary display of hexagonally sampled continuous-tone images, "
        "J. Opt. Soc. Am. A 2 (1985) 1009-1013, rows shifted by half a pixel to and fro",
    ),
}


def weights_problems(board: Board, options: Mapping[str, Any]) -> Iterator[Problem]:  # noqa: ARG001 - as rules are called
    """Yield what keeps the weights in a recipe from being a kernel."""
    try:
        if options["weights"] is not None:
            kernel_of(options["weights"], options["divisor"])
    except PictureError as error:
        yield Problem.of(error, "weights")


def kernel_of(weights: Sequence[Sequence[float]], divisor: float | None = None) -> Kernel:
    """Return a kernel from rows in a recipe: first the pixels ahead, then the rows below, each centred.

    Without a divisor the whole error is passed on.

    Raises PictureError when a row below has no centre, a weight is negative, all are zero, more than the whole error
    would be passed on, or the kernel reaches too far.
    """
    ahead, *below = [tuple(float(value) for value in row) for row in weights] or [()]
    if len(ahead) > REACH_AHEAD or len(below) > REACH_BELOW or any(len(row) > 2 * REACH_BELOW + 1 for row in below):
        raise PictureError(
            f"weights: a kernel reaches at most {REACH_AHEAD} pixels ahead, {REACH_BELOW} rows down and "
            f"{REACH_BELOW} pixels to either side; leave out weights further away"
        )
    if any(len(row) % 2 == 0 for row in below):
        raise PictureError("weights: a row below has an even number of weights, without a middle; pad it with 0")
    if any(value < 0 for row in (ahead, *below) for value in row):
        raise PictureError("weights: a weight is negative, so errors could grow; make it 0 or more")
    total = sum(ahead) + sum(sum(row) for row in below)
    if total <= 0:
        raise PictureError("weights: all are zero; write the share of each pixel that the error goes to")
    if divisor is not None and total > divisor * (1 + 1e-9):
        raise PictureError(
            f"weights: their sum is {total:g}, above the divisor {divisor:g}; raise divisor to {total:g}"
        )
    return Kernel(ahead=ahead, below=tuple(below), divisor=divisor or total, source="the recipe")
