"""Many runs on all cores: a pool of processes that stays for the next question.

What is here: `warm` and `on_all_cores`.  Putting a plant together is Python and NumPy, which one process
cannot do twice at a time, so the draws are shared among processes.  These are forked from the running one
and so find all that is imported and compiled; where that is not safe (other threads run, or the system
does not fork) everything runs in this process instead, with the same result.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any

PIECES = 4  # jobs of a question for every core: the last one to end then keeps the others waiting for little

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
        found = ProcessPoolExecutor(
            cores(), mp_context=multiprocessing.get_context("fork"), initializer=_leave_interrupts
        )
        _pools[os.getpid()] = found
        found.submit(cores).result()  # the first job is what forks them, all at once: now, while no other thread runs
    return found


def _leave_interrupts() -> None:
    """Ctrl-C is the parent's to answer; a worker that answers it too would print a traceback of its own."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def on_all_cores(function: Callable[[Any, Sequence[Any]], list[Any]], shared: Any, jobs: Sequence[Any]) -> list[Any]:
    """`function(shared, some jobs)` over all jobs; results in the order of the jobs.

    `function` is a module's own function and everything it is given or gives can be pickled.  What it
    raises is raised here.
    """
    pool = _pool()
    if pool is None or len(jobs) < 2:
        return function(shared, jobs)
    share = min(PIECES * cores(), len(jobs))
    results: list[Any] = [None] * len(jobs)
    try:
        waiting = [pool.submit(function, shared, jobs[k::share]) for k in range(share)]
        for k, future in enumerate(waiting):
            results[k::share] = future.result()
    except BrokenProcessPool:  # a worker was killed (out of memory, say): what it had to do is done here
        _pools.pop(os.getpid(), None)
        return function(shared, jobs)
    return results
