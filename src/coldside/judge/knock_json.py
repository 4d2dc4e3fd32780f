"""Knock as plain numbers for JSON; `judge/knock.py` makes them.  Uncalibrated margins are null, changes are not."""

from __future__ import annotations

import math
from typing import Any

from coldside.judge.knock import KnockVerdict
from coldside.parts.knock import CALIBRATED_OCTANE, CALIBRATED_SPARK, CALIBRATED_TEMPERATURE, ETHANOL_TREND


def knock_block(result: KnockVerdict) -> dict[str, Any]:
    """The block `knock` of a forecast's JSON; its sentences stand with the verdict's notes."""
    worst, margins, line, model = result.worst, result.margins, result.line, result.model
    said: dict[str, Any] = {
        "calibrated": result.calibrated,
        "octane": {"fuel": model.octane, "low": model.octane_low, "high": model.octane_high},
        "worst": {
            "time_s": worst.time,
            "where": worst.where,
            "engine_speed_rpm": 60.0 * worst.n,
            "plenum_Pa": worst.p,
            "intake_K": worst.T,
            "sensor_K": worst.sensor,
            "spark_deg": worst.spark,
        },
        "margin_min_octane": None if margins is None else margins.octane,
        "margin_min_deg": None if margins is None else margins.spark,
        "margin_min_Pa": None if margins is None else margins.boost,
        "margin_min_K": None if margins is None else margins.temperature,
        "accuracy": _accuracy(result),
        "change_from_reference": {
            "reference_K": result.reference,
            "octane": result.change.octane,
            "octane_low": result.change_octane[0],
            "octane_high": result.change_octane[1],
            "deg": result.change.spark,
            "deg_low": result.change_spark[0],
            "deg_high": result.change_spark[1],
            "Pa": result.change.boost,
        },
        "spark_line": {"above_K": line.start, "deg_per_10K_low": line.low, "deg_per_10K_high": line.high},
        "known_point_by_law_octane": model.law_octane,
        "power_limited": _power(result),
        "trims": _trims(result),
        "cautions": list(result.cautions),
    }
    if model.conditions.fuel.alcohol_share > ETHANOL_TREND:
        high, low = model.ethanol_integrals(worst.n, worst.p, worst.T, worst.spark)
        said["ethanol_delay_used"] = {"by_upper_law": high, "by_lower_law": low}
    return said


def _accuracy(result: KnockVerdict) -> dict[str, float] | None:
    """The wide end of what calibrated margins are good to; null without a known point, where none is told."""
    if not result.calibrated:
        return None
    return {"octane": CALIBRATED_OCTANE[1], "deg": CALIBRATED_SPARK[1], "K": CALIBRATED_TEMPERATURE[1]}


def _power(result: KnockVerdict) -> list[dict[str, float | None]] | None:
    """Share of the coldest row's power by charge temperature, spark taken back or boost off; null uncalibrated."""
    power = result.power
    if power is None:
        return None
    first = float(power.spark_limited[0]), float(power.boost_limited[0])
    return [
        {
            "intake_K": float(power.T[i]),
            "spark_deg": _finite(power.spark[i]),
            "spark_limited": _finite(power.spark_limited[i] / first[0]),
            "boost_Pa": _finite(power.boost[i]),
            "boost_limited": _finite(power.boost_limited[i] / first[1]),
        }
        for i in range(len(power.T))
    ]


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _trims(result: KnockVerdict) -> dict[str, float] | None:
    felt = result.felt
    if felt is None:
        return None
    return {
        "time_s": felt.time,
        "power_lost_max": felt.power,
        "power_lost_mean": felt.mean_power,
        "deg": felt.spark,
        "Pa": felt.boost,
        "sensor_K": felt.sensor,
        "intake_K": felt.charge,
    }
