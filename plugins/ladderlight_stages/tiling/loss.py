"""What merging tiles costs: the pictures that the words show, compared with the coded pictures."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ladderlight import Board, CodedPicture, MemoryContents
from ladderlight.board import Palette
from ladderlight.board.scanning.scan import scan
from ladderlight_stages.perception.lab_loops import ciede2000, lab_from
from ladderlight_stages.perception.primaries import SHARES_FROM_LINEAR


@dataclass(frozen=True, kw_only=True)
class Loss:
    """The difference: share of the pixels that differ, 0 to 1, and mean colour difference (CIEDE2000) over all pixels.

    ``worst`` is the picture with the greatest mean, ``worst_mean`` that mean.
    """

    share: float
    mean: float
    worst: str
    worst_mean: float

    @property
    def text(self) -> str:
        """The loss in one line."""
        return (
            f"{100 * self.share:.2f} % of the pixels differ from the pictures; mean colour difference "
            f"{self.mean:.3f} (CIEDE2000), most in {self.worst!r}: {self.worst_mean:.3f}"
        )


def loss_of(
    pictures: Sequence[CodedPicture], banks: Sequence[int], board: Board, memories: Mapping[str, MemoryContents]
) -> Loss:
    """Scan every picture out of the words, and compare it with its codes."""
    words = {name: memory.words for name, memory in memories.items()}
    x, y = board.x_grid.samples[None, :], board.y_grid.samples[:, None]
    wrong, means = [], []
    for picture, bank in zip(pictures, banks, strict=True):
        shown = scan(board, words, x, y, bank).codes
        wrong.append(float(np.mean(shown != picture.codes)))
        means.append(_mean_difference(shown, picture.codes, board.palette))
    worst = int(np.argmax(means))
    return Loss(
        share=float(np.mean(wrong)),
        mean=float(np.mean(means)),
        worst=pictures[worst].origin.name,
        worst_mean=means[worst],
    )


def _mean_difference(shown: NDArray[np.integer], wanted: NDArray[np.integer], palette: Palette) -> float:
    pairs, counts = np.unique(
        shown.ravel().astype(np.int64) << 16 | wanted.ravel().astype(np.int64), return_counts=True
    )
    lab = lab_from(palette.linear[None].astype(np.float64), SHARES_FROM_LINEAR)[0]
    differences = ciede2000(lab[pairs >> 16][None], lab[pairs & 0xFFFF][None])[0]
    return float((differences * counts).sum() / counts.sum())
