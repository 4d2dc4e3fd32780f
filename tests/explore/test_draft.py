"""Starter builds: text for any brief, growth within the room, verdicts that are real, constraints, unknowns, files."""

from __future__ import annotations

import json
import math
import re
import tomllib
from functools import cache
from pathlib import Path

import pytest
from typer.testing import CliRunner

from coldside.build import sizing
from coldside.build.brief import USES, brief_text, load_brief, parse_brief
from coldside.build.files import load_build, read_build
from coldside.cli import app
from coldside.duty.phases import load_session, read_session
from coldside.explore.draft import (
    RADIATOR_NAME,
    Starter,
    difference_words,
    draft,
    radiator_words,
)
from coldside.explore.draft_answer import drafted_json, drafted_lines, sizes_of, write_starters
from coldside.explore.draft_text import AIR, HYBRID, KINDS, LEVERS, TURNED, WATER, build_text, programme, session_text
from coldside.explore.draft_unknowns import Unknowns, most_important_unknown
from coldside.judge.airways import for_long, short_for
from coldside.judge.verdict import judge
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.plant.forecast import simulate
from coldside.units.kinds import HP, INCH, PSI

BRIEFS = Path(__file__).parents[2] / "examples" / "briefs"
KNOWN = {
    "name": "Wren", "displacement": "2.4 L", "cylinders": "4", "redline": "7400 rpm", "power": "450 hp", "fuel": "E85",
    "use": "dyno", "hottest_day": "33 degC", "altitude": "240 m", "car_mass": "1250 kg", "core_length": "0.38 m",
    "core_width": "0.22 m", "core_height": "0.18 m", "nose_width": "0.60 m", "nose_height": "0.32 m",
    "nose_depth": "0.10 m", "side_pods": "0", "tank_room": "8 L", "hose_run": "2.1 m", "glycol": "allowed",
    "ice": "allowed", "spray": "allowed", "cabin": "allowed", "winter": "-15 degC", "keep": "nothing in particular",
}  # fmt: skip


def brief(**values: str):
    return parse_brief(brief_text({**KNOWN, **values}), "wren.toml")


def text_of(made, kind: str, growth=None, coolant: str = "") -> str:
    coolant = coolant or sizing.coolant_for(made.spec.winter, made.spec.glycol == "allowed")
    return build_text(made, sizing.need_of(made), kind, growth or {}, coolant)[0]


@cache
def drafted() -> tuple[Starter, ...]:
    return draft(brief())


@cache
def unknown_day() -> Unknowns:
    made = brief(hottest_day="don't know", core_length="don't know", keep="?")
    return most_important_unknown(made, drafted())


# ---------------------------------------------------------------- texts, nothing run


@pytest.mark.parametrize("use", USES)
@pytest.mark.parametrize(
    ("power", "size", "pods"), [(250, 1.4, "0"), (600, 2.6, "1"), (900, 4.0, "2"), (1200, 5.4, "2")]
)
def test_texts_load_without_a_fault_for_any_power_and_use(use, power, size, pods):
    made = brief(power=f"{power} hp", displacement=f"{size} L", use=use, side_pods=pods)
    session = read_session(session_text(made, 333.15), "session.toml")
    assert session.limits
    for kind in KINDS:
        for growth in ({}, dict.fromkeys(LEVERS[kind], 4.0) | {TURNED: 1.0}):
            build = read_build(text_of(made, kind, growth), f"{kind}.toml")
            assert {"turbo", "hot_pipe", "throttle", "plenum"} <= set(build.parts)


def test_a_rotary_and_a_brief_that_knows_nothing_load_too():
    for made in (parse_brief(brief_text({})), parse_brief(brief_text({"rotors": "2", "power": "480 hp"}))):
        for kind in KINDS:
            assert read_build(text_of(made, kind), "x.toml").engine.kind == made.spec.engine


