"""Many runs on all cores: a pool of processes that stays for the next question.

What is here: `warm`, `on_all_cores` and `watched`.  Putting a plant together is Python and NumPy, which one process
cannot do twice at a time, so the draws are shared among processes.  These are forked from the running one
and so find all that is imported and compiled; where that is not safe (other threads run, or the system
does not fork) everything runs in this process instead, with the same result.
"""

from __future__ import annotations

import contextlib
import gc
import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextvars import ContextVar
from typing import Any

ASKED_EVERY = 0.25  # s
TOLD_TIMES = 16
PIECES = 4  # jobs of a question for every core: the last one to end then keeps the others waiting for little
Watcher = Callable[[int, int], None]  # is told how many jobs are done, and of how many

_watcher: ContextVar[Watcher | None] = ContextVar("watcher", default=None)
_pools: dict[int, ProcessPoolExecutor] = {}  # by the process that made it: a forked child must not use its parent's


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def warm() -> bool:
    """Make the pool, if it can be made here, and say whether there is one.

    A program that starts threads (a page server) calls this before it does, with the kernel already run.
    """
    return _pool() is not None


def _pool() -> ProcessPoolExecutor | None:
    found = _pools.get(os.getpid())
    if found is None:
        forks = "fork" in multiprocessing.get_all_start_methods() and sys.platform != "darwin"
        if not forks or cores() < 2 or threading.active_count() > 1 or multiprocessing.parent_process() is not None:
            return None
        found = ProcessPoolExecutor(cores(), mp_context=multiprocessing.get_context("fork"), initializer=_begin)
        _pools[os.getpid()] = found
        found.submit(cores).result()  # the first job is what forks them, all at once: now, while no other thread runs
    return found


def _begin() -> None:
    """Ctrl-C is the parent's to answer; a worker that answers it too would print a traceback of its own.

    What was there before the fork is the parent's as well: a worker's collector of garbage need not walk through it.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.freeze()


@contextlib.contextmanager
def watched(told: Watcher) -> Iterator[None]:
    """Meanwhile `told` is called now and then by this thread's `on_all_cores`; what it raises ends the work."""
    token = _watcher.set(told)
    try:
        yield
    finally:
        _watcher.reset(token)


def on_all_cores(function: Callable[[Any, Sequence[Any]], list[Any]], shared: Any, jobs: Sequence[Any]) -> list[Any]:
    """`function(shared, some jobs)` over all jobs; results in the order of the jobs.

    `function` is a module's own function and everything it is given or gives can be pickled.  What it
    raises is raised here.
    """
    tell = _watcher.get() or (lambda done, of: None)
    pool = _pool()
    if pool is None or len(jobs) < 2:
        return _here(function, shared, jobs, tell)
    share = min(PIECES * cores(), len(jobs))
    results: list[Any] = [None] * len(jobs)
    waiting: list[Future[list[Any]]] = []
    try:
        waiting = [pool.submit(function, shared, jobs[k::share]) for k in range(share)]
        pending = set(waiting)
        while pending:  # whoever watches is asked now and then, so that the work can be ended in the middle of a piece
            tell(len(jobs) * (share - len(pending)) // share, len(jobs))
            _, pending = wait(pending, timeout=ASKED_EVERY, return_when=FIRST_COMPLETED)
        for k, future in enumerate(waiting):
            results[k::share] = future.result()
    except BrokenProcessPool:  # a worker was killed (out of memory, say): what it had to do is done here
        _pools.pop(os.getpid(), None)
        return _here(function, shared, jobs, tell)
    except BaseException:
        for future in waiting:
            future.cancel()
        raise
    return results


def _here(function: Callable[[Any, Sequence[Any]], list[Any]], shared: Any, jobs: Sequence[Any], tell: Watcher) -> list:
    """All jobs in this process, a few at a time where somebody watches."""
    few = len(jobs) if _watcher.get() is None else max(len(jobs) // TOLD_TIMES, 1)
    found: list[Any] = []
    for done in range(0, len(jobs), max(few, 1)):
        tell(done, len(jobs))
        found += function(shared, jobs[done : done + few])
    return found
