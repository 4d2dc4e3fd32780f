"""A case: one build in one session, as the drafts have them, and what has been reckoned of it so far.

Here: `Case` and `Cases`.  The forecast comes first, then what takes longer (bands, changes, how alike runs are), each
put into the case as it is found, so that a place shows what there is.  What is not here: any drawing or words.
"""

from __future__ import annotations

import contextlib
import threading
from collections import OrderedDict
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from coldside.build.model import Build
from coldside.duty.model import Session
from coldside.errors import BadInput
from coldside.explore.bands import simulate_many
from coldside.explore.changes import what_to_change
from coldside.explore.workers import watched
from coldside.judge.consistency import consistency
from coldside.judge.verdict import Verdict
from coldside.page.jobs import Job, Report
from coldside.plant.results import Forecast
from coldside.sheet.answer import judged
from coldside.sheet.asked import NOTHING, Asked

if TYPE_CHECKING:
    from coldside.page.desk import Desk

MOST_CASES = 12
STAGES = ("forecast", "bands", "changes", "consistency")  # in the order in which they become known


@dataclass
class Case:
    """One build in one session.  `forecast` and `verdict` are None until the first stage is through."""

    key: str
    build_file: str
    session_file: str
    build_text: str
    session_text: str
    build: Build
    session: Session
    forecast: Forecast | None = None
    verdict: Verdict | None = None
    asked: Asked = NOTHING
    kept: int | None = None  # id in the store
    lock: threading.Lock = field(default_factory=threading.Lock)

    def answer(self) -> tuple[Forecast, Verdict, Asked]:
        """What is known so far, as one consistent set."""
        with self.lock:
            if self.forecast is None or self.verdict is None:
                raise LookupError("not reckoned yet")
            return self.forecast, self.verdict, self.asked

    def learn(self, forecast: Forecast, verdict: Verdict, asked: Asked) -> None:
        """Take in what was found."""
        with self.lock:
            self.forecast, self.verdict, self.asked = forecast, verdict, asked


class Cases:
    """The cases looked at last, by what their files hold."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._held: OrderedDict[str, Case] = OrderedDict()
        self._last: dict[tuple[str, str], str] = {}  # build and session -> the job that reckons them
        self._lock = threading.Lock()

    def of(self, build_file: str, session_file: str) -> Case:
        """The case of two files as they are in the editor now.  BadInput when one does not read."""
        build_text = self.desk.drafts.open(build_file).text
        session_text = self.desk.drafts.open(session_file).text
        key = self.desk.mark((build_file, build_text), (session_file, session_text))
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                return self._held[key]
        build = self.desk.build(build_file, build_text)
        session = self.desk.session(session_file, build, text=session_text)
        made = Case(key, build_file, session_file, build_text, session_text, build, session)
        return self.put(made)

    def put(self, case: Case) -> Case:
        """Hold a case; the one held already where there is one."""
        with self._lock:
            held = self._held.setdefault(case.key, case)
            self._held.move_to_end(case.key)
            while len(self._held) > MOST_CASES:
                self._held.popitem(last=False)
            return held

    def held(self, key: str) -> Case | None:
        """The case of a key, or None where it is no longer held."""
        with self._lock:
            return self._held.get(key)

    def reopened(self, kept: int) -> Case:
        """A forecast that was kept, as it was.  BadInput where it is not there any more or cannot be read."""
        key = f"kept-{kept}"
        held = self.held(key)
        if held is not None:
            return held
        opened = self.desk.kept.open(kept)
        names, texts = list(opened.texts), list(opened.texts.values())
        if not names:
            raise BadInput("this forecast was kept without the files that it was made from")
        forecast = opened.forecast
        made = Case(key, names[0], names[-1], texts[0], texts[-1], forecast.build, forecast.session, kept=kept)
        made.learn(forecast, opened.verdict, opened.asked)
        return self.put(made)

    def shown(self, case: Case) -> Job:
        """All of a kept case at once, nothing reckoned anew."""

        def run(report: Report) -> None:
            for stage in STAGES:
                report.piece(stage, 1)
            report.progress(1.0, "as it was kept")

        return self.desk.jobs.start("verdict", case.key, run)

    def forecast(self, case: Case) -> Case:
        """The case with its forecast and verdict, reckoned now if they are not yet."""
        if case.forecast is None:
            case.learn(*self.desk.solver.full(case.build, case.session))
        return case

    def whole(self, case: Case) -> Job:
        """Reckon all of a case, the quick part first; the pieces published are named by what has become known.

        An older state of the same files is not reckoned any longer: nobody looks at it.
        """
        files = (case.build_file, case.session_file)
        job = self.desk.jobs.start("verdict", case.key, lambda report: self._whole(case, report))
        with self._lock:
            older, self._last[files] = self._last.get(files), job.id
        if older is not None and older != job.id:
            with contextlib.suppress(BadInput):  # it ended long ago and is not known any more
                self.desk.jobs.stop(older)
        return job

    def _whole(self, case: Case, report: Report) -> None:
        def within(low: float, high: float, words: str) -> Stage:
            report.progress(low, words)
            return Stage(report, low, high, words)

        stage = within(0.02, 0.2, "solving the session")
        if case.forecast is None:
            case.learn(*self.desk.solver.full(case.build, case.session, stage.share))
        report.piece("forecast", 1)
        forecast, _, asked = case.answer()
        if asked.bands is None:
            with watched(within(0.2, 0.5, "how sure: drawing the uncertain values anew").count):
                bands = simulate_many(forecast.build, forecast.session, forecast=forecast)
            asked = replace(asked, bands=bands)
            case.learn(forecast, judged(forecast, asked), asked)
        report.piece("bands", 1)
        if asked.changes is None:
            with watched(within(0.5, 0.85, "single changes, each run again").count):
                asked = replace(asked, changes=what_to_change(forecast))
            case.learn(forecast, judged(forecast, asked), asked)
        report.piece("changes", 1)
        if asked.consistency is None:
            stage = within(0.85, 0.98, "repeat for repeat")
            asked = replace(asked, consistency=consistency(forecast, progress=stage))
            case.learn(forecast, judged(forecast, asked), asked)
        report.piece("consistency", 1)
        if case.kept is None:
            case.kept = self.desk.keep(case)
        report.progress(1.0, "reckoned and kept")


@dataclass(frozen=True)
class Stage:
    """Progress of one stage among several; every word said lets the work be stopped."""

    report: Report
    low: float
    high: float
    words: str

    def share(self, fraction: float, words: str) -> None:
        """How far the stage is, 0 to 1."""
        self.report.progress(self.low + fraction * (self.high - self.low), words or self.words)

    def count(self, done: int, number: int) -> None:
        """How many of some runs are done."""
        self.share(done / max(number, 1), self.words)

    def __call__(self, words: str) -> None:
        """Take the words of whoever works; raises Stopped when that was asked for."""
        said = words.strip().rstrip(":")
        self.report.progress((self.low + self.high) / 2, said or self.words)
