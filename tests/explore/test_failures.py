"""When something dies: the march with a cut against a whole forecast with the same command, heat, words, cost."""

from __future__ import annotations

import json
import math
import re
import time
from dataclasses import fields, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.duty.model import LimitSpec
from coldside.duty.phases import load_session
from coldside.explore.commands import Bench, commanded
from coldside.explore.failure_words import failures_json, sentences
from coldside.explore.failures import GAP, REACTION, SWITCH, WINDOW, failures, without_coolant, worst_stretch
from coldside.explore.outcome import FINE, Fineness, thinned
from coldside.judge.knock_limit import margin_trace
from coldside.judge.worst import worst_sample
from coldside.plant import layout
from coldside.plant.assemble import assemble
from coldside.plant.forecast import simulate, solve
from coldside.plant.results import Forecast
from coldside.plant.traces import Streams
from coldside.units import Pressure

EXAMPLES = Path(__file__).parents[2] / "examples"
TERN = load_build(EXAMPLES / "tern" / "water.toml")
TRACK = load_session(EXAMPLES / "sessions" / "track.toml")
LIMIT = LimitSpec(quantity="intake", at_most=330.0)


@cache
def forecast(build: str = "tern/water", session: str = "track") -> Forecast:
    return simulate(load_build(EXAMPLES / f"{build}.toml"), load_session(EXAMPLES / "sessions" / f"{session}.toml"))


def named(found, name):
    return next(one for one in found.cases if one.name == name)


def test_the_seconds_are_those_of_a_fine_march_of_the_same_death():
    """The whole session put together anew, fine, with the pump's command cut: no coarse cells, no correction."""
    one = named(failures(forecast(), [LIMIT]), "pump")
    command = forecast().command["pump"].copy()
    command[forecast().time >= one.at] = 0.0
    bench = Bench(TERN, TRACK, FINE, (), demand=commanded(forecast().demand, "pump", command))
    tried = bench.march({})
    after = (bench.demand.time >= one.at) & bench.boost
    passed = bench.demand.time[after & (tried.solution.intake > LIMIT.bound)]
    assert one.to_limit == pytest.approx(passed[0] - one.at, abs=1.0)  # s; coarse cells and rounded pressure
    sensor = bench.sensor(tried.solution)
    assert sensor is not None
    fine_lift = float(np.interp(passed[0] - REACTION, bench.demand.time, sensor))
    assert one.lift_at == pytest.approx(fine_lift, abs=0.5)  # K, for the same reason
    assert one.lift_after == pytest.approx(one.to_limit - REACTION)
    last = worst_stretch(forecast(), [LIMIT])[1]
    fine_peak = tried.solution.intake[after & (bench.demand.time <= forecast().time[last])].max()
    assert one.peak == pytest.approx(fine_peak, abs=1.0)


def test_with_all_well_a_limit_gives_when_the_forecast_says_so():
    """What is off in the coarse plant is taken off it: `anyway` is the forecast's own moment."""
    limit = replace(LIMIT, at_most=float(forecast().intake[forecast().peak]) - 1.0)
    one = named(failures(forecast(), [limit]), "pump")
    first, last = worst_stretch(forecast(), [limit])
    rows = np.arange(first, last + 1)
    passed = rows[forecast().boost[rows] & (forecast().intake[rows] > limit.bound)]
    assert one.anyway == pytest.approx(forecast().time[passed[0]] - one.at, abs=0.5)  # s: every fourth sample


