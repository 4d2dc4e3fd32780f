"""Two bench points of one core: how its resistance splits between the films, and how a loss grows with flow.

What is here: `fit`, which weighs two measured effectivenesses against what is known of such cores beforehand
(the most probable split, exponents and conductance, with their standard deviations), and `loss_exponent`.
What is not: keys and bench coolants (`exchanger.py`), what a rating then does (`rating.py`).

Two points alone are a poor guide: in the check case heat-T22 one point of effectiveness moves the charge
film's share by 0.09, and an exponent of 0.45 instead of 0.65 moves it from 0.68 to 0.50.  So the usual shares
and exponents stand beside the measurement with their own standard deviations, never left out (heat note B2).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from coldside.errors import BadInput, Internal
from coldside.media.coolants import Coolant
from coldside.parts.rating import Rating, conductance_of

EFFECTIVENESS_SD = 0.01  # of a measured effectiveness: 1 K in 100 K of inlet difference (own)
CONTRADICTION = 3.0  # sd by which a point may be missed before the two are said to contradict each other
SMALLEST_SHARE = 0.02  # that either film may have of the whole resistance


@dataclass(frozen=True)
class BenchPoint:
    """One measured point: mass flows [kg/s], capacity rates [W/K], coolant mean temperature [K] (any for two
    gases), effectiveness of the smaller stream.
    """

    flow1: float
    flow2: float
    C1: float
    C2: float
    temperature: float
    effectiveness: float


@dataclass(frozen=True)
class Prior:
    """What is known of such a core beforehand: value and standard deviation of side 1's film share of the whole
    resistance and of both films' exponents; `wall` the wall's share, held.
    """

    share1: tuple[float, float]
    exponent1: tuple[float, float]
    exponent2: tuple[float, float]
    wall: float


@dataclass(frozen=True)
class Fit:
    """The most probable rating, referred to the first point, and standard deviations near it.

    `conductance_sd` is a share of `rating.UA`; `misses` how far each point lies over what the rating gives there,
    in effectiveness of the smaller stream.
    """

    rating: Rating
    share1: float
    share1_sd: float
    exponent1_sd: float
    exponent2_sd: float
    conductance_sd: float
    misses: tuple[float, float]


def fit(
    points: Sequence[BenchPoint], prior: Prior, like: Rating, coolant: Coolant | None, sd: float = EFFECTIVENESS_SD
) -> Fit:
    """The rating that two points and the prior make most probable.

    `like` gives everything else of the rating (liquid side, passes, bench coolant and temperature); `sd` of
    each effectiveness.  Gaussian errors and prior: weighted least squares over the logarithm of the whole
    conductance (nothing known beforehand), the share and both exponents; standard deviations from the
    curvature there.  Raises `BadInput` when crossflow cannot reach the first point.
    Source: own; the prior's figures are heat note B1's.
    """
    from scipy.optimize import least_squares

    first = points[0]
    start = conductance_of(first.effectiveness, first.C1, first.C2, like.passes, like.arrangement)
    known = (prior.share1, prior.exponent1, prior.exponent2)

    def rating_at(x: np.ndarray) -> Rating:
        UA, share = start * float(np.exp(x[0])), float(x[1])
        resistances = (share / UA, (1.0 - prior.wall - share) / UA, prior.wall / UA)
        return replace(
            like,
            flow1=first.flow1,
            flow2=first.flow2,
            film1=resistances[0],
            film2=resistances[1],
            wall=resistances[2],
            exponent1=float(x[2]),
            exponent2=float(x[3]),
            UA=UA,
        )

    def misses(x: np.ndarray) -> np.ndarray:
        rating = rating_at(x)
        return np.array([point.effectiveness - effectiveness_at(rating, point, coolant) for point in points])

    def residuals(x: np.ndarray) -> np.ndarray:
        beside = [(x[1 + i] - value) / spread for i, (value, spread) in enumerate(known)]
        return np.concatenate([misses(x) / sd, beside])

    limits = (
        [-3.0, SMALLEST_SHARE, 0.0, 0.0],
        [3.0, 1.0 - prior.wall - SMALLEST_SHARE, 1.0, 1.0],
    )
    x0 = np.clip([0.0, *(value for value, _ in known)], np.array(limits[0]) + 1e-6, np.array(limits[1]) - 1e-6)
    found = least_squares(residuals, x0, bounds=limits, xtol=1e-12, ftol=1e-12, gtol=1e-12)
    if not found.success:
        raise Internal("two bench points were not fitted; please send the build")
    spread = np.sqrt(np.diag(np.linalg.inv(found.jac.T @ found.jac)))
    best, off = rating_at(found.x), misses(found.x)
    best = replace(best, effectiveness=effectiveness_at(best, first, coolant))
    return Fit(
        rating=best,
        share1=float(found.x[1]),
        share1_sd=float(spread[1]),
        exponent1_sd=float(spread[2]),
        exponent2_sd=float(spread[3]),
        conductance_sd=float(spread[0]),
        misses=(float(off[0]), float(off[1])),
    )


def effectiveness_at(rating: Rating, point: BenchPoint, coolant: Coolant | None) -> float:
    """Effectiveness of the smaller stream that a rating gives at a point's flows and temperature."""
    T = np.array(point.temperature)
    h1 = rating.conductance1(np.array(point.flow1), T, coolant)
    h2 = rating.conductance2(np.array(point.flow2), T, coolant)
    heat = rating.heat(np.array(point.C1), np.array(point.C2), h1, h2)
    return float(heat) / min(point.C1, point.C2)


def loss_exponent(first: float, second: float, flow1: float, flow2: float) -> float:
    """Power of flow between two losses (weighted by density where that differs), at two flows; all > 0.

    Raises `BadInput` outside 1 (laminar) to 2 (all of it dynamic head): such points belong to different cores,
    densities or mounts (heat note B3).
    """
    if min(first, second) <= 0.0:
        raise BadInput("a loss of 0 at one bench point says nothing of how it grows")
    if abs(np.log(flow2 / flow1)) < 0.05:
        raise BadInput("two losses at the same flow say nothing of how it grows; the flows must differ by 5 % or more")
    x = float(np.log(second / first) / np.log(flow2 / flow1))
    if not 1.0 <= x <= 2.0:
        raise BadInput(
            f"the two losses grow with flow to the power {x:.2f}; between 1 (slow and smooth) and 2 (all of it "
            "dynamic head) is possible, so check flows, pressures and what was measured"
        )
    return x
