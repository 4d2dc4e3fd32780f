"""Sessions and limits from files: values in SI, keys by kind of phase, files of samples beside the session."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

import pytest

from coldside.build import files
from coldside.build.schema import HOMES, OTHER_WORDS, fields_of
from coldside.duty import phases
from coldside.duty.model import PHASE_KEYS, AmbientSpec, LimitSpec, PhaseSpec, ReadingSpec, Session
from coldside.duty.phases import load_limits, load_session
from coldside.errors import BadInput
from coldside.parts.engine import RPM
from coldside.parts.fields import field_of
from coldside.units import Pressure
from words.files import LIMITS, SESSION, spoiled

REPLAY = "time [s],engine_speed [rpm],plenum [kPa abs]\n0,3000,100\n1,4000,150\n2,5000,200\n"
CYCLE = "t_s,speed_m_s\n0,0\n10,8\n20,0\n"


MARGIN = 'quantity = "margin"\nat_least = "8 K"'


def loaded(folder: Path, text: str = SESSION, loops: Collection[str] | None = None) -> Session:
    (folder / "day.toml").write_text(text)
    return load_session(folder / "day.toml", loops)


def test_values_are_si(tmp_path: Path) -> None:
    session = loaded(tmp_path)
    assert (session.name, session.start) == ("Three pulls", "soaked")
    assert session.ambient.temperature == pytest.approx(304.15)
    assert session.ambient.altitude == 240.0
    assert session.ambient.pressure is None
    assert session.ambient.humidity == pytest.approx(0.45)
    idle, pull, cruise, cooldown = session.phases
    assert idle == PhaseSpec(kind="idle", duration=120.0, air={})
    assert (pull.on, pull.repeat, pull.rest) == ("dyno", 3, 240.0)
    assert pull.from_speed == pytest.approx(3000 * RPM)
    assert pull.to_speed == pytest.approx(7000 * RPM)
    assert pull.fans == pytest.approx(0.6)
    assert pull.pumps is None
    assert pull.air == {"nose": 8.0}
    assert cruise.speed == pytest.approx(60 * 0.44704)  # mile per hour, NIST SP 811
    assert (cruise.group, cooldown.group) == ("lap", "lap")
    assert session.groups == {"lap": 2}
    assert session.limits == (
        LimitSpec(quantity="intake", at_most=pytest.approx(333.15), during="boost"),
        LimitSpec(quantity="over_ambient", at_most=pytest.approx(25.0), during="boost"),
    )


def test_a_phase_without_a_table_of_air_has_none(tmp_path: Path) -> None:
    phases = loaded(tmp_path).phases
    assert dict(phases[0].air) == {}
    assert dict(phases[3].air) == {}


def test_where_values_came_from(tmp_path: Path) -> None:
    givens = loaded(tmp_path).givens
    assert givens["phases.2.from"].text == "3000 rpm"
    assert givens["ambient.altitude"].origin == "given"
    assert "ambient.pressure" not in givens  # altitude is given instead
    assert "phases.1.speed" not in givens  # an idle has no road speed
    assert givens["phases.3.grade"].origin == "default"


def test_station_pressure_may_stand_for_altitude(tmp_path: Path) -> None:
    session = loaded(tmp_path, spoiled(SESSION, ('altitude = "240 m"', 'pressure = "29.1 inHg abs"')))
    assert session.ambient.altitude is None
    assert session.ambient.pressure == Pressure(
        pytest.approx(29.1 * 3386.389, rel=1e-6), False
    )  # NIST SP 811, 7 digits


@pytest.mark.parametrize("kind", sorted(PHASE_KEYS))
def test_every_kind_of_phase_takes_its_keys_and_no_others(kind: str, tmp_path: Path) -> None:
    texts = {
        "duration": 'duration = "60 s"', "engine_speed": 'engine_speed = "3000 rpm"', "cycle": 'cycle = "cycle.csv"',
        "speed": 'speed = "20 m/s"', "load": 'load = "40 %"', "grade": 'grade = "2 %"', "gear": "gear = 3",
        "on": 'on = "road"', "from_speed": 'from = "3000 rpm"', "to_speed": 'to = "7000 rpm"', "repeat": "repeat = 2",
        "rest": 'rest = "30 s"', "samples": 'samples = "log.csv"', "distance": 'distance = "1320 ft"',
        "burnout": 'burnout = "4 s"', "launch_hold": 'launch_hold = "3 s"', "launch_speed": 'launch_speed = "4500 rpm"',
        "launch_boost": 'launch_boost = "8 psi"', "return_speed": 'return_speed = "20 mph"',
        "headwind": 'headwind = "3 m/s"', "track": 'track = "hill"', "pace": 'pace = "85 %"',
        "out_lap": "out_lap = false", "schedule": 'schedule = "US06"', "creep_every": 'creep_every = "50 s"',
        "creep_distance": 'creep_distance = "6 m"', "engine_off": 'engine_off = "40 s"',
        "drum_mass": 'drum_mass = "1200 kg"',
    }  # fmt: skip
    if kind == "pull":  # with its duration, what would change that is refused: see the test below
        texts |= dict.fromkeys(("drum_mass", "grade", "headwind"), "")
    (tmp_path / "cycle.csv").write_text(CYCLE)
    (tmp_path / "log.csv").write_text(REPLAY)
    head = SESSION[: SESSION.index("[[phases]]")]
    always = f'[[phases]]\nkind = "{kind}"\nname = "mine"\npumps = "off"\nfans = "on"\n'
    used = "\n".join(texts[name] for name in PHASE_KEYS[kind])
    session = loaded(tmp_path, f"{head}{always}{used}\n")
    phase = session.phases[0]
    assert (phase.kind, phase.name, phase.pumps, phase.fans) == (kind, "mine", 0.0, 1.0)
    for name in PHASE_KEYS[kind]:
        assert getattr(phase, name) is not None or not texts[name]
    foreign = [name for name in texts if name not in PHASE_KEYS[kind]]
    for name in foreign:
        with pytest.raises(BadInput) as refused:
            loaded(tmp_path, f"{head}{always}{used}\n{texts[name]}\n")
        assert f"phases.1.{texts[name].split()[0]}: is not used by" in str(refused.value)


PULL = '[[phases]]\nkind = "pull"\nfrom = "3000 rpm"\n'


def only(phase: str) -> str:
    """A session of this phase alone."""
    return SESSION[: SESSION.index("[[phases]]")] + phase + "\n"


@pytest.mark.parametrize(
    ("phase", "words"),
    [
        (PULL + 'to = "7000 rpm"\nduration = "9 s"\ngrade = "5 %"', "grade: changes how long a pull lasts"),
        (PULL + 'to = "7000 rpm"\non = "dyno"', "as long as drum_mass, its rollers, takes"),
        (PULL + 'to = "7000 rpm"\ndrum_mass = "900 kg"', 'is of a dyno; write on = "dyno" too'),
        (PULL + 'to = "7000 rpm"\non = "dyno"\ndrum_mass = "900 kg"\nheadwind = "2 m/s"', "means nothing on a dyno"),
        (PULL, "duration or to is missing"),
        ('[[phases]]\nkind = "cycle"\nschedule = "NEDC"', "is not bundled; your own goes in as"),
        ('[[phases]]\nkind = "cycle"\nschedule = "US66"', 'nearest: "US06"'),
        ('[[phases]]\nkind = "lap"\ntrack = "fast lop"', 'nearest: "fast loop"'),
        ('[[phases]]\nkind = "paddock"\nduration = "5 min"\nengine_off = "6 min"', "is longer than duration"),
        ('[[phases]]\nkind = "staging"\nduration = "5 min"\ncreep_distance = "90 m"', "before the next move"),
        ('[[phases]]\nkind = "pass"\ndistance = "3 m"', "distance"),
        ('[[phases]]\nkind = "lap"\ntrack = "fast loop"\nrest = "30 s"', "is of an open track, but this is a loop"),
        ('[[phases]]\nkind = "lap"\ntrack = "fast loop"\nlaunch_speed = "4000 rpm"', "begin with a lap out"),
        ('[[phases]]\nkind = "lap"\ntrack = "hill"\nout_lap = true', "is of a loop, but this track is open"),
        ('[[phases]]\nkind = "lap"\ntrack = "hill"\nlaps = 3', 'nearest: "repeat"'),
    ],
)
def test_what_cannot_be_driven_is_refused_in_words(phase: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput) as refused:
        loaded(tmp_path, only(phase))
    assert words in str(refused.value)


@pytest.mark.parametrize(
    "phase",
    [
        PULL + 'to = "7000 rpm"\ngrade = "5 %"\nheadwind = "2 m/s"',
        PULL + 'to = "7000 rpm"\non = "dyno"\ndrum_mass = "900 kg"',
        PULL + 'duration = "20 s"',
        '[[phases]]\nkind = "lap"\ntrack = "tight loop"\nrepeat = 3',
        '[[phases]]\nkind = "cycle"\nschedule = "ftp-72"',
        '[[phases]]\nkind = "pass"\ndistance = "0.125 mi"',
        '[[phases]]\nkind = "lap"\ntrack = "fast loop"\nout_lap = false\nlaunch_speed = "4000 rpm"',
    ],
)
def test_what_can_be_driven_is_read(phase: str, tmp_path: Path) -> None:
    assert len(loaded(tmp_path, only(phase)).phases) == 1


def test_files_beside_the_session_are_found_and_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "days").mkdir()
    monkeypatch.chdir(tmp_path)
    (tmp_path / "days" / "log.csv").write_text(REPLAY)
    text = spoiled(SESSION, ('kind = "idle"\nduration = "2 min"', 'kind = "replay"\nsamples = "log.csv"'))
    (tmp_path / "days" / "day.toml").write_text(text)
    samples = load_session("days/day.toml").phases[0].samples
    assert samples is not None
    assert Path(samples).is_absolute()
    assert Path(samples).read_text() == REPLAY
    (tmp_path / "days" / "log.csv").write_text(REPLAY.replace("[rpm]", "[furlong]"))
    with pytest.raises(BadInput) as refused:
        load_session("days/day.toml")
    assert refused.value.where.startswith("days/log.csv:1")


def test_a_limit_on_coolant_names_a_loop(tmp_path: Path) -> None:
    (tmp_path / "limits.toml").write_text(LIMITS.replace('quantity = "coolant"', 'quantity = "coolant"\nloop = "oil"'))
    assert [limit.loop for limit in load_limits(tmp_path / "limits.toml")] == ["oil", None]
    (tmp_path / "limits.toml").write_text(LIMITS.replace('quantity = "spread"', 'quantity = "spread"\nloop = "oil"'))
    with pytest.raises(BadInput, match="is only of a limit on coolant"):
        load_limits(tmp_path / "limits.toml")


def test_limits_of_their_own(tmp_path: Path) -> None:
    (tmp_path / "limits.toml").write_text(LIMITS)
    own = load_limits(tmp_path / "limits.toml")
    assert own == (
        LimitSpec(quantity="coolant", at_most=pytest.approx(338.15), during="always"),
        LimitSpec(quantity="spread", at_most=pytest.approx(0.15), during="boost"),
    )
    session = loaded(tmp_path, spoiled(SESSION, ('start = "soaked"', 'start = "soaked"\nlimits_file = "limits.toml"')))
    assert session.limits[2:] == own
    (tmp_path / "limits.toml").write_text(spoiled(LIMITS, ('"65 degC"', '"65"')))
    with pytest.raises(BadInput) as refused:
        loaded(tmp_path, spoiled(SESSION, ('start = "soaked"', 'start = "soaked"\nlimits_file = "limits.toml"')))
    assert refused.value.where.endswith("limits.toml:5")
    (tmp_path / "limits.toml").write_text('schema = "coldside.limits/1"\n')
    with pytest.raises(BadInput) as refused:
        load_limits(tmp_path / "limits.toml")
    assert refused.value.message == "there is no limit; write a table [[limits]]"


def test_a_session_needs_no_limits(tmp_path: Path) -> None:
    assert loaded(tmp_path, SESSION[: SESSION.index("[[limits]]")]).limits == ()


def test_the_longest_session_counts_groups_repeats_and_replays(tmp_path: Path) -> None:
    # 6 h = 21600 s; the session below lasts 120 + (3 * 10 + 2 * 240) + n * 50 s
    most = (21600 - 120 - 510) // 50
    assert loaded(tmp_path, spoiled(SESSION, ("repeat = 2", f"repeat = {most}"))).groups == {"lap": most}
    with pytest.raises(BadInput) as refused:
        loaded(tmp_path, spoiled(SESSION, ("repeat = 2", f"repeat = {most + 1}")))
    assert refused.value.message == "phases.4: with it the session lasts over 6 h, the longest that is solved"
    (tmp_path / "log.csv").write_text("time [s],engine_speed [rpm],plenum [kPa abs]\n0,3000,100\n30000,3000,100\n")
    with pytest.raises(BadInput) as refused:
        loaded(
            tmp_path, spoiled(SESSION, ('kind = "idle"\nduration = "2 min"', 'kind = "replay"\nsamples = "log.csv"'))
        )
    assert "phases.1: with it the session lasts over 6 h" in str(refused.value)


def test_every_key_of_a_phase_belongs_to_a_kind() -> None:
    used = {name for names in PHASE_KEYS.values() for name in names}
    for name in used:
        field_of(PhaseSpec, name)
    every = set(PhaseSpec.__dataclass_fields__)
    assert every - used == {"kind", "name", "pumps", "fans", "group", "air"}


def test_other_words_lead_to_keys_that_are_there() -> None:
    for spec in (PhaseSpec, AmbientSpec, ReadingSpec, LimitSpec):
        keys = {item.key for item in fields_of(spec)}
        assert set(OTHER_WORDS[spec].values()) <= keys
        assert not set(OTHER_WORDS[spec]) & keys


def test_a_file_knows_which_tables_belong_to_the_other() -> None:
    # neither list may forget one of its own top keys, nor claim one that both files have
    assert {name for name, home in HOMES.items() if home == "a session"} == set(phases.TOP) - set(files.TOP)
    assert {name for name, home in HOMES.items() if home == "a build"} == set(files.TOP) - set(phases.TOP)


def test_a_limit_on_margin_has_a_lowest_value(tmp_path: Path) -> None:
    text = LIMITS.replace('quantity = "coolant"\nat_most = "65 degC"\nduring = "always"', MARGIN)
    (tmp_path / "limits.toml").write_text(text)
    one = load_limits(tmp_path / "limits.toml")[0]
    assert (one.quantity, one.at_most, one.at_least, one.lowest, one.bound) == ("margin", None, 8.0, True, 8.0)
    assert one.room(10.0) == 2.0
    assert one.moved(1.0).at_least == 9.0
    highest = LimitSpec(quantity="intake", at_most=330.0)
    assert highest.room(332.0) == -2.0
    assert highest.moved(1.0).at_most == 331.0


def test_a_limit_on_a_loop_that_the_build_has_not_is_refused_with_its_line(tmp_path: Path) -> None:
    text = LIMITS.replace('quantity = "coolant"', 'quantity = "coolant"\nloop = "chrage"')
    (tmp_path / "limits.toml").write_text(text)
    assert load_limits(tmp_path / "limits.toml")[0].loop == "chrage"  # without a build nobody knows
    for loops, end in ((("charge", "oil"), '; nearest: "charge"'), ((), ", which has none")):
        with pytest.raises(BadInput) as refused:
            load_limits(tmp_path / "limits.toml", loops)
        assert refused.value.where.endswith("limits.toml:5")
        assert str(refused.value).endswith(f'limits.1.loop = "chrage" is no loop of the build{end}')
    named = spoiled(SESSION, ('start = "soaked"', 'start = "soaked"\nlimits_file = "limits.toml"'))
    with pytest.raises(BadInput, match=r"limits\.toml:5"):
        loaded(tmp_path, named, ("oil",))
    assert load_limits(tmp_path / "limits.toml", ("chrage",))[0].loop == "chrage"
