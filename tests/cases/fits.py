"""Check case of a straight line fitted to points, with its errors (notes loop C40).

Our regression is the one by which bands find the inputs that matter (`explore/sensitivity.py`); it takes columns and
figures about their means, so that the intercept, its error, the half width and what the residuals say of each other
follow by hand from its slope, error and mean square.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.stats import t as student

from cases.record import Case
from coldside.explore.sensitivity import least_squares


def _line(x: Sequence[float], y: Sequence[float]) -> dict[str, float]:
    at, read = np.asarray(x), np.asarray(y)
    slopes, errors, left = least_squares((at - at.mean())[:, None], read - read.mean())
    slope, error, n = float(slopes[0]), float(errors[0]), len(at)
    intercept = float(read.mean()) - slope * float(at.mean())
    rest = read - intercept - slope * at
    return {
        "intercept": intercept,
        "slope": slope,
        "intercept_error": float(np.hypot(error * at.mean(), np.sqrt(left / (n - 2)))),
        "slope_error": error,
        "half_width_95": error * float(student.ppf(0.975, n - 2)),
        "durbin_watson": float(np.sum(np.diff(rest) ** 2) / np.sum(rest**2)),
    }


CASES = [
    Case(
        id="loop-C40",
        what="straight line by least squares through five points, its standard errors, how its residuals follow",
        inputs={"x": (0.0, 1.0, 2.0, 3.0, 4.0), "y": (1.1, 2.9, 5.2, 7.1, 8.9)},
        compute=_line,
        expected={
            "intercept": 1.080,
            "slope": 1.980,
            "intercept_error": 0.1166,
            "slope_error": 0.04761,
            "half_width_95": 0.1515,
            "durbin_watson": 2.553,
        },
        tolerance=5e-4,
        tolerance_reason="four digits stated",
        source=("Analytic",),
        how="derived, ordinary least squares; 95 % by Student's t of three degrees of freedom (SciPy)",
    ),
]
