"""Every figure that is shown opens to how it came about: equation, sources, inputs, in the reader's units.

The figures are those of previews, whose rows are the forecast's.  Equations are held against the code's own numbers
where a step shows them (closed forms, named beside each check); their sources against `sources.py`.
"""

from __future__ import annotations

import functools
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from coldside import judge, load_build, load_session, sources
from coldside.build.model import Given
from coldside.duty.model import LimitSpec
from coldside.errors import BadInput
from coldside.explore.bands import Bands
from coldside.explore.changes import Changes
from coldside.explore.draws import scores, uncertain_inputs
from coldside.explore.failures import failures
from coldside.explore.outcome import figures as headline_figures
from coldside.explore.outcome import preview
from coldside.judge.consistency_words import Consistency
from coldside.sheet import sections, tables
from coldside.sheet.asked import FIGURES, Asked
from coldside.sheet.equation import equation_html, letter_html
from coldside.sheet.origin_book import RECIPES, recipe_of
from coldside.sheet.origin_inputs import MOST, givens_of, inputs_of, on_loop
from coldside.sheet.origin_steps import STEPS
from coldside.sheet.origin_terms import FUNCTIONS, LETTER, symbols_of
from coldside.sheet.origins import SIZED_SOURCES, origin_of
from coldside.sheet.parts_list import given_words
from coldside.units import retold
from sheet.synthetic import CASES, EXAMPLES, forecast_of

BUILDS = sorted(
    str(path.relative_to(EXAMPLES))
    for path in EXAMPLES.glob("*/*.toml")
    if path.parent.name not in ("sessions", "briefs")
)
SESSIONS = ("dyno-pulls", "traffic-then-pull")


@functools.cache
def seen(build: str, session: str):
    """A preview of a bundled build over a bundled session, its verdict, and what draws and tries would add."""
    forecast = preview(load_build(str(EXAMPLES / build)), load_session(str(EXAMPLES / f"sessions/{session}.toml")))
    asked = Asked(_bands(forecast), _alike(), _changes(), failures(forecast))
    return forecast, judge(forecast), asked


def _bands(forecast) -> Bands:
    """Draws that were not run: every figure of a forecast, moved by the first uncertain input alone."""
    inputs = uncertain_inputs(forecast.build, forecast.session)
    drawn = scores(len(inputs), 16)
    nominal = headline_figures(forecast)
    outcomes = {name: value + 0.01 * abs(value) * drawn[:, 0] for name, value in nominal.items()}
    bands = {name: tuple(np.percentile(values, (10, 50, 90)).tolist()) for name, values in outcomes.items()}
    return Bands(inputs, drawn, outcomes, nominal, bands, {"all": 0.7}, (), {}, 0)


def _alike() -> Consistency:
    return Consistency("pull", "pull", "idling", "ambient", (320.0, 322.0), 0.1, 0.05, None, (), None, None, (), 9)


def _changes() -> Changes:
    return Changes("intake_max", "peak of the intake", "temperature", 330.0, None, "holds", (), (), 14)


def shown(forecast, verdict, asked, system: str = "si") -> list[str]:
    """The address of every figure that the sections of sheet and page offer to open."""
    found: list[str] = []

    def opens(address: str, name: str) -> str:
        found.append(address)
        return name

    notes = tables.all_words(verdict, system)[2]
    sections.limit_table(verdict, system, opens)
    sections.run_table(forecast, system, opens=opens)
    sections.reasons(verdict, system, opens)
    sections.knock(verdict, system, opens)
    sections.before_full_load(forecast, notes, system, opens)
    sections.figures(forecast, system, opens)
    sections.heat_balance(forecast, system, opens)
    sections.health(forecast, system, opens)
    sections.workshop_notes(forecast, system, opens)
    for one in asked.sections(verdict.limits, system):
        sections.answer(one, opens)
    return list(dict.fromkeys(found))


def solved_rows(forecast, verdict) -> list[str]:
    """Figures of an invented forecast, but for the rung that it invents too."""
    return [address for address in shown(forecast, verdict, Asked()) if address != "ladder/preheat"]


