"""The march of a car at its limits: `advance`, shift points, boost between shifts, laps against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from cases.driving import constant_force, constant_power
from coldside.build.files import load_build
from coldside.duty import courses, drive, laps, road
from coldside.duty.courses import Track
from coldside.duty.load import part_load_pressure, reckoned_power, surroundings
from coldside.duty.model import AmbientSpec
from coldside.duty.runs import LAP_STEP
from coldside.errors import BadInput
from coldside.parts.engine import CarSpec
from generators import ROAD_ENGINE as ENGINE
from generators import build_of

G = 9.80665
DAY = surroundings(AmbientSpec(temperature=303.15, altitude=200.0))
CAR = drive.powertrain(build_of({}, (), engine=ENGINE), DAY)
STRIP = drive.Course(slip=55.0)


def ran(car: drive.Powertrain = CAR, share: float = 1.0, length: float = 402.336, **how: float) -> drive.Driven:
    driven = drive.march(drive.standing(car, STRIP), (length,), (np.array([0.0]), np.array([share])), **how)
    assert driven is not None
    return driven


# -- advance -----------------------------------------------------------------------------------------


def test_advance_is_pure_and_steps_add_up() -> None:
    """Two halves of a step end where the whole ends, but for the error of the midpoint rule (third order)."""
    state = drive.advance(drive.standing(CAR, STRIP), 1.0, 2.0)
    kept = tuple(state)
    whole = drive.advance(state, 0.9, 0.02)
    halves = drive.advance(drive.advance(state, 0.9, 0.01), 0.9, 0.01)
    assert tuple(state) == kept
    assert drive.advance(state, 0.9, 0.02) == whole
    assert halves.speed == pytest.approx(whole.speed, rel=1e-5)
    assert halves.distance == pytest.approx(whole.distance, rel=1e-6)
    assert halves.time == pytest.approx(whole.time, rel=1e-12)


def test_a_step_of_the_march_is_short_enough() -> None:
    """Its time over a quarter mile moves by less than 1 ms with half the step, so that milliseconds can be shown."""
    coarse, fine = ran().marks[-1], ran(step=0.5 * drive.STEP).marks[-1]
    assert coarse[0] == pytest.approx(fine[0], abs=1e-3)
    assert coarse[1] == pytest.approx(fine[1], rel=1e-3)


@settings(max_examples=15, deadline=None)
@given(st.floats(0.4, 0.98), st.floats(0.005, 0.02))
def test_less_power_is_never_quicker(share: float, less: float) -> None:
    assert ran(share=share - less).marks[-1][0] >= ran(share=share).marks[-1][0] - 1e-3  # 1 ms: the step


def test_a_car_that_cannot_climb_is_given_up() -> None:
    steep = drive.Course(slip=55.0, grade=(0.9,))
    assert drive.march(drive.standing(CAR, steep), (100.0,), longest=20.0) is None


def test_a_run_begins_at_the_grip_of_its_tyres() -> None:
    """Loop case C30 in the march: the first second is bound by grip, less rolling resistance and wheels' turning."""
    held = drive.march(drive.standing(CAR, STRIP, boost=2e5), (402.336,))
    assert held is not None
    driven = held
    most = float(road.traction_limit(CAR.car, CAR.car.mass * G))
    expected = (most - CAR.car.mass * G * CAR.car.rolling_resistance) / (CAR.car.mass * (1.0 + road.WHEELS_SHARE))
    first = driven.time <= 0.5
    assert driven.speed[first][-1] / driven.time[first][-1] == pytest.approx(expected, rel=2e-3)  # a little drag
    assert not driven.full_load[first].any()


def test_work_of_the_engine_is_where_it_went() -> None:
    """At constant power, no slip and drag: m v^2 / 2 + drag and rolling work = P t (energy, by hand)."""
    car = constant_power(1400.0, 200e3, drag_area=0.7, rolling=0.013)
    state = drive.standing(car, drive.Course(), boost=2e5)._replace(speed=15.0)
    driven = drive.march(state, (600.0,), step=0.01)
    assert driven is not None
    force = 1400.0 * G * 0.013 + 0.5 * 1.2 * 0.7 * driven.speed**2
    lost = np.trapezoid(force, driven.distance)
    gained = 0.5 * 1400.0 * (driven.speed[-1] ** 2 - 15.0**2)
    assert gained + lost == pytest.approx(200e3 * driven.time[-1], rel=1e-5)  # midpoint rule, 10 ms


# -- gears and boost ---------------------------------------------------------------------------------


