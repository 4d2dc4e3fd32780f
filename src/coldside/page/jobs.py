"""Long work: started once, watched from any tab, stopped when nobody wants it any more.

What is here: `Jobs`, `Job`, `Report`, `Stopped`.  What is not: the work itself.

A job runs in one of a few threads.  It tells how far it is and publishes pieces of its result as they come; a
watcher asks again with the version that it knows and is answered when there is something newer.  Stopping is asked
for: the work notices when it next reports.
"""

from __future__ import annotations

import queue
import secrets
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from coldside.errors import BadInput
from coldside.explore.workers import watched

RUNNING, DONE, STOPPED, FAILED = "running", "done", "stopped", "failed"
STOPPING = "stopping"  # words of a job that was asked to stop and has not noticed yet
WORKERS = 2
MOST_FINISHED = 32  # jobs remembered after their end
LONGEST_WAIT = 30.0  # s that a watcher is kept waiting
EARLY = 0.02  # share of the work before which no time left is told


class Stopped(Exception):
    """Raised inside a job that was asked to stop, which is no fault; let it through."""


@dataclass(frozen=True)
class Job:
    """How one job stands.

    `fraction` 0 to 1; `words` what it is doing; `seconds` since it began; `left_s` s that it may still take, None
    where that is not known; `pieces` what it has published; `error` the fault of a failed one; `version` grows with
    every change.
    """

    id: str
    kind: str
    key: str
    state: str = RUNNING
    fraction: float = 0.0
    words: str = ""
    seconds: float = 0.0
    left_s: float | None = None
    pieces: Mapping[str, Any] = field(default_factory=dict)
    error: Exception | None = None
    version: int = 0


class Report:
    """What the work is given to tell of itself."""

    def __init__(self, jobs: Jobs, job_id: str) -> None:
        self._jobs = jobs
        self._id = job_id

    def progress(self, fraction: float, words: str) -> None:
        """Say how far the work is (0 to 1, never back) and what comes now.  Raises Stopped when asked to stop."""
        self._jobs._told(self._id, fraction, words)

    def piece(self, name: str, value: Any) -> None:
        """Publish a part of the result under a name.  Raises Stopped when asked to stop."""
        self._jobs._published(self._id, name, value)

    def check(self, *_: object) -> None:
        """Say nothing new.  Raises Stopped when asked to stop."""
        self._jobs._asked(self._id)


class _Entry:
    """A job's record: what is shown, and whether it is asked to stop."""

    def __init__(self, job: Job, began: float) -> None:
        self.job = job
        self.began = began
        self.ended: float | None = None
        self.stopping = False
        self.begun = False


