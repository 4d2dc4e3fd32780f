"""Boost behind its target compiled by Numba; `demand.lagged_boost` says what it is.

Importing this module imports Numba, so it is imported only where that is at hand already.
"""

from __future__ import annotations

import numba


@numba.njit(cache=True, error_model="numpy", nogil=True)
def follow(found, asked, due, ambient, lag, per_sample):
    """Fill `found`, which starts as what is `asked`, at the samples where pressure may be behind (`due`, rising).

    `lag` in s; `per_sample` has the time between samples [s] and how much of a gap is left after it.
    """
    step, decay = per_sample
    for i in due:
        value, now = found[i - 1], asked[i]
        if now > value:
            before = max(asked[i - 1], ambient)
            slope = (now - before) / step
            late = now - slope * lag + (max(value, ambient) - before + slope * lag) * decay
            found[i] = min(late, now)