@pytest.mark.parametrize("kind", KINDS)
def test_no_size_leaves_the_room(kind):
    made = brief(side_pods="2")
    build = read_build(text_of(made, kind, dict.fromkeys(LEVERS[kind], 50.0)), "x.toml")
    spec = made.spec
    for name, part in build.parts.items():
        if isinstance(part, WaterCoreSpec):
            assert part.charge_length < spec.core_length
            assert part.stack_height < spec.core_height
            assert part.coolant_length < spec.core_width
        elif isinstance(part, AirCoreSpec | ExchangerSpec) and part.cooling_length is not None:
            pod = name.startswith(("left", "right"))
            depth = spec.side_depth if pod else spec.nose_depth
            width, height = (spec.side_width, spec.side_height) if pod else (spec.nose_width, spec.nose_height)
            way = part.charge_length if isinstance(part, AirCoreSpec) else part.coolant_length
            assert part.cooling_length <= depth + 1e-9
            assert way < max(width, height)
            assert part.stack_height < max(width, height)
    deep = [p.cooling_length for n, p in build.parts.items() if n in ("front_core", "nose_hx") and p.cooling_length]
    assert sum(deep) <= spec.nose_depth + 1e-9  # a hybrid's two faces stand one behind the other
    tank = build.parts.get("tank")
    assert tank is None or tank.volume <= spec.tank_room + 1e-9


def test_engine_cooling_that_must_not_be_lost_keeps_faces_small():
    """At most 60 % of the radiator's 0.66 x 0.38 m (common practice, no source)."""
    for kind in (AIR, WATER):
        build = read_build(text_of(brief(keep="engine cooling"), kind, dict.fromkeys(LEVERS[kind], 9.0)), "x.toml")
        name = "core" if kind == AIR else "nose_hx"
        assert build.parts[name].covers <= 0.605


def test_bought_parts_stand_as_bought():
    made = brief(
        turbo_flow="60 lb/min", pump_flow="30 L/min", injectors="8", injector_capacity="7 g/s", pipe_bore="70 mm",
        line_bore="22 mm", fan_flow="0.9 m3/s",
    )  # fmt: skip
    build = read_build(text_of(made, WATER), "x.toml")
    assert build.parts["turbo"].design_flow == pytest.approx(0.75 * 60 * 0.45359237 / 60, rel=2e-3)
    assert build.parts["pump"].curve[-1][0] == pytest.approx(30 / 6e4)
    assert (build.engine.injectors, build.engine.injector_capacity) == (8, pytest.approx(7e-3))
    assert build.parts["hot_pipe"].bore == pytest.approx(0.070)
    assert build.parts["feed_hose"].bore == pytest.approx(0.022)
    assert build.parts["nose_fan"].curve[-1][0] == pytest.approx(0.9)


def test_a_core_as_it_is_is_not_made_smaller():
    """13 x 8 x 6 in bought: 13 x 8 x 6 in in the build, whatever may grow."""
    made = brief(core="a core as it is", core_length="13 in", core_width="8 in", core_height="6 in")
    for kind in (WATER, HYBRID):
        for growth in ({}, dict.fromkeys(LEVERS[kind], 4.0)):
            core = read_build(text_of(made, kind, growth), "x.toml").parts["core"]
            found = (core.charge_length, core.coolant_length, core.stack_height)
            assert found == pytest.approx((13 * INCH, 8 * INCH, 6 * INCH), rel=1e-6)


def test_hoses_run_there_and_back():
    parts = read_build(text_of(brief(hose_run="4 m"), WATER), "x.toml").parts
    assert parts["feed_hose"].length + parts["return_hose"].length == pytest.approx(8.0, rel=5e-3)


def test_glycol_stands_as_given():
    made = brief(glycol_share="50 %")
    build = read_build(text_of(made, WATER, coolant=sizing.coolant_of(made)), "x.toml")
    assert build.loops["charge"].coolant == "ethylene glycol 50 % by volume"
    assert sizing.coolant_of(brief(glycol_share="0 %")) == "water"


@pytest.mark.parametrize("use", USES)
def test_a_session_is_as_long_as_the_brief_says(use):
    """Within half of one lap, round, pull or run; a street session exactly; what precedes the laps is not counted."""
    made = brief(use=use, session_length="50 min")
    session = read_session(session_text(made, 333.15), "session.toml")
    seconds = unroll_seconds(session)
    before = 0.0 if use != "street and track" else 720 + 180 + 2 * 69
    assert seconds - before == pytest.approx(3000.0, abs=620.0 if use in ("drag", "hill climb") else 130.0)
    assert programme(made).words in session_text(made, 333.15)


