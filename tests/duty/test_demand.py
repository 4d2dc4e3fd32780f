"""The demand: sample times, every kind of phase, part load, lags, air, commands, the user's samples."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldside.build.model import Build, Duct
from coldside.duty import demand, road
from coldside.duty.model import AmbientSpec, Demand, PhaseSpec, Session
from coldside.errors import BadInput
from coldside.parts import engine as engines
from coldside.parts.airflow import DuctSpec, FanSpec
from coldside.parts.engine import RPM, BaySpec, CarSpec
from coldside.parts.pump import Control, PumpSpec
from coldside.units import Pressure
from generators import PSI
from generators import ROAD_ENGINE as ENGINE

FAN = ((0.0, 200.0), (0.5, 0.0))


def build(**changes: object) -> Build:
    parts = {
        "pump": PumpSpec(control=Control("schedule")),
        "spare_pump": PumpSpec(control=Control("off")),
        "nose_fan": FanSpec(curve=FAN),
        "quarter_fan": FanSpec(curve=FAN, control=Control("above", 315.0, 5.0, "coolant")),
        "lid_fan": FanSpec(curve=FAN, control=Control("schedule")),
    }
    ducts = {
        "front": Duct("front", DuctSpec(place="nose", inlet_area=0.05), ("nose_fan",)),
        "quarter": Duct("quarter", DuctSpec(place="rear", inlet_area=0.02), ("quarter_fan",)),
        "lid": Duct("lid", DuctSpec(place="roof", inlet_area=0.02), ("lid_fan",)),
    }
    whole = Build(
        name="a test car",
        file="car.toml",
        engine=ENGINE,
        car=CarSpec(),
        bay=BaySpec(),
        charge=(),
        loops={},
        ducts=ducts,
        parts=parts,
    )
    return replace(whole, **changes)


def session(
    *phases: PhaseSpec, groups: dict[str, int] | None = None, start: str = "ambient", file: str = "s.toml"
) -> Session:
    ambient = AmbientSpec(temperature=303.15, pressure=Pressure(98.5e3, False))
    return Session("a test session", file, start, ambient, phases, groups or {}, ())


def sampled(*phases: PhaseSpec, **kwargs: object) -> Demand:
    return demand.sample(session(*phases, **kwargs), build())


def pull(**changes: object) -> PhaseSpec:
    values: dict[str, object] = {"kind": "pull", "from_speed": 3000 * RPM, "to_speed": 7000 * RPM, "duration": 8.0}
    return PhaseSpec(**(values | changes))


def idle(duration: float = 20.0, **changes: object) -> PhaseSpec:
    return PhaseSpec(kind="idle", duration=duration, **changes)


# -- times and spans ---------------------------------------------------------------------------------


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, 400), min_size=1, max_size=6))
def test_sample_count_and_exact_times(tenths: list[int]) -> None:
    """Definitions: sampled every 0.1 s; so n = 1 + total/0.1 and each time is the double nearest to i/10."""
    seen = sampled(*(idle(k / 10) for k in tenths))
    assert len(seen.time) == 1 + sum(tenths)
    assert all(t == i / 10 for i, t in enumerate(seen.time))


def test_every_array_is_as_long_and_finite() -> None:
    seen = sampled(idle(), pull(), PhaseSpec(kind="traffic", duration=100.0), PhaseSpec(kind="parked", duration=5.0))
    n = len(seen.time)
    arrays = [seen.engine_speed, seen.plenum_target, seen.road_speed, seen.bay_temperature, *seen.air_speed.values()]
    assert all(len(a) == n and np.isfinite(a).all() for a in arrays)
    assert all(len(c) == n for c in seen.command.values())
    assert seen.full_load.dtype == bool


def test_spans_follow_each_other_without_gap() -> None:
    seen = sampled(idle(), pull(repeat=3, rest=30.0), PhaseSpec(kind="cooldown", duration=12.3))
    assert seen.spans[0].first == 0
    assert seen.spans[-1].last == len(seen.time) - 1
    assert all(b.first == a.last + 1 for a, b in zip(seen.spans, seen.spans[1:], strict=False))


def test_durations_that_are_no_multiple_do_not_drift() -> None:
    """A thousand phases of 0.14 s are 140 s: each ends at the nearest sample, the sum is right."""
    seen = sampled(*(idle(0.14) for _ in range(1000)))
    assert seen.time[-1] == pytest.approx(140.0)


def test_repeats_have_rests_between_and_none_after_the_last() -> None:
    seen = sampled(pull(repeat=3, rest=30.0))
    assert [s.label for s in seen.spans] == ["pull 1", "rest", "pull 2", "rest", "pull 3"]
    assert [s.repeat for s in seen.spans] == [0, -1, 1, -1, 2]
    assert [s.kind for s in seen.spans] == ["pull", "idle", "pull", "idle", "pull"]
    assert seen.time[-1] == pytest.approx(3 * 8 + 2 * 30)


def test_groups_repeat_together_and_are_counted() -> None:
    lap = [pull(group="lap", name="straight"), PhaseSpec(kind="cruise", duration=5.0, speed=20.0, group="lap")]
    seen = sampled(idle(), *lap, idle(), groups={"lap": 3})
    assert [s.label for s in seen.spans] == [
        "idle", "lap 1 straight", "lap 1 cruise", "lap 2 straight", "lap 2 cruise",
        "lap 3 straight", "lap 3 cruise", "idle",
    ]  # fmt: skip
    assert [s.repeat for s in seen.spans] == [-1, 0, 0, 1, 1, 2, 2, -1]


def test_single_pull_is_not_counted() -> None:
    assert [(s.label, s.repeat) for s in sampled(pull(name="the hill")).spans] == [("the hill", -1)]


def test_in_a_repeated_group_the_group_is_what_repeats() -> None:
    """Pulls repeated inside a lap count as that lap; inside a group driven once they count themselves."""
    twice = [pull(group="lap", repeat=2), PhaseSpec(kind="cruise", duration=5.0, speed=20.0, group="lap")]
    assert [s.repeat for s in sampled(*twice, groups={"lap": 2}).spans] == [0, 0, 0, 1, 1, 1]
    assert [s.repeat for s in sampled(*twice, groups={"lap": 1}).spans] == [0, 1, -1]


# -- pulls and joints --------------------------------------------------------------------------------


def test_pull_sweeps_in_a_straight_line_and_reaches_its_end() -> None:
    seen = sampled(idle(), pull())
    span = seen.spans[1]
    after_ramp = slice(span.first + 5, span.last + 1)
    expected = (3000 + 4000 * (seen.time[after_ramp] - 20.0) / 8.0) * RPM
    np.testing.assert_allclose(seen.engine_speed[after_ramp], expected, rtol=1e-12)
    assert seen.engine_speed[span.last] == pytest.approx(7000 * RPM)
    assert seen.full_load[span.first : span.last + 1].all()
    assert not seen.full_load[: span.first].any()


def test_speeds_never_step_at_a_joint() -> None:
    """Ramps of 0.5 s: no change from sample to sample above a fifth of the whole, plus the sweep's own."""
    seen = sampled(idle(), PhaseSpec(kind="cruise", duration=20.0, speed=30.0), PhaseSpec(kind="parked", duration=9.0))
    assert np.abs(np.diff(seen.road_speed)).max() <= 30.0 / 5 + 1e-9
    assert np.abs(np.diff(seen.engine_speed)).max() <= seen.engine_speed.max() / 5 + 1e-9


