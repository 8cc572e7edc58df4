"""The arrays that the project works with, each type under one name."""

from __future__ import annotations

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
Words = NDArray[np.uint32]
"""Words of one memory or device, by address."""
MemoryWords = Mapping[str, Words]
"""Words of all memories, by the memory's name."""