def unroll_seconds(session) -> float:
    """Seconds of all phases with their repeats, a pass counted as 20 s: by hand, from what was read."""
    total = 0.0
    for phase in session.phases:
        times = session.groups[phase.group] if phase.group else 1
        each = phase.duration if phase.kind != "pass" else 20.0
        total += times * (phase.repeat or 1) * (each + (phase.rest or 0.0))
    return total


def test_the_track_session_says_how_long_it_is_at_full_throttle():
    made = brief(use="track")
    assert programme(made).words == "Twelve laps of 100 s, full throttle 21 s in 100"
    session = read_session(session_text(made, 333.15), "session.toml")
    lap = [(phase.kind, phase.duration) for phase in session.phases]
    assert sum(seconds for kind, seconds in lap if kind == "pull") == pytest.approx(21.0)
    assert sum(seconds for _, seconds in lap) == pytest.approx(100.0)


def test_nothing_in_the_cabin_puts_the_tank_into_the_bay():
    where = {
        answer: read_build(text_of(brief(cabin=answer), WATER), "x.toml").parts["tank"].surroundings
        for answer in ("allowed", "forbidden")
    }
    assert where == {"allowed": "ambient", "forbidden": "bay"}


def test_every_size_carries_its_rule_in_the_file():
    made = brief()
    text, rules = build_text(made, sizing.need_of(made), WATER, {}, "water")
    data = tomllib.loads(text)
    for rule in rules:
        table: object = data
        for key in rule.key.split("."):
            table = table[key]
        assert rule.sentence in text
        assert rule.source_words in text
        assert table == rule.value or str(table) == rule.value, rule.key


# ---------------------------------------------------------------- one draft, really run


def test_air_and_water_are_drafted_and_judged():
    kinds = [one.kind for one in drafted()]
    assert kinds[:2] == [AIR, WATER]
    for one in drafted():
        assert one.holds == one.verdict.holds == (one.margin >= 0.0)
        assert one.headline == one.verdict.words().headline
        assert one.sized
        for said in one.said.values():
            assert (said.why_not == "") == one.holds
            assert said.notes
            assert said.session == "Run through: five dyno pulls of 11 s at full throttle, 4 min of rest after each."


def test_the_verdict_is_that_of_a_forecast_of_the_text():
    """The file read and forecast afresh says what the draft said: nothing is judged but what is handed over."""
    one = drafted()[0]
    forecast = simulate(read_build(one.text, "a.toml"), read_session(one.session_text, "s.toml"))
    assert float(forecast.intake[forecast.peak]) == pytest.approx(one.peak, abs=1e-9)
    assert judge(forecast).words().headline == one.headline


def test_the_charge_comes_out_at_the_power_that_was_asked():
    """Full load near the power's place: within 6 % of 450 hp, heat and losses being what they are."""
    one = drafted()[0]
    power = float(simulate(one.build, one.session).power.max())
    assert power == pytest.approx(450 * 745.7, rel=0.06)


def test_boost_given_is_the_boost_run_and_its_power_is_told():
    """24 psi of 2.4 L: the forecast's own power is told, with the boost that 620 hp would take by absolute pressure."""
    made = brief(boost="24 psi", power="620 hp")
    need = sizing.need_of(made)
    build = read_build(text_of(made, AIR), "x.toml")
    assert max(level.value for _, level in build.engine.boost) == pytest.approx(24 * PSI, rel=1e-3)
    forecast = simulate(build, read_session(session_text(made, 333.15), "s.toml"))
    power = float(forecast.power.max())
    assert power == pytest.approx(need.power, rel=0.06)
    words = sizing.boost_words(need, "us", power)
    takes = (need.plenum * 620 * HP / power - need.pressure) / PSI
    told = f"At 24 psi of boost it makes {power / HP:.0f} hp, not the 620 hp asked; 620 hp takes about {takes:.1f} psi."
    assert words == told


