"""The arrays that the project works with, each type under one name."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
"""Light and colours, single precision as in pictures."""
Codes = NDArray[np.uint16]
Words = NDArray[np.unsignedinteger]
"""Words of one memory or device, by address, in as few bytes as :func:`dtype_of` gives."""
MemoryWords = Mapping[str, Words]
"""Words of all memories, by the memory's name."""


def bytes_per_word(width: int) -> int:
    """Return the bytes that a word of ``width`` bits takes in a programmer file."""
    return (width + 7) // 8


def dtype_of(width: int) -> np.dtype[np.unsignedinteger]:
    """Return the smallest type for words of ``width`` bits, at most 32. Memories have millions of them."""
    return np.min_scalar_type((1 << width) - 1)
