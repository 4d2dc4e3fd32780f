"""Passes, laps, cycles, queues and pulls as they are sampled: pieces, times, distances, what heat takes."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from coldside.build.model import Build, Duct
from coldside.duty import drive, driver, road, runs
from coldside.duty.demand import reckoned_power, sample, surroundings
from coldside.duty.model import AmbientSpec, Demand, PhaseSpec, Session
from coldside.duty.schedules import schedule, schedule_name
from coldside.errors import BadInput
from coldside.parts.airflow import DuctSpec
from coldside.parts.engine import RPM, CarSpec
from coldside.units import Pressure
from generators import PSI, build_of
from generators import ROAD_ENGINE as ENGINE

CAR = CarSpec(grip=1.6, drive="all")  # so that power rules a good part of a pass
AMBIENT = AmbientSpec(temperature=303.15, pressure=Pressure(98.5e3, False))
DUCTS = {"front": Duct("front", DuctSpec(place="nose", inlet_area=0.05), ())}
BUILD = replace(build_of({}, (), engine=ENGINE), car=CAR, ducts=DUCTS)
PASS = PhaseSpec(kind="pass", distance=402.336)


def sampled(*phases: PhaseSpec, build: Build = BUILD, file: str = "s.toml", shares=None, **groups: int) -> Demand:
    return sample(Session("runs", file, "ambient", AMBIENT, phases, groups, ()), build, shares)


def held(share: float) -> tuple[np.ndarray, np.ndarray]:
    return np.array([0.0, 1e4]), np.array([share, share])


# -- passes ------------------------------------------------------------------------------------------


def test_a_pass_is_made_of_its_pieces_in_order() -> None:
    phase = replace(PASS, burnout=4.0, launch_hold=3.0, repeat=2, rest=60.0)
    seen = sampled(PhaseSpec(kind="idle", duration=7.03), phase)
    assert [s.label for s in seen.spans] == [
        "idle", "burnout 1", "launch 1", "pass 1", "braking 1", "way back", "rest",
        "burnout 2", "launch 2", "pass 2", "braking 2",
    ]  # fmt: skip
    assert [s.repeat for s in seen.spans] == [-1, -1, -1, 0, -1, -1, -1, -1, -1, 1, -1]
    assert [(r.phase, r.repeat, r.label) for r in seen.runs] == [(1, 0, "pass 1"), (1, 1, "pass 2")]
    assert seen.runs[0].time == seen.runs[1].time
    assert all(b.first == a.last + 1 for a, b in zip(seen.spans, seen.spans[1:], strict=False))


def test_times_do_not_depend_on_where_the_samples_fall() -> None:
    """A run that begins between samples takes the same time, and is sampled at the speeds that it had there."""
    on, off = (sampled(PhaseSpec(kind="idle", duration=d), PASS) for d in (7.0, 7.04))
    assert on.runs[0].time == off.runs[0].time
    v_on, v_off = (seen.road_speed[seen.runs[0].first : seen.runs[0].last] for seen in (on, off))
    t = 0.1 * np.arange(1, len(v_on) + 1)
    # off starts 0.04 s later than the sample grid of its stretch says
    assert np.interp(t[5:60] - 0.04, t, v_on) == pytest.approx(
        v_off[5:60], abs=0.2
    )  # 4 m/s2 begun or ended in a shift, half a sample off


def test_distance_and_speed_of_a_pass_agree_with_each_other() -> None:
    """Road speed integrated by another rule is the distance; the trap is passed at the length, at the trap's speed."""
    seen = sampled(PASS)
    run = seen.runs[0]
    own = slice(run.first, run.last + 1)
    v, s = seen.road_speed[own], seen.distance[own]
    along = np.cumsum(0.5 * (v[1:] + v[:-1])) * 0.1 + s[0]
    assert along[:-1] == pytest.approx(s[1:-1], abs=0.3)  # the last sample is the run's end: part of a step
    assert run.length == pytest.approx(402.336)
    assert v[-1] == pytest.approx(run.trap_speed, rel=5e-3)
    assert run.trap_speed * run.time > run.length  # a standing start


