"""Ice a day: the refill against conservation of energy (two bodies brought together), sums, words and JSON."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from coldside.build.model import Build
from coldside.duty.model import PhaseSpec, Run, Span
from coldside.judge.ice_day import BAG, ice_day_json, ice_day_words, ice_days, ice_to_chill
from coldside.judge.summary import forecast_json
from coldside.judge.verdict import judge
from coldside.parts.chiller import ChillerSpec
from coldside.parts.reservoir import CP_WATER, FREEZING, LATENT_ICE, ReservoirSpec, settled_with_ice
from coldside.plant.results import Forecast
from judge import made

CAPACITY = 12.0 * CP_WATER  # J/K, two nodes of 6 kg of water
HANDBOOK = 6.01e3 / 18.015e-3  # J/kg: heat of fusion of water, 6.01 kJ/mol (CRC Handbook, from memory)


def iced(ice: float = 5.0, rate: float = 4e-3, T_end: float = 283.15, start: float = FREEZING, **more: Any) -> Forecast:
    """Six pulls a minute apart; ice melts at `rate` kg/s, the tank goes from `start` to `T_end` evenly."""
    base = made.forecast()
    spec = ReservoirSpec(volume=12e-3, ice=ice, ice_temperature=FREEZING, start_temperature=start)
    parts: dict[str, Any] = {**base.build.parts, "tank": spec}
    tank = np.linspace(start, T_end, len(base.time))
    return replace(
        base,
        build=replace(base.build, parts=parts),
        ice={"tank": np.maximum(ice - rate * base.time, 0.0)} if ice else {},
        nodes={"tank coolant": (np.full(2, start), np.full(2, T_end), CAPACITY / 2.0)},
        outlet={**base.outlet, ("tank", "coolant"): tank},
        **more,
    )


def test_the_latent_heat_is_the_handbook_s():
    assert pytest.approx(HANDBOOK, rel=1e-3) == LATENT_ICE


@pytest.mark.parametrize(("left", "T"), [(0.0, 305.0), (3.0, 283.15), (4.9, 275.0)])
def test_a_refill_brings_tank_and_ice_back_to_where_they_were(left: float, T: float):
    """Water let out, ice in, settled by the closed form of the tank's part: 5 kg of ice at 0 degC float again."""
    full, water = 5.0, 12.0
    refill = full - left + ice_to_chill(water * CP_WATER, T, FREEZING, LATENT_ICE, FREEZING)
    liquid = water + (full - left) - refill  # kg, what melted and what was let out
    settled, floating = settled_with_ice(left + refill, FREEZING, liquid * CP_WATER, T)
    assert settled == FREEZING
    assert floating == pytest.approx(full, rel=1e-12)
    assert liquid + (left + refill - floating) == pytest.approx(water, rel=1e-12)  # as full as before


def test_what_each_pull_melts_and_the_day():
    forecast = iced()
    (one,) = ice_days(forecast)
    # pulls begin a minute apart, so that each takes 60 s x 4 g/s, but for the last, which the session ends with
    assert one.melted[:5] == pytest.approx([0.24] * 5, rel=0.01)
    assert one.melted[5] == pytest.approx(0.04, rel=0.05)
    assert one.driven == pytest.approx(0.04, rel=0.02)  # 10 s of a pull
    assert (one.runs, one.noun) == (6, "pull")
    warmed = 10.0 * 60.0 / 310.0
    assert one.after - one.start == pytest.approx(warmed, rel=0.01)
    expected = 0.24 + CAPACITY * warmed / (LATENT_ICE + CP_WATER * warmed)
    assert one.refill == pytest.approx(expected, rel=0.01)
    from_air = made.AMBIENT - FREEZING
    assert one.first == pytest.approx(5.0 + CAPACITY * from_air / (LATENT_ICE + CP_WATER * from_air), rel=1e-9)
    assert one.day == pytest.approx(one.first + 5.0 * one.refill)
    assert (one.bags - 1) * BAG < one.day <= one.bags * BAG


PARTS = ("burnout", "launch", "run", "braking", "back")  # as `duty/runs.py` calls them
BURNED, LAUNCHED, DROVE, STOPPED, CAME_BACK, WAITED = range(6)
TOOK = (8.0, 3.0, 12.0, 9.0, 40.0, 60.0)  # s of each stretch of a pass


