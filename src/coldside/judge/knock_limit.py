"""The trace that a limit on the knock margin looks at: how much warmer the charge might be, moment by moment.

Here: `margin_trace`, whether it is `held` where the model ends, and `nearest_speed`, at which it bites.  Knock itself
is judged in `knock.py`, limits in `verdict.py`.
"""

from __future__ import annotations

import numpy as np

from coldside.judge.knock import KnockVerdict, judge_knock
from coldside.plant.results import Forecast

COLDEST, HOTTEST = 210.0, 590.0  # K of charge between which the model finds where knock begins
HELD = 0.5  # K from either end within which the model's search has not come to an answer
NOT_KNOWN = (
    "how near knock is takes a known knock-limited point of this engine (knock_speed, knock_boost, knock_intake, "
    "knock_spark)"
)


def margin_trace(forecast: Forecast, knock: KnockVerdict | None = None) -> tuple[np.ndarray | None, str]:
    """The knock margin (n,) in kelvin of warmer charge, NaN out of boost; or None and why there is none.

    `knock` where it has been judged already.  The charge temperature at which knock begins depends on speed, boost and
    spark alone: it is linear between the moments that `judge_knock` looks at, the charge's own temperature is not.
    Beyond what the model reaches it is held at `COLDEST` and `HOTTEST`.
    """
    judged = judge_knock(forecast) if knock is None else knock
    if judged is None:
        return None, "boost is never reached in this session"
    if not judged.calibrated or judged.margin_trace is None:
        return None, NOT_KNOWN
    rows = np.flatnonzero(forecast.boost & (forecast.demand.engine_speed > 1.0))
    trace = np.full(len(forecast.time), np.nan)
    trace[rows] = np.interp(rows, judged.samples, _begins(forecast, judged)) - forecast.intake[rows]
    return trace, ""


def nearest_speed(forecast: Forecast) -> float | None:
    """The engine speed at which knock begins at the coldest charge, of those in boost, rev/s; None where not known.

    A limit on the knock margin bites first at that speed once the charge is as warm at every one.
    """
    judged = judge_knock(forecast)
    if judged is None or not judged.calibrated or judged.margin_trace is None:
        return None
    begins = _begins(forecast, judged)
    sample = int(judged.samples[int(np.argmin(begins))])
    if begins.min() >= HOTTEST:  # beyond the model everywhere: octane ranks it
        sample = judged.worst.sample
    return float(forecast.demand.engine_speed[sample])


def _begins(forecast: Forecast, judged: KnockVerdict) -> np.ndarray:
    """The charge temperature at which knock begins, K, at the moments judged; held where the model ends."""
    assert judged.margin_trace is not None
    begins = forecast.intake[judged.samples] + judged.margin_trace
    return np.where(np.isfinite(begins), begins, np.where(judged.needed <= judged.model.octane, HOTTEST, COLDEST))


def held(forecast: Forecast, trace: np.ndarray, sample: int) -> bool:
    """Whether the margin at a sample is only a bound: knock begins beyond `COLDEST` or `HOTTEST`."""
    begins = float(forecast.intake[sample] + trace[sample])
    return begins <= COLDEST + HELD or begins >= HOTTEST - HELD
