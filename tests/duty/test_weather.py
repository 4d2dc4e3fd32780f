"""The air over a session: readings, the water in it, what is driven in it, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.demand import sample, weather
from coldside.duty.load import becalmed, part_load_pressure, surroundings
from coldside.duty.model import AmbientSpec, PhaseSpec, ReadingSpec, Session
from coldside.duty.phases import load_session
from coldside.errors import BadInput
from coldside.media import air
from coldside.parts.engine import RPM
from coldside.units import Pressure
from generators import session_of
from words.files import SESSION, spoiled

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
NOON = AmbientSpec(temperature=297.15, pressure=Pressure(98.5e3, False), humidity=0.5)
READINGS = '[[ambient.readings]]\nat = "10 min"\ntemperature = "84 degF"\n\n[[ambient.readings]]\nat = "1 h"\n'
READINGS += 'temperature = "95 degF"\nhumidity = "30 %"\n\n'
REPLAY = "time [s],engine_speed [rpm],plenum [kPa abs],road_speed [km/h],ambient [degF]\n"


def afternoon(*phases: PhaseSpec, readings: tuple[ReadingSpec, ...]) -> Session:
    return replace(session_of(*phases, ambient=NOON), readings=readings)


def loaded(folder: Path, text: str) -> Session:
    (folder / "day.toml").write_text(text)
    return load_session(folder / "day.toml")


def refusal(folder: Path, text: str) -> str:
    with pytest.raises(BadInput) as refused:
        loaded(folder, text)
    return str(refused.value).replace(f"{folder}/", "")


def with_readings(tables: str) -> str:
    return spoiled(SESSION, ('humidity = "45 %"\n\n', 'humidity = "45 %"\n\n' + tables))


# ---------------------------------------------------------------- what is read


def test_readings_are_read_with_their_units(tmp_path: Path) -> None:
    session = loaded(tmp_path, with_readings(READINGS))
    assert [reading.at for reading in session.readings] == [600.0, 3600.0]
    assert [reading.temperature for reading in session.readings] == pytest.approx([302.0389, 308.15], abs=1e-3)
    assert [reading.humidity for reading in session.readings] == [None, pytest.approx(0.3)]
    assert session.givens["ambient.readings.1.temperature"].text == "84 degF"
    assert session.coldest_air == session.readings[0].temperature


SUCH_TIME, ORDER = 'such as "11 s" or "4 min"', "write readings in the order of time"
SUCH_AIR = 'air temperature in the shade then, such as "31 degC" or "88 degF"'


@pytest.mark.parametrize(
    ("old", "new", "line", "message"),
    [
        ('at = "1 h"', 'at = "9 min"', 16, f".at: 9 min is not after the reading before it, at 10 min; {ORDER}"),
        ('at = "1 h"', "at = 60", 16, '.at = 60 has no unit; a time is needed, such as "60 s" or "60 min"'),
        ('at = "1 h"\n', "", 15, f": at is missing: time since the start of the session, {SUCH_TIME}"),
        ('at = "1 h"', 'at = "1:00"', 16, '.at = "1:00" is a time of day or of a watch; write "60 s"'),
        ('at = "1 h"', 'time = "1 h"', 16, '.time: is not a key of a reading; nearest: "at"'),
        ('"95 degF"', '"95 degC"', 17, '.temperature = "95 degC" is out of range; it must be from -50 degC to 60 degC'),
        ('temperature = "95 degF"\n', "", 15, f": temperature is missing: {SUCH_AIR}"),
        ('"30 %"', '"130 %"', 18, '.humidity = "130 %" is out of range; it must be from 0 % to 100 %'),
        ("humidity = ", "wind = ", 18, ".wind: is not a key of a reading; its keys: at, temperature, humidity"),
    ],
)  # fmt: skip
def test_a_spoiled_reading_is_told_once(old: str, new: str, line: int, message: str, tmp_path: Path) -> None:
    text = with_readings(spoiled(READINGS, (old, new)))
    assert refusal(tmp_path, text) == f"day.toml:{line}: ambient.readings.2{message}"


@pytest.mark.parametrize("line", ['readings = "34 degC"', 'readings = ["31 degC", "34 degC"]'])
def test_readings_are_tables(line: str, tmp_path: Path) -> None:
    text = spoiled(SESSION, ('humidity = "45 %"', f'humidity = "45 %"\n{line}'))
    words = "must be tables [[ambient.readings]], in double brackets, one for each reading"
    assert refusal(tmp_path, text) == f"day.toml:10: ambient.readings: {words}"


def replayed(folder: Path, rows: str, *, tables: str = "", leading: str = "") -> str:
    (folder / "log.csv").write_text(REPLAY + rows)
    replay = leading + '[[phases]]\nkind = "replay"\nsamples = "log.csv"\n\n'
    text = with_readings(tables) if tables else SESSION
    return spoiled(text, ('[[phases]]\nkind = "idle"', replay + '[[phases]]\nkind = "idle"'))


ROWS = "0,900,40,0,70\n4,2000,60,30,71\n10,2500,70,60,73.4\n20,2500,70,60,82.4\n"


def test_a_log_that_begins_the_session_tells_its_air(tmp_path: Path) -> None:
    """70 degF = 294.26 K, NIST SP 811; readings less than 5 s after the one before are left out."""
    session = loaded(tmp_path, replayed(tmp_path, ROWS))
    assert session.ambient.temperature == pytest.approx(294.2611, abs=1e-3)
    assert [reading.at for reading in session.readings] == [10.0, 20.0]
    assert [reading.temperature for reading in session.readings] == pytest.approx([296.15, 301.15], abs=1e-6)
    assert "ambient.temperature gives way to the column ambient of the first phase's samples" in session.notes
    build = load_build(EXAMPLES / "tern" / "water.toml")
    assert sample(session, build).ambient_temperature[150] == pytest.approx(298.65, abs=1e-6)


def test_a_later_log_does_not_and_says_so(tmp_path: Path) -> None:
    leading = '[[phases]]\nkind = "idle"\nduration = "10 s"\n\n'
    session = loaded(tmp_path, replayed(tmp_path, ROWS, leading=leading))
    assert session.readings == ()
    assert [note for note in session.notes if note.startswith("phases.2: the column ambient")]


def test_a_log_and_readings_contradict_each_other(tmp_path: Path) -> None:
    text = replayed(tmp_path, ROWS, tables=READINGS)
    assert "ambient.readings: tell the air outside, but so does the column ambient" in refusal(tmp_path, text)


def test_a_log_of_no_weather_is_refused(tmp_path: Path) -> None:
    text = replayed(tmp_path, ROWS.replace("82.4", "182.4"))
    assert refusal(tmp_path, text) == ("log.csv:5: ambient [degF]: no air in the shade is outside -50 to 60 degC")


# ---------------------------------------------------------------- what the air is


def test_the_air_is_linear_between_readings_and_held_after_the_last() -> None:
    found = weather(afternoon(readings=(ReadingSpec(at=600.0, temperature=303.15),)))
    seen = found.at(np.array([0.0, 150.0, 600.0, 5000.0])).temperature
    assert np.asarray(seen) == pytest.approx([297.15, 298.65, 303.15, 303.15], abs=1e-9)


def test_water_stays_in_the_air_that_warms() -> None:
    """24 degC at 50 % holds 9.6 g/kg; at 34 degC the same water is 28 % (ASHRAE psychrometric chart, from memory)."""
    found = weather(afternoon(readings=(ReadingSpec(at=600.0, temperature=307.15),)))
    start, end = found.start, found.at(600.0)
    assert float(end.humidity_ratio) == pytest.approx(float(start.humidity_ratio), rel=1e-12)
    assert float(end.humidity) == pytest.approx(0.28, abs=0.005)
    assert float(end.humidity_ratio) == pytest.approx(
        float(air.humidity_ratio(307.15, 98.5e3, float(end.humidity))), rel=1e-9
    )
    assert float(end.density) < float(start.density)


def test_air_that_cools_under_its_dew_point_is_saturated_and_no_wetter() -> None:
    found = weather(afternoon(readings=(ReadingSpec(at=600.0, temperature=280.15),)))
    end, dew = found.at(600.0), float(air.dew_point(297.15, 98.5e3, 0.5))
    assert float(end.humidity) == pytest.approx(1.0, abs=1e-9)
    assert float(end.humidity_ratio) == pytest.approx(float(air.humidity_ratio(280.15, 98.5e3, 1.0)), rel=1e-9)
    crossing = 600.0 * (297.15 - dew) / 17.0  # saturated from the dew point on
    assert float(found.at(crossing - 5.0).humidity) < 1.0
    assert float(found.at(crossing + 5.0).humidity) == pytest.approx(1.0, abs=1e-9)


def test_a_reading_of_humidity_is_met() -> None:
    found = weather(afternoon(readings=(ReadingSpec(at=600.0, temperature=303.15, humidity=0.7),)))
    assert float(found.at(600.0).humidity) == pytest.approx(0.7, rel=1e-9)


def test_readings_that_repeat_the_start_are_the_start() -> None:
    """The same object: nothing downstream can tell."""
    found = weather(afternoon(readings=(ReadingSpec(at=600.0, temperature=297.15),)))
    assert not found.changes
    assert found.at(np.array([10.0, 700.0])) is found.start


def test_a_session_can_be_held_in_one_moments_air() -> None:
    session = afternoon(readings=(ReadingSpec(at=600.0, temperature=307.15),))
    held = becalmed(session, 300.0)
    assert held.readings == ()
    assert held.ambient.temperature == pytest.approx(302.15)
    then = weather(session).at(300.0)
    assert float(surroundings(held.ambient).density) == pytest.approx(float(then.density), rel=1e-9)
    assert becalmed(held, 10.0) is held


# ---------------------------------------------------------------- what is asked in it

WARMING = (ReadingSpec(at=1.0, temperature=297.15), ReadingSpec(at=1000.0, temperature=317.15))


def test_part_load_is_that_of_the_moments_air() -> None:
    """A cruise by hand at one moment: drag with that density, full load with that charge."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    cruise = PhaseSpec(kind="cruise", engine_speed=3000 * RPM, load=0.5, duration=1000.0)
    seen = sample(afternoon(cruise, readings=WARMING), build)
    assert (seen.bay_temperature - seen.ambient_temperature >= -1e-9).all()
    still = [sample(session_of(cruise, ambient=replace(NOON, temperature=T)), build) for T in (297.15, 317.15)]
    assert seen.plenum_target[50] == pytest.approx(still[0].plenum_target[50], rel=1e-4)
    road = PhaseSpec(kind="cruise", speed=40.0, duration=1000.0)
    moving = sample(afternoon(road, readings=WARMING), build)
    end = weather(afternoon(road, readings=WARMING)).at(900.0)
    held = sample(becalmed(afternoon(road, readings=WARMING), 900.0), build)
    assert moving.plenum_target[9000] == pytest.approx(held.plenum_target[9000], rel=1e-9)
    assert moving.plenum_target[9000] != pytest.approx(moving.plenum_target[100], rel=1e-3)
    assert float(part_load_pressure(build.engine, 50.0, 2e4, end)) > 0.0