def test_pull_on_the_road_moves_at_its_gear() -> None:
    seen = sampled(pull(gear=4))
    assert seen.road_speed[-1] == pytest.approx(float(road.road_speed_in(CarSpec(), 7000 * RPM, 4)))
    assert sampled(pull()).road_speed[-1] == pytest.approx(float(road.road_speed_in(CarSpec(), 7000 * RPM, 3)))


def test_gear_that_the_car_has_not_is_noted() -> None:
    seen = sampled(pull(gear=8))
    assert any("gear 8" in note for note in seen.notes)
    assert seen.road_speed[-1] == pytest.approx(float(road.road_speed_in(CarSpec(), 7000 * RPM, 5)))


def test_pull_above_top_speed_is_noted() -> None:
    assert any("8000 rpm" in note for note in sampled(pull(to_speed=8000 * RPM)).notes)


# -- boost lag ---------------------------------------------------------------------------------------


@settings(max_examples=30, deadline=None)
@given(st.floats(0.05, 5.0), st.floats(1.1e5, 4e5))
def test_boost_lag_against_the_closed_form_of_a_step(lag: float, top: float) -> None:
    """First-order step response p = top - (top - ambient) exp(-t/lag): textbook.

    The target is up from the first sample on, so there is no slope between samples: exact to round-off.
    """
    target = np.full(101, top)
    t = np.arange(101) * 0.1
    expected = top - (top - 1e5) * np.exp(-t / lag)
    np.testing.assert_allclose(demand.lagged_boost(target, 1e5, lag), expected, rtol=1e-12)