def test_the_boost_taken_is_told_on_every_starter():
    """Once: where the power is missed by more than a fiftieth, by the headline, which then tells the boost it takes."""
    for one in drafted():
        missed = "asked for: that takes a boost of" in one.headline
        for system, word in (("si", "kW asked"), ("us", "450 hp asked")):
            told = one.said[system].boost
            assert bool(told) != missed
            assert missed or ("of boost is taken for the" in told and word in told)


def test_sizes_are_told_without_raw_lists():
    for one in drafted():
        for system in ("si", "us"):
            told = sizes_of(one, system)
            assert not [size for size in told if "[" in size.value or "_" in size.part + size.size]
            boost = next(size for size in told if size.size == "boost")
            assert re.fullmatch(r"[0-9.]+ (bar|psi) from [0-9]+ rpm to [0-9]+ rpm", boost.value)


def test_room_that_is_not_used_is_told_with_its_reason():
    """Two kinds really run: whatever side is left open has a sentence with a reason; here the limits hold."""
    water = drafted()[1]
    tank = water.build.parts["tank"].volume
    notes = " ".join(water.said["si"].notes)
    assert ("The tank holds" in notes) == (tank < 0.97 * 8e-3)
    assert "Of the room for the charge core, 380 mm x 220 mm x 180 mm, it takes" in notes


def test_glycol_says_what_it_costs():
    notes = " ".join(drafted()[1].said["si"].notes)
    assert "Winter storage down to -15 degC decides the coolant: ethylene glycol 35 % by volume." in notes
    assert "Plain water would be" in notes


def test_a_hybrid_is_proposed_or_its_absence_explained():
    words = " ".join(drafted()[-1].said["si"].notes)
    assert ("No hybrid is proposed" in words) == (drafted()[-1].kind != HYBRID)


def test_the_unknown_that_matters_is_found_by_running():
    found = unknown_day()
    assert found.ranked[0].key == "hottest_day"
    colder, hotter = found.ranked[0].margins
    assert colder > hotter
    # a day 8 K hotter costs the intake about 8 K, and the compressor's own rise a little more (trend)
    assert 5.0 < found.ranked[0].change < 14.0
    of_one = found.of[found.ranked[0].starter]
    assert of_one[0] == found.ranked[0]
    (words,) = found.words("us", [found.ranked[0].starter])
    assert f"Of the {found.ranked[0].starter} starter find out first: air in the shade on the hottest day" in words
    assert difference_words(found.ranked[0].change, "us") in words
    assert len(found.words()) == len(drafted())
    assert {one.key for one in found.ranked} == {"hottest_day", "core_length"}  # `keep` has no spread


def test_with_nothing_unknown_it_says_so():
    made = brief()
    answered = most_important_unknown(made.having(**{key: getattr(made.spec, key) for key in made.unknown}), drafted())
    assert answered.ranked == ()
    assert answered.words("us") == ("Every key that matters was answered.",)


@pytest.mark.parametrize("system", ["si", "us"])
def test_words_and_json_follow_the_units(system):
    made = brief(hottest_day="?")
    lines = "\n".join(drafted_lines(made, drafted(), unknown_day(), system, 100))
    foreign = {"si": ("degF", "psi"), "us": ("degC", "kPa", " mm")}[system]
    assert not [word for word in foreign if word in lines]
    assert max(len(line) for line in lines.splitlines()) <= 150
    said = json.loads(json.dumps(drafted_json(made, drafted(), unknown_day(), system), allow_nan=False))
    assert [one["kind"] for one in said["starters"]] == [one.kind for one in drafted()]
    assert said["unknowns"]["ranked"][0]["key"] == "hottest_day"


def test_files_are_written_whole_and_never_over_others(tmp_path):
    folder = tmp_path / "wren"
    files = write_starters(folder, drafted())
    assert load_build(folder / "air-to-air.toml").name == drafted()[0].name
    assert load_session(folder / "session.toml").limits == drafted()[0].session.limits
    before = {path: path.read_bytes() for path in folder.iterdir()}
    with pytest.raises(Exception, match="overwrites nothing"):
        write_starters(folder, drafted())
    assert {path: path.read_bytes() for path in folder.iterdir()} == before
    (folder / "air-to-air.toml").unlink()
    with pytest.raises(Exception, match="is there already"):  # the session still is: nothing of the rest is written
        write_starters(folder, drafted())
    assert not (folder / "air-to-air.toml").exists()
    assert len(files) == len(drafted()) + 1


