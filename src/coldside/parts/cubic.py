"""The piecewise cubic of `curves.hermite`, and the falling curve on it, compiled by Numba, for one column of knots.

Importing this module imports Numba, so it is imported only where a whole run is put together.
"""

from __future__ import annotations

import numba
import numpy as np


@numba.njit(cache=True, error_model="numpy", nogil=True)
def cubic(x, y, slope, at):
    """Value and derivative at flat `at`; step by step as `curves.hermite`."""
    value, rate = np.empty_like(at), np.empty_like(at)
    last = x.size - 2
    for p in range(at.size):
        low, high = 0, x.size
        while low < high:  # first knot beyond
            middle = (low + high) // 2
            if x[middle] <= at[p]:
                low = middle + 1
            else:
                high = middle
        i = min(max(low - 1, 0), last)
        h = x[i + 1] - x[i]
        s = (at[p] - x[i]) / h
        rise = y[i + 1] - y[i]
        d0, d1 = h * slope[i], h * slope[i + 1]
        c2, c3 = 3 * rise - 2 * d0 - d1, d0 + d1 - 2 * rise
        value[p] = y[i] + s * (d0 + s * (c2 + s * c3))
        rate[p] = (d0 + s * (2 * c2 + 3 * s * c3)) / h
    return value, rate


@numba.njit(cache=True, error_model="numpy", nogil=True)
def falling(knots, ends, Q, w):
    """Rise and derivative at flat `Q` and shares of full speed `w`; step by step as `curves.FallingCurve.at`.

    `knots` are flow, rise and slope, `ends` the resistance, the least fall in flow, and the share that stands still.
    """
    x, y, slope = knots
    resistance, floor, stopped = ends
    last = x[-1]
    speed = np.where(w > stopped, w, 1.0)
    at = Q / speed
    value, rate = cubic(x, y, slope, np.minimum(np.maximum(at, 0.0), last))
    for p in range(at.size):
        if w[p] > stopped:
            back, over = min(at[p], 0.0), max(at[p] - last, 0.0)
            beyond = slope[0] * back + slope[-1] * over + resistance * (back**2 - over**2)
            value[p] = speed[p] ** 2 * (value[p] + beyond)
            rate[p] = speed[p] * (rate[p] + 2.0 * resistance * (back - over))
        else:
            value[p] = -resistance * Q[p] * (abs(Q[p]) + floor)
            rate[p] = -resistance * (2.0 * abs(Q[p]) + floor)
    return value, rate
