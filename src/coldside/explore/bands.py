"""Bands of the headline figures: the same session on a build whose uncertain inputs are drawn many times.

What is here: `simulate_many` and `Bands`.  What is not: which inputs are uncertain and their numbers
(`draws.py`), one run (`outcome.py`), which inputs matter most (`sensitivity.py`), words (`judge/`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coldside.build.model import Build
from coldside.duty.model import LimitSpec, Session, Shares
from coldside.errors import ColdsideError, NoAnswer, require
from coldside.explore.clocked import Clock
from coldside.explore.coarse import lacks, put_right
from coldside.explore.draws import Uncertain, drawn, scores, uncertain_inputs, values_of
from coldside.explore.outcome import DRAWN, Fineness, Outcome, figures, run
from coldside.explore.workers import on_all_cores
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast

DRAWS = 64
PERCENTILES = (10.0, 50.0, 90.0)
MOST_FAILED = 0.5  # share of draws without a balance, above which there is no band

Band = tuple[float, float, float]  # 10th, 50th, 90th percentile, SI
Measure = Callable[[Forecast | Outcome], dict[str, float]]  # figures by name; a module's own function


@dataclass(frozen=True)
class Bands:
    """What the uncertainty of the inputs makes of the headline figures.

    `nominal` and `figures` by name (`outcome.figures`): the value with every input at its median, and its
    band, SI.  `chances`: the share of draws in which a limit holds, by the name of its figure ("limits.0"),
    and in which all hold ("all"); what cannot be judged is absent.  `outcomes` holds each figure in every
    draw (draws,), `scores` the standard normal numbers of every draw (draws, inputs); draws that found no
    balance are left out of both and told in `failed`.  `coarse` is by how much the coarse nominal run was
    off, which every outcome has been given.  `shares` of power with which every draw drove its passes and laps: the
    nominal's, so that the bands lie about it.
    """

    inputs: tuple[Uncertain, ...]
    scores: np.ndarray
    outcomes: Mapping[str, np.ndarray]
    nominal: Mapping[str, float]
    figures: Mapping[str, Band]
    chances: Mapping[str, float]
    failed: tuple[str, ...]
    coarse: Mapping[str, float]
    seed: int
    shares: Shares | None = None

    @property
    def draws(self) -> int:
        """Draws that count."""
        return len(self.scores)


def simulate_many(
    build: Build,
    session: Session,
    n: int = DRAWS,
    seed: int = 0,
    *,
    forecast: Forecast | None = None,
    inputs: Sequence[Uncertain] | None = None,
    fineness: Fineness = DRAWN,
    measure: Measure = figures,
) -> Bands:
    """Bands of the headline figures from `n` draws of all uncertain inputs.

    Parameters
    ----------
    build, session : as of `simulate`.
    n, seed : draws, and which; the same seed draws the same numbers everywhere.
    forecast : the nominal run, where there is one already; it is run otherwise.
    inputs : the inputs to draw, all of them by default.  Column k of the numbers belongs to input k: two
        builds that are to be compared draw the same list (one's inputs and those that only the other has).
    fineness : how finely the draws are run.
    measure : what is looked at in every run, `outcome.figures` and more.

    Raises as `simulate` does for the nominal run, `NoAnswer` where more than half of the draws find no balance.
    """
    require("n", n, low=2, high=2**20)
    known = uncertain_inputs(build, session) if inputs is None else tuple(inputs)
    fine = forecast if forecast is not None else simulate(build, session)
    nominal = measure(fine)
    clock = Clock.of(fine)
    shift = lacks(nominal, measure(run(build, session, fineness, shares=fine.shares, clock=clock)), session.limits)
    score = scores(len(known), n, seed)
    limits = _shifted(session.limits, shift)
    shared = (build, replace(session, limits=limits), known, fineness, measure, (fine.shares, clock))
    found = on_all_cores(_figures_of, shared, list(values_of(known, score)))
    good = np.array([isinstance(one, dict) for one in found])
    failed = tuple(str(one) for one in found if isinstance(one, str))
    if len(failed) > MOST_FAILED * n:
        raise NoAnswer(f"{len(failed)} of {n} draws of the uncertain inputs have no balance; the first: {failed[0]}")
    kept = [one for one in found if isinstance(one, dict)]
    outcomes = {
        name: put_right(name, np.array([one.get(name, np.nan) for one in kept]), by, session.limits)
        for name, by in shift.items()
    }
    return Bands(
        inputs=known,
        scores=score[good],
        outcomes=outcomes,
        nominal=nominal,
        figures={name: band for name, values in outcomes.items() if (band := _band(values)) is not None},
        chances=_chances(outcomes, session.limits),
        failed=failed,
        coarse=shift,
        seed=seed,
        shares=fine.shares,
    )


def figures_of_draws(
    build: Build,
    session: Session,
    inputs: Sequence[Uncertain],
    score: np.ndarray,
    figure: str,
    *,
    fineness: Fineness = DRAWN,
    shares: Shares | None = None,
) -> np.ndarray:
    """One figure at standard normal numbers (runs, inputs), as coarse as it is run; NaN where there is no balance.

    `shares` of their power with which passes and laps are driven, a forecast's.
    """
    shared = (build, session, tuple(inputs), fineness, figures, (shares, None))
    found = on_all_cores(_figures_of, shared, list(values_of(inputs, score)))
    return np.array([one.get(figure, np.nan) if isinstance(one, dict) else np.nan for one in found])


def _figures_of(
    shared: tuple[Build, Session, tuple[Uncertain, ...], Fineness, Measure, tuple[Shares | None, Clock | None]],
    values: Sequence[np.ndarray],
) -> list[dict[str, float] | str]:
    """Figures of some draws; of one that has no balance, what it said."""
    build, session, inputs, fineness, measure, (shares, clock) = shared
    found: list[dict[str, float] | str] = []
    for row in values:
        try:
            found.append(measure(run(*drawn(build, session, inputs, row), fineness, shares=shares, clock=clock)))
        except ColdsideError as fault:
            found.append(str(fault))
    return found


def _shifted(limits: tuple[LimitSpec, ...], shift: Mapping[str, float]) -> tuple[LimitSpec, ...]:
    """Limits that a coarse trace meets when its fine twin meets the true ones, so that times over them are right."""
    return tuple(limit.moved(-shift.get(f"limits.{k}", 0.0)) for k, limit in enumerate(limits))


def _band(values: np.ndarray) -> Band | None:
    known = values[np.isfinite(values)]
    if known.size < 2:
        return None
    low, middle, high = np.percentile(known, PERCENTILES)
    return float(low), float(middle), float(high)


def _chances(outcomes: Mapping[str, np.ndarray], limits: tuple[LimitSpec, ...]) -> dict[str, float]:
    """Shares of the draws in which limits hold; a draw in which one cannot be judged does not count for it."""
    found: dict[str, float] = {}
    all_hold: np.ndarray | None = None
    for k, limit in enumerate(limits):
        values = outcomes.get(f"limits.{k}")
        if values is None or not np.isfinite(values).any():
            continue
        sign = -1.0 if limit.lowest else 1.0
        found[f"limits.{k}"] = float(np.mean(sign * values[np.isfinite(values)] <= sign * limit.bound))
        holds = ~(sign * values > sign * limit.bound)
        all_hold = holds if all_hold is None else all_hold & holds
    if all_hold is not None:
        found["all"] = float(np.mean(all_hold))
    return found


def bands_json(bands: Bands) -> dict[str, Any]:
    """Bands as a plain dictionary for JSON: keys carry the unit, percentiles are named.

    Figures as of `outcome.figures`, their unit behind: "intake_max_K", "power_mean_W", "lost_to_heat_in_boost" (a share
    has none), "run_best.lap_s", "heat_cost.pass_s" (of all passes together), and in the order of the block `runs`
    "run_time.0_s" and "run_cost.0_s".
    """
    said: dict[str, Any] = {"draws": bands.draws, "without_balance": len(bands.failed), "seed": bands.seed}
    for name, band in bands.figures.items():
        said[name + _unit(name)] = dict(zip(("p10", "p50", "p90"), band, strict=True))
    said["chances"] = dict(bands.chances)
    return said


def _unit(name: str) -> str:
    """Suffix of a figure's key; shares have none, nor has a limit, whose unit stands where it is judged."""
    if name.startswith(("spread", "limits", "lost")):
        return ""
    return "_s" if name.startswith(("seconds", "run_", "heat_cost")) else "_W" if name.startswith("power") else "_K"