def test_progress_runs_from_0_to_1():
    told: list[float] = []
    most_important_unknown(brief(), drafted(), progress=lambda share, _words: told.append(share))
    assert told == sorted(told)
    assert 0.0 <= told[0] <= told[-1] == 1.0


# ---------------------------------------------------------------- the command


def test_a_spoiled_brief_is_exit_2_with_one_message(tmp_path):
    path = tmp_path / "b.toml"
    path.write_text('schema = "coldside.brief/1"\nname = "x"\npower = "30"\n', encoding="utf-8")
    result = CliRunner().invoke(app, ["draft", str(path)])
    assert result.exit_code == 2
    assert "b.toml:3: power" in result.output
    assert "Traceback" not in result.output


def test_a_taken_folder_is_refused_before_anything_is_run(tmp_path):
    (tmp_path / "session.toml").write_text("x", encoding="utf-8")
    result = CliRunner().invoke(app, ["draft", str(BRIEFS / "redstart.toml"), "--out", str(tmp_path)])
    assert result.exit_code == 2
    assert "overwrites nothing" in result.output
    assert [path.name for path in tmp_path.iterdir()] == ["session.toml"]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["redstart", "linnet", "crossbill"])
def test_bundled_briefs_give_builds_that_check_and_forecast(name, tmp_path):
    out = tmp_path / name
    result = CliRunner().invoke(app, ["draft", str(BRIEFS / f"{name}.toml"), "--out", str(out), "--json"])
    assert result.exit_code == 0, result.output
    said = json.loads(result.stdout)
    assert len(said["files"]) == len(said["starters"]) + 1
    for one in said["starters"]:
        file = str(out / f"{one['kind']}.toml")
        assert CliRunner().invoke(app, ["check", file]).exit_code == 0
        code = CliRunner().invoke(app, ["forecast", file, str(out / "session.toml"), "--json"]).exit_code
        assert code == (0 if one["holds"] else 1)
        assert math.isfinite(one["margin_K"])


@pytest.mark.slow
@pytest.mark.parametrize("use", USES)
@pytest.mark.parametrize(("power", "size"), [(250, 1.4), (700, 2.9), (1200, 5.4)])
def test_a_grid_of_briefs_has_verdicts(use, power, size):
    for one in draft(brief(power=f"{power} hp", displacement=f"{size} L", use=use)):
        assert one.verdict.limits
        assert one.headline
        assert one.holds or one.said["us"].why_not


@pytest.mark.slow
def test_no_glycol_and_frost_is_told_as_a_conflict():
    made = load_brief(BRIEFS / "linnet.toml")
    water = draft(made)[1]
    assert water.coolant == "water"
    assert "The rule book bars glycol" in " ".join(water.said["si"].notes)
    assert "drain" in water.text.casefold()


@pytest.mark.slow
def test_too_little_room_says_what_would_do():
    made = brief(nose_width="0.30 m", nose_height="0.15 m", core_length="0.2 m", core_height="0.1 m", use="track")
    for one in draft(made):
        assert not one.holds
        for system, said in one.said.items():
            by = difference_words(one.margin, system)
            assert said.why_not.startswith(f"It misses by {by} with the room used as far as that helps, without spray.")
            assert by in one.verdict.words(system).headline  # one number, one rounding


# ---------------------------------------------------------------- the engine's own radiator


