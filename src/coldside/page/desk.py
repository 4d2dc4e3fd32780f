"""What every place works with: the folder, drafts, solver, jobs, and what was found for whom.

Here: `Desk`.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Any

from coldside.build.files import load_build
from coldside.build.model import Build
from coldside.duty.model import Session
from coldside.duty.phases import load_session
from coldside.errors import BadInput, ManyBadInputs
from coldside.explore import workers
from coldside.page.cases import Case, Cases
from coldside.page.drafted import Drafted
from coldside.page.drafts import Drafts
from coldside.page.jobs import Jobs
from coldside.page.kept import Kept
from coldside.page.project import Project, etag
from coldside.page.solving import Problem, Solver, files_beside
from coldside.page.store import Store
from coldside.resources import examples_folder

STORE = "coldside.db"
MOST_HELD = 12  # findings of one sort that are held


class Desk:
    """The one owner of the page's state.  `system` is the unit system shown until somebody chooses."""

    def __init__(self, folder: str | Path, system: str = "si") -> None:
        self.project = Project(folder)
        self.system = system
        self.store = Store(self.project.folder / STORE)
        self.drafts = Drafts(self.project, self.store)
        self.solver = Solver()
        self.jobs = Jobs()
        self.kept = Kept(self.store)
        self.drafted = Drafted(self.store)
        self.cases = Cases(self)
        self._held: dict[str, OrderedDict[str, Any]] = {}
        self._lock = threading.Lock()

    def remember(self, sort: str, key: str, make: Callable[[], Any]) -> Any:
        """What is held under a key, made now where nothing is."""
        with self._lock:
            held = self._held.setdefault(sort, OrderedDict())
            if key not in held:
                held[key] = make()
            held.move_to_end(key)
            while len(held) > MOST_HELD:
                held.popitem(last=False)
            return held[key]

    def recall(self, sort: str, key: str) -> Any | None:
        """What is held under a key, or None."""
        with self._lock:
            return self._held[sort].get(key) if sort in self._held else None

    def build(self, name: str, text: str | None = None) -> Build:
        """The build of a file as it is in the editor, or of another `text` for it.  BadInput when it does not read."""
        text = self.drafts.open(name).text if text is None else text
        found, problems = self.solver.build(text, self.project.path(name))
        if found is None:
            raise _refusal(problems)
        return found

    def session(self, name: str, *builds: Build, text: str | None = None) -> Session:
        """The session of a file as it is in the editor, or of another `text` for it, to be run on `builds`.

        A limit may be on a loop of any of them.  BadInput when it does not read.
        """
        text = self.drafts.open(name).text if text is None else text
        loops = tuple(dict.fromkeys(loop for build in builds for loop in build.loops))
        found, problems = self.solver.session(text, self.project.path(name), loops)
        if found is None:
            raise _refusal(problems)
        return found

    def mark(self, *files: tuple[str, str]) -> str:
        """A mark of files (name and text), and of the files beside them that they read: equal for what reads equal."""
        return etag(repr([(name, text, files_beside(text, self.project.path(name))) for name, text in files]))

    def keep(self, case: Case) -> int:
        """Put a reckoned case into the store; returns its id there."""
        texts = {case.build_file: case.build_text, case.session_file: case.session_text}
        return self.kept.keep(*case.answer(), texts)

    def make_ready(self) -> None:
        """Load the solver (it is compiled on a machine's first use) and fork the workers that share it.

        Before any thread is started: a process with threads makes no workers.
        """
        top = examples_folder()
        build = load_build(top / "tern" / "water.toml")
        self.solver.quick(build, load_session(top / "sessions" / "dyno-pulls.toml", build.loops))
        workers.warm()

    def close(self) -> None:
        """Stop what runs and close the store."""
        self.jobs.close()
        self.store.close()


def _refusal(problems: list[Problem]) -> BadInput:
    """What is wrong with a file as one error."""
    faults = [BadInput(one.message, where=one.where, key=one.key) for one in problems]
    return faults[0] if len(faults) == 1 else ManyBadInputs(faults)