def test_full_load_is_asked_where_power_limits_and_boost_is_there() -> None:
    seen = sampled(replace(PASS, launch_boost=Pressure(8 * PSI, True), launch_hold=4.0))
    run = seen.runs[0]
    own = slice(run.first, run.last + 1)
    top = np.interp(seen.engine_speed[own], [2000 * RPM, 7000 * RPM], [10 * PSI, 18 * PSI]) + 98.5e3
    assert seen.full_load[own].mean() > 0.4
    assert (seen.plenum_target[own] <= top + 1.0).all()
    assert not seen.full_load[: run.first].any()
    line = seen.spans[0]
    assert (line.kind, line.label) == ("pass", "launch")
    assert seen.plenum_target[line.last] == pytest.approx(98.5e3 + 8 * PSI, rel=2e-3)  # lag 0.6 s, held 4 s
    assert seen.engine_speed[line.last] == pytest.approx(0.45 * 7600 * RPM)


def test_a_burnout_turns_the_engine_and_the_car_stands() -> None:
    seen = sampled(replace(PASS, burnout=6.0))
    burnout = seen.spans[0]
    assert seen.engine_speed[burnout.last] == pytest.approx(driver.BURNOUT_SPEED * 7600 * RPM)
    assert seen.road_speed[: burnout.last + 1].max() == 0.0


def test_what_heat_takes_is_paid_in_time() -> None:
    """Shares rule the run that they are for; 5 % less power costs at most half of it, as at constant force."""
    phase = replace(PASS, repeat=3)
    whole, ruled = sampled(phase), sampled(phase, shares={(0, 1): held(0.95)})
    assert ruled.runs[0].time == whole.runs[0].time == ruled.runs[2].time
    loss = ruled.runs[1].time / whole.runs[1].time - 1.0
    assert 0.003 < loss < 0.95**-0.5 - 1.0  # t = (2 m s / F)^(1/2); at constant power the third of loop case C33
    assert ruled.runs[1].trap_speed < whole.runs[1].trap_speed


def test_a_share_over_the_distance_acts_where_it_is() -> None:
    """Power lost in the last half costs less time than lost all the way, and none before it."""
    grid = np.array([0.0, 200.0, 200.1, 500.0])
    late = sampled(PASS, shares={(0, 0): (grid, np.array([1.0, 1.0, 0.8, 0.8]))})
    all_the_way, whole = sampled(PASS, shares={(0, 0): held(0.8)}), sampled(PASS)
    assert whole.runs[0].time < late.runs[0].time < all_the_way.runs[0].time
    early = whole.distance[whole.runs[0].first : whole.runs[0].last] < 195.0
    first, n = whole.runs[0].first, int(early.sum())
    assert late.road_speed[first : first + n] == pytest.approx(whole.road_speed[first : first + n])


def test_reckoned_power_is_what_moves_the_car() -> None:
    """Power of the full-load samples less resistance is mass times acceleration (energy between samples, by hand)."""
    seen = sampled(PASS)
    run = seen.runs[0]
    own = slice(run.first, run.last + 1)
    around = surroundings(AMBIENT)
    v, n = seen.road_speed[own], seen.engine_speed[own]
    power = reckoned_power(ENGINE, n, seen.plenum_target[own], around) * CAR.driveline_efficiency
    gear = np.argmin(abs(road.engine_speed_in(CAR, v[:, None], np.arange(1, 6)) - n[:, None]), axis=1) + 1
    plenum = seen.plenum_target[own]
    steady = (np.diff(gear) == 0) & (np.abs(np.diff(plenum)) < 0.2 * plenum[1:])  # boost comes back within a step
    k = np.flatnonzero(seen.full_load[own][1:] & seen.full_load[own][:-1] & steady & (v[:-1] > 20.0))[:-1]
    assert len(k) > 10  # without the last step, which ends at the run's end
    a = (v[k + 1] - v[k]) / 0.1
    m = CAR.mass * (1.0 + road.rotating_share(CAR, gear[k]))
    middle = 0.5 * (v[k] + v[k + 1])
    force = road.road_force(CAR, middle, around.density) + m * a
    asked = 0.5 * (power[k] + power[k + 1])
    assert force * middle == pytest.approx(asked, rel=0.02)  # engine speed and plenum are held over a step


