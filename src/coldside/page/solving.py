"""From texts to forecasts: what is wrong with a file, a preview while values are moved, the whole answer when asked.

What is here: `check_build`, `check_session`, `Problem`, `Solver` and its memory of what it has solved.  What is not:
the solving itself, which is that of the commands (`sheet/answer.py`, `explore/outcome.py`).
"""

from __future__ import annotations

import contextlib
import re
import threading
from collections import OrderedDict
from collections.abc import Callable, Collection, Hashable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from coldside.build.document import Document, Key, scan
from coldside.build.files import read_build
from coldside.build.model import Build
from coldside.duty.model import Session
from coldside.duty.phases import read_session
from coldside.errors import BadInput, ColdsideError, Internal, ManyBadInputs, keys_of
from coldside.judge.verdict import Verdict
from coldside.page.codec import digest
from coldside.plant.results import Forecast
from coldside.sheet.answer import NO_MORE, Wanted, answer
from coldside.sheet.asked import Asked

Made = TypeVar("Made")
Answer = tuple[Forecast, Verdict, Asked]
MOST_PREVIEWS, MOST_ANSWERS, MOST_READ = 24, 12, 64
# words of progress -> share of the work that is behind when they are told (measured on the bundled cars)
_STAGES = (
    ("putting the parts together", 0.05),
    ("running the session", 0.2),
    ("driving again", 0.35),
    ("boost again", 0.35),
    ("checking the step", 0.5),
)
_SOLVED, _STEP = 0.65, 0.3


@dataclass(frozen=True)
class Problem:
    """One fault of a file: `where` ("car.toml:12"), `line` in it or None, dotted `key` ("" for none), `message`."""

    where: str
    line: int | None
    key: str
    message: str


def check_build(text: str, path: str | Path) -> tuple[Build | None, list[Problem]]:
    """Read a build's text as if it lay at `path`; the build, or None and every fault in the words of the commands.

    Ducts are laid out too, as `coldside check` does.
    """
    return _checked(text, path, lambda: _laid_out(read_build(text, path)))


def check_session(
    text: str, path: str | Path, loops: Collection[str] | None = None
) -> tuple[Session | None, list[Problem]]:
    """Read a session's text as if it lay at `path`; `loops`: of the build that it is for (None: not looked at)."""
    return _checked(text, path, lambda: read_session(text, path, loops))


def problems_of(error: ColdsideError, text: str, path: str | Path) -> list[Problem]:
    """The faults of a refusal of a file with this text, with lines found for those that name a key alone."""
    faults = error.faults if isinstance(error, ManyBadInputs) else (error,)
    try:
        document = scan(text, str(path))
    except BadInput:
        document = None
    return [_problem(fault, document, Path(path)) for fault in faults]


def _laid_out(build: Build) -> Build:
    from coldside.plant.flows import duct_flows

    with keys_of(build.file):
        for duct in build.ducts.values():
            duct_flows(build, duct)
    return build


def _checked(text: str, path: str | Path, read: Callable[[], Made]) -> tuple[Made | None, list[Problem]]:
    try:
        return read(), []
    except Internal:
        raise
    except ColdsideError as error:
        return None, problems_of(error, text, path)


def _problem(error: ColdsideError, document: Document | None, path: Path) -> Problem:
    where, key = getattr(error, "where", ""), getattr(error, "key", "")
    message = str(getattr(error, "message", "") or error)
    found = re.search(r":(\d+)$", where)
    mine = not where or where.removesuffix(found[0] if found else "") == str(path)
    line = int(found[1]) if found and mine else None
    if line is None and mine and document is not None and key:
        line = document.line(_counted(key))
    if mine:
        where = path.name if line is None else f"{path.name}:{line}"
    elif Path(where).is_absolute():  # another file; folders above are nobody's business
        where = Path(where).name
    return Problem(where, line, key, message.replace(str(path.parent) + "/", ""))


def _counted(key: str) -> Key:
    """A key of a message, where items of lists count from 1."""
    return tuple(int(part) - 1 if part.isascii() and part.isdigit() else part for part in key.split("."))


