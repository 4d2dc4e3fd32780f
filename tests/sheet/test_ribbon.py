"""The ribbon drawing: well formed, complete, escaped, and no words over words, for any layout."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldside.build.model import names_on
from coldside.sheet.drawing import fits, spread, stitch_count, tank_size
from coldside.sheet.ribbon import plan_loops, ribbon_boxes, ribbon_svg, ribbon_text
from coldside.sheet.scale import STEPS, heat_scale, ribbon_width
from coldside.sheet.streams import Moment, knee_of
from sheet.synthetic import CASES, EXAMPLES, forecast_of

FORMS = [(narrow, system) for narrow in (False, True) for system in ("si", "us")]


def entries(forecast):
    """Every part that a path names."""
    found = names_on(forecast.build.charge)
    for path in (*forecast.build.loops.values(), *forecast.build.ducts.values()):
        found += names_on(path.path)
    return list(dict.fromkeys(found))


def clean(boxes, width):
    """Labels that overlap each other or leave the drawing."""
    clashes = [(a.text, b.text) for i, a in enumerate(boxes) for b in boxes[:i] if a.overlaps(b)]
    return clashes, [box.text for box in boxes if box.x0 < 0 or box.x1 > width or box.y0 < 0]


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize(("narrow", "system"), FORMS)
def test_any_layout_is_drawn_whole(invented, name, narrow, system):
    forecast = invented[name]
    svg = ribbon_svg(forecast, forecast.peak, system, narrow=narrow)
    words = " ".join(ET.fromstring(svg).itertext())
    assert [entry for entry in entries(forecast) if entry not in words] == []
    # an SVG namespace is a name, not an address to fetch
    bare = svg.replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert "http" not in bare
    assert "//" not in bare
    assert "@import" not in bare
    assert all(part.startswith("#") for part in bare.split("url(")[1:])
    assert ("°F" in words) == (system == "us")
    assert ("°C" in words) == (system == "si")


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize(("narrow", "system"), FORMS)
@pytest.mark.parametrize("when", [0.0, 0.03, 0.5, 1.0])
def test_no_words_over_words(invented, name, narrow, system, when):
    forecast = invented[name]
    sample = int(when * (len(forecast.time) - 1))
    boxes = ribbon_boxes(forecast, sample, system, narrow=narrow)
    assert clean(boxes, 360 if narrow else 940) == ([], [])


@pytest.mark.parametrize(("narrow", "system"), FORMS)
def test_no_words_over_words_in_the_bundled_builds(solved, narrow, system):
    for name, forecast in solved.items():
        for sample in (0, forecast.peak, len(forecast.time) - 1):
            boxes = ribbon_boxes(forecast, sample, system, narrow=narrow)
            assert clean(boxes, 360 if narrow else 940) == ([], []), (name, sample)
            assert [box.text for box in boxes if "…" in box.text] == [], (name, sample)


def test_users_words_are_escaped():
    bad = '<script>alert("x")</script> & "rest"'
    forecast = forecast_of(CASES["parallel"], name=bad)
    nasty = {name: replace(loop, coolant=bad) for name, loop in forecast.build.loops.items()}
    forecast = replace(forecast, build=replace(forecast.build, loops=nasty))
    for narrow in (False, True):
        svg = ribbon_svg(forecast, forecast.peak, "si", narrow=narrow)
        assert "<script" not in svg
        assert bad in " ".join(ET.fromstring(svg).itertext()) or narrow  # narrow headings are shortened
    assert "\x1b" not in ribbon_text(replace(forecast, build=replace(forecast.build, loops={
        name: replace(loop, coolant="water\x1b[2J") for name, loop in nasty.items()})), 0, "si", 80)  # fmt: skip


def test_where_loops_dock(invented):
    """A loop docks when its cores come in one direction along the charge; else it stands apart."""

    def docked(name):
        moment = Moment(invented[name], 0, "si")
        return {plan.name: plan.leftward for plan in plan_loops(moment)}

    assert docked("single") == {"charge": True}
    assert docked("parallel") == {"charge": True}
    assert docked("two_stage") == {"charge": True}
    assert docked("series_loops") == {"warm": True, "cold": True}
    assert docked("hybrid") == {"charge": True}  # the engine's own loop serves no charge core
    assert docked("crossed") == {}  # in series on the loop, side by side on the charge
    assert docked("air") == {}


def test_stitches_follow_the_heat():
    assert stitch_count(0.0, 30e3, 200.0) == 0
    assert stitch_count(30e3, 30e3, 210.0) == 30  # one in 7 px at the largest heat
    assert stitch_count(15e3, 30e3, 210.0) == 15
    assert stitch_count(-15e3, 30e3, 210.0) == 15
    assert stitch_count(200.0, 30e3, 210.0) == 1  # little heat is still seen


def test_still_air_is_dashed_and_hot_is_over_the_knee(invented):
    forecast = invented["parallel"]
    moment = Moment(forecast, forecast.peak, "si")
    assert moment.is_still(moment.ducts["lid"]["lid_hx"].rate)
    assert not moment.is_still(moment.charge["left_core"].rate)
    assert 'class="s' in ribbon_svg(forecast, forecast.peak, "si")
    assert " dash" in ribbon_svg(forecast, forecast.peak, "si")
    scale = heat_scale(303.0, 333.15, 420.0, "si")
    assert scale.step(333.15) == STEPS - 1
    assert scale.step(333.3) == STEPS
    assert scale.step(250.0) == 0
    assert scale.step(900.0) == 2 * STEPS - 1


@pytest.mark.parametrize("system", ["si", "us"])
def test_scale_ends_are_round_in_the_units_shown(system):
    scale = heat_scale(304.15, 333.15, 417.3, system)
    unit, shift = (1.8, -459.67) if system == "us" else (1.0, -273.15)
    grain = 20.0 if system == "us" else 10.0
    for end in (scale.low, scale.high):
        shown = end * unit + shift
        assert shown == pytest.approx(grain * round(shown / grain), abs=1e-9)  # round-off of the conversion only
    assert scale.low < 304.15
    assert scale.high > 417.3


def test_tank_area_goes_with_its_litres():
    areas = [np.prod(tank_size(litres)) for litres in (5.0, 10.0, 20.0)]
    assert areas[1] / areas[0] == pytest.approx(2.0)
    assert areas[2] / areas[0] == pytest.approx(4.0)


def test_wider_means_more_heat_per_degree():
    widths = [ribbon_width(rate, 1500.0) for rate in (50.0, 400.0, 1500.0)]
    assert widths == sorted(widths)
    assert widths[0] > 3.0


def test_strands_share_the_flow(invented):
    moment = Moment(invented["parallel"], invented["parallel"].peak, "si")
    both = moment.charge["left_core"].rate + moment.charge["right_core"].rate
    assert both == pytest.approx(moment.charge["hot_pipe"].rate)
    assert moment.heat("left_core") > 0.0


def test_knee_is_the_limit_that_counts_in_boost():
    forecast = forecast_of(CASES["single"], limit=321.0)
    assert knee_of(forecast).temperature == 321.0
    assert knee_of(forecast).words
    assert knee_of(forecast, 300.0).temperature == 300.0
    free = forecast_of(CASES["single"], limit=None)
    assert knee_of(free).words == ""
    assert "no limit given" in ribbon_svg(free, free.peak, "si")


@given(
    st.lists(st.tuples(st.floats(0, 500), st.floats(5, 60)), min_size=1, max_size=8).map(sorted),
)
@settings(max_examples=80, deadline=None)
def test_spread_keeps_order_gap_and_bounds(labels):
    centres, widths = [c for c, _ in labels], [w for _, w in labels]
    if not fits(widths, 0.0, 600.0):
        return
    found = spread(centres, widths, 0.0, 600.0)
    edges = [(c - w / 2, c + w / 2) for c, w in zip(found, widths, strict=True)]
    assert edges[0][0] >= -1e-6
    assert edges[-1][1] <= 600.0 + 1e-6
    for (_, left), (right, _) in zip(edges, edges[1:], strict=False):
        assert right - left >= 10.0 - 1e-6


@pytest.mark.parametrize("width", [30, 40, 60, 80, 120])
@pytest.mark.parametrize("name", CASES)
def test_characters_fit_and_name_every_part(invented, name, width):
    forecast = invented[name]
    text = ribbon_text(forecast, forecast.peak, "us", width)
    assert max(len(line) for line in text.splitlines()) <= width
    assert [entry for entry in entries(forecast) if entry not in text] == []
    assert "degF" in text.replace("\n", " ")
    assert "degC" not in text


def test_names_of_any_length_stay_inside():
    """Part names are the user's: sixty characters, most of them wide."""
    long = {
        "turbo": "W" * 60 + "_turbo",
        "core": "M" * 60 + "_core",
        "tank": "m" * 70 + "_tank",
        "nose_fan": "W" * 80 + "_fan",
    }

    def renamed(value):
        if isinstance(value, str):
            return long.get(value, value)
        if isinstance(value, list | tuple):
            return type(value)(renamed(item) for item in value)
        return {renamed(key): renamed(item) for key, item in value.items()}

    forecast = forecast_of(renamed(CASES["single"]))
    for narrow in (False, True):
        boxes = ribbon_boxes(forecast, forecast.peak, "us", narrow=narrow)
        assert clean(boxes, 360 if narrow else 940) == ([], [])
        svg = ribbon_svg(forecast, forecast.peak, "us", narrow=narrow)
        assert all(name in svg for name in long.values())  # whole in the description


@pytest.mark.parametrize(("narrow", "system"), FORMS)
def test_an_oil_cooler_is_stitched_on_both_of_its_loops(narrow, system):
    """Each end has the other's liquid beside it, and both tell the same heat."""
    from coldside import load_session, simulate
    from laws.test_oil_cooler import build

    found = simulate(build(share=0.1), load_session(str(EXAMPLES / "sessions" / "dyno-pulls.toml")))
    boxes = ribbon_boxes(found, found.peak, system, narrow=narrow)
    assert clean(boxes, 360 if narrow else 940) == ([], [])
    words = " ".join(box.text for box in boxes)
    unit = "BTU/min" if system == "us" else "k?W"
    gives = re.search(rf"gives the coolant\s([0-9.]+)\s({unit})", words)
    takes = re.search(rf"takes\s([0-9.]+)\s({unit})\sfrom\sthe\soil", words)
    assert gives
    assert takes
    assert gives[1] == takes[1]
    moment = Moment(found, found.peak, system)
    assert moment.other_end("cooler.oil").name == "cooler.water"
    assert moment.other_end("radiator") is None
    assert moment.heat("cooler.oil") > 0.0
