"""Long work of the page: in threads of its own, with progress, time left, partial results, and a stop.

Here: `Jobs`, `Job`, `Report`, `Stopped`.  What the work is, is the caller's: a function that is handed a `Report` and
tells it how far it is; every word said is a chance to be stopped.  The same work asked for twice is one job.
"""

from __future__ import annotations

import itertools
import queue
import threading
import time
import traceback
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from coldside.errors import BadInput, ColdsideError, Internal

WORKERS = 2
MOST_KEPT = 40  # finished jobs that can still be asked for
EARLY = 0.1  # share of the work below which no time left is told


class Stopped(Exception):
    """Somebody asked the job to stop."""


@dataclass(frozen=True)
class Job:
    """What a job is at one moment.

    `state` is "running", "done", "stopped" or "failed"; `fraction` 0 to 1; `left` s or None where it is not known yet;
    `pieces` the partial results by name, each with a number that grows when it is published again; `error` what went
    wrong; `version` grows with every change.
    """

    id: str
    kind: str
    key: str
    state: str
    fraction: float
    words: str
    seconds: float
    left: float | None
    pieces: Mapping[str, Any]
    error: ColdsideError | None
    version: int


@dataclass
class _Running:
    """The changing side of a job; guarded by `Jobs`' condition."""

    id: str
    kind: str
    key: str
    begun: float
    state: str = "running"
    fraction: float = 0.0
    words: str = "waiting for its turn"
    ended: float | None = None
    pieces: dict[str, Any] = field(default_factory=dict)
    error: ColdsideError | None = None
    version: int = 0
    stop: bool = False


class Report:
    """How a job's work tells of itself."""

    def __init__(self, jobs: Jobs, running: _Running) -> None:
        self._jobs, self._running = jobs, running

    def progress(self, fraction: float, words: str = "") -> None:
        """How far the work is (0 to 1), in words.  Raises Stopped where it was asked to stop."""
        with self._jobs.news:
            running = self._running
            running.fraction = min(max(fraction, running.fraction), 1.0)
            running.words = words or running.words
            self._jobs.changed(running)
            if running.stop:
                raise Stopped

    def piece(self, name: str, value: Any) -> None:
        """Publish a partial result.  Raises Stopped where the work was asked to stop, the piece being published."""
        with self._jobs.news:
            self._running.pieces[name] = value
            self._jobs.changed(self._running)
            if self._running.stop:
                raise Stopped


class Jobs:
    """All jobs of a page.  `clock` gives seconds."""

    def __init__(self, workers: int = WORKERS, clock: Callable[[], float] = time.monotonic) -> None:
        self.news = threading.Condition(threading.RLock())
        self.clock = clock
        self._waiting: queue.SimpleQueue[tuple[_Running, Callable[[Report], None]]] = queue.SimpleQueue()
        for number in range(workers):  # daemons: whoever ends the page does not wait for what still runs
            threading.Thread(target=self._work, name=f"coldside-job-{number}", daemon=True).start()
        self._jobs: OrderedDict[str, _Running] = OrderedDict()
        self._ids = itertools.count(1)
        self._closed = False

    def start(self, kind: str, key: str, run: Callable[[Report], None]) -> Job:
        """Begin a job, or find the one of the same kind and key that runs or is done."""
        with self.news:
            for running in self._jobs.values():
                if (running.kind, running.key) == (kind, key) and running.state in ("running", "done"):
                    return self._seen(running)
            if self._closed:
                raise BadInput("the page is being closed")
            running = _Running(f"{kind}-{next(self._ids)}", kind, key, self.clock())
            self._jobs[running.id] = running
            self._forget()
            self._waiting.put((running, run))
            return self._seen(running)

    def get(self, ident: str, after: int = -1, timeout: float = 0.0) -> Job:
        """A job as it is; waits up to `timeout` s for something newer than version `after`.  BadInput: none such."""
        deadline = time.monotonic() + timeout
        with self.news:
            while True:
                running = self._jobs.get(ident)
                if running is None:
                    raise BadInput("this work is no longer known; reload the page")
                left = deadline - time.monotonic()
                if running.version > after or running.state != "running" or left <= 0.0 or self._closed:
                    return self._seen(running)
                self.news.wait(left)

    def stop(self, ident: str) -> None:
        """Ask a job to stop at its next word; one that ended, or is none, stays as it is."""
        with self.news:
            running = self._jobs.get(ident)
            if running is not None and running.state == "running":
                running.stop = True
                running.words = "stopping"
                self.changed(running)

    def close(self) -> None:
        """Ask all to stop, and wait for none."""
        with self.news:
            self._closed = True
            for ident in self._jobs:
                self.stop(ident)
            self.news.notify_all()

    def changed(self, running: _Running) -> None:
        """Something of a job is new."""
        running.version += 1
        self.news.notify_all()

    def _work(self) -> None:
        while True:
            self._run(*self._waiting.get())

    def _run(self, running: _Running, run: Callable[[Report], None]) -> None:
        report = Report(self, running)
        state, error, words = "done", None, ""
        try:
            report.progress(0.0, "starting")
            run(report)
        except Stopped:
            state, words = "stopped", "stopped; what was found stays"
        except ColdsideError as fault:
            state, error, words = "failed", fault, "not to be reckoned"
            if isinstance(fault, Internal):
                traceback.print_exc()
        except Exception as fault:
            traceback.print_exc()
            state, words = "failed", "our fault"
            error = Internal(" ".join(f"{type(fault).__name__}: {fault}".split())[:200])
        with self.news:
            running.state, running.error, running.ended = state, error, self.clock()
            running.words = words or running.words
            if state == "done":
                running.fraction = 1.0
            self.changed(running)

    def _seen(self, running: _Running) -> Job:
        seconds = (self.clock() if running.ended is None else running.ended) - running.begun
        left = None
        if running.state == "running" and running.fraction > EARLY:
            left = seconds * (1.0 - running.fraction) / running.fraction
        return Job(
            running.id,
            running.kind,
            running.key,
            running.state,
            running.fraction,
            running.words,
            seconds,
            left,
            dict(running.pieces),
            running.error,
            running.version,
        )

    def _forget(self) -> None:
        ended = [ident for ident, running in self._jobs.items() if running.state != "running"]
        for ident in ended[: max(len(ended) - MOST_KEPT, 0)]:
            del self._jobs[ident]
