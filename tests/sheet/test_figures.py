"""Charts: no spike is lost, words do not collide, units switch everywhere."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldside import judge
from coldside.sheet import tables
from coldside.sheet.figures import (
    RESISTANCE_UNIT,
    bar,
    decimate,
    energy,
    nice_ticks,
    resistance,
    time_chart,
    time_chart_boxes,
)
from coldside.sheet.render import sheet_html
from coldside.units import parse, show
from sheet.synthetic import CASES

FORMS = [(narrow, system) for narrow in (False, True) for system in ("si", "us")]


def clean(boxes, width):
    clashes = [(a.text, b.text) for i, a in enumerate(boxes) for b in boxes[:i] if a.overlaps(b)]
    return clashes, [box.text for box in boxes if box.x0 < 0 or box.x1 > width]


@given(st.integers(0, 17_999), st.sampled_from([-40.0, 95.0]))
@settings(max_examples=60, deadline=None)
def test_a_spike_of_one_sample_is_kept(place, height):
    """18,000 samples, one spike, 900 columns: the trial of the charting libraries that decided for min and max."""
    time = np.linspace(0.0, 1800.0, 18_000)
    values = 50.0 + 5.0 * np.sin(time / 60.0)
    values[place] = height
    t, v = decimate(time, values, 900)
    assert height in v
    assert len(t) <= 4 * 900 + 2
    assert v.max() == values.max()
    assert v.min() == values.min()
    assert np.all(np.diff(t) > 0.0)
    assert t[0] == time[0]
    assert t[-1] == time[-1]


def test_short_traces_come_back_whole():
    time = np.arange(100.0)
    assert decimate(time, time, 50)[1] is time


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize(("narrow", "system"), FORMS)
def test_chart_of_any_layout(invented, name, narrow, system):
    svg = time_chart(invented[name], system, narrow=narrow)
    words = " ".join(ET.fromstring(svg).itertext())
    assert ("intake, °F" in words) == (system == "us")
    assert "°C" not in words or system == "si"
    assert ("mph" in words) == (system == "us")
    assert clean(time_chart_boxes(invented[name], system, narrow=narrow), 360 if narrow else 940) == ([], [])


@pytest.mark.parametrize(("narrow", "system"), FORMS)
def test_chart_of_the_bundled_builds(solved, narrow, system):
    for name, forecast in solved.items():
        boxes = time_chart_boxes(forecast, system, narrow=narrow)
        assert clean(boxes, 360 if narrow else 940) == ([], []), name


def test_chart_says_the_peak_of_the_full_trace(invented):
    forecast = invented["single"]
    peak = f"{forecast.intake[forecast.peak] - 273.15:.0f} °C at"
    assert any(box.text.startswith(peak) for box in time_chart_boxes(forecast, "si"))


@pytest.mark.parametrize(("narrow", "system"), FORMS)
def test_counted_phases_are_told_in_one_form(solved, narrow, system):
    """Twelve laps and six pulls, each told by number, and what is counted told once where only numbers fit."""
    for name, count, word in (("dunlin/build track", 12, "lap"), ("dunlin/build dyno-pulls", 6, "pull")):
        words = [box.text for box in time_chart_boxes(solved[name], system, narrow=narrow)]
        if narrow:
            assert word in words, name
            foot = next(box for box in time_chart_boxes(solved[name], system, narrow=True) if box.text == word).y0
            told = [b.text for b in time_chart_boxes(solved[name], system, narrow=True) if b.y0 == foot]
            assert [w for w in told if w.isdigit()] == [str(k + 1) for k in range(count)], name
        else:
            assert [w for w in words if w.startswith(word + " ")] == [f"{word} {k + 1}" for k in range(count)], name


@pytest.mark.parametrize(("narrow", "system"), FORMS)
def test_a_lone_pull_and_the_road_speed_are_told(forecast, narrow, system):
    boxes = time_chart_boxes(forecast("dunlin/build", "traffic-then-pull"), system, narrow=narrow)
    assert "pull" in [box.text for box in boxes]
    title = next(box for box in boxes if box.text.startswith("road speed, "))
    ticks = [box.text for box in boxes if title.y0 < box.y0 < title.y0 + 75.0 and box.x1 < title.x0]
    assert len(ticks) >= 2
    assert "0" in ticks


def test_energy_and_resistance_in_both_systems():
    assert energy(3.21e6, "si") == "3.21 MJ"
    assert energy(-4200.0, "si") == "-4.20 kJ"
    assert energy(1055.05585262 * 250, "us") == "250 BTU"  # international table BTU, by definition
    assert f"{resistance(4.8e-4, 'si')} {RESISTANCE_UNIT['si']}" == "0.480 K/kW"
    # 1 K/kW = 1.8 degF/kW; 1000 BTU/min = 17.584264 kW (NIST SP 811 appendix B.8, from memory): 1.8 * 17.584264
    assert f"{resistance(1e-3, 'us')} {RESISTANCE_UNIT['us']}" == "31.7 degF per 1000 BTU/min"


def test_heat_is_told_by_the_minute_in_inch_pounds_and_reads_back(forecast):
    """1 kW = 56.869 BTU/min (NIST SP 811 appendix B.8, from memory); engine power stays in horsepower."""
    assert show(38_530.0, "heat", "us") == f"{38.53 * 56.869:.0f} BTU/min"
    assert show(38_530.0, "heat", "si") == "38.5 kW"
    assert parse(show(38_530.0, "heat", "us"), "power").value == pytest.approx(38_530.0, rel=1e-3)  # whole BTU
    found = forecast("tern/water", "track")
    words = sheet_html(found, judge(found), "us")
    figures = dict(tables.key_figures(found, "us"))
    assert figures["heat taken by the cores"][1].endswith(" BTU/min")
    assert figures["power"][1].endswith(" hp")
    assert "takes " in words
    assert not re.search(r"(takes|gives the air|bench heat) [0-9.]+\s(hp|W|kW)", words)


def test_ticks_are_round_and_inside():
    assert nice_ticks(28.0, 66.0, 5) == [30.0, 40.0, 50.0, 60.0]
    assert nice_ticks(0.0, 27.1, 10, (1, 2, 3, 5, 10)) == [0, 3, 6, 9, 12, 15, 18, 21, 24, 27]


def test_bars_show_sign_and_words():
    svg = bar(-2.0, -2.0, 8.0, 'a "loss" of 2')
    root = ET.fromstring(svg)
    rect = next(e for e in root if e.tag.endswith("rect"))
    assert "back" in rect.get("class")
    assert float(rect.get("width")) == pytest.approx(20.0)
    assert root.get("aria-label") == 'a "loss" of 2'
