"""Cars side by side, as the drafts have them, and what has been reckoned of them so far.

Here: `Beside`, `beside_of`, `whole`.  What differs comes first, then what happens with dead parts, then how sure it all
is.  What is not here: words (`explore/compare_words.py`, `sheet/offer.py`), the place (`places/beside.py`).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from coldside.build.model import Build
from coldside.duty.model import Session
from coldside.errors import BadInput
from coldside.explore.bands import simulate_many
from coldside.explore.compare import Comparison, check_number, compared, paired_inputs, seen
from coldside.explore.workers import watched
from coldside.page.cases import Stage
from coldside.page.jobs import Job, Report
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast

if TYPE_CHECKING:
    from coldside.page.desk import Desk

SORT = "beside"
_count = itertools.count(1)


@dataclass
class Beside:
    """Two to four cars in one session.  `found` is None until every forecast is there."""

    key: str
    build_files: tuple[str, ...]
    session_file: str
    builds: tuple[Build, ...]
    session: Session
    forecasts: dict[int, Forecast] = field(default_factory=dict)
    found: Comparison | None = None
    number: int = field(default_factory=lambda: next(_count))

    def comparison(self) -> Comparison:
        """What is known so far.  BadInput where that is nothing."""
        if self.found is None:
            raise BadInput("these cars are not reckoned yet")
        return self.found


def beside_of(desk: Desk, build_files: Sequence[str], session_file: str) -> Beside:
    """The cars of these files as they are in the editor now.  BadInput for their number, or where one does not read."""
    files = [*dict.fromkeys(build_files)]
    check_number(len(files))
    texts = [desk.drafts.open(name).text for name in (*files, session_file)]
    key = desk.mark(*zip((*files, session_file), texts, strict=True))
    held: Beside | None = desk.recall(SORT, key)
    if held is not None:
        return held
    builds = tuple(desk.build(name, text) for name, text in zip(files, texts, strict=False))
    session = desk.session(session_file, *builds, text=texts[-1])
    made = Beside(key, (*files,), session_file, builds, session)
    kept: Beside = desk.remember(SORT, key, lambda: made)
    return kept


def held_at(desk: Desk, key: str) -> Beside:
    """The cars of a key.  BadInput when the page is older than what the server still holds."""
    found: Beside | None = desk.recall(SORT, key)
    if found is None:
        raise BadInput("this comparison is no longer held; reload the page")
    return found


def whole(desk: Desk, cars: Beside) -> Job:
    """Reckon all of it; what is found replaces what was known, and a piece says so."""
    return desk.jobs.start(SORT, f"{cars.key}-{cars.number}", lambda report: _whole(cars, report))


def _whole(cars: Beside, report: Report) -> None:
    number = len(cars.builds)
    for k, build in enumerate(cars.builds):
        low = 0.02 + 0.2 * k / number
        report.progress(low, f"solving {build.name}")
        if k not in cars.forecasts:
            cars.forecasts[k] = simulate(
                build, cars.session, progress=Stage(report, low, low + 0.2 / number, build.name)
            )
    forecasts = [cars.forecasts[k] for k in range(number)]
    if cars.found is None:
        cars.found = compared(forecasts, [None] * number, losses=False)
    report.piece("forecast", 1)
    if not any(entry.losses for entry in cars.found.entries):
        report.progress(0.25, "with pumps and fans dead")
        cars.found = compared(forecasts, [None] * number)
    report.piece("dead", 1)
    if not cars.found.draws:
        bands = []
        inputs = paired_inputs(cars.builds, cars.session)
        for k, (build, forecast) in enumerate(zip(cars.builds, forecasts, strict=True)):
            words = f"how sure: drawing the uncertain values of {build.name} anew"
            stage = Stage(report, 0.35 + 0.6 * k / number, 0.35 + 0.6 * (k + 1) / number, words)
            with watched(stage.count):
                bands.append(simulate_many(build, cars.session, forecast=forecast, inputs=inputs[k], measure=seen))
        report.progress(0.95, "putting them side by side")
        cars.found = compared(forecasts, bands)
    report.piece("bands", 1)
    report.progress(1.0, "reckoned")