def drag_day(grouped: bool, passes: int = 3) -> Forecast:
    """Passes with burnout and launch, on their own or as rounds of a group, on the melting tank of `iced`."""
    spans, runs, end = [], [], 0
    for k in range(passes):
        words = ("burnout", "launch", "pass", "braking", "way back", "rest")
        for part, (word, seconds) in enumerate(zip(words, TOOK, strict=True)):
            first, end = (end + 1 if end else 0), end + round(seconds / made.STEP)
            label = f"round {k + 1} {word}" if grouped else f"{word} {k + 1}" if part < CAME_BACK else word
            counts = part == DROVE or (grouped and part == WAITED)
            of_pass = "" if part == WAITED else PARTS[part]
            spans.append(Span(first, end, "idle" if part == WAITED else "pass", label, k if counts else -1, of_pass))
            if part == DROVE:
                runs.append(Run(0, k, label, first, end, seconds, 50.0, 402.336, True))
    base = iced()
    n = end + 1
    time = np.arange(n) * made.STEP
    demand = replace(
        base.demand,
        spans=tuple(spans),
        runs=tuple(runs),
        time=time,
        ambient_temperature=np.full(n, made.AMBIENT),
        humidity=np.full(n, 0.5),
    )
    phase = PhaseSpec(kind="pass", distance=402.336, burnout=8.0, launch_hold=3.0, group="round" if grouped else None)
    phases = (phase, PhaseSpec(kind="idle", duration=60.0, group="round")) if grouped else (replace(phase, repeat=3),)
    return replace(
        base,
        demand=demand,
        time=time,
        session=replace(base.session, phases=phases, groups={"round": passes} if grouped else {}),
        ice={"tank": 5.0 - 4e-3 * time},
        outlet={**base.outlet, ("tank", "coolant"): FREEZING + 0.01 * time},
    )


@pytest.mark.parametrize("grouped", [False, True])
def test_a_pass_begins_with_its_burnout(grouped: bool):
    """By hand: passes begin 132 s apart, the first with the session; ice goes in before a burnout, not behind it."""
    (one,) = ice_days(drag_day(grouped))
    every = sum(TOOK)
    assert one.runs == 3
    assert one.start == FREEZING
    assert one.after == pytest.approx(FREEZING + 0.01 * every, abs=2e-3)
    assert one.melted == pytest.approx((4e-3 * every,) * 3, abs=1e-3)  # a sample at a joint
    assert one.driven == pytest.approx(4e-3 * TOOK[DROVE])
    chilled = ice_to_chill(CAPACITY, one.after, FREEZING, LATENT_ICE, FREEZING)
    assert one.refill == pytest.approx(4e-3 * every + chilled, abs=1e-3)


def test_a_tank_chilled_and_without_ice_is_chilled_with_ice_again():
    (one,) = ice_days(iced(ice=0.0, start=277.15, T_end=300.0))
    assert one.melted == (0.0,) * 6
    assert one.refill == pytest.approx(ice_to_chill(CAPACITY, one.after, 277.15, LATENT_ICE, FREEZING), rel=1e-3)
    assert one.refill > 0.0


def test_tanks_that_take_none():
    assert ice_days(made.forecast()) == ()
    assert ice_days(iced(ice=0.0, start=made.AMBIENT)) == ()  # as warm as the day
    chilled = iced(ice=0.0, start=277.15)
    loop = chilled.build.loops["charge"]
    build: Build = replace(
        chilled.build,
        loops={"charge": replace(loop, path=(*loop.path, "chiller"))},
        parts={**chilled.build.parts, "chiller": ChillerSpec(capacity=((283.15, 3e3), (303.15, 4e3)))},
    )
    assert ice_days(replace(chilled, build=build)) == ()  # the air conditioning does that


def test_words_and_json():
    forecast = iced()
    (said,) = (sentence.words() for sentence in ice_day_words(forecast))
    assert said == (
        "Ice for tank: the first pull melts 0.24 kg, 40 g of it at full load; 8.03 kg before the first pull, and "
        "0.526 kg before the next to start it alike, at 0 degC instead of 2 degC (let as much water out first); "
        "10.7 kg for six pulls, three bags of 4.54 kg. A tank with ice in it is not capped tightly."
    )
    (us,) = (sentence.words("us") for sentence in ice_day_words(forecast))
    assert "three bags of 10 lb" in us
    assert "degC" not in us
    verdict = judge(forecast)
    assert said in verdict.words().reasons
    block = forecast_json(forecast, verdict)["ice_day"]["tank"]
    assert block == ice_day_json(forecast)["tank"] | {"melted_kg": block["melted_kg"]}
    assert block["day_kg"] == pytest.approx(ice_days(forecast)[0].day)
