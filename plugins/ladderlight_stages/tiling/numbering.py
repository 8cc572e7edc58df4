"""Numbers for tiles that stay the same from build to build, whatever becomes of other tiles.

Every tile has its own order of preference among the numbers, made from its content alone. The tiles choose one after
another: those used most first, then by content. A tile that comes, goes or changes makes others move only where it
takes or frees a number that they prefer; with a full memory of n numbers that is about the logarithm of n tiles, and
mostly tiles that are hardly used.
"""

import numpy as np
from numpy.typing import NDArray

from ladderlight.units.arrays import Ints
from ladderlight_stages.compiled import compiled


def stable_numbers(hashes: NDArray[np.uint64], uses: Ints, numbers: Ints) -> Ints:
    """Return one of ``numbers`` for each tile, each at most once.

    ``hashes`` are of each tile's content alone. Of ``uses``, how often each is used, only the magnitude in powers of
    two counts, so that a few more uses change nothing.
    """
    magnitude = np.frexp(np.maximum(uses, 0).astype(np.float64))[1]
    order = np.argsort(hashes)
    order = order[np.argsort(-magnitude[order].astype(np.int8), kind="stable")]  # by radix: one byte
    chosen = np.empty(len(order), dtype=np.int64)
    chosen[order] = numbers[_choose(hashes[order], len(numbers), _prime_from(len(numbers)))]
    return chosen


def _prime_from(number: int) -> int:
    """Return the least prime that is not below a number."""
    candidate = max(2, number)
    while any(candidate % divisor == 0 for divisor in range(2, int(candidate**0.5) + 1)):
        candidate += 1
    return candidate


@compiled
def _choose(hashes: NDArray[np.uint64], count: int, prime: int) -> Ints:
    """Double hashing: start and stride from the hash; a prime modulus makes every stride visit all numbers."""
    taken = np.zeros(count, np.bool_)
    chosen = np.empty(len(hashes), np.int64)
    for tile in range(len(hashes)):
        value = hashes[tile] * np.uint64(0x9E3779B97F4A7C15)
        value ^= value >> np.uint64(29)
        at = np.int64(value % np.uint64(prime))
        step = np.int64(1)
        if prime > 2:
            step += np.int64((value >> np.uint64(20)) * np.uint64(0xBF58476D1CE4E5B9) % np.uint64(prime - 1))
        while at >= count or taken[at]:
            at = (at + step) % prime
        taken[at] = True
        chosen[tile] = at
    return chosen
