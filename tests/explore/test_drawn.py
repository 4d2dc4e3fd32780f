"""Runs of which there are many: fewer samples where nothing happens, a quicker scheme, bands as from fine runs."""

from __future__ import annotations

import os
import threading
import time
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import Build
from coldside.duty.demand import sample
from coldside.duty.model import LimitSpec, PhaseSpec, Session
from coldside.duty.phases import load_session
from coldside.explore import workers
from coldside.explore.bands import simulate_many
from coldside.explore.draws import drawn, scores, uncertain_inputs, values_of
from coldside.explore.outcome import DRAWN, FINE, figures, run, thinned
from coldside.parts.exchanger import ExchangerSpec
from coldside.plant.assemble import assemble
from coldside.plant.forecast import simulate, solve

EXAMPLES = Path(__file__).parents[2] / "examples"


@cache
def build_of(name: str) -> Build:
    return load_build(EXAMPLES / f"{name}.toml")


def short(session: str, *phases: PhaseSpec) -> Session:
    """Two minutes of a bundled session's air: traffic, then a pull, or the phases given."""
    whole = load_session(EXAMPLES / "sessions" / f"{session}.toml")
    traffic = PhaseSpec(kind="traffic", duration=90.0)
    pull = PhaseSpec(kind="pull", on="road", from_speed=55.0, to_speed=115.0, duration=9.0, gear=3)
    after = PhaseSpec(kind="cruise", duration=40.0, speed=25.0)
    limits = (LimitSpec(quantity="intake", at_most=325.0),)
    return replace(whole, phases=phases or (traffic, pull, after), groups={}, limits=limits)


DRIVE = short("traffic-then-pull")


def test_quiet_stretches_are_looked_at_less_often_and_the_moments_that_count_are_not_missed():
    demand = sample(DRIVE, build_of("tern/air"))
    seen = run(build_of("tern/air"), DRIVE, DRAWN)
    steps = np.round(np.diff(seen.time) / 0.1)
    loud = demand.full_load | demand.boost
    near = (seen.time > demand.time[loud][0] - 1.5) & (seen.time < demand.time[loud][-1] + 15.0)
    assert steps[near[:-1]].max() <= DRAWN.every
    assert np.median(steps[~near[:-1]]) == DRAWN.quiet
    assert demand.time[np.flatnonzero(loud)[-1]] in seen.time  # the pull's last moment, where its peak is
    assert demand.time[np.flatnonzero(demand.boost)[0]] in seen.time
    assert [span.kind for span in seen.demand.spans] == [span.kind for span in demand.spans]


@pytest.mark.parametrize("name", ["tern/water", "tern/air"])
def test_the_quick_scheme_is_that_of_second_order(name):
    """Of the same plant, a forward step alone would be ten times as far off (0.1 s steps on samples 0.4 s apart)."""
    demand = run(build_of(name), DRIVE, replace(DRAWN, quiet=0)).demand
    plant = assemble(build_of(name), demand)
    exact = solve(plant, parts=8).intake
    assert np.abs(solve(plant, quick=True).intake - exact).max() < 0.15
    assert np.abs(solve(plant, quick=True, parts=8).intake - exact).max() < 0.05


@pytest.mark.parametrize("name", ["plover/stacked", "sprayed", "tern/water"])
def test_long_steps_of_the_quick_scheme_take_in_what_the_other_does(name):
    """Conditions held along a line, with an engine's heat, a spray, or neither: own heat of every field within 1 %."""
    build = build_of("siskin/blown" if name == "sprayed" else name)
    if name == "sprayed":
        nose = next(key for key, part in build.parts.items() if isinstance(part, ExchangerSpec))
        wet = replace(build.parts[nose], spray=1.6e-5, spray_when="always")
        build = replace(build, parts={**build.parts, nose: wet})
    seen = run(build, DRIVE, DRAWN)
    spacing = np.round(np.diff(seen.time) / (seen.time[1] - seen.time[0]), 9)
    plant = assemble(build, seen.demand, DRAWN.cells, grid=DRAWN.grid)
    assert plant.arrays.source_field.size or name == "tern/water"
    fine, quick = (solve(plant, spacing=spacing, quick=one) for one in (False, True))
    assert quick.substeps > 4 * spacing[0]  # some steps are long ones
    n, p, f = plant.arrays.n_states, len(plant.passes), len(plant.fields)
    own = slice(n + p + f, n + p + 2 * f)
    most = np.abs(fine.end[own]).max()
    assert quick.end[own] == pytest.approx(fine.end[own], rel=0.01, abs=1e-3 * most)
    assert quick.end[:n] == pytest.approx(fine.end[:n], abs=0.3)
    assert np.abs(quick.intake - fine.intake)[seen.boost].max() < 0.1