def test_boost_lag_against_the_closed_form_of_a_ramp() -> None:
    """First-order ramp response: behind by slope * lag * (1 - exp(-t/lag)): textbook (loop-C38's form)."""
    t = np.arange(201) * 0.1
    seen = demand.lagged_boost(1e5 + 1e4 * t, 1e5, 0.6)
    np.testing.assert_allclose(seen, 1e5 + 1e4 * (t - 0.6 * (1 - np.exp(-t / 0.6))), rtol=1e-12)


def test_boost_falls_at_once_and_part_load_follows_at_once() -> None:
    target = np.array([4e4, 4e4, 9e4, 2e5, 2e5, 2e5, 4e4, 4e4])
    seen = demand.lagged_boost(target, 1e5, 0.6)
    np.testing.assert_array_equal(seen[:3], target[:3])
    np.testing.assert_array_equal(seen[6:], target[6:])
    assert 1e5 < seen[3] < seen[4] < seen[5] < 2e5


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(3e4, 3e5), min_size=2, max_size=60), st.floats(0.0, 3.0))
def test_lagged_boost_stays_between_and_never_above_its_target(values: list[float], lag: float) -> None:
    target = np.array(values)
    seen = demand.lagged_boost(target, 1e5, lag)
    assert (seen <= target + 1e-6).all()
    assert (seen >= np.minimum(target, 1e5) - 1e-6).all()


def test_no_lag_is_the_target() -> None:
    target = np.array([4e4, 2e5, 3e5, 1e5])
    np.testing.assert_array_equal(demand.lagged_boost(target, 1e5, 0.0)[1:], target[1:])


def test_pull_builds_boost_within_a_few_lags_and_idle_is_at_idle_plenum() -> None:
    seen = sampled(idle(), pull())
    assert seen.plenum_target[100] == pytest.approx(0.40 * 98.5e3)
    span = seen.spans[1]
    asked = engines.boost_target(ENGINE, seen.engine_speed[span.last], 98.5e3)
    late = (18 - 10) * PSI / 5000 * 4000 / 8.0 * 0.6  # Pa: slope of the target in time, times the lag
    assert asked - seen.plenum_target[span.last] == pytest.approx(late, rel=1e-3)
    assert seen.boost[span.last]
    assert not seen.boost[: span.first].any()


# -- part load ---------------------------------------------------------------------------------------


def surroundings() -> demand.Surroundings:
    return demand.surroundings(AmbientSpec(temperature=303.15, pressure=Pressure(98.5e3, False)))


def test_friction_of_the_published_fit() -> None:
    """Heywood 1988 Eq. 13.6 (from memory): 2.4 bar at 4000 rpm (0.97 + 0.60 + 0.80 = 2.37)."""
    fmep = float(demand.friction_power(ENGINE, 4000 * RPM)) / (1.2e-3 * 4000 * RPM)
    assert fmep == pytest.approx(2.37e5, rel=1e-6)


def test_part_load_efficiency_at_the_usual_comparison_point() -> None:
    """2 bar at 2000 rpm, lambda 1: about 340 to 430 g/kWh for gasoline engines (common practice, no source)."""
    n, around = 2000 * RPM, surroundings()
    power = 2e5 * engines.swept_per_rev(ENGINE) * n
    p = demand.part_load_pressure(ENGINE, n, power, around)
    m_dot = engines.air_flow(ENGINE, n, p, around.temperature + 20.0, around.humidity_ratio)
    fuel = engines.fuel_flow(ENGINE, m_dot, around.humidity_ratio, 1.0)
    assert 340.0 < float(fuel / power) * 3.6e9 < 430.0


