"""The crossflow series compiled by Numba, for tables of many points; `correlations.py` says what it is.

Importing this module imports Numba, so it is imported only where a whole run is put together.
"""

from __future__ import annotations

import numba
import numpy as np


@numba.njit(cache=True, error_model="numpy")
def crossflow_series(N, C):
    """eps and d(eps)/d(NTU) of flat arrays N and C; term by term as `correlations._crossflow_series`."""
    eps, slope = np.empty_like(N), np.empty_like(N)
    for i in range(N.size):
        x, c = N[i], C[i]
        y = c * x
        pmf_x, pmf_y = np.exp(-x), np.exp(-y)
        P_x, P_y = -np.expm1(-x), -np.expm1(-y)
        total, change = P_x * P_y, pmf_x * P_y + c * P_x * pmf_y
        for n in range(1, int(np.ceil(y + 12.0 * np.sqrt(y) + 40.0)) + 1):
            pmf_x *= x / n
            pmf_y *= y / n
            P_x = max(P_x - pmf_x, 0.0)
            P_y = max(P_y - pmf_y, 0.0)
            total += P_x * P_y
            change += pmf_x * P_y + c * P_x * pmf_y
        eps[i] = min(total / y, 1.0)
        slope[i] = max((change - total / x) / y, 0.0)
    return eps, slope