def test_headwind_slows_and_blows_into_the_ducts() -> None:
    calm, windy = sampled(PASS), sampled(replace(PASS, headwind=8.0))
    assert windy.runs[0].time > calm.runs[0].time + 0.02
    run = windy.runs[0]
    own = slice(run.first, run.last + 1)
    assert windy.air_speed["front"][own] == pytest.approx(windy.road_speed[own] + 8.0)


def test_uphill_is_slower() -> None:
    assert sampled(replace(PASS, grade=0.05)).runs[0].time > sampled(PASS).runs[0].time + 0.1


def test_runs_count_over_the_rounds_of_a_group() -> None:
    seen = sampled(replace(PASS, group="day"), PhaseSpec(kind="idle", duration=30.0, group="day"), day=3)
    assert [(r.phase, r.repeat) for r in seen.runs] == [(0, 0), (0, 1), (0, 2)]
    assert [r.label for r in seen.runs] == ["day 1 pass", "day 2 pass", "day 3 pass"]
    assert [s.repeat for s in seen.spans if s.label.endswith("pass")] == [0, 1, 2]
    slow = sampled(
        replace(PASS, group="day"),
        PhaseSpec(kind="idle", duration=30.0, group="day"),
        day=3,
        shares={(0, 2): held(0.8)},
    )
    assert slow.runs[1].time == seen.runs[1].time < slow.runs[2].time


def test_the_way_back_leads_to_the_start() -> None:
    seen = sampled(replace(PASS, repeat=2))
    run, braking, back = (
        next(s for s in seen.spans if s.label == label) for label in ("pass 1", "braking 1", "way back")
    )
    out = seen.runs[0].length + seen.distance[braking.last]
    assert seen.distance[back.last] == pytest.approx(out, rel=0.01)
    assert seen.road_speed[braking.last] < 0.3
    assert run.last < braking.first


def test_a_wall_is_not_climbed() -> None:
    with pytest.raises(BadInput, match="does not reach the finish line"):
        sampled(replace(PASS, grade=0.3), build=replace(BUILD, car=replace(CAR, mass=9000.0)))


@pytest.mark.parametrize(("grid", "share"), [([0.0, 5.0], [1.0]), ([5.0, 0.0], [1.0, 1.0]), ([], [])])
def test_shares_that_are_none_are_refused(grid: list[float], share: list[float]) -> None:
    with pytest.raises(BadInput, match="distance that rises"):
        sampled(PASS, shares={(0, 0): (np.array(grid), np.array(share))})


def test_a_day_of_passes_that_is_too_long_is_refused() -> None:
    with pytest.raises(BadInput, match="the longest that is solved"):
        sampled(replace(PASS, repeat=100, rest=600.0))


# -- laps --------------------------------------------------------------------------------------------


def test_laps_follow_each_other_and_settle() -> None:
    seen = sampled(PhaseSpec(kind="lap", track="tight loop", repeat=4))
    assert [s.label for s in seen.spans] == ["lap out", "lap 1", "lap 2", "lap 3", "lap 4", "lap in", "stopping"]
    times = [r.time for r in seen.runs]
    assert times[1] == pytest.approx(times[3], abs=2e-3)
    total = sum(times)
    assert 0.1 * (seen.runs[-1].last - seen.runs[0].first) == pytest.approx(total, abs=0.2)
    assert seen.road_speed[-1] < 0.3
    joints = [r.last for r in seen.runs[:-1]]
    assert all(abs(seen.road_speed[k + 1] - seen.road_speed[k]) < 1.5 for k in joints)


def test_laps_without_slow_ones_begin_standing() -> None:
    seen = sampled(PhaseSpec(kind="lap", track="tight loop", repeat=2, out_lap=False))
    assert [s.label for s in seen.spans] == ["lap 1", "lap 2", "stopping"]
    assert seen.runs[0].time > seen.runs[1].time + 1.0


