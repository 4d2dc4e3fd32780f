"""What a coarse run is off by, and the figures of other coarse runs with that put right.

What is here: `lacks`, from a forecast's figures and those of its coarse twin; `put_right` and `all_right`, which give
it to what the same coarseness found of a draw or a changed build.  What is not: the figures (`outcome.py`).

The grid of a coarse run is wrong by nearly the same in every run of one build and session, so that it drops out.
Not so a spread over passes or laps: each of them peaks in the last moment before some change of gear, and what few
samples and cells make of that differs from run to run of a session more than from draw to draw.  There the nominal's
own accident must not be taken off every draw: a spread of temperatures is left as it is found, and one of powers, to
which the coarse march adds as much again, is not told.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from coldside.duty.model import LimitSpec

DRIVEN = "run_time."  # figures that a session with passes or laps has
RATIOS = ("power_mean",)  # figures whose coarse error is a factor rather than a difference


def lacks(fine: Mapping[str, float], coarse: Mapping[str, float], limits: Sequence[LimitSpec] = ()) -> dict[str, float]:
    """What the coarse twin of a run lacks, by figure: a factor for powers, nothing for times over a limit, else a
    difference; a figure that only one of the two has is absent.

    Of a session with passes or laps a spread, and a limit on one, lacks nothing, and the spread of powers is absent.
    """
    driven = any(name.startswith(DRIVEN) for name in fine)
    left = {"spread_temperature", *_on_spread(limits)} if driven else set()
    return {
        name: 0.0 if name in left else _lack(name, value, coarse[name])
        for name, value in fine.items()
        if name in coarse and not (driven and name == "spread_power")
    }


def _on_spread(limits: Sequence[LimitSpec]) -> set[str]:
    return {f"limits.{k}" for k, limit in enumerate(limits) if limit.quantity == "spread"}


def _lack(name: str, fine: float, coarse: float) -> float:
    if name in RATIOS:
        return fine / coarse if coarse > 0.0 else 1.0
    return 0.0 if name.startswith("seconds_over") else fine - coarse


def put_right(name: str, values: np.ndarray, by: float, limits: Sequence[LimitSpec] = ()) -> np.ndarray:
    """Coarse outcomes of a figure with what the nominal run's coarse twin lacked.

    A spread, and a limit on it, is never below 0: what alike repeats are off by on few samples may be more than it is.
    """
    if name in RATIOS:
        return values * by
    spread = name.startswith("spread") or name in _on_spread(limits)
    return np.maximum(values + by, 0.0) if spread else values + by


def all_right(
    found: Mapping[str, float], lacking: Mapping[str, float], limits: Sequence[LimitSpec] = ()
) -> dict[str, float]:
    """Figures of one coarse run put right; those of which nothing is known to be lacking are left out."""
    return {
        name: float(put_right(name, np.asarray(value), lacking[name], limits))
        for name, value in found.items()
        if name in lacking
    }