def test_spacing_is_the_samples_own():
    """Every second sample of an evenly sampled plant, told so: the same answer as a plant with the longer step."""
    build = build_of("tern/air")
    demand = sample(DRIVE, build)
    twice = thinned(demand, replace(DRAWN, every=2 * DRAWN.every))
    plant = assemble(build, twice)
    told = replace(plant, arrays=plant.arrays._replace(step=0.5 * plant.arrays.step))
    spacing = np.full(len(twice.time) - 1, 2.0)
    assert solve(told, spacing=spacing).intake == pytest.approx(solve(plant).intake, abs=1e-9)


@pytest.mark.parametrize("name", ["tern/water", "tern/air", "plover/build", "heron/two_stage"])
def test_bands_are_those_of_fine_runs(name):
    """Percentiles of draws as they are made, against the same draws run as a forecast is: within 0.3 K and 0.5 %."""
    build, n = build_of(name), 8
    bands = simulate_many(build, DRIVE, n)
    inputs = uncertain_inputs(build, DRIVE)
    rows = values_of(inputs, scores(len(inputs), n))
    fine = [figures(run(*drawn(build, DRIVE, inputs, row), FINE)) for row in rows]
    for figure in ("intake_max", "sensor_max", "limits.0", *(key for key in fine[0] if key.startswith("coolant_max"))):
        exact = np.percentile([one[figure] for one in fine], (10.0, 50.0, 90.0))
        assert bands.figures[figure] == pytest.approx(exact, abs=0.3), figure
    exact = np.percentile([one["power_mean"] for one in fine], (10.0, 50.0, 90.0))
    assert bands.figures["power_mean"] == pytest.approx(exact, rel=0.005)


def test_passes_are_driven_with_the_power_that_heat_leaves():
    """Bands of a session of passes lie about its forecast: with nothing uncertain they are the forecast itself."""
    whole = load_session(EXAMPLES / "sessions" / "standing-passes.toml")
    passes = next(phase for phase in whole.phases if phase.kind == "pass")
    session = replace(whole, phases=(replace(passes, repeat=2, rest=30.0),), groups={}, limits=())
    build = build_of("plover/build")
    forecast = simulate(build, session)
    assert forecast.shares
    found = simulate_many(build, session, 2, forecast=forecast, inputs=())
    assert found.shares == forecast.shares
    assert found.outcomes["intake_max"] == pytest.approx([forecast.intake[forecast.peak]] * 2, abs=1e-9)
    own = run(build, session, DRAWN, shares=forecast.shares).demand.runs
    assert [one.time for one in own] == pytest.approx([one.run.time for one in forecast.runs], abs=1e-9)


def test_workers_are_there_once_a_pool_is_made():
    """They are forked before a program starts threads of its own, not at the first question."""
    if not workers.warm():
        pytest.skip("this system or machine runs draws in one process")
    threads = [threading.Thread(target=time.sleep, args=(0.2,)) for _ in range(2)]
    for thread in threads:
        thread.start()
    pids = set(workers.on_all_cores(own_pids, None, list(range(64))))
    for thread in threads:
        thread.join()
    assert os.getpid() not in pids
    assert 1 <= len(pids) <= workers.cores()


def own_pids(shared: None, jobs: list[int]) -> list[int]:
    return [os.getpid()] * len(jobs)