def test_a_lap_with_less_power_or_less_grip_is_slower() -> None:
    """Power: less than a third of its loss, since bends and brakes take their share of the lap (design notes e4)."""
    lap = PhaseSpec(kind="lap", track="fast loop", repeat=3)
    whole = sampled(lap)
    ruled = sampled(lap, shares={(0, 1): held(0.9), (0, 2): held(0.9)})
    loss = ruled.runs[2].time / whole.runs[2].time - 1.0
    assert 0.002 < loss < 0.1 / 3.0
    assert sampled(replace(lap, pace=0.8)).runs[2].time > 1.02 * whole.runs[2].time


def test_braking_shuts_the_throttle_and_power_limited_stretches_open_it() -> None:
    seen = sampled(PhaseSpec(kind="lap", track="fast loop", repeat=2))
    run = seen.runs[1]
    own = slice(run.first, run.last + 1)
    slowing = np.gradient(seen.road_speed[own], 0.1)
    assert (seen.plenum_target[own][slowing < -4.0] < 0.6 * 98.5e3).mean() > 0.9
    assert seen.full_load[own].any()
    assert (slowing[seen.full_load[own]] > -1.0).mean() > 0.95


def test_ones_own_track_and_an_open_one(tmp_path: Path) -> None:
    (tmp_path / "mine.csv").write_text(
        "# closed: no\ns_m,curvature_1_m,grade\n0,0,0.05\n300,0,0.05\n400,0.02,0.05\n700,0,0.05\n"
    )
    phase = PhaseSpec(kind="lap", track="mine.csv", repeat=2, rest=30.0, name="climb")
    seen = sampled(phase, file=str(tmp_path / "day.toml"))
    assert [s.label for s in seen.spans] == [
        "launch 1", "climb 1", "braking 1", "rest", "launch 2", "climb 2", "braking 2"
    ]  # fmt: skip
    assert seen.runs[0].time == seen.runs[1].time
    assert seen.runs[0].length == pytest.approx(700.0)
    flat = tmp_path / "flat.csv"
    flat.write_text((tmp_path / "mine.csv").read_text().replace("0.05", "0.0"))
    easier = sampled(replace(phase, track="flat.csv"), file=str(tmp_path / "day.toml"))
    assert easier.runs[0].time < seen.runs[0].time


# -- cycles, queues, the paddock ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "km", "mph"),
    [("UDDS", 11.99, 56.7), ("HWFET", 16.51, 59.9), ("US06", 12.89, 80.3), ("WLTC", 23.27, 131.3 / 1.609344)],
)
def test_regulated_cycles_are_driven_whole(name: str, km: float, mph: float) -> None:
    """Distance and top speed as the agency publishes them (from memory): 91.2, 96.4 and 129.2 km/h;
    the worldwide cycle as its regulation prints them."""
    seen = sampled(PhaseSpec(kind="cycle", schedule=name))
    assert seen.time[-1] == schedule(name)[0][-1]
    assert seen.distance[-1] == pytest.approx(km * 1e3, rel=1e-3)
    assert seen.road_speed.max() == pytest.approx(mph * 0.44704, abs=0.01)
    assert seen.runs == ()


def test_cycles_on_a_hill_need_more_air() -> None:
    flat, steep = (sampled(PhaseSpec(kind="cycle", schedule="HWFET", grade=g)) for g in (0.0, 0.03))
    assert steep.plenum_target.mean() > 1.1 * flat.plenum_target.mean()


def test_names_of_cycles() -> None:
    assert schedule_name(" us06 ") == "US06"
    assert schedule_name("FTP-72") == "UDDS"
    assert schedule_name("WLTC class 3b") == "WLTC"
    with pytest.raises(BadInput, match="your own goes in as"):
        schedule_name("WLTC class 2")


@pytest.mark.parametrize(("every", "distance"), [(40.0, 8.0), (30.0, 1.0), (60.0, 40.0)])
def test_a_queue_moves_up_as_said(every: float, distance: float) -> None:
    """By integration: so far in each turn, at walking speed at the most."""
    seen = sampled(PhaseSpec(kind="staging", duration=5 * every, creep_every=every, creep_distance=distance))
    assert seen.distance[-1] == pytest.approx(5 * distance, rel=0.02)
    assert seen.road_speed.max() <= 1.5 + 1e-9
    assert (seen.engine_speed > 0.0).all()