@settings(max_examples=40, deadline=None)
@given(st.floats(1500, 7500), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_more_power_needs_more_pressure_between_idle_and_boost_target(rpm: float, a: float, b: float) -> None:
    n, around = rpm * RPM, surroundings()
    full = float(demand.full_load_power(ENGINE, n, around))
    low, high = (float(demand.part_load_pressure(ENGINE, n, share * full, around)) for share in sorted((a, b)))
    assert 0.40 * around.pressure <= low <= high <= engines.boost_target(ENGINE, n, around.pressure) + 1e-6


def test_full_power_is_the_boost_target_and_no_power_is_idle() -> None:
    n, around = 5000 * RPM, surroundings()
    full = demand.full_load_power(ENGINE, n, around)
    top = engines.boost_target(ENGINE, n, around.pressure)
    assert demand.part_load_pressure(ENGINE, n, full, around) == pytest.approx(top, rel=1e-12)
    assert demand.part_load_pressure(ENGINE, n, 2 * full, around) == pytest.approx(top, rel=1e-12)
    assert demand.part_load_pressure(ENGINE, n, 0.0, around) == pytest.approx(0.40 * around.pressure)


def test_willans_line_is_straight() -> None:
    """Between its bounds pressure is linear in power: the definition of a Willans line."""
    n, around = 4000 * RPM, surroundings()
    full = float(demand.full_load_power(ENGINE, n, around))
    p = demand.part_load_pressure(ENGINE, n, full * np.array([0.5, 0.7, 0.9]), around)
    assert p[1] - p[0] == pytest.approx(p[2] - p[1], rel=1e-9)


def test_highway_cruise_is_without_boost_and_in_a_high_gear() -> None:
    """110 km/h of a 1300 kg car needs about 15 kW at the wheels (C34's formula): no boost."""
    seen = sampled(PhaseSpec(kind="cruise", duration=20.0, speed=30.6))
    assert not seen.boost.any()
    assert seen.engine_speed[-1] == pytest.approx(float(road.engine_speed_in(CarSpec(), 30.6, 5)))


def test_steep_grade_shifts_down_where_the_high_gear_is_too_weak() -> None:
    flat, steep = (sampled(PhaseSpec(kind="cruise", duration=5.0, speed=22.0, grade=g)) for g in (0.0, 0.3))
    assert steep.engine_speed[-1] > flat.engine_speed[-1]
    assert steep.plenum_target[-1] > flat.plenum_target[-1]


def test_cruise_with_engine_speed_and_load() -> None:
    seen = sampled(PhaseSpec(kind="cruise", duration=60.0, speed=36.0, engine_speed=5000 * RPM, load=1.0))
    assert seen.full_load.all()
    assert seen.engine_speed[-1] == 5000 * RPM
    assert seen.road_speed[-1] == 36.0
    assert seen.plenum_target[-1] == pytest.approx(float(engines.boost_target(ENGINE, 5000 * RPM, 98.5e3)), rel=1e-9)
    assert not sampled(PhaseSpec(kind="cruise", duration=9.0, speed=36.0, engine_speed=83.0, load=0.6)).full_load.any()


def test_cruise_needs_a_speed() -> None:
    with pytest.raises(BadInput, match="road speed"):
        sampled(PhaseSpec(kind="cruise", duration=9.0))


def test_traffic_means_12_km_h_and_stands_at_idle_speed() -> None:
    """25 min of the cycle; the mean of a part of a round differs by less than a round's share (3 %)."""
    seen = sampled(PhaseSpec(kind="traffic", duration=1500.0))
    assert seen.road_speed.mean() * 3.6 == pytest.approx(12.0, rel=0.03)
    standing = seen.road_speed == 0.0
    assert (seen.engine_speed[standing] == ENGINE.idle_speed).all()
    assert (seen.engine_speed >= ENGINE.idle_speed).all()
    assert not seen.boost.any()
    assert any("invented" in note for note in seen.notes)


def test_parked_engine_is_off_at_ambient_pressure() -> None:
    seen = sampled(idle(), PhaseSpec(kind="parked", duration=60.0))
    assert seen.engine_speed[-1] == 0.0
    assert seen.plenum_target[-1] == 98.5e3
    assert seen.road_speed[-1] == 0.0


# -- air, bay, commands ------------------------------------------------------------------------------


def test_air_on_a_dyno_is_only_what_the_session_names() -> None:
    """Definitions: on a dyno, a duct not named stands in still air; the fan keeps blowing in the rests."""
    seen = sampled(pull(on="dyno", repeat=2, rest=30.0, air={"nose": 8.0}))
    assert (seen.air_speed["front"] == 8.0).all()
    assert (seen.air_speed["quarter"] == 0.0).all()
    assert (seen.air_speed["lid"] == 0.0).all()
    assert seen.road_speed[80] > 30.0  # the wheels turn


def test_air_on_the_road_is_the_road_speed_unless_named() -> None:
    seen = sampled(pull(air={"lid": 3.0, "rear": 5.0}))
    np.testing.assert_array_equal(seen.air_speed["front"], seen.road_speed)
    assert (seen.air_speed["lid"] == 3.0).all()  # by the duct's name
    assert (seen.air_speed["quarter"] == 5.0).all()  # by its place


def test_duct_name_goes_before_its_place() -> None:
    seen = sampled(idle(air={"nose": 8.0, "front": 2.0}))
    assert (seen.air_speed["front"] == 2.0).all()


def test_air_that_reaches_nothing_is_noted() -> None:
    seen = sampled(idle(air={"side": 8.0, "shed": 1.0}))
    assert sum("reaches nothing" in note for note in seen.notes) == 2


def test_idle_stands_in_still_air() -> None:
    assert all((a == 0.0).all() for a in sampled(idle()).air_speed.values())


def test_bay_follows_with_its_time_constant() -> None:
    """Standing from ambient: rise * (1 - exp(-t/tau)), the textbook step response."""
    seen = sampled(idle(600.0))
    expected = 303.15 + 35.0 * (1 - np.exp(-seen.time / 120.0))
    np.testing.assert_allclose(seen.bay_temperature, expected, rtol=1e-12)


def test_bay_on_the_move_is_cooler_than_standing_and_parked_is_hottest() -> None:
    rises = [
        sampled(phase).bay_temperature[-1] - 303.15
        for phase in (
            PhaseSpec(kind="cruise", duration=3000.0, speed=30.0),
            PhaseSpec(kind="cruise", duration=3000.0, speed=10.0 / 3.6),
            idle(3000.0),
            PhaseSpec(kind="parked", duration=3000.0),
        )
    ]
    np.testing.assert_allclose(rises, [20.0, 27.5, 35.0, 45.0], atol=1e-6)


def test_bay_on_a_dyno_is_as_standing() -> None:
    seen = sampled(pull(on="dyno", duration=3000.0, air={"nose": 8.0}))
    assert seen.bay_temperature[-1] == pytest.approx(303.15 + 35.0, abs=1e-6)


def test_soaked_start_has_a_hot_bay() -> None:
    assert sampled(idle(), start="soaked").bay_temperature[0] == pytest.approx(303.15 + 45.0)


def test_commands_by_control_and_by_phase() -> None:
    seen = sampled(idle(10.0, pumps=0.0, fans=0.4), idle(10.0))
    assert (seen.command["pump"][:100] == 0.0).all()
    assert (seen.command["pump"][100:] == 1.0).all()  # held from the joint on, where the phase says nothing
    assert (seen.command["lid_fan"][:100] == 0.4).all()
    assert (seen.command["spare_pump"] == 0.0).all()
    assert (seen.command["nose_fan"] == 1.0).all()
    assert np.isnan(seen.command["quarter_fan"]).all()


# -- surroundings ------------------------------------------------------------------------------------


def test_surroundings_from_altitude() -> None:
    """1500 m: 84 560 Pa (case charge-C01, ISO 2533 through the library ambiance)."""
    around = demand.surroundings(AmbientSpec(temperature=303.15, altitude=1500.0))
    assert around.pressure == pytest.approx(84560.0, rel=2e-4)


def test_humid_density_check_case() -> None:
    """Case charge-C02: 308.15 K, 101325 Pa, 60 %: 1.1314 kg/m3 (CoolProp HumidAir)."""
    around = demand.surroundings(AmbientSpec(temperature=308.15, pressure=Pressure(101325.0, False), humidity=0.6))
    assert around.density == pytest.approx(1.1314, rel=5e-4)


def test_gauge_or_doubled_ambient_pressure_is_refused() -> None:
    with pytest.raises(BadInput, match="absolute"):
        demand.surroundings(AmbientSpec(temperature=303.15, pressure=Pressure(0.0, True)))
    with pytest.raises(BadInput, match="not both"):
        demand.surroundings(AmbientSpec(temperature=303.15, altitude=10.0, pressure=Pressure(1e5, False)))


def test_no_phase_is_refused() -> None:
    with pytest.raises(BadInput, match="no phase"):
        sampled()


@pytest.mark.parametrize(
    "phase",
    [
        idle(duration=None), pull(duration=None, on="dyno"), pull(from_speed=None), PhaseSpec(kind="replay"),
        pull(duration=None, to_speed=None), PhaseSpec(kind="pass"), PhaseSpec(kind="lap"), PhaseSpec(kind="cycle"),
        PhaseSpec(kind="staging"), PhaseSpec(kind="paddock"),
    ],
)  # fmt: skip
def test_phase_that_misses_a_key_is_refused(phase: PhaseSpec) -> None:
    with pytest.raises(BadInput, match="needs"):
        sampled(phase)


# -- the user's own samples --------------------------------------------------------------------------

LOG = "# my log\ntime [s],engine_speed [rpm],plenum [kPa abs],road_speed [km/h]\n5,3000,100,36\n7,5000,200,72\n"


def replayed(folder: Path, text: str, *, encoding: str = "utf-8") -> Demand:
    (folder / "log.csv").write_text(text, encoding=encoding)
    return sampled(PhaseSpec(kind="replay", samples="log.csv"), file=str(folder / "s.toml"))


def test_replay_is_linear_between_samples_and_has_no_lag(tmp_path: Path) -> None:
    seen = replayed(tmp_path, LOG)
    assert len(seen.time) == 21
    np.testing.assert_allclose(seen.engine_speed, np.linspace(3000, 5000, 21) * RPM, rtol=1e-12)
    np.testing.assert_allclose(seen.plenum_target, np.linspace(1e5, 2e5, 21), rtol=1e-12)
    np.testing.assert_allclose(seen.road_speed, np.linspace(10.0, 20.0, 21), rtol=1e-12)
    np.testing.assert_allclose(seen.air_speed["front"], seen.road_speed)


def test_replay_in_other_units_is_the_same(tmp_path: Path) -> None:
    """Gauge over 98.5 kPa; the same numbers by hand.  psi to nine digits, so 1e-8."""
    text = "plenum [psi gauge],time [ms],engine_speed [rev/s],road_speed [m/s]\n"
    text += f"{1500 / PSI:.9f},0,50,10\n{101500 / PSI:.9f},2000,{5000 / 60:.9f},20\n"
    seen, same = replayed(tmp_path, text), replayed(tmp_path, LOG)
    np.testing.assert_allclose(seen.plenum_target, same.plenum_target, rtol=1e-8)
    np.testing.assert_allclose(seen.engine_speed, same.engine_speed, rtol=1e-8)


def test_replay_without_road_speed_stands_and_says_so(tmp_path: Path) -> None:
    seen = replayed(tmp_path, "time [s],engine_speed [rpm],plenum [kPa abs]\n0,3000,100\n2,3000,100\n")
    assert (seen.road_speed == 0.0).all()
    assert any("stand still" in note for note in seen.notes)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("time [s],engine_speed [rpm],plenum [kPa abs]\n0,1,2\n", "two samples"),
        ("time [s];engine_speed [rpm];plenum [kPa abs]\n0;1;2\n1;2;3\n", "semicolons"),
        ("time,engine_speed [rpm],plenum [kPa abs]\n0,1,2\n1,2,3\n", "no unit in square brackets"),
        ("time [s],engine_sped [rpm],plenum [kPa abs]\n0,1,2\n1,2,3\n", 'did you mean "engine_speed"'),
        ("time [s],engine_speed [rpm]\n0,1\n1,2\n", '"plenum" is missing'),
        ("time [s],engine_speed [rpm],plenum [kPa]\n0,1,2\n1,2,3\n", "log.csv:1: .*kPa"),
        ("time [s],engine_speed [rpm],plenum [kPa abs],time [s]\n0,1,2,0\n1,2,3,1\n", "stands twice"),
        ("time [s],engine_speed [rpm],plenum [kPa abs]\n0,1,2\n0,2,3\n", "log.csv:3: time does not rise"),
        (
            "time [s],engine_speed [rpm],plenum [kPa abs]\n0,1,2\n1,x,3\n",
            'log.csv:3: engine_speed .*"x" is not a number',
        ),
        ("time [s],engine_speed [rpm],plenum [kPa abs]\n0,1,2\n1,nan,3\n", "log.csv:3: .*not a number"),
        ("time [s],engine_speed [rpm],plenum [kPa abs]\n0,1,2\n1,2\n", "log.csv:3: 2 values stand under 3"),
        ("time [s],engine_speed [rpm],plenum [kPa abs]\n0,1,2\n1,-2,3\n", "log.csv:3: .*below 0"),
        ("time [s],engine_speed [rpm],plenum [kPa gauge]\n0,1,2\n1,2,-120\n", "log.csv:3: .*above 0"),
    ],
)
def test_spoiled_replay_is_refused_with_file_and_line(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(BadInput, match=words) as caught:
        replayed(tmp_path, text)
    assert "log.csv" in caught.value.where


def test_replay_in_another_encoding_or_missing_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="UTF-8"):
        replayed(tmp_path, LOG, encoding="utf-16")
    with pytest.raises(BadInput, match="cannot be read"):
        sampled(PhaseSpec(kind="replay", samples="none.csv"), file=str(tmp_path / "s.toml"))