def test_shift_points_are_where_the_next_gear_pulls_harder() -> None:
    """Against a search over wheel power by another grid; top speed where no such point comes first."""
    n = np.linspace(0.0, 150.0, 1501)
    falling = 300e3 * np.exp(-(((n - 80.0) / 25.0) ** 2))  # pulls harder a gear up long before top speed
    car = CarSpec(gears=(3.0, 2.0, 1.4))
    found = drive.shift_speeds(car, 130.0, n, falling)
    for gear, v in enumerate(found[:-1], start=1):
        here, above = (float(np.interp(road.engine_speed_in(car, v, g), n, falling)) for g in (gear, gear + 1))
        assert here == pytest.approx(above, rel=0.02)
        assert road.engine_speed_in(car, v, gear) < 130.0
    assert found[-1] == math.inf
    rising = drive.shift_speeds(car, 130.0, n, 1e3 * n)
    assert road.engine_speed_in(car, rising[0], 1) == pytest.approx(130.0)


def test_gears_are_left_at_their_shift_points_and_a_shift_takes_its_time() -> None:
    state = drive.standing(CAR, STRIP)
    at, waits = [], []
    for _ in range(3000):
        after = drive.advance(state, 1.0, 0.01)
        if after.gear > state.gear:
            at.append(after.speed)
            waits.append(after.time)
        state = after
    assert np.allclose(at, CAR.shift_at[: len(at)], rtol=0.02)  # it slows a little in the step of the shift
    assert len(at) >= 3


def test_shifts_cost_time_and_an_open_throttle_costs_less() -> None:
    lifted = ran().marks[-1][0]
    flat = ran(replace(CAR, car=replace(CAR.car, shift_throttle="open"))).marks[-1][0]
    none = ran(replace(CAR, car=replace(CAR.car, shift_time=0.0))).marks[-1][0]
    assert none < flat < lifted


def test_boost_held_on_the_line_saves_time_where_grip_allows() -> None:
    grippy = replace(CAR, car=replace(CAR.car, grip=4.0, drive="all"))
    off = drive.march(drive.standing(grippy, STRIP), (402.336,))
    on = drive.march(drive.standing(grippy, STRIP, boost=1.8e5), (402.336,))
    assert off is not None
    assert on is not None
    assert on.marks[-1][0] < off.marks[-1][0] - 0.02


def test_full_load_is_what_power_limits() -> None:
    driven = ran()
    share = reckoned_power(ENGINE, driven.engine_speed, driven.plenum, DAY)
    assert driven.full_load.any()
    assert (driven.plenum <= np.interp(driven.engine_speed, np.arange(drive._ROWS) * CAR.step, CAR.top) + 1.0).all()
    assert (share[driven.full_load] > 0.0).all()


@settings(max_examples=30)
@given(st.floats(30.0, 120.0), st.floats(0.2, 1.0))
def test_reckoned_power_turns_part_load_round(n: float, share: float) -> None:
    power = share * float(reckoned_power(ENGINE, n, 1e6, DAY)) * 0.1
    plenum = part_load_pressure(ENGINE, n, power, DAY)
    if plenum > ENGINE.idle_plenum * DAY.pressure * 1.001:
        assert float(reckoned_power(ENGINE, n, plenum, DAY)) == pytest.approx(power, rel=1e-9)


# -- laps against closed forms -----------------------------------------------------------------------


def circle(radius: float) -> Track:
    n = round(2.0 * math.pi * radius)
    return Track(
        "circle", 2.0 * math.pi * radius, 2.0 * math.pi * radius / n, True, np.full(n, 1.0 / radius), np.zeros(n)
    )


def flying(car: drive.Powertrain, track: Track, rounds: int = 3, pace: float = 1.0) -> drive.Driven:
    course = laps.course_on(track, car, pace=pace)
    state = drive.standing(car, course, boost=2e5)
    for _ in range(rounds):
        driven = drive.march(state._replace(distance=0.0, time=0.0), (track.length,), step=0.005)
        assert driven is not None
        state = driven.end
    return driven


@pytest.mark.parametrize("pace", [1.0, 0.8])
def test_circle_without_resistance_is_driven_at_the_grip_of_its_tyres(pace: float) -> None:
    """v = sqrt(mu g R), t = 2 pi R / v: point mass on a circle."""
    car = constant_force(CarSpec(mass=1200.0, drag_area=0.0, rolling_resistance=0.0, driveline_efficiency=1.0,
                                 gears=(1.0,), grip=1.2, drive="all"), 5.0)  # fmt: skip
    driven = flying(car, circle(60.0), pace=pace)
    assert driven.marks[-1][0] == pytest.approx(2.0 * math.pi * math.sqrt(60.0 / (1.2 * pace * G)), rel=1e-4)


