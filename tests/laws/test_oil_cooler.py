"""An oil cooler between the engine's two loops: what the oil loses the coolant gains, and both loops feel it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import Build, Loop
from coldside.parts.jacket import COOLANT_SIDE, OIL_SIDE, jacket_of
from coldside.parts.oil_cooler import OIL_END, WATER_END, OilCoolerSpec, side_of
from coldside.parts.pump import PumpSpec
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from coldside.plant.steady import operating_point
from generators import RADIATOR, WATER_PUMP, short_session

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
COOLER = OilCoolerSpec(
    bench_oil_flow=4e-4,
    bench_water_flow=1.5e-3,
    bench_oil_in=393.15,
    bench_water_in=363.15,
    bench_heat=9e3,
    bench_oil_loss=60e3,
    bench_water_loss=10e3,
)


def build(share: float = 0.02, **changed: object) -> Build:
    """Tern's engine with loops of its coolant and its oil and a cooler between them."""
    base = load_build(EXAMPLES / "tern" / "water.toml")
    cooler = replace(COOLER, **changed)
    duct = next(iter(base.ducts.values()))
    engine = replace(base.engine, coolant_heat_share=share, oil_heat_share=0.3 * share)
    parts = {
        **base.parts,
        COOLANT_SIDE: jacket_of(engine, COOLANT_SIDE),
        OIL_SIDE: jacket_of(engine, OIL_SIDE),
        "water_pump": WATER_PUMP,
        "oil_pump": PumpSpec(curve=((0.0, 70.0), (6e-4, 40.0), (9e-4, 0.0))),
        "radiator": RADIATOR,
        "cooler": cooler,
        "cooler.oil": side_of(cooler, "cooler", OIL_END),
        "cooler.water": side_of(cooler, "cooler", WATER_END),
    }
    loops = {
        **base.loops,
        "engine": Loop(
            "engine", "ethylene glycol 50 % by volume", (COOLANT_SIDE, "water_pump", "cooler.water", "radiator")
        ),
        "oil": Loop("oil", "engine oil", (OIL_SIDE, "oil_pump", "cooler.oil")),
    }
    ducts = {**base.ducts, duct.name: replace(duct, path=(*duct.path, "radiator"))}
    return replace(base, engine=engine, parts=parts, loops=loops, ducts=ducts)


@cache
def forecast() -> Forecast:
    return simulate(build(), short_session(build()))


def test_the_ledger_closes_across_the_cooler():
    assert forecast().ledger.closure <= 1e-10


def test_at_a_point_what_the_oil_loses_the_coolant_gains():
    found = operating_point(build())
    given = {}
    for side in ("oil", "water"):
        key = (f"cooler.{side}", "coolant")
        loop = found.build.loops["oil" if side == "oil" else "engine"]
        given[side] = (found.inlet[key] - found.outlet[key], found.flow[key], loop.coolant)
    oil, water = given["oil"], given["water"]
    assert oil[0] > 1.0
    assert water[0] < 0.0
    # capacity rates are held at the start's temperatures: 2 % of each
    assert oil[0] * oil[1] * 2170.0 == pytest.approx(-water[0] * water[1] * 3450.0, rel=0.06)


def test_a_larger_cooler_leaves_cooler_oil():
    small, large = (operating_point(build(bench_heat=q)) for q in (4e3, 14e3))
    key = (OIL_SIDE, "coolant")
    assert large.inlet[key] < small.inlet[key] - 5.0


def test_the_pump_on_the_belt_follows_the_point_s_speed():
    slow, fast = (operating_point(build(), engine_speed=n).coolant_flow["engine"] for n in (60.0, 110.0))
    assert slow < 0.75 * fast
    assert np.isfinite(fast)
