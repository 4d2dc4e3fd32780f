"""What bands cost: draws as they are made against a plain loop of full forecasts, in one interleaved run.

    python bench/bands.py                          the bundled half hour on three builds
    python bench/bands.py tern/water track         one build, one session

Printed are processor seconds of one draw and of one full forecast (medians, taken in turn), their ratio, and the time
on the clock of 64 draws over all cores with the workers already there.  Clocks are a busy machine's; ratios are not.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from coldside.build.files import load_build
from coldside.duty.phases import load_session
from coldside.explore.bands import DRAWS, simulate_many
from coldside.explore.clocked import Clock
from coldside.explore.draws import drawn, scores, uncertain_inputs, values_of
from coldside.explore.outcome import DRAWN, figures, preview, run
from coldside.explore.workers import cores
from coldside.judge.verdict import judge
from coldside.plant.forecast import simulate

EXAMPLES = Path(__file__).parent.parent / "examples"
HALF_HOUR = "traffic-then-pull"
BUILDS = ("tern/water", "tern/air", "plover/build")
ROUNDS = 7


def spent(work: Callable[[], object], clock: Callable[[], float] = time.process_time) -> float:
    """Seconds of one call, on the processor's clock unless another is given."""
    begin = clock()
    work()
    return clock() - begin


def one(name: str, session_name: str) -> None:
    """One build under one session."""
    build = load_build(EXAMPLES / f"{name}.toml")
    session = load_session(EXAMPLES / "sessions" / f"{session_name}.toml")
    forecast = simulate(build, session)
    simulate_many(build, session, 4, forecast=forecast)  # workers and compiled code are there from here on
    inputs = uncertain_inputs(build, session)
    clock = Clock.of(forecast)
    rows = iter(values_of(inputs, scores(len(inputs), 2 * ROUNDS)))
    draws, wholes, previews = [], [], []
    for _ in range(ROUNDS):
        for _ in range(2):
            draw = drawn(build, session, inputs, next(rows))
            draws.append(spent(lambda d=draw: figures(run(*d, DRAWN, clock=clock))))
        wholes.append(spent(lambda: judge(simulate(build, session))))
        previews.append(spent(lambda: judge(preview(build, session))))
    on_clock = min(spent(lambda: simulate_many(build, session, forecast=forecast), time.perf_counter) for _ in range(3))
    draw_s, whole_s, preview_s = (float(np.median(found)) for found in (draws, wholes, previews))
    print(
        f"{name} {session_name}, {forecast.time[-1] / 60.0:.0f} min, {len(inputs)} uncertain inputs: "
        f"a draw {1e3 * draw_s:.0f} ms, a forecast with its verdict {1e3 * whole_s:.0f} ms "
        f"({whole_s / draw_s:.0f} times), a preview with its verdict {1e3 * preview_s:.0f} ms; "
        f"{DRAWS} draws on {cores()} cores {on_clock:.2f} s on the clock, of processor time alone "
        f"{DRAWS * draw_s / cores():.2f} s",
        flush=True,
    )


if __name__ == "__main__":
    if sys.argv[1:]:
        one(*sys.argv[1:])
    else:
        for build_name in BUILDS:
            one(build_name, HALF_HOUR)
