"""A stretch of a forecast, for a chart that looks closer.

Here: `stretch`.  Every number of a forecast is told from the whole of it; this is for drawing alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

import numpy as np

from coldside.duty.model import Demand
from coldside.plant.results import Forecast


def stretch(forecast: Forecast, start: float, end: float) -> Forecast:
    """The samples of `forecast` between two times, s; at least two of them, as far as there are any.

    Its times still count from the start of the session.  `peak` is -1 where the peak lies outside.
    """
    time = forecast.time
    n = len(time)
    first = int(np.clip(np.searchsorted(time, start, "right") - 1, 0, max(n - 2, 0)))
    last = int(np.clip(np.searchsorted(time, end, "left"), first + 1, n - 1))
    part = slice(first, last + 1)
    cut = {item.name: _cut(getattr(forecast, item.name), n, part) for item in fields(forecast)}
    cut["demand"] = _demand(forecast.demand, n, part)
    cut["peak"] = forecast.peak - first if first <= forecast.peak <= last else -1
    cut["moment"] = None  # a chart has no ladder
    return replace(forecast, **cut)


def _demand(demand: Demand, n: int, part: slice) -> Demand:
    cut = {item.name: _cut(getattr(demand, item.name), n, part) for item in fields(demand)}
    spans = []
    for span in demand.spans:
        first, last = max(span.first, part.start), min(span.last, part.stop - 1)
        if first <= last:
            spans.append(replace(span, first=first - part.start, last=last - part.start))
    return replace(demand, **(cut | {"spans": type(demand.spans)(spans)}))


def _cut(value: Any, n: int, part: slice) -> Any:
    """The part of an array of `n` samples, or of a mapping of such; anything else as it is."""
    if isinstance(value, np.ndarray):
        return value[part] if value.ndim and len(value) == n else value
    if isinstance(value, Mapping) and any(isinstance(item, np.ndarray) for item in value.values()):
        return {name: _cut(item, n, part) for name, item in value.items()}
    return value
