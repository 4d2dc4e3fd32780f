"""Long work: once, watched, stopped, remembered for a while."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Iterator

import pytest

from coldside.errors import BadInput
from coldside.explore.workers import on_all_cores, watched
from coldside.page.jobs import MOST_FINISHED, Job, Jobs, Report


@pytest.fixture
def jobs() -> Iterator[Jobs]:
    made = Jobs()
    yield made
    made.close()


def ended(jobs: Jobs, job: Job) -> Job:
    while job.state == "running":
        job = jobs.get(job.id, after=job.version)
    return job


def test_work_tells_how_far_it_is_and_what_it_has(jobs: Jobs) -> None:
    go, seen = threading.Event(), []

    def work(report: Report) -> None:
        report.progress(0.25, "first")
        report.piece("half", {"a": 1})
        go.wait(10)
        report.progress(0.1, "never back")

    job = jobs.start("try", "k", work)
    while "half" not in job.pieces:
        job = jobs.get(job.id, after=job.version)
        seen.append(job.words)
    assert job.fraction == 0.25
    assert job.left_s is not None
    go.set()
    job = ended(jobs, job)
    assert (job.state, job.fraction, job.words, job.left_s, dict(job.pieces)) == (
        "done",
        1.0,
        "done",
        0.0,
        {"half": {"a": 1}},
    )
    assert "first" in seen


def test_the_same_work_is_not_started_twice(jobs: Jobs) -> None:
    go, ran = threading.Event(), []

    def work(_: Report) -> None:
        ran.append(1)
        go.wait(10)

    first = jobs.start("try", "k", work)
    assert jobs.start("try", "k", work).id == first.id
    assert jobs.start("try", "other", lambda _: None).id != first.id
    go.set()
    ended(jobs, first)
    assert len(ran) == 1
    again = jobs.start("try", "k", work)  # it is over: begun anew
    assert again.id != first.id
    ended(jobs, again)
    assert len(ran) == 2


def test_work_is_stopped_when_it_next_reports(jobs: Jobs) -> None:
    ready = threading.Event()

    def work(report: Report) -> None:
        report.piece("part", 1)
        ready.set()
        for _ in range(10_000):
            report.progress(0.5, "on and on")
            time.sleep(0.001)

    job = jobs.start("try", "k", work)
    ready.wait(10)
    assert jobs.stop(job.id).words == "stopping"
    # a new one of the same kind is not the old one that is on its way out
    other = jobs.start("try", "k", lambda _: None)
    assert other.id != job.id
    job = ended(jobs, jobs.get(job.id))
    assert (job.state, job.error, dict(job.pieces)) == ("stopped", None, {"part": 1})
    assert jobs.stop(job.id).state == "stopped"
    assert ended(jobs, other).state == "done"


def test_work_that_waits_for_a_worker_stops_at_once(jobs: Jobs) -> None:
    go, ran = threading.Event(), []
    for n in range(2):
        jobs.start("busy", str(n), lambda _: go.wait(10) and None)
    job = jobs.start("try", "k", lambda _: ran.append(1))
    assert (job.state, job.words) == ("running", "waiting to begin")
    assert jobs.stop(job.id).state == "stopped"
    go.set()
    assert not ran


def test_faults_are_kept_for_the_watcher(jobs: Jobs) -> None:
    def refuse(_: Report) -> None:
        raise BadInput("no")

    def break_(_: Report) -> None:
        raise ZeroDivisionError

    job = ended(jobs, jobs.start("try", "k", refuse))
    assert (job.state, str(job.error)) == ("failed", "no")
    job = ended(jobs, jobs.start("try", "z", break_))
    assert isinstance(job.error, ZeroDivisionError)


def test_a_watcher_waits_no_longer_than_asked(jobs: Jobs) -> None:
    go = threading.Event()
    job = jobs.start("try", "k", lambda _: go.wait(10) and None)
    while not (job := jobs.get(job.id)).seconds > 0.0:
        pass
    assert jobs.get(job.id, after=job.version + 5, timeout=0.01).state == "running"
    assert [one.id for one in jobs.running()] == [job.id]
    go.set()
    ended(jobs, job)
    with pytest.raises(BadInput, match="not known any more"):
        jobs.get("nonsense")
    with pytest.raises(BadInput, match="not known any more"):
        jobs.stop("nonsense")


def test_time_left_follows_from_what_is_done() -> None:
    now = [100.0]
    jobs, go, at = Jobs(clock=lambda: now[0]), threading.Event(), threading.Event()

    def work(report: Report) -> None:
        now[0] = 130.0
        report.progress(0.75, "x")
        at.set()
        go.wait(10)

    job = jobs.start("try", "k", work)
    at.wait(10)
    job = jobs.get(job.id)
    assert (job.seconds, job.left_s) == (30.0, 10.0)
    go.set()
    ended(jobs, job)
    jobs.close()


def test_old_ends_are_forgotten(jobs: Jobs) -> None:
    first = ended(jobs, jobs.start("try", "0", lambda _: None))
    for n in range(MOST_FINISHED + 1):
        ended(jobs, jobs.start("try", str(n), lambda _: None))
    with pytest.raises(BadInput):
        jobs.get(first.id)


def test_ending_the_page_waits_for_no_work() -> None:
    code = (
        "import time\nfrom coldside.page.jobs import Jobs\n"
        "jobs = Jobs()\njobs.start('try', 'k', lambda report: time.sleep(600))\ntime.sleep(0.1)\njobs.close()\n"
    )
    assert subprocess.run([sys.executable, "-c", code], timeout=60, check=False).returncode == 0


def squares(shared: list[int], jobs: list[int]) -> list[int]:
    shared.extend(jobs)
    return [job * job for job in jobs]


def test_many_runs_stop_between_two_of_them(jobs: Jobs) -> None:
    """Work that shares its runs out by `on_all_cores` need not tell anything itself to be stopped."""
    begun, go = threading.Event(), threading.Event()
    seen: list[int] = []

    def held(shared: list[int], these: list[int]) -> list[int]:
        begun.set()
        go.wait(10)
        return squares(shared, these)

    job = jobs.start("try", "k", lambda report: on_all_cores(held, seen, range(1000)) and None)
    assert begun.wait(10)
    jobs.stop(job.id)
    go.set()
    assert ended(jobs, job).state == "stopped"
    assert len(seen) < 1000


def test_who_watches_many_runs_is_told_how_many_are_done() -> None:
    told: list[tuple[int, int]] = []
    with watched(lambda done, number: told.append((done, number))):
        assert on_all_cores(squares, [], [3, 1, 2]) == [9, 1, 4]
    assert told == [(0, 3), (1, 3), (2, 3)]
    assert on_all_cores(squares, [], [3, 1, 2]) == [9, 1, 4]
    assert len(told) == 3