@pytest.mark.parametrize("session", SESSIONS)
@pytest.mark.parametrize("build", BUILDS)
def test_every_figure_shown_opens(build, session):
    """A row that is new, and whose recipe nobody wrote, fails here."""
    forecast, verdict, asked = seen(build, session)
    addresses = shown(forecast, verdict, asked)
    assert len(addresses) > 40
    for address in addresses:
        origin = origin_of(address, forecast, verdict, asked, "si")
        assert origin.title
        assert origin.words.endswith(".")
        assert origin.sources
        assert all(key in sources.SOURCES for key in origin.sources), address
        assert len(origin.inputs) <= MOST


@pytest.mark.parametrize("name", CASES)
def test_every_figure_of_any_layout_opens(invented, name):
    forecast = invented[name]
    verdict = judge(forecast)
    for address in solved_rows(forecast, verdict):
        ET.fromstring(f"<div>{sections.origin(origin_of(address, forecast, verdict, Asked(), 'us'))}</div>")


def test_every_row_of_other_sessions_and_builds_has_a_recipe():
    """Rows that the sessions above do not bring up: ice, suction head, a leak, trims, passes, a limit on a margin."""
    for address in (
        "limits/margin",
        "limits/coolant of loop oil",
        "figures/ice in tank",
        "figures/water condensing in the cores",
        "before/suction head of pump, least",
        "before/leak of the charge tract, highest",
        "before/from each of 1 injectors",
        "health/driving and heat",
        "health/trims of boost and heat",
        "answers/power corrections against the session run again",
        "runs/pass 2",
        "runs/round 3 pass",
        "sure/time over the limit on the intake in boost",
        "ladder/air cores: preheat of cooling air",
        *(f"sure/{words.replace('*', 'charge')}" for words, _ in FIGURES.values()),
    ):
        assert recipe_of(address) is not None, address


def test_one_recipe_a_figure():
    """No two recipes claim the same address, so the order of the book decides nothing."""
    addresses = {address for build in BUILDS for session in SESSIONS for address in shown(*seen(build, session))} | {
        f"limits/{quantity}" for quantity in ("intake", "sensor", "over_ambient", "coolant", "spread", "margin")
    }
    for address in addresses:
        if address.startswith("limits/") and address[7:].isdigit():
            continue
        claimed = [one.pattern for one in RECIPES if re.fullmatch(one.pattern, address, re.DOTALL)]
        assert len(claimed) == 1, (address, claimed)


# ---------------------------------------------------------------- the recipes


def test_recipes_are_whole():
    used = set()
    for recipe in RECIPES:
        assert recipe.words.endswith("."), recipe.pattern
        assert all(key in sources.SOURCES for key in recipe.sources), recipe.pattern
        assert not recipe.steps or recipe.steps in STEPS, recipe.pattern
        letters = {letter for letter, _ in symbols_of(recipe)}  # KeyError: a letter that nobody explains
        assert set(recipe.letters) <= letters, (recipe.pattern, "explained, in no equation")
        for equation, of in recipe.equations:
            assert of
            assert equation.count("(") == equation.count(")"), equation
        used.add(recipe.steps)
    assert used - {""} == set(STEPS)
    assert all(key in sources.SOURCES for key in SIZED_SOURCES)


def test_letters_are_letters():
    found = LETTER.findall("p_3 = p_4 * (1 - P_c / (m * c_p))^(-k / (k - 1)) * d(T_wall)/d(t)")
    assert found == ["p_3", "p_4", "P_c", "m", "c_p", "k", "k", "d", "T_wall", "d", "t"]
    assert {"exp", "sum", "d"} <= FUNCTIONS


def test_equations_are_printed():
    assert letter_html("T_core") == "<var>T</var><sub>core</sub>"
    assert letter_html("eps") == "<var>ε</var>"
    assert letter_html("exp") == "exp"
    assert equation_html("a * b^2 - 1") == "<var>a</var> · <var>b</var><sup>2</sup> − 1"
    assert equation_html("d(T_w)/d(t)") == "d<var>T</var><sub>w</sub>/d<var>t</var>"
    assert equation_html("p^(-k / (k - 1)) + c") == (
        "<var>p</var><sup>−<var>k</var> / (<var>k</var> − 1)</sup> + <var>c</var>"
    )
    assert equation_html("T < T_<b>") == "<var>T</var> &lt; <var>T</var>_&lt;<var>b</var>&gt;"
    for recipe in RECIPES:
        for equation, _ in recipe.equations:
            ET.fromstring(f"<p>{equation_html(equation)}</p>")


# ---------------------------------------------------------------- inputs


