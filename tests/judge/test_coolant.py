"""Coolant that boils or freezes, and loops that can give their heat to nothing, told of sessions and of points."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import names_on
from coldside.duty.phases import load_session
from coldside.judge.coolant import point_cautions, serves_core, unfit_coolant
from coldside.judge.verdict import judge
from coldside.parts.exchanger import ExchangerSpec
from coldside.plant.forecast import simulate
from coldside.plant.steady import operating_point
from coldside.sheet.terminal import point_text
from judge import made


def of_coolant(build, coolant: str):
    loops = {name: replace(loop, coolant=coolant) for name, loop in build.loops.items()}
    return replace(build, loops=loops)


def session_at(T: float, coolant: str):
    """A made session whose core hands its coolant on at `T` [K]."""
    base = made.forecast()
    outlet = {**base.outlet, ("core", "coolant"): np.full_like(base.time, T)}
    return replace(base, build=of_coolant(base.build, coolant), outlet=outlet)


@pytest.mark.parametrize(
    ("T", "coolant", "said"),
    [
        (258.15, "ethylene glycol 10 % by volume", "would freeze: it falls to -15 degC in core, and it freezes at -4"),
        (258.15, "ethylene glycol 50 % by volume", ""),  # freezes at -37 degC (Melinder 2010)
        (273.65, "water", "close to where it freezes, 0 degC"),
        (395.15, "water", "reaches 122 degC in core and boils near 100 degC with no cap pressure given"),
        (395.15, "engine oil", ""),
    ],
)
def test_boiling_and_freezing_are_told(T, coolant, said):
    """Water boils at 99.6 degC under the 100 kPa of the made session (steam tables, through CoolProp)."""
    found = " ".join(sentence.words() for sentence in unfit_coolant(session_at(T, coolant)))
    assert said in found
    assert bool(said) == bool(found)


def test_the_headline_carries_what_no_figure_survives():
    told = {T: judge(session_at(T, "water")).words().headline for T in (258.15, 330.0, 371.0, 395.15)}
    assert "But the coolant of loop charge would freeze: do not trust what comes after." in told[258.15]
    assert "the coolant of loop" not in told[330.0]
    assert "would boil" not in told[371.0]  # within 5 K of boiling is a reason, not yet a headline
    assert "would boil" in told[395.15]


def test_ice_in_the_loop_may_bring_its_water_to_freezing():
    cold = session_at(273.15, "water")
    tank = next(name for name in names_on(cold.build.loops["charge"].path) if name not in ("core", "pump"))
    assert unfit_coolant(cold)
    assert unfit_coolant(replace(cold, ice={tank: np.ones_like(cold.time)})) == []


def test_a_point_tells_of_boiling_and_of_heat_with_nowhere_to_go():
    point = made.point()
    assert point_cautions(point) == []
    hot = replace(point, outlet={("core", "coolant"): 420.0})
    assert "boils near" in point_cautions(hot)[0].words()
    parts = {name: spec for name, spec in hot.build.parts.items() if not isinstance(spec, ExchangerSpec)}
    (said,) = point_cautions(replace(hot, build=replace(hot.build, parts=parts)))
    assert "nowhere to give its heat to" in said.words()
    assert serves_core(point.build, "charge")


def test_a_point_of_a_blower_of_displacement_lists_no_margins_that_it_cannot_have(examples):
    build = load_build(examples / "siskin" / "blown.toml")
    said = point_text(operating_point(build, engine_speed=80.0), "us", 100, colour=False)
    assert "off the crank" in said
    assert "to top shaft speed" in said  # its speed_limit is given
    assert "to surge" not in said


def test_times_off_the_map_are_told_by_the_sessions_clock(examples):
    build = load_build(examples / "tern" / "water.toml", ["parts.turbo.design_flow=0.2 kg/s"])
    told = " ".join(simulate(build, load_session(examples / "sessions" / "dyno-pulls.toml")).health.extrapolated)
    assert re.search(r"for [0-9.]+ s, first at 3:[0-9]{2}; its edge was used", told)  # the first pull starts at 3:00
