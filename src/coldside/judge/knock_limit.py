"""The trace that a limit on the knock margin looks at: how much warmer the charge might be, moment by moment.

Here: `margin_trace`, and whether it is `held` where the model ends.  Knock itself is judged in `knock.py`, limits in
`verdict.py`.
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
    at = judged.samples
    begins = forecast.intake[at] + judged.margin_trace
    beyond = np.where(judged.needed <= judged.model.octane, HOTTEST, COLDEST)
    begins = np.where(np.isfinite(begins), begins, beyond)
    rows = np.flatnonzero(forecast.boost & (forecast.demand.engine_speed > 1.0))
    trace = np.full(len(forecast.time), np.nan)
    trace[rows] = np.interp(rows, at, begins) - forecast.intake[rows]
    return trace, ""


def held(forecast: Forecast, trace: np.ndarray, sample: int) -> bool:
    """Whether the margin at a sample is only a bound: knock begins beyond `COLDEST` or `HOTTEST`."""
    begins = float(forecast.intake[sample] + trace[sample])
    return begins <= COLDEST + HELD or begins >= HOTTEST - HELD