def test_circle_with_drag_settles_where_the_ellipse_balances() -> None:
    """(drag / mu m g)^2 + (v^2 / mu g R)^2 = 1, solved by brentq: what drag takes is missing sideways."""
    spec = CarSpec(mass=900.0, drag_area=2.0, rolling_resistance=0.02, driveline_efficiency=1.0, gears=(1.0,),
                   grip=1.1, drive="all")  # fmt: skip
    R = 150.0
    car = constant_force(spec, 9.0)

    def left(v: float) -> float:
        force = 0.5 * 1.2 * 2.0 * v**2 + 900.0 * G * 0.02
        return (force / (1.1 * 900.0 * G)) ** 2 + (v**2 / (1.1 * G * R)) ** 2 - 1.0

    v = brentq(left, 5.0, 60.0)
    driven = flying(car, circle(R))
    assert driven.speed[-1] == pytest.approx(v, rel=1e-3)
    assert driven.marks[-1][0] == pytest.approx(2.0 * math.pi * R / v, rel=1e-3)


def test_two_straights_and_two_half_circles() -> None:
    """Stadium of straights L and radius R, constant drive a and brakes b: closed form of loop case C32 twice over.

    On the straight v_peak^2 = v_c^2 + 2 L a b / (a + b); t = (v_peak - v_c)(1 / a + 1 / b).
    """
    L, R, a, b, mu = 300.0, 40.0, 5.0, 10.0, 1.25
    spec = CarSpec(mass=1300.0, drag_area=0.0, rolling_resistance=0.0, driveline_efficiency=1.0, gears=(1.0,), grip=mu,
                   drive="all", brake_share=b * (1.0 + road.WHEELS_SHARE) / (mu * G))  # fmt: skip
    step = 0.1
    straight, bend = round(L / step), round(math.pi * R / step)
    curvature = np.concatenate([np.zeros(straight), np.full(bend, math.pi / (bend * step))] * 2)
    track = Track("stadium", len(curvature) * step, step, True, curvature, np.zeros_like(curvature))
    v_c = math.sqrt(mu * G * bend * step / math.pi)
    v_peak = math.sqrt(v_c**2 + 2.0 * L * a * b / (a + b))
    expected = 2.0 * ((v_peak - v_c) * (1.0 / a + 1.0 / b) + bend * step / v_c)
    driven = flying(constant_force(spec, a), track)
    assert driven.speed.max() == pytest.approx(v_peak, rel=1e-3)
    assert driven.marks[-1][0] == pytest.approx(expected, rel=5e-4)  # rows of 0.1 m, half of one at each bend's ends


def test_a_lap_does_not_depend_on_where_it_begins() -> None:
    """A closed track turned by a third of its length takes as long."""
    track = courses.find_track("day.toml", "tight loop")
    turned = replace(track, curvature=np.roll(track.curvature, 500), grade=np.roll(track.grade, 500))
    times = [flying(CAR, one, rounds=2).marks[-1][0] for one in (track, turned)]
    assert times[0] == pytest.approx(times[1], rel=1e-4)


EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@pytest.mark.parametrize("name", ["tern/water.toml", "dunlin/build.toml", "heron/two_stage.toml"])
@pytest.mark.parametrize("where", [*courses.BUNDLED, "quarter mile"])
def test_time_follows_power_smoothly(name: str, where: str) -> None:
    """A thousandth less power is never quicker and costs about what the one before did: nothing jumps.

    Closed form for what a share of power may cost at the most: t = (2 m s / F)^(1/2), half of it, as at constant force
    from standstill; less wherever bends, brakes or speed rule (loop case C33: a third at constant power).
    """
    build = load_build(EXAMPLES / name)
    car = drive.powertrain(build, DAY)
    slip = 0.45 * build.engine.top_speed
    strip = where == "quarter mile"
    track = None if strip else courses.find_track("day.toml", where)
    length = 402.336 if track is None else track.length
    course = STRIP if track is None else laps.course_on(track, car, slip=slip)

    def takes(share: float) -> float:
        power = (np.array([0.0]), np.array([share]))
        state = drive.standing(car, course)
        for _ in range(2 if track is not None and track.closed else 1):
            state = state._replace(distance=0.0, time=0.0)
            driven = drive.march(state, (length,), power, step=drive.STEP if strip else LAP_STEP)
            assert driven is not None
            state = driven.end
        return driven.marks[-1][0]

    shares = np.linspace(1.0, 0.97, 31)
    times = np.array([takes(share) for share in shares])
    assert (np.diff(times) > 0.0).all()
    straight = np.polyval(np.polyfit(shares, times, 2), shares)
    assert times == pytest.approx(straight, abs=0.003)
    assert (times[-1] - times[0]) < times[0] * 0.03 * 0.5