def test_every_pass_is_driven_in_the_air_of_its_start() -> None:
    """Thin warm air: less power and less drag.  Each pass is that of a session held in its own start's air."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    passes = PhaseSpec(kind="pass", distance=402.336, repeat=3, rest=300.0)
    moving = afternoon(passes, readings=WARMING)
    seen = sample(moving, build)
    times = [run.time for run in seen.runs]
    assert times[0] < times[1] < times[2]
    starts = [seen.time[run.first] - passes.launch_hold for run in seen.runs]
    for time, start in zip(times, starts, strict=True):
        alone = sample(becalmed(moving, start), build).runs[0].time
        assert time == pytest.approx(alone, abs=2e-4)


def test_laps_and_pulls_follow_the_air_too() -> None:
    build = load_build(EXAMPLES / "tern" / "water.toml")
    laps = PhaseSpec(kind="lap", track="tight loop", repeat=4)
    seen = sample(afternoon(laps, readings=(ReadingSpec(at=400.0, temperature=318.15),)), build)
    still = sample(afternoon(laps, readings=()), build)
    assert seen.runs[-1].time > still.runs[-1].time + 0.01
    pulls = PhaseSpec(kind="pull", from_speed=3000 * RPM, to_speed=6500 * RPM, gear=3, repeat=2, rest=600.0)
    seen = sample(afternoon(pulls, readings=WARMING), build)
    starts = [span.first for span in seen.spans if span.kind == "pull"]
    gained = [seen.engine_speed[start + 28] - seen.engine_speed[start + 14] for start in starts]  # boost is there
    assert gained[1] < 0.99 * gained[0]
