"""What a coarse run is off by, and the figures of other coarse runs with that put right.

What is here: `lacks`, from a forecast's figures and those of its coarse twin; `put_right` and `all_right`, which give
it to what the same coarseness found of a draw or a changed build.  What is not: the figures (`outcome.py`).

The grid of a coarse run is wrong by nearly the same in every run of one build and session, so that it drops out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from coldside.duty.model import LimitSpec

RATIOS = ("power_mean",)  # figures whose coarse error is a factor rather than a difference


def lacks(fine: Mapping[str, float], coarse: Mapping[str, float]) -> dict[str, float]:
    """What the coarse twin of a run lacks, by figure: a factor for powers, nothing for times over a limit, else a
    difference; a figure that only one of the two has is absent.
    """
    return {name: _lack(name, value, coarse[name]) for name, value in fine.items() if name in coarse}


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
    on_spread = {f"limits.{k}" for k, limit in enumerate(limits) if limit.quantity == "spread"}
    return np.maximum(values + by, 0.0) if name.startswith("spread") or name in on_spread else values + by


def all_right(
    found: Mapping[str, float], lacking: Mapping[str, float], limits: Sequence[LimitSpec] = ()
) -> dict[str, float]:
    """Figures of one coarse run put right; those of which nothing is known to be lacking are left out."""
    return {
        name: float(put_right(name, np.asarray(value), lacking[name], limits))
        for name, value in found.items()
        if name in lacking
    }
