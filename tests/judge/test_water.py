"""Water that condenses, frost and ice of made forecasts: figures worked out by hand, words as stored here."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from coldside.judge.summary import forecast_json
from coldside.judge.verdict import judge
from coldside.judge.water import condensation, ice_left, ice_words, to_carry, used_up, water_in_intake
from coldside.parts.injection import InjectionSpec
from coldside.sheet import tables
from judge import made


def wet(grams_per_second=0.2, start=60.0, end=70.0):
    """A made forecast that condenses steadily from `start` to `end`, samples at both ends included."""
    base = made.forecast()
    water = np.where((base.time > start - 0.05) & (base.time < end + 0.05), 1e-3 * grams_per_second, 0.0)
    return made.forecast(condensate=water)


def said(look, forecast, system="si"):
    return [sentence.words(system) for sentence in look(forecast)]


def test_condensation_is_the_integral():
    """10 s and half an interval at each end: 10.1 s of trapezoids at 0.2 g/s."""
    found = condensation(wet())
    assert found is not None
    assert found.most == pytest.approx(2e-4)
    assert found.total == pytest.approx(2e-4 * 10.1, rel=1e-9)
    assert (found.first, found.seconds, found.frozen) == (pytest.approx(60.0), pytest.approx(10.1), 0.0)


def test_dry_or_not_followed():
    assert condensation(made.forecast()) is None
    assert condensation(wet(0.0)) is None
    assert said(water_in_intake, made.forecast()) == []
    assert said(water_in_intake, wet(0.2, 60.0, 69.0)) == []  # under 2 g dries off


def test_words_of_water():
    assert said(water_in_intake, wet()) == [
        (
            "Water in the intake: up to 0.2 g/s condenses in the charge cores (at 1:00), 2.02 g over the session, "
            "from 1:00 into it; the engine swallows it unless it collects in a low place: give the tract a drain."
        )
    ]
    assert "0.423 oz/min" in said(water_in_intake, wet(), "us")[0]  # 0.2 g/s x 60/28.3495


def test_frost():
    base = wet()
    cold = {"charge": np.where(base.time < 65.0, 271.0, 275.0)}
    found = made.forecast(condensate=base.condensate, coolant_in_cores=cold)
    assert condensation(found).frozen == pytest.approx(5.0, abs=0.1)  # an interval at each edge
    assert said(water_in_intake, found)[1].startswith("Frost: for 5 s of that the coolant")


def test_ice():
    base = made.forecast()
    melts = {"tank": np.maximum(2.0 - base.time / 100.0, 0.0), "box": 1.0 + 0.0 * base.time, "none": 0.0 * base.time}
    found = made.forecast(ice=melts)
    gone, left = ice_left(found)  # gone at 0.5 % of 2 kg, 199 s, or a sample later
    assert (gone.part, gone.start, gone.end, gone.gone) == ("tank", 2.0, 0.0, pytest.approx(199.0, abs=0.11))
    assert (left.part, left.end, left.gone) == ("box", 1.0, None)
    assert said(ice_words, found) == [
        "The 2 kg of ice in tank are gone 3:19 into the session.",
        "Of the 1 kg of ice in box, 1 kg are left at the end.",
    ]


def test_in_reasons_figures_and_json():
    base = wet()
    found = made.forecast(condensate=base.condensate, ice={"tank": np.linspace(2.0, 0.5, len(base.time))})
    verdict = judge(found)
    words = " ".join(verdict.words("si").reasons)
    assert "Water in the intake" in words
    assert "0.5 kg are left" in words
    figures = dict(tables.key_figures(found, "si"))
    assert figures["ice in tank"] == ("2 kg", "", "", "0.5 kg")
    assert figures["water condensing in the cores"][1] == "0.2 g/s"
    block = json.loads(json.dumps(forecast_json(found, verdict), allow_nan=False))
    assert block["condensate"]["total_kg"] == pytest.approx(2.02e-3)
    assert block["ice"] == {"tank": {"start_kg": 2.0, "end_kg": 0.5, "gone_s": None}}
    dry = forecast_json(made.forecast(condensate=0.0 * base.time), verdict)
    assert dry["condensate"] == {
        "max_kg_s": 0.0, "total_kg": 0.0, "first_s": None, "duration_s": 0.0, "below_freezing_s": 0.0,
    }  # fmt: skip
    assert "condensate" not in forecast_json(made.forecast(), verdict)  # not followed is not dry


def test_what_to_carry():
    """An injection of 0.3 L/min runs over 0.5 bar of boost: all of the six pulls; a spray of 0.6 L/min in boost."""
    base = made.forecast()
    parts = {
        **base.build.parts,
        "nozzle": InjectionSpec(fluid="methanol 50 % by volume", flow=5e-6, above=5e4),
        "rear_hx": made.exchanger(spray=1e-5),
        "idle": InjectionSpec(flow=5e-6, above=4e5),
    }
    found = made.forecast(build=replace(base.build, parts=parts))
    used = {one.part: one for one in used_up(found)}
    seconds = 6 * 10.0  # and half an interval at each edge of each pull
    assert used["nozzle"].running == pytest.approx(seconds, abs=0.61)
    assert used["nozzle"].volume == pytest.approx(5e-6 * used["nozzle"].running)
    assert used["rear_hx"].volume == pytest.approx(1e-5 * used["rear_hx"].running)
    notes = judge(found).words("si").notes
    assert any(text.startswith("nozzle uses 0.30") and "of methanol 50 % by volume in 60 s" in text for text in notes)
    assert "idle never runs in this session." in notes
    block = forecast_json(found, judge(found))["used_up"]
    assert block["rear_hx"] == {
        "fluid": "water", "volume_m3": used["rear_hx"].volume, "running_s": used["rear_hx"].running, "tank_m3": 6e-3,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("tank", "said"),
    [(None, "Its tank must hold that"), (1e-3, "Its tank of 1 L holds it."), (2e-4, "Its tank of 0.2 L runs dry")],
)
def test_a_tank_is_told_with_what_a_repeat_takes_and_without_a_stop_must_hold_it_all(tank, said):
    """0.6 L/min over six pulls of 10 s is 0.6 L, 0.1 L a pull; rests of 50 s are too short to fill up in."""
    base = made.forecast()
    parts = {**base.build.parts, "rear_hx": made.exchanger(spray=1e-5, spray_tank=tank)}
    notes = judge(made.forecast(build=replace(base.build, parts=parts))).words("si").notes
    (told,) = [text for text in notes if text.startswith("rear_hx uses 0.6")]
    assert "about 0.10" in told
    assert "a repeat: fill it up before the next session" in told
    assert said in told


def resting(tank, seconds, speed=0.0):
    """The same spray with rests of so many seconds, at a road speed [m/s]."""
    base = made.forecast()
    time = base.time * 1.0
    time += np.cumsum(np.where(base.boost, 0.0, (seconds / 50.0 - 1.0) * 0.1))  # longer steps out of boost
    parts = {**base.build.parts, "rear_hx": made.exchanger(spray=1e-5, spray_tank=tank)}
    demand = replace(base.demand, time=time, road_speed=np.where(base.boost, 30.0, speed))
    return replace(base, build=replace(base.build, parts=parts), time=time, demand=demand)


@pytest.mark.parametrize(
    ("tank", "said"),
    [
        (None, "fill it up at each. Its tank must hold that"),
        (1e-3, "fill it up before the next session. Its tank of 1 L holds it."),
        (2e-4, "fill it up at each. Its tank of 0.2 L then holds it."),
        (1e-4, "fill it up at each. Its tank of 0.1 L runs dry before the next stop"),
    ],
)
def test_a_tank_filled_up_at_stops_must_hold_what_goes_between_two(tank, said):
    """0.1 L a pull, with two minutes of standing between: a tank of 0.2 L, filled up in them, never runs dry."""
    found = resting(tank, 120.0)
    (used,) = used_up(found)
    assert used.fills == 5
    assert used.between == pytest.approx(used.volume / 6, rel=0.1)
    (told,) = to_carry(found)
    assert said in told.words()


def test_a_car_that_does_not_stop_fills_no_tank():
    """Laps on end, however long their quiet part: the tank must last the session."""
    (used,) = used_up(resting(2e-4, 120.0, speed=20.0))
    assert (used.fills, used.between) == (0, pytest.approx(used.volume))
    assert "runs dry before the end" in to_carry(resting(2e-4, 120.0, speed=20.0))[0].words()