def test_dry_cores_keep_what_the_charge_gives_them():
    """First law: nothing wets the metal, so it stores the charge's heat but for its pick-up from the bay."""
    plant = assemble(TERN, sample(TRACK, TERN))
    (number,) = (i for i, loop in enumerate(plant.loops) if loop.loop.name == "charge")
    A = without_coolant(plant.arrays, number)
    rows = slice(9000, 9120)
    cut = A._replace(inputs=A.inputs[rows], boost=A.boost[rows], level=A.level[rows])
    solution = solve(replace(plant, arrays=cut))
    for core in ("left_core", "right_core"):
        f, p = plant.fields.index(f"{core} metal"), plant.index(core, "charge")
        here = slice(A.field_first[f], A.field_first[f] + A.field_count[f])
        stored = float(A.field_capacity[f] * (solution.end[here] - solution.start[here]).sum())
        given = float(solution.end[A.n_states + p])  # J, the integral that rides with the states
        picked_up = float(solution.end[A.n_states + len(A.passes) + f])
        assert stored == pytest.approx(given + picked_up, rel=1e-9)
        assert stored > 0.0
        coolant = plant.fields.index(f"{core} coolant")
        assert solution.end[A.n_states + len(A.passes) + coolant] == pytest.approx(0.0, abs=1e4)
    heat = Streams(plant, solution).heat("left_core", "charge")
    assert heat[-1] < 0.9 * heat.max()  # a dry core takes less and less
    assert A.passes[:, layout.P_WALL].min() == -1


def test_a_dry_core_gives_less_time_than_one_with_coolant_standing_in_it():
    by_limit = []
    for at_most in (328.0, 330.0, 333.0):
        found = failures(forecast(), [replace(LIMIT, at_most=at_most)])
        hose, pump = named(found, "charge"), named(found, "pump")
        assert (hose.what, pump.what) == ("hose", "pump")
        assert hose.to_limit < pump.to_limit
        assert hose.warmer > pump.warmer > named(found, "left_fan").warmer
        assert hose.metal > pump.metal
        rows = slice(*worst_stretch(forecast(), [LIMIT]))
        assert hose.peak < forecast().compressor_out[rows].max()  # no core cools: no hotter than that
        by_limit.append(pump.to_limit)
        assert pump.saved is None or pump.saved == pytest.approx(pump.lift_after - SWITCH)
    assert by_limit == sorted(by_limit)
    assert by_limit[0] < by_limit[-1]


def test_limits_on_sensor_and_coolant_count_too():
    sensor = failures(forecast(), [LimitSpec(quantity="sensor", at_most=327.0)])
    assert named(sensor, "pump").limit.quantity == "sensor"
    # the coolant that stands: nothing hotter flows into the cores, yet a limit just over it is one on coolant
    both = failures(forecast(), [LIMIT, LimitSpec(quantity="coolant", at_most=280.0, during="always")])
    assert named(both, "pump").limit.quantity == "intake"  # the coolant's is broken anyway
    only = failures(forecast(), [LimitSpec(quantity="coolant", at_most=280.0, during="always")])
    assert named(only, "pump").anyway == 0.0
    assert named(only, "charge").limit is None  # no coolant is left to be limited


def test_a_limit_on_the_knock_margin_gives_when_the_charge_is_as_much_warmer():
    """Speed, boost and spark stand: a margin falls by what the charge rises, so such a limit is one on the intake."""
    spark = math.radians(14.0)
    engine = replace(
        TERN.engine,
        fuel="gasoline 98",
        spark=((50.0, spark), (130.0, spark)),
        knock_speed=95.0,
        knock_boost=Pressure(1e5, True),
        knock_intake=345.0,
        knock_spark=spark,
    )
    ours = replace(forecast(), build=replace(TERN, engine=engine))
    trace, _ = margin_trace(ours)
    assert trace is not None
    first, last = worst_stretch(ours, [LimitSpec(quantity="margin", at_least=0.0)])
    least = float(np.nanmin(trace[first:last]))
    given = []
    for by in (12.0, 8.0, 4.0):
        one = named(failures(ours, [LimitSpec(quantity="margin", at_least=least - by)]), "pump")
        assert one.limit is not None
        assert one.limit.lowest
        assert one.anyway is None
        given.append(one.to_limit)
    assert given == sorted(given, reverse=True)
    assert given[0] > given[-1]


