"""Curves through given points: a monotone cubic, and the falling curve of pumps and fans.

What is here: `MonotoneCurve` (piecewise cubic that never overshoots its points) and `FallingCurve`
(a rise against flow, strictly falling for every flow, with the affinity laws).  What is not: what
the rise means (`pump.py`, `airflow.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.errors import BadInput
from coldside.media.compiled import worth_compiling

LEAST_FALL = 1e-3  # smallest fall kept anywhere, as a share of (shut-off rise / largest flow): solvers need a slope
STOPPED = 1e-3  # below this share of full speed a pump or fan counts as stopped


def knot_slopes(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Slopes at the knots of the monotone cubic of Fritsch and Butland (1984, from memory; as in SciPy's PCHIP).

    `x` (n,) rising, `y` (n,) or (n, k).  Inside: weighted harmonic mean of the neighbouring chords,
    0 where they differ in sign; ends: one-sided three-point formula, kept monotone.
    """
    h = np.diff(x).reshape((-1,) + (1,) * (y.ndim - 1))
    chord = np.diff(y, axis=0) / h
    if len(x) == 2:
        return np.concatenate([chord, chord])
    slope = np.zeros_like(y, dtype=float)
    before, after = chord[:-1], chord[1:]
    w1, w2 = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
    alike = before * after > 0
    safe_before, safe_after = np.where(alike, before, 1.0), np.where(alike, after, 1.0)
    slope[1:-1] = np.where(alike, (w1 + w2) / (w1 / safe_before + w2 / safe_after), 0.0)
    slope[0] = _end_slope(h[0], h[1], chord[0], chord[1])
    slope[-1] = _end_slope(h[-1], h[-2], chord[-1], chord[-2])
    return slope


def _end_slope(h0: np.ndarray, h1: np.ndarray, chord0: np.ndarray, chord1: np.ndarray) -> np.ndarray:
    """Three-point slope at an end, limited so that the first interval stays monotone."""
    slope = ((2 * h0 + h1) * chord0 - h0 * chord1) / (h0 + h1)
    slope = np.where(slope * chord0 <= 0, 0.0, slope)
    steep = (chord0 * chord1 <= 0) & (np.abs(slope) > 3 * np.abs(chord0))
    return np.where(steep, 3 * chord0, slope)


