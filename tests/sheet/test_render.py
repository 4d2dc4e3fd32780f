"""The sheet and the terminal's pages: whole, escaped, self-contained, right in both unit systems."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from coldside import judge
from coldside.build.model import names_on
from coldside.errors import BadInput
from coldside.sheet import parts_list, tables
from coldside.sheet.render import sheet_html, write_sheet
from coldside.sheet.scale import pretty
from coldside.sheet.terminal import forecast_text, point_text
from sheet.synthetic import CASES, EXAMPLES, forecast_of


def parsed(html):
    assert html.startswith("<!DOCTYPE html>")
    return ET.fromstring(html.removeprefix("<!DOCTYPE html>"))


def words_of(html):
    """What a reader sees: no style, no markup."""
    root = parsed(html)
    for style in list(root.iter()):
        if style.tag.endswith("style"):
            style.text = ""
    return " ".join(root.itertext())


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("system", ["si", "us"])
def test_sheet_of_any_layout(invented, name, system):
    forecast = invented[name]
    html = sheet_html(forecast, judge(forecast), system)
    words = words_of(html)
    for part in forecast.build.parts:
        assert part in words
    for heading in (
        "Limits",
        "The build at work",
        "The session",
        "Before full load",
        "Cautions",
        "What was assumed",
        "Sources",
    ):
        assert heading in words
    assert html.count("<h1>") == 1
    assert 'lang="en"' in html


@pytest.mark.parametrize("system", ["si", "us"])
def test_bundled_sheets_stand_alone_in_one_unit_system(solved, system):
    other = (
        r"°F|\bhp\b|\blb/min|\bpsi\b|\bmph\b|US gal|\bBTU"
        if system == "si"
        else r"°C|\bkW\b|\bkg/s|\bkPa\b|km/h|L/min|\bMJ\b"
    )
    for name, forecast in solved.items():
        html = sheet_html(forecast, judge(forecast), system)
        bare = html.replace('xmlns="http://www.w3.org/2000/svg"', "")
        assert not re.search(r"https?:|src=|<link|<script|@import|javascript", bare), name
        assert all(part.startswith("#") for part in re.split(r"url\(", bare)[1:])
        shown = words_of(html).replace("\u00a0", " ").replace("±", "+-")
        # what a user typed, the words of defaults without a number of their own, and references keep their units
        told = [v.text for v in forecast.build.givens.values()]
        told += [*forecast.health.warnings, *tables.used_sources(forecast)]
        for text in sorted(told, key=len, reverse=True):
            if len(text) > 6:  # a bare number or word would eat into other text
                shown = shown.replace(pretty(text), "")
        assert not re.search(other, shown), (name, re.findall(f".{{30}}(?:{other}).{{10}}", shown))


def test_every_figure_changes_with_the_units(solved):
    forecast = solved["tern/water dyno-pulls"]
    peak = float(forecast.intake[forecast.peak])
    si, us = (words_of(sheet_html(forecast, judge(forecast), s)) for s in ("si", "us"))
    assert f"{peak - 273.15:.0f}\u00a0°C" in si
    assert f"{peak * 1.8 - 459.67:.0f}\u00a0°F" in us
    litres = forecast.build.parts["tank"].volume * 1000
    assert f"{litres:g}\u00a0L" in si
    assert f"{litres / 3.785411784:.3g}\u00a0US\u00a0gal" in us


def test_users_words_are_escaped_everywhere():
    bad = "<img src=x onerror=alert(1)>&\"'\x07"
    forecast = forecast_of(CASES["single"], name=bad)
    spans = tuple(replace(s, label=bad) for s in forecast.demand.spans)
    forecast = replace(
        forecast,
        session=replace(forecast.session, name=bad, file=bad),
        demand=replace(forecast.demand, spans=spans),
        build=replace(forecast.build, file=bad, notes=(bad,)),
        health=replace(forecast.health, extrapolated=(bad,), warnings=(bad,)),
    )
    html = sheet_html(forecast, judge(forecast), "si")
    parsed(html)
    assert "<img" not in html
    assert bad.replace("\x07", "\ufffd") in words_of(html)
    text = forecast_text(forecast, judge(forecast), "si", 80, colour=False)
    assert "\x07" not in text
    assert "\x1b" not in text


def test_a_long_name_breaks_nothing():
    forecast = forecast_of(CASES["parallel"], name="W" * 400)
    parsed(sheet_html(forecast, judge(forecast), "us"))
    assert max(map(len, forecast_text(forecast, judge(forecast), "us", 60, colour=False).splitlines())) <= 60


def test_unknown_system_is_refused(invented):
    with pytest.raises(BadInput) as caught:
        sheet_html(invented["bare"], judge(invented["bare"]), "metric")
    assert str(caught.value) == 'units: "metric" is no unit system; "si" or "us" is'


def test_write_is_whole_or_nothing(invented, tmp_path):
    forecast, target = invented["single"], tmp_path / "sheet.html"
    target.write_text("old", encoding="utf-8")
    assert write_sheet(forecast, judge(forecast), target, "us") == target
    assert target.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert [p.name for p in tmp_path.iterdir()] == ["sheet.html"]
    with pytest.raises(BadInput) as caught:
        write_sheet(forecast, judge(forecast), tmp_path / "nowhere" / "sheet.html", "us")
    assert "cannot be written" in str(caught.value)
    assert "sheet.html" in str(caught.value)


def test_compressor_margins_are_the_worst_ones(solved):
    for name, forecast in solved.items():
        margins = tables.compressor_margins(forecast)
        assert [m.name for m in margins] == ["to surge", "to choke", "to top shaft speed"], name
        for margin in margins:
            sample = round(margin.time / (forecast.time[1] - forecast.time[0]))
            assert forecast.boost[sample], name


def test_ledger_rows_add_up(solved):
    """The totals are the ledger's own, and heat in equals heat out by its closure."""
    for forecast in solved.values():
        taken, picked, air, stored = [r.heat for r in tables.ledger_rows(forecast, "si") if r.total]
        assert taken + picked - air - stored == pytest.approx(0.0, abs=1e-6 * forecast.ledger.handled)


