"""Compression with variable specific heat compiled by Numba; `air.compressed_temperature` says what it is.

Importing this module imports Numba, so it is imported only where a whole run is put together.
"""

from __future__ import annotations

import numba
import numpy as np


@numba.njit(cache=True, error_model="numpy", nogil=True)
def _sum(a, T):
    total = a[-1]
    for i in range(a.size - 2, -1, -1):
        total = total * T + a[i]
    return total


@numba.njit(cache=True, error_model="numpy", nogil=True)
def _band(T, edge):
    return 1 if T > edge else 0


@numba.njit(cache=True, error_model="numpy", nogil=True)
def compressed(points, gas, R, limits, steps):
    """Outlet temperatures, and how many did not settle.

    `points` are inlet temperatures, pressure ratios and efficiencies; `gas` has the coefficients of cp, h and s0 below
    and above the first of `limits` [K], the other two of which bound the answer.
    """
    T1, ratio, efficiency = points
    cp, h, s = gas
    edge, low, high = limits
    found = np.empty_like(T1)
    lost = 0
    for p in range(T1.size):
        T0 = T1[p]
        if ratio[p] <= 1.0:
            found[p] = T0
            continue
        b = _band(T0, edge)
        log_ratio = R * np.log(ratio[p])
        entropy = _sum(s[b], T0) + cp[b, 0] * np.log(T0) + log_ratio
        T = min(max(T0 * np.exp(log_ratio / _sum(cp[b], T0)), low), high)
        settled = False
        for _ in range(steps):
            b = _band(T, edge)
            gap = _sum(s[b], T) + cp[b, 0] * np.log(T) - entropy
            new = min(max(T - gap / (_sum(cp[b], T) / T), low), high)
            settled = abs(new - T) / T < 1e-8
            T = new
            if settled:
                break
        lost += not settled
        start = _sum(h[_band(T0, edge)], T0)
        aim = start + (_sum(h[_band(T, edge)], T) - start) / efficiency[p]
        T = min(max(T0 + (T - T0) / efficiency[p], low), high)
        settled = False
        for _ in range(steps):
            b = _band(T, edge)
            new = min(max(T - (_sum(h[b], T) - aim) / _sum(cp[b], T), low), high)
            settled = abs(new - T) / T < 1e-8
            T = new
            if settled:
                break
        lost += not settled
        found[p] = T
    return found, lost
