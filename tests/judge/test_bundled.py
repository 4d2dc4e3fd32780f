"""The judgement of solved forecasts of the bundled builds: what the design says must hold for each of them."""

from __future__ import annotations

import json
from functools import cache

import pytest

from coldside.build.files import load_build
from coldside.duty.phases import load_session
from coldside.judge.heat import recompute_ledger
from coldside.judge.summary import forecast_json
from coldside.judge.verdict import judge
from coldside.plant.forecast import simulate

# still air and fans that switch; many closings of the throttle; pickup against heat from the charge; a loop
RUNS = [
    ("tern/water", "dyno-pulls"),
    ("tern/air", "track"),
    ("plover/build", "traffic-then-pull"),
    ("dunlin/build", "track"),
]


@cache
def solved(examples, build, session):
    return simulate(load_build(examples / f"{build}.toml"), load_session(examples / "sessions" / f"{session}.toml"))


@pytest.mark.parametrize(("build", "session"), RUNS)
def test_the_ledger_counted_again_from_traces_agrees(examples, build, session):
    again = recompute_ledger(solved(examples, build, session))
    assert again.worst <= 1e-3  # definitions, "Ledger"


@pytest.mark.parametrize(("build", "session"), RUNS)
def test_the_rungs_are_the_whole_way(examples, build, session):
    forecast = solved(examples, build, session)
    shares: dict[str, float] = {}
    for rung in forecast.ladder:
        chain = rung.name.rpartition(": ")[0]
        shares[chain] = shares.get(chain, 0.0) + rung.share
    assert shares
    assert list(shares.values()) == pytest.approx([1.0] * len(shares), abs=1e-9)  # definitions, "Ladder"


@pytest.mark.parametrize(("build", "session"), RUNS)
def test_every_verdict_is_told(examples, build, session):
    forecast = solved(examples, build, session)
    verdict = judge(forecast)
    assert len(verdict.limits) == len(forecast.session.limits)
    for system in ("si", "us"):
        words = verdict.words(system)
        for text in (words.headline, *words.limits, *words.reasons, *words.notes):
            assert text
            assert "{" not in text
            assert "nan" not in text
    json.dumps(forecast_json(forecast, verdict), allow_nan=False)