class Jobs:
    """All jobs of the page.  `clock` gives seconds that only grow."""

    def __init__(self, workers: int = WORKERS, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._changed = threading.Condition()
        self._entries: dict[str, _Entry] = {}
        self._closed = False
        self._waiting: queue.SimpleQueue[tuple[_Entry, Callable[[Report], None]]] = queue.SimpleQueue()
        for number in range(workers):  # daemons: whoever ends the page does not wait for what still runs
            threading.Thread(target=self._serve, name=f"job-{number}", daemon=True).start()

    def start(self, kind: str, key: str, run: Callable[[Report], None]) -> Job:
        """Start `run` in a thread; a job of the same kind and key that is running already is returned instead.

        What `run` returns is not looked at: results are published by `Report.piece`.  What it raises becomes the job's
        `error`.
        """
        with self._changed:
            for entry in self._entries.values():
                if (entry.job.kind, entry.job.key, entry.job.state) == (kind, key, RUNNING) and not entry.stopping:
                    return self._shown(entry)
            entry = _Entry(Job(secrets.token_urlsafe(9), kind, key, words="waiting to begin"), self._clock())
            self._entries[entry.job.id] = entry
            self._drop_oldest()
            self._waiting.put((entry, run))
            return self._shown(entry)

    def get(self, job_id: str, after: int | None = None, timeout: float = 20.0) -> Job:
        """How a job stands; with `after`, waits until its version is higher, it ends, or `timeout` [s] has passed.

        BadInput for a job that is not known (any more).
        """
        end = time.monotonic() + min(max(timeout, 0.0), LONGEST_WAIT)
        with self._changed:
            while True:
                entry = self._entries.get(job_id)
                if entry is None:
                    raise BadInput("this work is not known any more; start it again")
                left = end - time.monotonic()
                known = after is not None and entry.job.version <= after and entry.job.state == RUNNING
                if not known or left <= 0.0 or self._closed:
                    return self._shown(entry)
                self._changed.wait(left)

    def running(self) -> list[Job]:
        """The jobs that are not finished, oldest first."""
        with self._changed:
            return [self._shown(entry) for entry in self._entries.values() if entry.job.state == RUNNING]

    def stop(self, job_id: str) -> Job:
        """Ask a job to stop; one that has not begun yet never does.  BadInput for a job that is not known."""
        with self._changed:
            entry = self._entries.get(job_id)
            if entry is None:
                raise BadInput("this work is not known any more")
            if entry.job.state == RUNNING and not entry.stopping:
                entry.stopping = True
                self._set(entry, words=STOPPING)
                if not entry.begun:
                    self._end(entry, STOPPED, None)
            return self._shown(entry)

    def close(self) -> None:
        """Ask all to stop and wait for none; whoever waits for news is answered."""
        for job in self.running():
            self.stop(job.id)
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    # -- called by the work --------------------------------------------------------------------------
    def _serve(self) -> None:
        while True:
            entry, run = self._waiting.get()
            with self._changed:
                if entry.job.state != RUNNING:  # stopped while it waited
                    continue
                entry.begun, entry.began = True, self._clock()
            self._work(entry, run)

    def _work(self, entry: _Entry, run: Callable[[Report], None]) -> None:
        state = DONE
        error: Exception | None = None
        try:
            report = Report(self, entry.job.id)
            with watched(report.check):
                run(report)
        except Stopped:
            state = STOPPED
        except Exception as fault:  # whoever watches the job is told; there is nobody else to tell
            state, error = FAILED, fault
        with self._changed:
            self._end(entry, state, error)

    def _end(self, entry: _Entry, state: str, error: Exception | None) -> None:
        entry.ended = self._clock()
        words = {DONE: "done", STOPPED: "stopped", FAILED: "did not work"}[state]
        fraction = 1.0 if state == DONE else entry.job.fraction
        self._set(entry, state=state, error=error, words=words, fraction=fraction)

    def _told(self, job_id: str, fraction: float, words: str) -> None:
        with self._changed:
            entry = self._entries[job_id]
            _go_on(entry)
            self._set(entry, fraction=min(max(fraction, entry.job.fraction), 1.0), words=words)

    def _asked(self, job_id: str) -> None:
        with self._changed:
            _go_on(self._entries[job_id])

    def _published(self, job_id: str, name: str, value: Any) -> None:
        with self._changed:
            entry = self._entries[job_id]
            _go_on(entry)
            self._set(entry, pieces={**entry.job.pieces, name: value})

    def _set(self, entry: _Entry, **changed: Any) -> None:
        entry.job = replace(entry.job, version=entry.job.version + 1, **changed)
        self._changed.notify_all()

    def _shown(self, entry: _Entry) -> Job:
        job = entry.job
        seconds = (self._clock() if entry.ended is None else entry.ended) - entry.began
        left = seconds * (1.0 - job.fraction) / job.fraction if job.fraction > EARLY else None
        return replace(job, seconds=seconds, left_s=left if job.state == RUNNING else 0.0)

    def _drop_oldest(self) -> None:
        finished = [job_id for job_id, entry in self._entries.items() if entry.job.state != RUNNING]
        for job_id in finished[: max(len(finished) - MOST_FINISHED, 0)]:
            del self._entries[job_id]


def _go_on(entry: _Entry) -> None:
    if entry.stopping:
        raise Stopped