def test_one_moment_has_one_time():
    """The time told with what dies is when it dies, not the worst moment: that boost's beginning, read off the trace,
    or a minute before the worst moment where the boost is longer (boost all along)."""
    found = failures(forecast(), [LIMIT])
    on = forecast().boost
    worst = worst_sample(forecast(), [LIMIT])
    begins = worst - int(np.argmin(on[worst::-1])) + 1
    assert found.cases[0].at == pytest.approx(float(forecast().time[begins]), abs=GAP)
    assert found.cases[0].at < float(forecast().time[worst]) - 1.0
    assert not found.cases[0].within
    boosted = replace(forecast(), plenum_pressure=np.full_like(forecast().plenum_pressure, 3e5))
    long = failures(boosted, [LIMIT])
    worst = worst_sample(boosted, [LIMIT])
    assert all(one.within for one in long.cases)
    assert long.cases[0].at == pytest.approx(float(forecast().time[worst]) - WINDOW, abs=0.5)
    words = [sentence.words() for sentence in sentences(long)]
    assert any(" 60 s before the worst moment (" in one for one in words)
    assert not any("at the worst moment" in one or "begins" in one for one in words)


def test_words_tell_what_is_alike_together():
    found = failures(forecast(), [LIMIT])
    words = [sentence.words("us") for sentence in sentences(found)]
    start = "If a hose of loop charge lets go as the boost that holds the worst moment begins (17:4"
    assert any(one.startswith(start) for one in words)
    assert any("its cores run dry" in one for one in words)
    assert any(one.startswith("If left_fan or right_fan stops") for one in words)
    assert not any("stops or" in one for one in words)
    assert "scalds" in words[-1]
    assert all("degC" not in one for one in words)
    json.dumps(failures_json(found), allow_nan=False)
    none = failures(forecast(), [])
    assert none.limits == ()
    assert "no limit is given" in sentences(none)[0].words()
    broken = failures(forecast(), [replace(LIMIT, at_most=310.0)])
    assert "the limit is passed as soon as with all well" in sentences(broken)[0].words()
    peak = float(forecast().intake[forecast().peak])
    later = failures(forecast(), [replace(LIMIT, at_most=peak - 0.5)])
    assert re.search(r"passed [\d.]+ s later, with all well after \d+ s", sentences(later)[0].words())
    mine = forecast()
    proposed = failures(replace(mine, session=replace(mine.session, limits=(LIMIT,), proposed=True)))
    assert "the proposed limit is passed" in sentences(proposed)[0].words()


def test_coolant_left_standing_near_boiling_is_told():
    found = failures(forecast("plover/stacked"))
    boiling = named(found, "water_pump").boiling
    assert boiling is not None
    assert boiling.hottest > boiling.boils
    assert any("scalds" in one.words() and "boils near" in one.words() for one in sentences(found))


def test_a_build_whose_fans_stand_says_nothing_and_one_without_loops_no_word_of_coolant():
    assert failures(forecast("tern/air")).cases == ()
    assert sentences(failures(forecast("tern/air"))) == ()
    pulls = sentences(failures(forecast("plover/build", "dyno-pulls")))
    assert pulls
    assert not any(word in one.words() for one in pulls for word in ("coolant", "pump", "hose", "scald"))


def test_cheap_enough_for_every_verdict():
    failures(forecast(), [LIMIT])
    start = time.process_time()
    failures(forecast(), [LIMIT])
    assert time.process_time() - start < 1.0  # 0.13 s on a quiet machine


def test_nothing_can_die_without_boost():
    quiet = replace(forecast(), plenum_pressure=0.9e5 + 0.0 * forecast().time)
    assert failures(quiet).cases == ()
    assert sentences(failures(quiet)) == ()


def test_a_coarse_forecast_gives_nearly_the_same():
    """What a page looks at while values are moved has every fourth sample already."""
    mine, n = forecast(), len(forecast().time)
    arrays = {item.name: getattr(mine, item.name) for item in fields(mine)}
    kept = {name: v[::4] for name, v in arrays.items() if isinstance(v, np.ndarray) and len(v) == n}
    command = {name: told[::4] for name, told in mine.command.items()}
    coarse = replace(mine, **kept, command=command, demand=thinned(mine.demand, Fineness(every=4)))
    fine, found = (named(failures(one, [LIMIT]), "pump") for one in (forecast(), coarse))
    assert found.to_limit == pytest.approx(fine.to_limit, abs=0.5)  # s, a sample of the coarse one