@pytest.mark.parametrize("width", [36, 40, 72, 100, 200])
@pytest.mark.parametrize("system", ["si", "us"])
def test_terminal_fits_and_leads_with_the_verdict(solved, width, system):
    for forecast in solved.values():
        verdict = judge(forecast)
        text = forecast_text(forecast, verdict, system, width, colour=False)
        lines = text.splitlines()
        assert max(map(len, lines)) <= min(width, 120)
        flat = " ".join(text.split())
        assert flat.startswith(" ".join(verdict.words(system).headline.split()[:4]))
        assert ("degF" in flat) == (system == "us")
        assert "\x1b" not in text


def test_colour_only_where_wanted(invented, monkeypatch):
    forecast = invented["single"]
    assert "\x1b[1;3" in forecast_text(forecast, judge(forecast), "si", 80, colour=True)
    assert "\x1b" not in forecast_text(forecast, judge(forecast), "si", 80)  # under a test, stdout is no terminal
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert "\x1b" in forecast_text(forecast, judge(forecast), "si", 80)
    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b" not in forecast_text(forecast, judge(forecast), "si", 80)


def test_spark_marks_every_column_over_the_limit(invented):
    forecast = forecast_of(CASES["single"], limit=320.0)
    text = forecast_text(forecast, judge(forecast), "si", 80, colour=False)
    assert "! over your limit of 46.9 degC" in " ".join(text.split())
    marks = next(line for line in text.splitlines() if line.strip() and set(line) <= {"!", " "})
    assert 0 < marks.count("!") <= 5 * 6  # five pulls, each a few columns wide


@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("width", [36, 80])
def test_point_text(system, width):
    from coldside import load_build, operating_point

    point = operating_point(load_build(str(EXAMPLES / "tern/water.toml")))
    text = point_text(point, system, width, colour=False)
    assert max(map(len, text.splitlines())) <= width
    assert text.startswith("Intake ")
    assert ("degF" in text) == (system == "us")
    for core in point.effectiveness:
        assert core in text


def test_parts_list_names_every_part_of_every_path(solved):
    for forecast in solved.values():
        rows = {name for row in parts_list.part_rows(forecast, "us") for name in row.names}
        assert rows == set(names_on(forecast.build.charge)) | {
            n for p in (*forecast.build.loops.values(), *forecast.build.ducts.values()) for n in names_on(p.path)
        } - {"engine.coolant", "engine.oil"}


def test_parts_alike_share_a_row_and_others_do_not(forecast):
    rows = {row.names: row for row in parts_list.part_rows(forecast("tern/water", "dyno-pulls"), "si")}
    assert ("left_core", "right_core") in rows
    pair = rows[("left_hx", "right_hx")]
    assert pair.paths == "loop charge, duct left_quarter, duct right_quarter"
    assert ("hot_pipe",) in rows
    assert ("cold_pipe",) in rows


def test_every_default_is_told_once(forecast):
    """Each value that the build took by default stands in exactly one group, for the part it belongs to."""
    for name in ("tern/water", "plover/stacked", "heron/two_stage"):
        found = forecast(name, "track")
        told = []
        for group in parts_list.assumed(found, "si"):
            for whose, what, _ in group.rows:
                told += [(owner, what) for owner in (whose.split(", ") if whose else group.owners)]
        asked = [(key.rpartition(".")[0].split(".")[-1], key.rpartition(".")[2]) for key, _ in found.build.defaults()]
        assert sorted(told) == sorted((owner, key.replace("_", " ")) for owner, key in asked), name
        html = sheet_html(found, judge(found), "us")
        assert html.count("<details>") == len(parts_list.assumed(found, "us"))
        assert "<script" not in html


def test_notes_of_repeats_are_told_once():
    notes = [f"lap {n} main straight: 7300 rpm is above 6800 rpm" for n in range(1, 13)]
    others = ["engine.boost: 5 pressures without gauge or abs are read as gauge", "map of 3 speeds"]
    assert tables.repeats_told_once([others[0], *notes, others[1]]) == [
        others[0],
        "lap 1 to 12 main straight: 7300 rpm is above 6800 rpm",
        others[1],
    ]
    # what differs by more than the repeat's number, or is no row of numbers, keeps what tells it apart
    assert tables.repeats_told_once(["pull 1: 2 s", "pull 3: 2 s", "pull 4: 3 s"]) == [
        "pull 1 and 3: 2 s",
        "pull 4: 3 s",
    ]
