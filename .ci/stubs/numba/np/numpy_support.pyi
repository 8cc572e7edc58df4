from typing import Any

import numpy as np
from numba.types import Type

def as_dtype(kind: Type) -> np.dtype[Any]: ...
