"""The inverse of a compressor's table compiled by Numba; `compressor._speed_at` says what it is.

Importing this module imports Numba, so it is imported only where a whole run is put together.
"""

from __future__ import annotations

import numba
import numpy as np


@numba.njit(cache=True, error_model="numpy", nogil=True)
def _root_at(n, surge, choke, root_psi, i, flow):
    """As `compressor._root_at_node`."""
    beta = (flow / n[i] - surge[i]) / (choke[i] - surge[i])
    if beta > 1.0 + 1e-12:
        return -1.0
    place = min(max(beta, 0.0), 1.0) * (root_psi.shape[1] - 1)
    j = min(int(place), root_psi.shape[1] - 2)
    return n[i] * (root_psi[i, j] + (place - j) * (root_psi[i, j + 1] - root_psi[i, j]))


@numba.njit(cache=True, error_model="numpy", nogil=True)
def _interp(at, x, y):
    """`numpy.interp` at one point."""
    last = x.size - 1
    if at <= x[0]:
        return y[0]
    if at >= x[last]:
        return y[last]
    low, high = 0, last
    while high - low > 1:
        middle = (low + high) // 2
        if x[middle] <= at:
            low = middle
        else:
            high = middle
    return y[low] + (y[high] - y[low]) / (x[high] - x[low]) * (at - x[low])


@numba.njit(cache=True, error_model="numpy", nogil=True)
def speed_at(n, surge, choke, root_psi, flow, root):
    """Corrected speed and distance beyond choke of flat arrays; step by step as `compressor._speed_at`."""
    speed, beyond = np.empty_like(flow), np.empty_like(flow)
    m_choke, y_choke = n * choke, n * root_psi[:, -1]
    for p in range(flow.size):
        m, y = flow[p], root[p]
        low, high = 0, n.size - 1
        while low < high:
            middle = (low + high) // 2
            if _root_at(n, surge, choke, root_psi, middle, m) >= y:
                high = middle
            elif middle == low:
                break
            else:
                low = middle
        low = max(high - 1, 0)
        passing = _interp(m, m_choke, n)
        start = min(max(passing, n[low]), n[high])
        y_low = _interp(start, n, y_choke) if start > n[low] else _root_at(n, surge, choke, root_psi, low, m)
        y_high = _root_at(n, surge, choke, root_psi, high, m)
        gap = y_high - y_low if y_high > y_low else 1.0
        speed[p] = start + min(max((y - y_low) / gap, 0.0), 1.0) * (n[high] - start)
        at_root = _interp(y, y_choke, n)
        beyond[p] = max(m / _interp(at_root, n, m_choke) - 1.0, 0.0) if passing > at_root else 0.0
    return speed, beyond
