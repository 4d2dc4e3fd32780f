"""The polynomials of `coolants.py` compiled by Numba, with the check of their argument.

Importing this module imports Numba, so it is imported only where a whole run is put together.
"""

from __future__ import annotations

import numba
import numpy as np


@numba.njit(cache=True, error_model="numpy", nogil=True)
def held_polynomial(coefficients, x, bounds):
    """Sum of coefficients[i] ((x - middle) / scale)^i at flat `x`, held above `carried`, and whether all x are good.

    `bounds` are the lowest and highest x allowed, `carried`, `middle` and `scale`; step by step as `coolants`.
    """
    low, high, carried, middle, scale = bounds
    found, good = np.empty_like(x), True
    for k in range(x.size):
        if not (x[k] >= low and x[k] <= high):
            good = False
        u = (min(x[k], carried) - middle) / scale
        total = coefficients[-1]
        for i in range(len(coefficients) - 2, -1, -1):
            total = total * u + coefficients[i]
        found[k] = total
    return found, good