@pytest.mark.parametrize("system", ["si", "us"])
def test_inputs_agree_with_the_givens(system):
    for build in ("heron/two_stage.toml", "plover/stacked.toml", "siskin/blown.toml", "tern/water.toml"):
        forecast, verdict, asked = seen(build, "dyno-pulls")
        givens = givens_of(forecast)
        for address in shown(forecast, verdict, asked):
            for one in origin_of(address, forecast, verdict, asked, system).inputs:
                given = givens[one.key]
                assert one.origin == given.origin
                assert one.value == given_words(forecast, one.key, given, system)
                assert one.help == retold(given.help, system)
                assert one.alike == len(one.owners)
                assert one.of_session == (one.key in forecast.session.givens)


def test_the_most_influential_input_comes_first():
    forecast, verdict, asked = seen("tern/water.toml", "dyno-pulls")
    first = asked.bands.inputs[0]
    origin = origin_of("figures/intake gas", forecast, verdict, asked, "si")
    assert origin.inputs[0].key == first.name
    assert origin.inputs[0].share == pytest.approx(1.0, abs=0.05)  # of figures moved by it alone
    assert any(words.startswith("Likely ") for words in origin.trust)
    without = origin_of("figures/intake gas", forecast, verdict, Asked(), "si")
    assert without.inputs[0].key == "ambient.temperature"
    assert all(one.share is None for one in without.inputs)


def test_what_a_figure_rests_on_is_its_own():
    """The flow of one loop rests on no part of another; a margin of one compressor on none of the other."""
    forecast, verdict, asked = seen("plover/stacked.toml", "dyno-pulls")
    loop = next(iter(forecast.coolant_flow))
    kept = on_loop(forecast.build, loop)
    inputs = inputs_of(forecast, ("pump:*", "hose:*", "core:*", "exchanger:*", "loop:*"), "si", owners=kept)
    assert inputs
    for one in inputs:
        assert all(owner.removeprefix("loop ") in kept for owner in one.owners)
    forecast, verdict, asked = seen("heron/two_stage.toml", "dyno-pulls")
    origin = origin_of("compressor/low_turbo to surge", forecast, verdict, asked, "si")
    assert not any("high_turbo" in one.owners for one in origin.inputs)
    assert any("low_turbo" in one.owners for one in origin.inputs)


def test_where_a_value_came_from_is_said():
    forecast, verdict, _ = seen("tern/water.toml", "dyno-pulls")
    build = forecast.build
    tried = {**build.givens, "parts.tank.volume": Given(0.0095, "9.5 L", None, "set", "coolant that it holds")}
    changed = replace(forecast, build=replace(build, givens=tried))
    origin = origin_of("heat/stored in coolant and metal at the end", changed, verdict, Asked(), "si")
    html = sections.origin(origin)
    assert "(set for this run)" in html
    assert "(given)" in html
    assert "(assumed" in sections.origin(origin_of("figures/intake sensor", forecast, verdict, Asked(), "si"))


def test_alike_parts_are_told_once():
    forecast, verdict, _ = seen("tern/water.toml", "dyno-pulls")
    origin = origin_of("figures/intake gas", forecast, verdict, Asked(), "si")
    (bench,) = [one for one in origin.inputs if one.name == "bench effectiveness"]
    assert bench.owners == ("left_core", "right_core")
    assert bench.value == "82 % +- 3 %"


# ---------------------------------------------------------------- values on the way


def test_the_steps_are_the_equations():
    """Air by p VE V n/(R T), an ideal gas; a limit's margin is what is allowed less what came out."""
    forecast, verdict, asked = seen("tern/water.toml", "dyno-pulls")
    steps = dict(origin_of("figures/air flow", forecast, verdict, asked, "si").steps)
    p, T = float(steps["plenum"].split()[0]) * 1e5, float(steps["intake gas"].split()[0]) + 273.15
    n, filling = float(steps["engine speed"].split()[0]) / 60.0, float(steps["volumetric efficiency"].split()[0]) / 100
    flow = p * filling * forecast.build.engine.displacement / 2.0 * n / (288.5 * T)
    assert float(steps["air flow"].split()[0]) == pytest.approx(flow, rel=0.01)
    told = origin_of("limits/0", forecast, verdict, asked, "si")
    limit = verdict.limits[0]
    assert dict(told.steps)["margin"].startswith(f"{abs(limit.bound - limit.value):.0f}")
    assert f"{limit.value - 273.15:.0f}" in dict(told.steps)["came out"]


