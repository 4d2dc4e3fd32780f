"""Everything that is said of one build on one session: forecast, verdict, and what was asked for besides.

Here: `answer`, which commands and page call alike, `judged`, and `Wanted`.  Each part is made elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

from coldside.build.model import Build
from coldside.duty.model import Session
from coldside.errors import keys_of
from coldside.explore.bands import Bands, simulate_many
from coldside.explore.changes import what_to_change
from coldside.explore.failures import failures
from coldside.judge.consistency import consistency
from coldside.judge.corrections import reruns
from coldside.judge.proposal import propose, proposed, with_proposal
from coldside.judge.verdict import Verdict, judge
from coldside.judge.worst import at_worst
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from coldside.sheet.asked import Asked


class Wanted(NamedTuple):
    """What is asked for besides a forecast: draws of the uncertain values (0: none), how alike runs are, and so on."""

    draws: int = 0
    consistency: bool = False
    changes: bool = False
    corrections: bool = False


NO_MORE = Wanted()


def answer(
    build: Build,
    session: Session,
    wanted: Wanted = NO_MORE,
    *,
    progress: Callable[[str], None] = lambda _: None,
) -> tuple[Forecast, Verdict, Asked]:
    """Simulate and judge, and say what a dead pump, fan or hose does; without limits one is proposed, judged against.

    `progress` is told in words what is being done.  Raises as `simulate` does, naming the build's file.
    """
    with keys_of(build.file):
        forecast = simulate(build, session, progress=progress)
        proposal = None if session.limits else propose(forecast)
        if proposal is not None:
            forecast = replace(forecast, session=proposed(session, proposal))
        forecast = at_worst(forecast)
        bands = _bands(forecast, wanted.draws, progress) if wanted.draws else None
        alike = consistency(forecast, progress=progress) if wanted.consistency else None
        changes = None
        if wanted.changes:
            progress("  single changes, each run again")
            changes = what_to_change(forecast)
        corrected = reruns(forecast, progress=progress) if wanted.corrections else None
        failing = failures(forecast)
    asked = Asked(bands, alike, changes, failing, proposal, corrected)
    return forecast, judged(forecast, asked), asked


def judged(forecast: Forecast, asked: Asked) -> Verdict:
    """The verdict, as sure as the bands that were asked for make it, naming a proposed limit as such."""
    bands, proposal = asked.bands, asked.proposal
    verdict = judge(forecast) if bands is None else judge(forecast, bands=bands.figures, chances=bands.chances)
    return verdict if proposal is None else with_proposal(verdict, proposal)


def _bands(forecast: Forecast, draws: int, progress: Callable[[str], None]) -> Bands:
    """The forecast's session again with other numbers for every value that is not known exactly."""
    progress(f"  the uncertain values drawn {draws} times")
    return simulate_many(forecast.build, forecast.session, draws, forecast=forecast)