def test_own_cycle_is_followed_and_repeated(tmp_path: Path) -> None:
    (tmp_path / "cycle.csv").write_text("t_s,speed_m_s\n0,0\n10,10\n20,0\n")
    seen = sampled(PhaseSpec(kind="traffic", duration=50.0, cycle="cycle.csv"), file=str(tmp_path / "s.toml"))
    expected = 10.0 - np.abs(seen.time % 20.0 - 10.0)
    np.testing.assert_allclose(seen.road_speed, expected, atol=1e-9)
    assert not any("invented" in note for note in seen.notes)


def test_own_cycle_with_an_open_end_is_closed(tmp_path: Path) -> None:
    (tmp_path / "cycle.csv").write_text("t_s,speed_m_s\n0,0\n10,15\n")
    seen = sampled(PhaseSpec(kind="traffic", duration=45.0, cycle="cycle.csv"), file=str(tmp_path / "s.toml"))
    assert np.abs(np.diff(seen.road_speed)).max() <= 0.15 + 1e-9  # 1.5 m/s2, both ways
    assert seen.road_speed[200] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("t_s,speed\n0,0\n1,1\n", '"speed_m_s" is missing'),
        ("t_s,speed_m_s\n0,0\n1,-1\n", "cycle.csv:3: .*below 0"),
        ("t_s,speed_m_s\n1,0\n0,1\n", "cycle.csv:3: time does not rise"),
    ],
)
def test_spoiled_cycle_is_refused(tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / "cycle.csv").write_text(text)
    with pytest.raises(BadInput, match=words):
        sampled(PhaseSpec(kind="traffic", duration=45.0, cycle="cycle.csv"), file=str(tmp_path / "s.toml"))


def test_first_order_lag_of_nothing_is_the_input() -> None:
    target = np.array([1.0, 5.0, 2.0])
    np.testing.assert_array_equal(demand.first_order(target, 0.0, 9.0), target)
    assert not math.isnan(demand.first_order(target, 1e-9, 0.0)[1])


def test_distance_counts_from_the_start_of_each_stretch() -> None:
    """A cruise at 20 m/s for 30 s ends at 600 m less what the joint's half second from standstill cost (5 m)."""
    seen = sampled(idle(), PhaseSpec(kind="cruise", duration=30.0, speed=20.0), idle(5.0))
    held = seen.spans[1]
    assert seen.distance[: held.first].max() == 0.0
    assert seen.distance[held.last] == pytest.approx(30.0 * 20.0 - 0.5 * 0.5 * 20.0, rel=1e-12)
    assert seen.distance[held.last + 1] < 2.0
    assert seen.runs == ()
