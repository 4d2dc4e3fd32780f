"""When something dies: the march with a cut against a whole forecast with the same command, words, cost."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.model import LimitSpec
from coldside.duty.phases import load_session
from coldside.explore.commands import Bench, commanded
from coldside.explore.failures import REACTION, SWITCH, failures, failures_json, sentences
from coldside.explore.outcome import FINE
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast

EXAMPLES = Path(__file__).parents[2] / "examples"
TERN = load_build(EXAMPLES / "tern" / "water.toml")
TRACK = load_session(EXAMPLES / "sessions" / "track.toml")
LIMIT = LimitSpec(quantity="intake", at_most=330.0)


@cache
def forecast() -> Forecast:
    return simulate(TERN, TRACK)


def test_the_seconds_are_those_of_a_fine_march_of_the_same_death():
    """The whole session put together anew, fine, with the pump's command cut: no coarse cells, no correction."""
    found = failures(forecast(), [LIMIT])
    (one,) = (case for case in found.cases if case.name == "pump")
    command = forecast().command["pump"].copy()
    command[forecast().time >= one.at] = 0.0
    bench = Bench(TERN, TRACK, FINE, (), demand=commanded(forecast().demand, "pump", command))
    tried = bench.march({})
    after = (bench.demand.time >= one.at) & bench.boost
    passed = bench.demand.time[after & (tried.solution.intake > LIMIT.at_most)]
    assert one.to_limit == pytest.approx(passed[0] - one.at, abs=1.5)  # coarse cells and rounded pressure: 0.3 K
    sensor = bench.sensor(tried.solution)
    assert sensor is not None
    fine_lift = float(np.interp(passed[0] - REACTION, bench.demand.time, sensor))
    assert one.lift_at == pytest.approx(fine_lift, abs=0.5)  # K, for the same reason
    assert one.lift_after == pytest.approx(one.to_limit - REACTION)


def test_a_hose_is_no_better_than_its_pump_and_a_higher_limit_gives_more_time():
    by_limit = []
    for at_most in (328.0, 330.0, 333.0):
        cases = {one.name: one for one in failures(forecast(), [replace(LIMIT, at_most=at_most)]).cases}
        assert cases["feed_hose"].to_limit == cases["pump"].to_limit
        assert cases["left_fan"].warmer < cases["pump"].warmer
        by_limit.append(cases["pump"].to_limit)
        saved, after = cases["pump"].saved, cases["pump"].lift_after
        assert saved is None or saved == pytest.approx(after - SWITCH)
    assert by_limit == sorted(by_limit)
    assert by_limit[0] < by_limit[-1]


def test_words_tell_what_comes_to_the_same_together():
    found = failures(forecast(), [LIMIT])
    words = [sentence.words("us") for sentence in sentences(found)]
    assert any("pump stops or feed_hose lets go" in one for one in words)
    assert "scalds" in words[-1]
    assert all("degC" not in one for one in words)
    json.dumps(failures_json(found), allow_nan=False)
    none = failures(forecast(), [])
    assert none.limit is None
    assert "no limit is given" in sentences(none)[0].words()
    broken = failures(forecast(), [replace(LIMIT, at_most=310.0)])
    assert broken.anyway is not None
    assert "with all well" in sentences(broken)[0].words()


def test_cheap_enough_for_every_verdict():
    failures(forecast(), [LIMIT])
    start = time.process_time()
    failures(forecast(), [LIMIT])
    assert time.process_time() - start < 2.0  # 0.25 s on a quiet machine


def test_nothing_can_die_without_boost():
    quiet = replace(forecast(), demand=replace(forecast().demand, plenum_target=0.9e5 + 0.0 * forecast().time))
    assert failures(quiet).cases == ()
    assert sentences(failures(quiet)) == ()
