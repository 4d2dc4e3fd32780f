"""The worst moment of a forecast: where in boost least is left of the limit that is told.

Here: `worst_sample`, the one owner of that choice, and `at_worst`, the forecast with its ladder told there.  What dies,
what holds the charge back and in what air runs are tried again all look at this moment.  Not here: which of some limits
is told (`verdict.told`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from coldside.duty.model import LimitSpec
from coldside.judge.knock import judge_knock
from coldside.judge.power import boost_in_runs
from coldside.judge.verdict import judge_limit, least_left, limited_trace, told
from coldside.plant.forecast import at_moment
from coldside.plant.results import Forecast


def worst_sample(forecast: Forecast, limits: Sequence[LimitSpec] | None = None) -> int:
    """The sample in boost at which least is left of the limit that is told; `limits` in place of the session's own.

    All limits are held against boost alone, also one that counts at all times: the charge gives its heat in boost only,
    and a sensor that soaks in traffic says nothing of what holds a pull back.  The hottest intake (`Forecast.peak`)
    where no limit has a moment or boost is never reached.  Burnout, launch and queue hold no worst moment where a timed
    run has boost (`boost_in_runs`): at so little of it next to nothing of cores and air shows.  Where the air outside
    changes, a limit over ambient and one on the intake have different moments.
    """
    wanted = forecast.session.limits if limits is None else limits
    specs = [replace(one, during="boost") for one in wanted if one.quantity != "spread"]
    counts = boost_in_runs(forecast)
    if not specs or not forecast.boost.any():
        return _hottest(forecast, counts)
    knock = judge_knock(forecast) if any(one.quantity == "margin" for one in specs) else None
    results = [judge_limit(forecast, one, knock) for one in specs]
    chosen = told(results)
    if chosen is None:
        return _hottest(forecast, counts)
    spec = next(one for one, result in zip(specs, results, strict=True) if result is chosen)
    trace, _, _ = limited_trace(forecast, spec.quantity, spec.loop, knock)
    assert trace is not None  # it was judged
    return least_left(forecast, spec, trace, counts, knock)[0]


def _hottest(forecast: Forecast, counts: np.ndarray) -> int:
    """The hottest intake where boost counts; the forecast's own where none does."""
    if not counts.any() or counts[forecast.peak]:
        return forecast.peak
    return int(np.argmax(np.where(counts, forecast.intake, -np.inf)))


def at_worst(forecast: Forecast) -> Forecast:
    """The forecast with its ladder and the spread over its cores' faces at the worst moment of its session's limits."""
    return at_moment(forecast, worst_sample(forecast))