# -- solving -----------------------------------------------------------------------------------------
class Solver:
    """Solves, and remembers the latest; two that ask for the same at once are given one answer."""

    def __init__(self) -> None:
        self._previews: _Memory[Forecast] = _Memory(MOST_PREVIEWS)
        self._answers: _Memory[Answer] = _Memory(MOST_ANSWERS)
        self._read: _Memory[Any] = _Memory(MOST_READ)

    def build(self, text: str, path: str | Path) -> tuple[Build | None, list[Problem]]:
        """As `check_build`, remembered."""
        return self._read.get(("build", text, str(path), files_beside(text, path)), lambda: check_build(text, path))

    def session(
        self, text: str, path: str | Path, loops: Collection[str] | None = None
    ) -> tuple[Session | None, list[Problem]]:
        """As `check_session`, remembered."""
        key = ("session", text, str(path), files_beside(text, path), None if loops is None else tuple(loops))
        return self._read.get(key, lambda: check_session(text, path, loops))

    def quick(self, build: Build, session: Session) -> Forecast:
        """A preview, coarse but soon there; its health says that it is one.  Raises as `simulate` does."""
        from coldside.explore.outcome import preview

        def make() -> Forecast:
            with _places_by_name(), keys_of(build.file):
                return preview(build, session)

        return self._previews.get(self.mark(build, session), make)

    def full(
        self,
        build: Build,
        session: Session,
        progress: Callable[[float, str], None] = lambda _fraction, _words: None,
        wanted: Wanted = NO_MORE,
    ) -> Answer:
        """What `coldside forecast` gives, with what is `wanted` besides.  Raises as `simulate` does.

        `progress` is told the share that is done and what comes now; what it raises ends the work.
        """
        stages = _Stages(progress)

        def make() -> Answer:
            with _places_by_name():
                return answer(build, session, wanted, progress=stages.told)

        return self._answers.get((self.mark(build, session), wanted), make)

    def mark(self, build: Build, session: Session) -> str:
        """A mark of all that a forecast depends on: equal for what gives equal forecasts."""
        files = [files_beside(repr(one), one.file) for one in (build, session)]
        return digest(build, session, files)


@contextlib.contextmanager
def _places_by_name() -> Iterator[None]:
    """Files in a refusal by their names: the folders above them are nobody's business."""
    try:
        yield
    except BadInput as error:
        if Path(error.where).is_absolute():
            error.where = Path(error.where).name
        raise


class _Stages:
    """Words of progress as shares of the work."""

    def __init__(self, progress: Callable[[float, str], None]) -> None:
        self.progress = progress
        self.share = 0.0

    def told(self, words: str) -> None:
        """One stage begins.  Stages that are not known take a part of what is left each."""
        share = next((share for start, share in _STAGES if words.startswith(start)), None)
        if share is None:
            share = _SOLVED if self.share < _SOLVED else self.share + _STEP * (1.0 - self.share)
        self.share = max(self.share, share)
        self.progress(self.share, words.strip())


class _Memory(Generic[Made]):
    """The latest results by key; one that is being made is waited for, not made again."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._made: OrderedDict[Hashable, Made] = OrderedDict()
        self._making: dict[Hashable, threading.Lock] = {}

    def known(self, key: Hashable) -> Made | None:
        """What is remembered under a key, if anything is."""
        with self._lock:
            if key in self._made:
                self._made.move_to_end(key)
            return self._made.get(key)

    def get(self, key: Hashable, make: Callable[[], Made]) -> Made:
        """What is remembered, else what `make` makes; what it raises is raised and nothing remembered."""
        with self._alone(key):
            found = self.known(key)
            if found is None:
                found = make()
                with self._lock:
                    self._made[key] = found
                    while len(self._made) > self._most:
                        self._made.popitem(last=False)
            return found

    @contextlib.contextmanager
    def _alone(self, key: Hashable) -> Iterator[None]:
        with self._lock:
            lock = self._making.setdefault(key, threading.Lock())
        with lock:
            try:
                yield
            finally:
                with self._lock:
                    self._making.pop(key, None)


_FILE = re.compile(r"""["']([^"'\n]+\.[A-Za-z0-9]{1,5})["']""")


def files_beside(text: str, path: str | Path) -> tuple[tuple[str, int, int], ...]:
    """Other files that the text of the file at `path` names and that are there, with time and size."""
    of, found = Path(path), []
    for name in sorted(set(_FILE.findall(text)) - {str(of)}):
        with contextlib.suppress(OSError, ValueError):
            state = (of.parent / name).stat()
            found.append((name, state.st_mtime_ns, state.st_size))
    return tuple(found)
