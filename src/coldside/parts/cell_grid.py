"""The steady grid of wall cells and its match compiled by Numba; `rating.py` says what they are.

Importing this module imports Numba, so it is imported only where a whole run is put together.  Cells of one
point wait for each other, so `LANES` points are followed side by side: that loop is the one that a processor's
wide registers take.
"""

from __future__ import annotations

import numba
import numpy as np

LANES = 8
MOST_TURNS = 30
ROUND_OFF = 2e-15  # of the heat, which is round-off of a sum over the cells: a point met so closely is met


@numba.njit(cache=True, error_model="numpy", nogil=True)
def _resistance(c, g, liquid):
    return 1.0 / g + 1.0 / c if liquid else -1.0 / (c * np.expm1(-g / c))


@numba.njit(cache=True, error_model="numpy", nogil=True)
def _heats(c1, c2, R, n1, n2, T1, T2, total):
    """Heat of each lane's grid per kelvin of inlet difference, into `total`; T1 (n2, LANES), T2 (n1, LANES) scratch."""
    a, b = np.empty(LANES), np.empty(LANES)
    for at in range(LANES):
        a[at], b[at] = 1.0 / (R[at] * c1[at]), 1.0 / (R[at] * c2[at])
        total[at] = 0.0
    T1[:] = 1.0
    T2[:] = 0.0
    for i in range(n1):
        for j in range(n2):
            for at in range(LANES):
                d = T1[j, at] - T2[i, at]
                T1[j, at] -= a[at] * d
                T2[i, at] += b[at] * d
                total[at] += d
    for at in range(LANES):
        total[at] /= R[at]


@numba.njit(cache=True, error_model="numpy", nogil=True)
def grid_heat(streams, cells, liquid):
    """Of flat arrays C1, C2, h1, h2; as `rating._grid_heat`."""
    C1, C2, h1, h2 = streams
    n1, n2 = cells
    found, T1, T2 = np.empty_like(C1), np.empty((n2, LANES)), np.empty((n1, LANES))
    c1, c2, R, total = np.empty(LANES), np.empty(LANES), np.empty(LANES), np.empty(LANES)
    for first in range(0, C1.size, LANES):
        for at in range(LANES):
            p = min(first + at, C1.size - 1)
            c1[at], c2[at] = C1[p] / n2, C2[p] / n1
            R[at] = _resistance(c1[at], h1[p] / (n1 * n2), liquid == 1)
            R[at] += _resistance(c2[at], h2[p] / (n1 * n2), liquid == 2)
        _heats(c1, c2, R, n1, n2, T1, T2, total)
        for at in range(min(LANES, C1.size - first)):
            found[first + at] = total[at]
    return found


@numba.njit(cache=True, error_model="numpy", nogil=True)
def match(streams, cells, liquid, moved, target, between):
    """The factor `between` its ends at which each grid meets its `target`; as `rating._match`, to round-off.

    `moved` says of either film whether the factor moves it.
    """
    C1, C2, h1, h2 = streams
    n1, n2 = cells
    on_1, on_2 = moved
    least, most = between
    found, T1, T2 = np.empty_like(C1), np.empty((n2, LANES)), np.empty((n1, LANES))
    c1, c2, g1, g2, aim = np.empty(LANES), np.empty(LANES), np.empty(LANES), np.empty(LANES), np.empty(LANES)
    R, f, k = np.empty(LANES), np.empty(LANES), np.empty(LANES)
    low, high, f_low, f_high = np.empty(LANES), np.empty(LANES), np.empty(LANES), np.empty(LANES)
    side, done = np.zeros(LANES, np.int64), np.zeros(LANES, np.bool_)
    for first in range(0, C1.size, LANES):
        for at in range(LANES):
            p = min(first + at, C1.size - 1)
            c1[at], c2[at], aim[at] = C1[p] / n2, C2[p] / n1, target[p]
            g1[at], g2[at] = h1[p] / (n1 * n2), h2[p] / (n1 * n2)
            low[at], high[at], side[at], done[at] = np.log(least), np.log(most), 0, False
        open_ = LANES
        for turn in range(MOST_TURNS + 2):
            for at in range(LANES):
                if done[at]:
                    continue
                if turn < 2:  # both ends first
                    k[at] = low[at] if turn == 0 else high[at]
                else:  # Illinois, as the plain form
                    new = (low[at] * f_high[at] - high[at] * f_low[at]) / (f_high[at] - f_low[at])
                    k[at] = min(max(new, low[at]), high[at]) if np.isfinite(new) else high[at]
                grown = np.exp(k[at])
                R[at] = _resistance(c1[at], grown * g1[at] if on_1 else g1[at], liquid == 1)
                R[at] += _resistance(c2[at], grown * g2[at] if on_2 else g2[at], liquid == 2)
            _heats(c1, c2, R, n1, n2, T1, T2, f)
            for at in range(LANES):
                if done[at]:
                    continue
                gap = f[at] - aim[at]
                if turn == 0:
                    f_low[at] = gap
                    continue
                if turn == 1:
                    f_high[at] = gap
                    done[at] = f_low[at] >= 0.0 or gap <= 0.0
                    if done[at]:
                        k[at] = low[at] if f_low[at] >= 0.0 else high[at]
                elif abs(gap) <= ROUND_OFF * aim[at] or high[at] - low[at] <= ROUND_OFF:
                    done[at] = True
                elif gap < 0.0:
                    f_high[at] = 0.5 * f_high[at] if side[at] == 1 else f_high[at]
                    f_low[at], low[at], side[at] = gap, k[at], 1
                else:
                    f_low[at] = 0.5 * f_low[at] if side[at] == -1 else f_low[at]
                    f_high[at], high[at], side[at] = gap, k[at], -1
                if done[at]:
                    open_ -= 1
            if open_ == 0:
                break
        for at in range(min(LANES, C1.size - first)):
            found[first + at] = np.exp(k[at])
    return found