@pytest.mark.slow
def test_the_radiator_behind_a_face_is_fed_or_its_lack_is_told():
    made = brief(use="track", session_length="5 min", power="500 hp", fuel="gasoline 98")
    stronger = 0
    for one in draft(made):
        assert one.kind != WATER or not one.said["si"].radiator
        found = short_for(simulate(one.build, one.session), RADIATOR_NAME)
        assert bool(one.said["si"].radiator) == for_long(*found)
        stronger += one.build.parts["nose_fan"].curve[-1][0] > 1.01 * 4.0 * 0.66 * 0.38
        inlet = one.build.ducts["nose"].spec.inlet_area
        assert inlet <= 0.8 * 0.66 * 0.38 + 1e-3  # the opening leaves a fifth of the face for its frame
    assert stronger  # a face stands before the radiator in each: the usual fan does not do


def test_a_bought_fan_is_not_made_stronger():
    parts = read_build(text_of(brief(fan_flow="0.9 m3/s"), WATER, {"fan": 1.7}), "x.toml").parts
    assert parts["nose_fan"].curve[-1][0] == pytest.approx(0.9)
    parts = read_build(text_of(brief(), WATER, {"fan": 1.5}), "x.toml").parts
    assert parts["nose_fan"].curve[-1][0] == pytest.approx(1.5 * 4.0 * 0.66 * 0.38, rel=0.01)
    assert parts["nose_fan"].curve[0][1] == pytest.approx(300.0)


def test_an_exchanger_leaves_the_nose_for_the_pods_as_a_whole():
    made = brief(side_pods="2")
    build = read_build(text_of(made, WATER, {"aside": 1.0}), "x.toml")
    assert "nose_hx" not in build.parts
    assert {"left_hx", "right_hx"} <= set(build.parts)
    assert list(build.ducts["nose"].path) == ["engine_radiator", "nose_fan"]


def test_a_radiator_that_nothing_feeds_is_told_with_what_would():
    assert radiator_words(brief(), (30.0, 600.0), "si") == ""
    words = radiator_words(brief(), (300.0, 600.0), "us")
    assert "26 in x 15 in" in words
    assert "5 min of the 10 min" in words
    assert "side pods" in words
    assert "side pods" not in radiator_words(brief(side_pods="2"), (300.0, 600.0), "us")
    assert "openings and fan" not in radiator_words(brief(fan_flow="0.9 m3/s"), (300.0, 600.0), "us")


# ---------------------------------------------------------------- what is there already


def test_an_exchanger_and_a_tank_as_they_are_stand_whatever_may_grow():
    """22 x 10 x 1.5 in of tubes and 2.5 US gal bought: so they stand in the build."""
    made = brief(
        exchanger="an exchanger as it is", nose_width="22 in", nose_height="10 in", nose_depth="1.5 in",
        tank="a tank as it is", tank_room="2.5 US gal", side_pods="2",
    )  # fmt: skip
    for growth in ({}, dict.fromkeys(LEVERS[WATER], 4.0), {"aside": 1.0}):
        parts = read_build(text_of(made, WATER, growth), "x.toml").parts
        found = (parts["nose_hx"].coolant_length, parts["nose_hx"].stack_height, parts["nose_hx"].cooling_length)
        assert found == pytest.approx((22 * INCH, 10 * INCH, 1.5 * INCH), rel=1e-4)
        assert parts["tank"].volume == pytest.approx(2.5 * 231 * INCH**3, rel=1e-3)
        assert "left_hx" not in parts
    core = read_build(text_of(made, AIR), "x.toml").parts["core"]  # in its place, as deep as air cores usually are
    assert core.cooling_length == pytest.approx(0.065)
    assert core.charge_length < 22 * INCH


@pytest.mark.slow
def test_a_thin_exchanger_as_it_is_is_drafted_and_told():
    made = brief(
        use="street", session_length="10 min", exchanger="an exchanger as it is", nose_width="24 in",
        nose_height="11 in", nose_depth="0.9 in", tank="a tank as it is",
    )  # fmt: skip
    starters = {one.kind: one for one in draft(made)}
    assert set(starters) == {AIR, WATER}
    notes = " ".join(starters[WATER].said["us"].notes)
    assert "The exchanger at the nose stands as given: 24 in x 11 in x 0.9 in" in notes
    assert "The tank stands as given" in notes
    assert "No hybrid is proposed: the exchanger as it is takes the nose." in notes
    assert "in the place of the exchanger" in " ".join(starters[AIR].said["us"].notes)