def test_boost_in_a_bend_is_that_of_a_shut_throttle() -> None:
    """At the grip of its tyres a car needs next to no power: boost runs down, whatever the step of the march.

    Closed form: spool falls to ambient as exp(-t / (3 lag)), `COAST` lags of the engine.
    """
    car = replace(CAR, car=replace(CAR.car, drag_area=0.0, rolling_resistance=0.0))
    course = laps.course_on(circle(60.0), car)
    v = math.sqrt(CAR.car.grip * G * 60.0)
    gear = next(g for g, at in enumerate(CAR.shift_at, start=1) if v < 0.95 * at)
    for step in (0.1, 0.05, 0.025, 0.01):
        state = drive.standing(car, course, boost=2e5)._replace(speed=v, gear=gear)
        for _ in range(round(4.0 / step)):
            state = drive.advance(state, 1.0, step)
        left = (state.spool - DAY.pressure) / (2e5 - DAY.pressure)
        assert left == pytest.approx(math.exp(-4.0 / (3.0 * CAR.lag)), rel=1e-6)
        assert state.speed == pytest.approx(v, rel=1e-3)


def test_caps_leave_room_for_the_brakes() -> None:
    """From every row to the next, brakes at full grip and all resistances are enough; so along each bundled track."""
    for name in courses.BUNDLED:
        track = courses.find_track("day.toml", name)
        caps = laps.speed_caps(track, CAR.car, 1.2)
        assert (caps <= road.corner_speed(CAR.car, track.curvature, 1.2) + 1e-9).all()
        v2 = np.append(caps, caps[0]) ** 2 if track.closed else caps**2
        slowing = (v2[:-1] - v2[1:]) / (2.0 * track.step)
        most = CAR.car.grip * CAR.car.brake_share * G + 0.5 * 1.2 * CAR.car.drag_area * v2[:-1] / CAR.car.mass
        most += G * (CAR.car.rolling_resistance + np.abs(track.grade[: len(most)]))
        assert (slowing <= most * 1.001).all()


def test_a_slow_lap_is_entered_without_a_jump() -> None:
    track = courses.find_track("day.toml", "fast loop")
    fast, slow = (laps.course_on(track, CAR, pace=pace) for pace in (0.9, 0.08))
    eased = laps.eased(slow, fast, 55.0)
    s = track.step * np.arange(len(eased.cap))
    ease = np.sqrt(np.maximum(55.0**2 - 2.0 * laps.ENTRY_BRAKING * s, 0.0))
    assert eased.cap[0] == 55.0 > slow.cap[0]
    assert (np.asarray(eased.cap) >= np.minimum(ease, fast.cap)).all()
    assert (np.asarray(eased.cap) <= fast.cap).all()


# -- tracks ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["fast loop", "tight loop"])
def test_bundled_loops_close(name: str) -> None:
    """Curvature integrated to heading and heading to place (by another rule): the end is the start within 1 m."""
    track = courses.find_track("day.toml", name)
    heading = np.concatenate([[0.0], np.cumsum(track.curvature)]) * track.step
    middle = 0.5 * (heading[1:] + heading[:-1])
    assert heading[-1] == pytest.approx(2.0 * math.pi, abs=1e-3)
    assert math.hypot(np.cos(middle).sum(), np.sin(middle).sum()) * track.step < 1.0
    assert track.notes == ()


def test_the_hill_climbs_eight_percent() -> None:
    track = courses.find_track("day.toml", "hill")
    assert not track.closed
    assert track.grade.mean() == pytest.approx(0.08, abs=0.005)


HEAD = "# closed: no\ns_m,curvature_1_m,grade\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HEAD + "0,0,0\n50,0,0\n", "50 m long"),
        (HEAD + "5,0,0\n500,0,0\n", "begin at 0"),
        (HEAD + "0,0,0\n300,0,0\n200,0,0\n", "does not rise"),
        (HEAD + "0,0,0\n300,0.9,0\n", "2 m radius"),
        (HEAD + "0,0,0\n300,0,7\n", "steeper than 40 %"),
        (HEAD + "0,0,0\n300,a,0\n", "not a number"),
        ("s_m,bend\n0,0\n300,0\n", 'column "curvature_1_m" is missing'),
        (HEAD.replace("no", "maybe") + "0,0,0\n300,0,0\n", "yes or no"),
    ],
)
def test_a_track_that_cannot_be_is_refused(text: str, words: str, tmp_path) -> None:
    (tmp_path / "mine.csv").write_text(text)
    with pytest.raises(BadInput) as refused:
        courses.find_track(str(tmp_path / "day.toml"), "mine.csv")
    assert words in str(refused.value)


def test_a_closed_track_that_does_not_turn_round_is_noted(tmp_path) -> None:
    (tmp_path / "mine.csv").write_text("s_m,curvature_1_m\n0,0\n100,0.02\n200,-0.01\n900,0\n")
    assert "no whole circle" in courses.find_track(str(tmp_path / "day.toml"), "mine.csv").notes[0]
