"""Sample by sample: what lags make of a trace, and boost as the car's own trims will leave it, compiled by Numba.

What is here: the inner loops of `trims.py`, over arrays and numbers only.  What is not: what they are for, which is
told there.  Importing this module imports Numba, so it is imported only where something is marched anyway.
"""

from __future__ import annotations

import numba
import numpy as np

HALVINGS = 40  # of the interval that holds a sample's temperature: to a millionth of a millikelvin


@numba.njit(cache=True, error_model="numpy", nogil=True)
def lagged(time, trace, lags):
    """A trace behind each of the `lags` [s], one a column; from 0 on, implicit in each step."""
    found = np.zeros((len(time), len(lags)))
    for k in range(1, len(time)):
        for j in range(len(lags)):
            share = (time[k] - time[k - 1]) / lags[j]
            found[k, j] = (found[k - 1, j] + share * trace[k]) / (1.0 + share)
    return found


@numba.njit(cache=True, error_model="numpy", nogil=True)
def taken_off(at, over, most, full, points, levels):
    """What a trim takes at a reading `at` [K] of boost `over` ambient [Pa]; `most` is the full target over ambient."""
    level = levels[-1]
    if at <= points[0]:
        level = levels[0]
    else:
        for i in range(1, len(points)):
            if at < points[i]:
                w = (at - points[i - 1]) / (points[i] - points[i - 1])
                level = levels[i - 1] + w * (levels[i] - levels[i - 1])
                break
    return over * level if full else max(over - max(most, 0.0) * (1.0 - level), 0.0)


@numba.njit(cache=True, error_model="numpy", nogil=True)
def foresee(time, read, taken, over, most, full, acts, gains, lags, points, levels):
    """What the sensor will read at each sample [K] when trims act on just that; see `trims.Answer.foresee`."""
    felt = read.copy()
    behind = np.zeros(len(lags))
    share = np.zeros(len(lags))
    for k in range(len(time)):
        step = time[k] - time[k - 1] if k else 0.0
        base, gain = read[k], 0.0
        for j in range(len(lags)):
            share[j] = step / lags[j]
            behind[j] /= 1.0 + share[j]
            base += behind[j]
            gain += gains[j] * share[j] / (1.0 + share[j])
        less = taken[k]
        felt[k] = base + gain * less
        if acts[k]:
            low, high = base + gain * (taken[k] - over[k]), base + gain * taken[k]
            for _ in range(HALVINGS):
                middle = 0.5 * (low + high)
                left = taken[k] - taken_off(middle, over[k], most[k], full[k], points, levels)
                if middle < base + gain * left:
                    low = middle
                else:
                    high = middle
            felt[k] = 0.5 * (low + high)
            less = taken[k] - taken_off(felt[k], over[k], most[k], full[k], points, levels)
        for j in range(len(lags)):
            behind[j] += gains[j] * share[j] / (1.0 + share[j]) * less
    return felt
