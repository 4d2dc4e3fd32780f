"""JSON of forecast and point: the keys of the design's architecture note, plain numbers, nothing that JSON lacks."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from coldside.judge.summary import build_json, forecast_json, plain, point_json
from coldside.judge.verdict import judge
from judge import made

TEMPERATURES = {
    "start_K", "max_K", "mean_boost_K", "end_K", "over_ambient_max_K", "over_ambient_mean_boost_K",
    "seconds_over_limit",
}  # fmt: skip
FORECAST_KEYS = {  # architecture note, "Public interface"; bands come from elsewhere and are therefore absent
    "time": {"duration_s", "step_s", "steps"},
    "intake": TEMPERATURES,
    "sensor": TEMPERATURES,
    "power": {"peak_W", "mean_boost_W", "spread", "lost_to_heat"},
    "ledger": {"heat_in_J", "stored_J", "to_air_J", "pickup_J", "closure_relative"},
    "verdict": {"holds", "limits", "reasons"},
    "health": {"step_check_K", "extrapolated", "defaults", "warnings"},
}
POINT_KEYS = {
    "air_flow_kg_s", "pressure_ratio", "compressor_efficiency", "compressor_out_K", "fuel_flow_kg_s",
    "fuel_flow_per_injector_kg_s", "shaft_speed_margin", "intake_K", "over_ambient_K", "plenum_Pa", "charge_loss_Pa",
    "charge_density_kg_m3", "heat_rejected_W", "power_W", "surge_margin", "choke_margin",
}  # fmt: skip


def as_json(forecast, system="si"):
    return json.loads(json.dumps(forecast_json(forecast, judge(forecast), system), allow_nan=False))


def test_forecast_has_every_key():
    said = as_json(made.forecast(limits=(made.limit("intake", 327.15), made.limit("spread", 0.5))))
    assert said["schema"] == "coldside.forecast/1"
    for block, keys in FORECAST_KEYS.items():
        assert keys <= set(said[block]), block
    assert set(said["coolant"]["charge"]) >= {"start_K", "max_K", "end_K", "flow_max_m3_s"}
    assert all({"rung", "K_per_W", "share"} <= set(rung) for rung in said["ladder"])
    assert all(
        {"name", "holds", "margin", "unit", "first_broken_s"} <= set(limit) for limit in said["verdict"]["limits"]
    )
    assert said["knock"]["calibrated"] is False
    assert "bands" not in said


def test_forecast_values():
    said = as_json(made.forecast(limits=(made.limit("intake", 327.15), made.limit("spread", 0.5))))
    assert said["time"]["duration_s"] == pytest.approx(310.0)
    assert said["intake"]["max_K"] == 330.0
    assert said["intake"]["over_ambient_max_K"] == pytest.approx(30.0)
    assert said["intake"]["seconds_over_limit"] == said["verdict"]["limits"][0]["seconds_over"] > 0.0
    assert said["intake"]["mean_boost_K"] == pytest.approx(310.0 + 0.5 * 15.0, abs=0.01)  # mean peak is 325 K
    assert said["sensor"]["max_K"] == 325.0
    assert said["sensor"]["seconds_over_limit"] is None
    assert [limit["unit"] for limit in said["verdict"]["limits"]] == ["K", "1"]
    assert said["loops"]["charge"]["flow_m3_s"] == 2.5e-4
    # at the peak, 310 s: (420 - 330)/(420 - (302 + 310/30))
    assert said["parts"]["core"]["effectiveness"] == pytest.approx(90.0 / (118.0 - 310.0 / 30.0))


def test_units_change_sentences_only():
    forecast = made.forecast(limits=(made.limit("intake", 327.15),))
    si, us = as_json(forecast), as_json(forecast, "us")
    assert si["verdict"].pop("headline") != us["verdict"].pop("headline")
    assert si["verdict"]["limits"] == us["verdict"]["limits"]
    assert {**si, "verdict": 0} == {**us, "verdict": 0}


def test_no_sensor_no_loop_no_boost():
    forecast = made.without_loops(made.forecast())
    forecast = replace(forecast, sensor=None, plenum_pressure=np.full_like(forecast.time, 40e3))
    said = as_json(forecast)
    assert "sensor" not in said
    assert said["coolant"] == {}
    assert said["intake"]["mean_boost_K"] is None
    assert said["power"]["spread"] is None


def test_point_has_every_key_and_no_nan():
    said = json.loads(json.dumps(point_json(made.point()), allow_nan=False))
    assert said["schema"] == "coldside.point/1"
    assert set(said) >= POINT_KEYS
    assert said["over_ambient_K"] == 25.0
    assert said["shaft_speed_margin"] is None
    assert said["surge_margin"] is None
    assert said["engine_speed_rpm"] == 6000.0
    assert said["loops"]["charge"]["flow_m3_s"] == 2.5e-4
    assert said["parts"]["core"]["effectiveness"] == 0.8


def test_build():
    said = build_json(made.build())
    assert said["charge"] == ["turbo", ["core"], "plenum"]
    assert said["parts"]["core"] == "water_core"
    assert said["parts"]["turbo"] == "compressor"


def test_plain():
    made_of_numpy = {"a": np.float64(1.5), "b": np.array([1.0, np.inf]), "c": (np.int32(3), np.bool_(True), None, "x")}
    assert plain(made_of_numpy) == {"a": 1.5, "b": [1.0, None], "c": [3, True, None, "x"]}