def hermite(x: np.ndarray, y: np.ndarray, slope: np.ndarray, at: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """Value and derivative of the cubic with these knots at `at`, which must lie within them.

    `y` and `slope` are (n,) or (n, k); the result has the shape of `at`, followed by (k,).
    """
    at = np.asarray(at, dtype=float)
    if y.ndim == 1 and worth_compiling(at.size):
        from coldside.parts.cubic import cubic  # Numba: only where a whole run is put together

        knots, heights, slopes = (np.ascontiguousarray(v, dtype=float) for v in (x, y, slope))
        value, rate = cubic(knots, heights, slopes, np.ascontiguousarray(at).ravel())
        return value.reshape(at.shape), rate.reshape(at.shape)
    i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    tail = (1,) * (y.ndim - 1)
    h = (x[i + 1] - x[i]).reshape(at.shape + tail)
    s = ((at - x[i]) / (x[i + 1] - x[i])).reshape(at.shape + tail)
    rise = y[i + 1] - y[i]
    d0, d1 = h * slope[i], h * slope[i + 1]
    c2, c3 = 3 * rise - 2 * d0 - d1, d0 + d1 - 2 * rise
    return y[i] + s * (d0 + s * (c2 + s * c3)), (d0 + s * (2 * c2 + 3 * s * c3)) / h


@dataclass(frozen=True)
class MonotoneCurve:
    """A cubic through points that never overshoots them, held flat beyond its ends."""

    x: np.ndarray
    y: np.ndarray
    slope: np.ndarray

    @classmethod
    def through(cls, points: tuple[tuple[float, float], ...]) -> MonotoneCurve:
        """The curve through `points` (x must rise; one point gives a constant).  Raises `BadInput`."""
        x, y = _columns(points)
        if len(x) == 1:
            x, y = np.array([x[0], x[0] + 1.0]), np.repeat(y, 2)
        return cls(x, y, knot_slopes(x, y))

    def __call__(self, at: np.ndarray | float) -> np.ndarray:
        """Value at `at`; the end values beyond the ends."""
        return hermite(self.x, self.y, self.slope, np.clip(at, self.x[0], self.x[-1]))[0]


@dataclass(frozen=True)
class FallingCurve:
    """Rise against flow at full speed, and by the affinity laws at any other.

    With w the share of full speed, rise(Q, w) = w^2 f(Q/w).  f goes through the points (monotone
    cubic) and falls strictly for every Q: where points are level it is bent down by `LEAST_FALL`.
    Forced backwards (Q < 0) the rise grows as R Q^2, beyond the last point it falls as -R Q^2 on top
    of the last slope, and R is the resistance of the stopped machine, so that w -> 0 leads there
    without a jump: rise(Q, 0) = -R Q|Q|.
    """

    flow: np.ndarray
    rise: np.ndarray
    slope: np.ndarray
    resistance: float

    @classmethod
    def through(cls, points: tuple[tuple[float, float], ...], resistance: float | None = None) -> FallingCurve:
        """The curve through `points` (flow rises, rise never rises, shut-off rise > 0).

        `resistance` of the stopped machine, rise per flow squared; None: twice shut-off rise over
        the largest flow squared (from memory: 1 to 3 times).  Raises `BadInput`.
        """
        flow, rise = _columns(points)
        if len(flow) < 2:
            raise BadInput("a curve of flow against rise needs at least two points")
        if flow[0] < 0:
            raise BadInput(f"flow {flow[0]:g} m3/s is negative; a curve starts at zero flow or above")
        if np.any(np.diff(rise) > 0):
            at = int(np.argmax(np.diff(rise) > 0)) + 1
            raise BadInput(
                f"the curve rises at its point {at + 1} (flow {flow[at]:g} m3/s); a curve that rises has several"
                " answers: give the falling part only, from zero flow the highest value"
            )
        if rise[0] <= 0:
            raise BadInput("the first point of a curve must have a rise above zero")
        if flow[0] > 0:  # taken as level from shut-off to the first point
            flow, rise = np.concatenate([[0.0], flow]), np.concatenate([[rise[0]], rise])
        least = LEAST_FALL * rise[0] / flow[-1]
        for i in range(1, len(flow)):
            rise[i] = min(rise[i], rise[i - 1] - least * (flow[i] - flow[i - 1]))
        chord = np.diff(rise) / np.diff(flow)
        # At most 2.5 times the flatter neighbour (3 is the limit of monotony, where the slope touches zero).
        flattest = np.maximum(np.concatenate([chord[:1], chord]), np.concatenate([chord, chord[-1:]]))
        slope = np.clip(knot_slopes(flow, rise), 2.5 * flattest, -least)
        standing = 2.0 * rise[0] / flow[-1] ** 2 if resistance is None else resistance
        return cls(flow, rise, slope, max(float(standing), 1e-4 * rise[0] / flow[-1] ** 2))

    @property
    def largest_flow(self) -> float:
        """Flow of the last point."""
        return float(self.flow[-1])

    def at(self, Q: np.ndarray | float, w: np.ndarray | float = 1.0) -> tuple[np.ndarray, np.ndarray]:
        """Rise and its derivative by flow at flow `Q` (any sign) and share of full speed `w` >= 0."""
        Q, w = np.asarray(Q, dtype=float), np.asarray(w, dtype=float)
        if Q.ndim == 1 and Q.shape == w.shape and worth_compiling(Q.size):
            from coldside.parts.cubic import falling  # Numba: only where a whole run is put together

            ends = (self.resistance, LEAST_FALL * self.largest_flow, STOPPED)
            rise, slope = falling((self.flow, self.rise, self.slope), ends, *(np.ascontiguousarray(v) for v in (Q, w)))
            return rise, slope
        Q, w = np.broadcast_arrays(Q, w)
        turning = w > STOPPED
        speed = np.where(turning, w, 1.0)
        rise, slope = self._full_speed(Q / speed)
        R, floor = self.resistance, LEAST_FALL * self.largest_flow
        stopped_rise, stopped_slope = -R * Q * (np.abs(Q) + floor), -R * (2 * np.abs(Q) + floor)
        return np.where(turning, speed**2 * rise, stopped_rise), np.where(turning, speed * slope, stopped_slope)

    def _full_speed(self, Q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Rise and slope at full speed, continued beyond both ends."""
        last = self.flow[-1]
        rise, slope = hermite(self.flow, self.rise, self.slope, np.clip(Q, 0.0, last))
        back, over = np.minimum(Q, 0.0), np.maximum(Q - last, 0.0)
        rise = rise + self.slope[0] * back + self.slope[-1] * over + self.resistance * (back**2 - over**2)
        return rise, slope + 2 * self.resistance * (back - over)


def _columns(points: tuple[tuple[float, float], ...]) -> tuple[np.ndarray, np.ndarray]:
    """Both columns as arrays; the first must rise, all must be finite."""
    table = np.asarray(points, dtype=float).reshape(-1, 2)
    if len(table) == 0 or not np.all(np.isfinite(table)):
        raise BadInput("a curve needs points, all of them finite numbers")
    if np.any(np.diff(table[:, 0]) <= 0):
        at = int(np.argmax(np.diff(table[:, 0]) <= 0)) + 1
        raise BadInput(f"the first column must rise from point to point; point {at + 1} does not")
    return table[:, 0].copy(), table[:, 1].copy()
