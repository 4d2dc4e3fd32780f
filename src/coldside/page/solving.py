"""From the texts that are being edited to builds, sessions and forecasts.

Here: `check_build`, `check_session`, `build_of`, `session_of`, `Problem`, `Solver`.  The words of a refusal are the
readers' own; the forecast is the commands' own (`sheet/answer.py`).
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coldside.build.files import read_build
from coldside.build.model import Build
from coldside.duty.model import Session
from coldside.duty.phases import read_session
from coldside.errors import BadInput, ColdsideError, ManyBadInputs, keys_of
from coldside.judge.verdict import Verdict
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from coldside.sheet.answer import answer
from coldside.sheet.asked import Asked
from coldside.units import retold

MOST_READ = 24


@dataclass(frozen=True)
class Problem:
    """One fault of a text: file and line, dotted key (items counted from 1), and what is wrong."""

    where: str
    line: int | None
    key: str
    message: str

    def told(self, system: str) -> dict[str, Any]:
        """As data, the quantities that it names in the units chosen."""
        message = retold(self.message, system) if system == "us" else self.message
        where = Path(self.where.rpartition(":")[0] if self.line is not None else self.where).name
        return {
            "where": f"{where}:{self.line}" if self.line is not None else where,
            "line": self.line,
            "key": self.key,
            "message": message,
        }


def check_build(text: str, path: str | Path) -> tuple[Build | None, list[Problem]]:
    """A build from a text, or what is wrong with it; `path` is where its file lies, for what it reads beside itself."""
    found, error = _read(_BUILD, text, str(path))
    return found, _problems(error)


def check_session(text: str, path: str | Path) -> tuple[Session | None, list[Problem]]:
    """A session from a text, or what is wrong with it; which loops a build has is not looked at."""
    found, error = _read(_SESSION, text, str(path))
    return found, _problems(error)


def build_of(text: str, path: str | Path) -> Build:
    """The build of a text, the same object for the same text.  Raises as `load_build` does."""
    found, error = _read(_BUILD, text, str(path))
    if error is not None:
        raise error
    return found


def session_of(text: str, path: str | Path, build: Build) -> Session:
    """The session of a text that is to be run on `build`, the same object for the same text.  Raises BadInput."""
    found, error = _read(_SESSION, text, str(path), tuple(build.loops))
    if error is not None:
        raise error
    return found


_BUILD, _SESSION = "build", "session"
_seen: OrderedDict[tuple[Any, ...], tuple[Any, ColdsideError | None]] = OrderedDict()
_lock = threading.Lock()


def _read(kind: str, text: str, path: str, loops: tuple[str, ...] | None = None) -> tuple[Any, ColdsideError | None]:
    """Read, or find it read.  What reads a file beside itself is read anew each time: that file may have changed."""
    key = (kind, text, path, loops)
    with _lock:
        if key in _seen:
            _seen.move_to_end(key)
            return _seen[key]
    found: tuple[Any, ColdsideError | None]
    try:
        found = (read_build(text, path) if kind == _BUILD else read_session(text, path, loops)), None
    except ColdsideError as error:
        found = None, error
    if not any(ending in text for ending in (".csv", ".toml")):
        with _lock:
            _seen[key] = found
            while len(_seen) > MOST_READ:
                _seen.popitem(last=False)
    return found


def _problems(error: ColdsideError | None) -> list[Problem]:
    if error is None:
        return []
    return [_problem(fault) for fault in (error.faults if isinstance(error, ManyBadInputs) else [error])]


def _problem(error: ColdsideError) -> Problem:
    where = str(getattr(error, "where", ""))
    head, _, line = where.rpartition(":")
    number = int(line) if head and line.isdigit() else None
    key = str(getattr(error, "key", ""))
    return Problem(where, number, key, str(error.message if isinstance(error, BadInput) else error))


class Solver:
    """Forecasts, one at a time: two that are asked for at once do not fight for the machine."""

    def __init__(self) -> None:
        self._turn = threading.Lock()
        self._quick: OrderedDict[tuple[int, int], tuple[Build, Session, Forecast]] = OrderedDict()

    def quick(self, build: Build, session: Session) -> Forecast:
        """The session at once, for a slider or a redraw: without the check at half the step."""
        with self._turn:
            key = (id(build), id(session))
            held = self._quick.get(key)
            if held is not None and held[0] is build and held[1] is session:
                self._quick.move_to_end(key)
                return held[2]
            with keys_of(build.file):
                forecast = simulate(build, session)
            self._quick[key] = (build, session, forecast)
            while len(self._quick) > 3:
                self._quick.popitem(last=False)
            return forecast

    def full(
        self, build: Build, session: Session, progress: Callable[[str], None] = lambda _: None
    ) -> tuple[Forecast, Verdict, Asked]:
        """What `coldside forecast` answers."""
        with self._turn:
            return answer(build, session, progress=progress)

    def warm(self) -> None:
        """Make the solver ready: it is compiled on a machine's first use, and loaded on every start."""
        from coldside.resources import examples_folder

        top = examples_folder()
        build = read_build((top / "tern" / "water.toml").read_text(encoding="utf-8"), top / "tern" / "water.toml")
        path = top / "sessions" / "steady.toml"
        self.full(build, read_session(path.read_text(encoding="utf-8"), path, build.loops))