def test_rung_times_heat_is_its_drop():
    forecast, verdict, asked = seen("tern/air.toml", "dyno-pulls")
    for rung in forecast.ladder:
        if abs(rung.drop) < 0.5:
            continue
        steps = dict(origin_of(f"ladder/{rung.name}", forecast, verdict, asked, "si").steps)
        heat = float(steps["heat of the cores"].split()[0]) * 1e3
        assert rung.resistance * heat == pytest.approx(rung.drop, rel=0.01)


@pytest.mark.parametrize("address", ["limits/0", "figures/power", "before/charge loss, compressor to plenum", "runs/x"])
def test_units(address):
    forecast, verdict, asked = seen("tern/water.toml", "dyno-pulls")
    if address.startswith("runs"):
        forecast = replace(forecast, runs=(_pass(),))
    texts = {system: sections.origin(origin_of(address, forecast, verdict, asked, system)) for system in ("si", "us")}
    cited = "|".join(re.escape(sources.cite(key)) for key in sources.SOURCES)
    for system, other in (("si", r"°F|\bhp\b|\bpsi\b|\bmph\b|US gal|lb/min"), ("us", r"°C|\bkW\b|\bkPa\b|km/h|L/min")):
        bare = re.sub(r"<[^>]+>", " ", texts[system]).replace("\u00a0", " ")
        bare = re.sub(cited, "", bare)
        for given in forecast.session.givens.values():  # what a user typed as words stays
            bare = bare.replace(given.text, "") if len(given.text) > 6 else bare
        assert not re.search(other, bare), re.findall(f".{{30}}(?:{other}).{{10}}", bare)


def _pass():
    run = SimpleNamespace(label="x", time=11.2, length=402.336)
    return SimpleNamespace(run=run, cold_time=11.0, cost=0.2)


# ---------------------------------------------------------------- HTML


def test_names_of_users_are_escaped():
    bad = '<img src=x onerror="alert(1)">&'
    forecast = forecast_of(CASES["single"], name=bad)
    spans = tuple(replace(span, label=bad) for span in forecast.demand.spans)
    givens = {key: replace(one, text=bad, help=bad) for key, one in forecast.build.givens.items()}
    forecast = replace(
        forecast,
        demand=replace(forecast.demand, spans=spans),
        build=replace(forecast.build, givens=givens or {"engine.fuel": Given(bad, bad, None, "given", bad)}),
        health=replace(forecast.health, extrapolated=(bad,)),
    )
    verdict = judge(forecast)
    for address in solved_rows(forecast, verdict):
        html = sections.origin(origin_of(address, forecast, verdict, Asked(), "si"), lambda one: '/x?a="<&')
        assert "<img" not in html
        ET.fromstring(f"<div>{html}</div>")


def test_sections_without_a_way_to_open_are_as_they_were():
    forecast, verdict, asked = seen("siskin/blown.toml", "dyno-pulls")
    for html in (
        sections.figures(forecast, "si"),
        sections.limit_table(verdict, "si"),
        sections.health(forecast, "si"),
    ):
        assert "<button" not in html
        assert "How these figures came about" not in html
    assert "How these figures came about" not in sections.workshop_notes(forecast, "si")


@pytest.mark.parametrize(
    "address", ["", "limits/9", "limits/x", "figures/", "figures/made up", "<b>/x", "sure", "x" * 999]
)
def test_an_unknown_figure_is_refused(address):
    forecast, verdict, asked = seen("tern/water.toml", "dyno-pulls")
    with pytest.raises(BadInput) as caught:
        origin_of(address, forecast, verdict, asked, "si")
    assert len(str(caught.value)) < 200


def test_a_limit_on_a_named_loop_and_one_not_judged_open():
    forecast, _, _ = seen("plover/stacked.toml", "dyno-pulls")
    loop = next(iter(forecast.coolant_flow))
    limits = (
        LimitSpec(quantity="coolant", at_most=370.0, loop=loop, during="always"),
        LimitSpec(quantity="margin", at_least=10.0),
        LimitSpec(quantity="spread", at_most=0.2),
    )
    verdict = judge(forecast, limits)
    for k in range(len(limits)):
        assert origin_of(f"limits/{k}", forecast, verdict, Asked(), "us").steps