@pytest.mark.parametrize(("off", "expected"), [(None, 480.0), (300.0, 300.0), (600.0, 600.0), (0.0, 0.0)])
def test_the_paddock_is_engine_off_then_idle(off: float | None, expected: float) -> None:
    seen = sampled(PhaseSpec(kind="idle", duration=5.0), PhaseSpec(kind="paddock", duration=600.0, engine_off=off))
    assert 0.1 * (seen.engine_speed == 0.0).sum() == pytest.approx(expected, abs=1.0)
    assert seen.time[-1] == pytest.approx(605.0)


# -- pulls that last as long as they take ------------------------------------------------------------


def test_pull_on_rollers_by_hand() -> None:
    """Constant power: t = M (v2^2 - v1^2) / 2 P, M the rollers with the turning mass of engine and gears."""
    power = [200e3] * drive._ROWS
    car = replace(drive.powertrain(BUILD, surroundings(AMBIENT)), full=power, friction=[0.0] * drive._ROWS,
                  top=[98.5e3] * drive._ROWS)  # fmt: skip
    one = runs.in_gear(car, 3, 1500.0)
    low, high = 50.0, 110.0
    state = drive.standing(one, drive.Course())._replace(speed=low / one.ratio[0])
    driven = drive.march_to_speed(state, high / one.ratio[0])
    assert driven is not None
    mass = 1500.0 + CAR.mass * float(road.rotating_share(CAR, 3))
    v1, v2 = (float(road.road_speed_in(CAR, n, 3)) for n in (low, high))
    expected = mass * (v2**2 - v1**2) / (2.0 * 200e3 * CAR.driveline_efficiency)
    assert driven.time[-1] == pytest.approx(expected, rel=1e-5)


PULL = PhaseSpec(kind="pull", from_speed=3000 * RPM, to_speed=7000 * RPM)


def test_pulls_last_longer_on_heavier_rollers_uphill_and_against_the_wind() -> None:
    light, heavy = (sampled(replace(PULL, on="dyno", drum_mass=m)).time[-1] for m in (800.0, 1600.0))
    assert heavy > 1.5 * light
    flat = sampled(PULL).time[-1]
    assert sampled(replace(PULL, grade=0.06)).time[-1] > flat + 0.3
    assert sampled(replace(PULL, headwind=15.0)).time[-1] > flat
    assert sampled(replace(PULL, gear=4)).time[-1] > flat + 0.5


def test_a_pull_that_takes_its_time_reaches_its_end_and_repeats() -> None:
    seen = sampled(PhaseSpec(kind="idle", duration=5.0), replace(PULL, repeat=2, rest=20.0))
    first = next(s for s in seen.spans if s.label == "pull 1")
    assert [s.label for s in seen.spans] == ["idle", "pull 1", "rest", "pull 2"]
    assert seen.engine_speed[first.last] == pytest.approx(7000 * RPM, rel=0.01)
    assert seen.full_load[first.first : first.last + 1].all()
    assert seen.runs == ()


def test_a_pull_beyond_the_limiter_is_refused() -> None:
    with pytest.raises(BadInput, match="does not reach 9000 rpm"):
        sampled(replace(PULL, to_speed=9000 * RPM))


def test_a_pull_without_to_is_held() -> None:
    seen = sampled(PhaseSpec(kind="pull", from_speed=4500 * RPM, duration=20.0, on="dyno"))
    assert (seen.engine_speed == 4500 * RPM).all()
    assert seen.full_load.all()
    assert math.isclose(seen.time[-1], 20.0)


def test_a_steep_way_down_does_not_overrun_the_engine() -> None:
    one_gear = replace(BUILD, car=replace(CAR, gears=(2.0,)))
    seen = sampled(replace(PASS, grade=-0.25, distance=1500.0), build=one_gear)
    run = seen.runs[0]
    assert seen.engine_speed[: run.last].max() <= (1.0 + drive.LIMITER) * 7600 * RPM * 1.001
