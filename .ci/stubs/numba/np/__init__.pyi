from numba.np import numpy_support as numpy_support
