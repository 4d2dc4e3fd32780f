"""Each reason comes when its cause is there, stays away when it is not, and reads as stored here."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coldside.build.model import Loop
from coldside.judge import reasons
from coldside.judge.heat import core_loops
from coldside.judge.verdict import judge
from coldside.plant.results import HeatFlow, Ledger, Rung
from judge import made


def texts(look, forecast, system="si"):
    return [sentence.words(system) for sentence in look(forecast)]


def test_coolant_rise():
    base = made.forecast()
    assert texts(reasons.coolant_rise, base) == [
        (
            "The coolant of loop charge ends 10 K warmer than it began: "
            "45 % of the heat taken in is still in coolant and metal."
        ),
        "Each repeat starts with the coolant of loop charge about 2 K warmer than the one before.",
    ]
    level = {"charge": np.full_like(base.time, 302.0)}
    assert texts(reasons.coolant_rise, replace(base, coolant_in_cores=level)) == []


def test_still_air():
    base = made.forecast()
    assert texts(reasons.still_air, base) == []
    warm = {**base.inlet, ("rear_hx", "coolant"): np.full_like(base.time, 330.0)}
    faint = {**base.flow, ("rear_hx", "cooling"): np.full_like(base.time, 0.016)}
    assert texts(reasons.still_air, replace(base, inlet=warm, flow=faint)) == [
        (
            "rear_hx gets next to no cooling air while the coolant is warm (2 % of its rated flow on average): "
            "what it should give away stays in the loop."
        )
    ]
    parts = {**base.build.parts, "side_hx": base.build.parts["rear_hx"]}
    loop = base.build.loops["charge"]
    loops = {"charge": replace(loop, path=(*loop.path, "side_hx"))}
    two = replace(base, build=replace(base.build, parts=parts, loops=loops))
    warm |= {("side_hx", "coolant"): warm["rear_hx", "coolant"]}
    both = {**faint, ("side_hx", "cooling"): faint["rear_hx", "cooling"]}
    (said,) = texts(reasons.still_air, replace(two, inlet=warm, flow=both))
    assert "rear_hx and side_hx get next to no cooling air" in said
    assert "(2 % of their rated flow on average): what they should give away" in said
    cold = {**base.inlet, ("rear_hx", "coolant"): np.full_like(base.time, 301.0)}
    assert texts(reasons.still_air, replace(base, inlet=cold, flow=faint)) == [], "there is no heat to give away"


def test_pump_stopped():
    base = made.forecast()
    assert texts(reasons.pump_stopped, base) == []
    stopped = {"pump": np.where(base.time < 200.0, 0.0, 1.0)}
    # four of six pulls, but for half an interval at edges
    assert texts(reasons.pump_stopped, replace(base, command=stopped)) == [
        "pump stood still for 67 % of the time in boost."
    ]


def test_given_back():
    base = made.forecast()
    assert texts(reasons.given_back, base) == []
    cooler = {**base.outlet, ("core", "charge"): base.intake - 12.0}
    assert texts(reasons.given_back, replace(base, outlet=cooler), "us") == [
        (
            "At the hottest moment (5:10) the charge reaches the intake 22 degF warmer than it leaves core: "
            "pipe and plenum give back heat they have soaked up."
        )
    ]


def test_ladder_and_preheat():
    base = made.forecast()
    assert texts(reasons.ladder, base) == [
        (
            "The largest step from charge to air outside at the hottest moment: radiator fins to the air; 15 K, "
            "50 % of the way."
        )
    ]
    assert texts(reasons.preheat, base) == [
        "The cooling air arrives 3 K over ambient, warmed by what stands in front of it."
    ]
    assert texts(reasons.preheat, replace(base, ladder=(Rung("charge film", 30.0, 1e-3, 1.0),))) == []


def test_picked_up():
    base = made.forecast()
    assert texts(reasons.picked_up, base) == []
    flows = (HeatFlow("tank", "pickup", 2e5), HeatFlow("hose", "pickup", 4e5))
    hot_bay = Ledger(1e6, 6e5, 6e5, 1e6, 3e6, 0.0, flows)
    assert texts(reasons.picked_up, replace(base, ledger=hot_bay)) == [
        (
            "38 % of the heat taken in came from the engine bay, the engine and the pump, not from the charge; "
            "most of it through hose."
        )
    ]
    all_bay = Ledger(-1e5, 6e5, 1e5, 4e5, 3e6, 0.0, flows)
    assert texts(reasons.picked_up, replace(base, ledger=all_bay))[0].startswith("All of the heat taken in came from")


def test_sensor():
    base = made.forecast()
    assert texts(reasons.sensor_off, base) == [
        "At the hottest moment (5:10) the gas is at 57 degC and the sensor reads 52 degC: it lags behind."
    ]
    assert texts(reasons.sensor_off, replace(base, sensor=base.intake + 1.0)) == []
    assert texts(reasons.sensor_off, replace(base, sensor=None)) == []
    above = texts(reasons.sensor_off, replace(base, sensor=base.intake + 6.0))
    assert above[0].endswith("it still tells what came before, or the heat of its boss.")


def test_no_core():
    base = made.forecast()
    bare = replace(base, build=replace(base.build, charge=("turbo", "plenum")), ladder=())
    assert texts(reasons.no_core, bare)
    assert judge(bare).reasons


@pytest.mark.parametrize(
    ("capacity", "text"),
    [
        (None, "their capacity was not given, so it is not checked."),
        (0.004, "3 g/s from each of 8 injectors, 75 % of what one can pass."),
        (0.0033, "Injectors nearly used up: ASKS, 91 % of what one can pass (85 % is a usual highest)."),
        (0.0025, "Injectors too small: ASKS, 120 % of what one can pass."),
    ],
)
def test_fuel(capacity, text):
    asks = "the engine asks for 0.024 kg/s of fuel at most, 3 g/s from each of 8 injectors"
    assert texts(reasons.fuel_notes, made.forecast(injector_capacity=capacity))[0].endswith(text.replace("ASKS", asks))


def test_notes_say_how_text_was_read():
    assert 'made.toml:9: boost = "22 psi" read as gauge' in judge(made.forecast()).words().notes


def test_power_notes():
    base = made.forecast()
    assert "A charge warmer than ambient costs 4.8 % of the work done in boost." in texts(reasons.power_notes, base)
    chilled = replace(base, power_at_ambient=0.98 * base.power)
    assert "A charge colder than ambient gains 2 % of the work done in boost." in texts(reasons.power_notes, chilled)
    idle = replace(base, power_at_ambient=np.where(base.boost, base.power, 2.0 * base.power))
    assert not any("than ambient costs" in text for text in texts(reasons.power_notes, idle))  # at idle only
    quiet = replace(base, plenum_pressure=np.full(len(base.time), 90e3))
    assert "A charge warmer than ambient costs 4.8 % of the session's energy." in texts(reasons.power_notes, quiet)


def test_cautions_name_each_danger():
    text = " ".join(judge(made.forecast()).cautions).lower()
    for danger in ("boost", "detonation", "fuel", "coolant", "electrics", "fans", "road", "dyno", "codes", "licensed"):
        assert danger in text


def test_the_engines_own_loop_is_not_the_cores():
    base = made.forecast()
    loops = {**base.build.loops, "engine": Loop("engine", "water", ("engine", "radiator"))}
    hot = {**base.coolant_in_cores, "engine": np.full_like(base.time, 363.15)}
    both = replace(base, build=replace(base.build, loops=loops), coolant_in_cores=hot)
    assert set(core_loops(both)) == {"charge"}
    assert judge(both, limits=(made.limit("coolant", 330.0, "always"),)).holds


def test_a_rung_of_several_chains_names_its_chain():
    base = replace(made.forecast(), ladder=(Rung("air cores: charge film", 9.0, 1e-4, 1.0),))
    assert "inside the core, charge side: air to metal (air cores); 9 K" in texts(reasons.ladder, base)[0]


def test_what_health_says_is_not_said_twice():
    base = made.forecast()
    told = replace(base, health=replace(base.health, warnings=base.build.notes))
    assert not set(base.build.notes) & set(judge(told).words().notes)
