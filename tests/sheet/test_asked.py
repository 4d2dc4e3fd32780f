"""What was asked for besides a forecast: sections on paper and terminal, blocks of JSON, the band in the chart.

The outside is the definition of a percentile and of "likely" (judge/sureness.py): four draws in five lie between the
two ends that are told.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.model import LimitSpec, PhaseSpec
from coldside.duty.phases import load_session
from coldside.explore.bands import Bands, simulate_many
from coldside.judge.summary import plain
from coldside.judge.verdict import Verdict, judge
from coldside.judge.wording import Range
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from coldside.sheet.asked import NOTHING, Asked
from coldside.sheet.figures import time_chart, time_chart_boxes
from coldside.sheet.render import sheet_html
from coldside.sheet.terminal import forecast_text

EXAMPLES = Path(__file__).parents[2] / "examples"


@cache
def drawn() -> tuple[Forecast, Verdict, Bands]:
    """A short idle and one pull of Tern, 16 draws."""
    dyno = load_session(EXAMPLES / "sessions" / "dyno-pulls.toml")
    session = replace(
        dyno,
        phases=(PhaseSpec(kind="idle", duration=5.0), replace(dyno.phases[1], repeat=1)),
        limits=(LimitSpec(quantity="intake", at_most=322.0), LimitSpec(quantity="spread", at_most=0.1)),
    )
    forecast = simulate(load_build(EXAMPLES / "tern" / "water.toml"), session)
    bands = simulate_many(forecast.build, session, 16, forecast=forecast)
    return forecast, judge(forecast, bands=bands.figures, chances=bands.chances), bands


@pytest.mark.parametrize(
    ("low", "high", "kind", "system", "told"),
    [
        (324.15, 331.15, "temperature", "si", "51 to 58 degC"),
        (324.15, 324.25, "temperature", "si", "51 degC"),
        (0.2, 5.0, "temperature_difference", "si", "less than 1 K to 5 K"),
        (310.93, 322.04, "temperature", "us", "100 to 120 degF"),
        (50.0, 200.0, "time", "si", "50 s to 3 min 20 s"),
        (0.12, 0.24, "share", "us", "12 to 24 %"),
    ],
)
def test_a_range_tells_its_unit_once_where_it_is_one(low, high, kind, system, told):
    assert Range(low, high, kind).shown(system) == told


def test_likely_holds_four_draws_in_five():
    forecast, _, bands = drawn()
    said = plain(Asked(bands).json("si"))["bands"]
    json.dumps(said, allow_nan=False)
    peak = said["intake_max_K"]
    inside = np.mean((bands.outcomes["intake_max"] >= peak["p10"]) & (bands.outcomes["intake_max"] <= peak["p90"]))
    assert inside == pytest.approx(0.8, abs=1.5 / 16)  # of 16 draws one more or less at either end
    assert said["draws"] == 16
    assert said["inputs"] == len(bands.inputs) > 10
    # shares of a variance by one regression cannot sum to more than all of it, but for the scores' own correlation
    assert sum(one["share"] for one in said["influences"]) < 1.3


@pytest.mark.parametrize("system", ["si", "us"])
def test_words_the_chart_and_the_table_tell_one_band(system):
    forecast, verdict, bands = drawn()
    asked = Asked(bands)
    low, _, high = bands.figures["intake_max"]
    likely = Range(low, high, "temperature").shown(system)
    text = " ".join(forecast_text(forecast, verdict, system, 100, asked=asked).split())
    page = re.sub(r"<[^>]+>", " ", sheet_html(forecast, verdict, system, asked)).replace("\u00a0", " ")
    page = page.replace("°F", "degF").replace("°C", "degC").replace("° F", "degF")
    assert f"The peak of the intake is likely {likely}" in text
    assert f"the peak in boost is likely {likely}" in text
    assert f"likely {likely}, the chance that it holds is" in text
    assert page.count(f"likely {likely}") >= 3
    for told in (text, page):
        assert "How sure" in told
        assert "time over the limit on the intake in boost" in told


def test_without_draws_nothing_of_them_is_said():
    forecast, _, _ = drawn()
    verdict = judge(forecast)
    for told in (forecast_text(forecast, verdict, "si", 100), sheet_html(forecast, verdict, "si")):
        assert "likely" not in told.lower()
    assert NOTHING.json("si") == {}
    assert NOTHING.sections(verdict.limits, "si") == ()


@pytest.mark.parametrize("narrow", [False, True])
def test_the_band_stands_in_the_chart_and_no_words_collide(narrow):
    forecast, _, bands = drawn()
    likely = bands.figures["intake_max"]
    wide = (likely[0] - 20.0, likely[1], likely[2] + 20.0)  # far beyond the trace: the panel has to make room
    with_it, without = (time_chart(forecast, "si", narrow=narrow, likely=one) for one in (wide, None))
    assert with_it.count('class="spot"') == without.count('class="spot"') + 1
    x, top, bottom = map(float, re.search(r'd="M([\d.]+) ([\d.]+)V([\d.]+)M', with_it).groups())
    assert 30.0 <= bottom < top <= 300.0  # of the panel, 30 px from the top and 210 or 270 high
    boxes = time_chart_boxes(forecast, "si", narrow=narrow, likely=wide)
    assert not any(a.overlaps(b) for k, a in enumerate(boxes) for b in boxes[:k])


def test_knock_is_short_with_all_of_it_folded_on_paper_and_never_twice():
    forecast, verdict, _ = drawn()
    assert verdict.knock is not None
    page = re.sub(r"\s+", " ", sheet_html(forecast, verdict, "si")).replace("\u00a0", " ").replace("°C", "degC")
    text = " ".join(forecast_text(forecast, verdict, "si", 100).split())
    brief, whole = ([s.words() for s in said] for said in (verdict.knock.brief, verdict.knock.sentences))
    for sentence in brief:
        assert sentence in text
    fold = page[page.index("All of it, and how far to trust it") :]
    for sentence in whole:
        assert sentence.replace("'", "&#x27;") in fold or sentence in fold
    assert whole[-1] not in text  # how far to trust it is with the sheet
    assert text.count("starting point for a dyno") == 1
