"""Sentences on ducts: gaps beside the faces, and hot air that comes back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from coldside.judge import airways
from coldside.media.fuels import fuel
from coldside.parts.exchanger import ExchangerSpec
from coldside.plant.layout import FACE_HOTTEST
from judge import made


def texts(look, forecast, system="si"):
    return [sentence.words(system) for sentence in look(forecast)]


def test_a_leak_is_told_from_a_tenth_of_the_air_on():
    base = made.forecast()
    assert texts(airways.leaking, base) == []  # no gaps
    whole = base.air_flow["rear"]

    def with_gaps(share: float):
        return replace(base, flow={**base.flow, ("beside faces of rear", "cooling"): share * whole})

    assert texts(airways.leaking, with_gaps(0.09)) == []
    assert texts(airways.leaking, with_gaps(0.25)) == [
        "In boost 25 % of the air of duct rear takes the gaps beside its faces: sealing them is cheap."
    ]


def test_own_hot_air_is_told_with_its_worst_moment():
    base = made.forecast()
    rise = np.where(np.abs(base.time - 200.0) < 1.0, 9.0, 1.0)
    entering = {**base.inlet, ("rear_hx", "cooling"): made.AMBIENT + rise}
    assert texts(airways.own_air, replace(base, inlet=entering)) == [
        (
            "Duct rear breathes its own hot air again where the car stands: at 3:19 it draws in air 9 K over ambient; "
            "seal inlet from exit, or lead the exit away."
        )
    ]
    cool = {**base.inlet, ("rear_hx", "cooling"): np.full_like(base.time, made.AMBIENT + 4.0)}
    assert texts(airways.own_air, replace(base, inlet=cool)) == []


def test_a_radiator_short_of_air_for_long_is_a_reason_and_a_short_or_standing_spell_is_none():
    base = made.forecast()
    parts = {**base.build.parts, "engine_radiator": ExchangerSpec(heat=50e3)}
    base = replace(base, build=replace(base.build, parts=parts))
    assert texts(airways.starved, base) == []

    def hot(until: float, speed: float):
        leaving = np.where(base.time <= until, FACE_HOTTEST, made.AMBIENT + 30.0)
        demand = replace(base.demand, road_speed=np.full_like(base.time, speed))
        outlet = {**base.outlet, ("engine_radiator", "cooling"): leaving}
        return replace(base, demand=demand, outlet=outlet)

    assert texts(airways.starved, hot(30.0, 30.0)) == []
    (told,) = texts(airways.starved, hot(240.0, 30.0), "us")
    assert told.startswith("The engine's own radiator gets too little air for 4 min")
    assert "would run over 230 degF. Give it more air before anything else" in told
    still = hot(240.0, 0.0)
    assert (
        texts(airways.starved, replace(still, plenum_pressure=np.full_like(base.time, base.demand.ambient_pressure)))
        == []
    )
    (shown,) = [one.words("us") for one in airways.starved(hot(240.0, 30.0), plain=True)]
    assert "typed" not in shown
    assert "kW" not in shown


def with_face(name, heat, takes):
    """A car at 30 m/s with a face that gives `heat` [W] into air that takes `takes` [W] at the most."""
    base = made.forecast()
    parts = {**base.build.parts, name: ExchangerSpec(heat=heat)}
    key = (name, "cooling")
    steady = np.ones_like(base.time)
    rise = FACE_HOTTEST - made.AMBIENT
    return replace(
        base,
        build=replace(base.build, parts=parts),
        demand=replace(base.demand, road_speed=30.0 * steady),
        outlet={**base.outlet, key: FACE_HOTTEST * steady},
        inlet={**base.inlet, key: made.AMBIENT * steady},
        flow={**base.flow, key: takes / (1006.0 * rise) * steady},
        heat_capacity={**base.heat_capacity, key: 1006.0},
        charge_flow=steady,
    )


def burns_for(base, power):
    """The same with as much fuel as gives the coolant `power` [W]."""
    engine = base.build.engine
    given = engine.coolant_heat_share * fuel(engine.fuel).heating_value  # J/kg that reach the coolant
    return replace(base, fuel_flow=power / given * np.ones_like(base.time))


def test_a_radiator_is_not_short_of_air_where_the_engine_has_little_to_give():
    """Air that takes 40 kW is short of a typed 90 kW, but in traffic (6 kW, own arithmetic) the engine is not."""
    base = with_face("engine_radiator", 90e3, 40e3)

    def burning(power):
        return burns_for(base, power)

    assert texts(airways.starved, burning(6e3)) == []
    assert texts(airways.starved, burning(39e3)) == []
    assert len(texts(airways.starved, burning(41e3))) == 1
    pulse = np.where((base.time > 100.0) & (base.time < 110.0), 100e3, 6e3)  # 10 s in a minute: 22 kW on average
    assert not airways.short_of_air(burning(pulse), "engine_radiator").any()
    assert airways.short_of_air(base, "rear_hx") is None


def test_a_condenser_is_short_of_air_whatever_the_engine_burns():
    """Air that takes 4 kW is short of a condenser's 8 kW in traffic too, where the engine gives 3 kW."""
    (told,) = airways.starved(burns_for(with_face("condenser", 8e3, 4e3), 3e3))
    assert told.words().startswith("The condenser gets too little air")
    (plain,) = airways.starved(burns_for(with_face("condenser", 8e3, 4e3), 3e3), plain=True)
    assert "engine" not in plain.words()
    assert texts(airways.starved, burns_for(with_face("radiator", 8e3, 4e3), 3e3)) == []


def test_whose_heat_a_face_gives_away():
    both = with_face("radiator", 60e3, 4e3).build
    both = replace(both, parts={**both.parts, "front_face": ExchangerSpec(heat=8e3)})
    assert airways.of_engine(both, "radiator")
    assert not airways.of_engine(both, "front_face")  # small beside the radiator
    named = replace(both, parts={**both.parts, "gearbox_cooler": ExchangerSpec(heat=60e3)})
    assert not airways.of_engine(named, "gearbox_cooler")
    loop = next(iter(both.loops.values()))
    own = replace(both, loops={**both.loops, "engine": replace(loop, path=("engine.coolant", *loop.path))})
    assert not airways.of_engine(own, "radiator")
