"""What every place works with: the folder, drafts, solver, jobs, and what was found for whom.

Here: `Desk`.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Any

from coldside.page.cases import Case, Cases
from coldside.page.drafts import Drafts
from coldside.page.jobs import Jobs
from coldside.page.project import Project
from coldside.page.solving import Solver
from coldside.page.store import Store

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
            return self._held.get(sort, {}).get(key)

    def keep(self, case: Case) -> str:
        """Put a reckoned case into the store; returns its id there."""
        forecast, verdict, asked = case.answer()
        return self.store.keep(
            case.build_text, case.session_text, case.build_file, case.session_file, forecast, verdict, asked
        )

    def close(self) -> None:
        """Stop what runs and close the store."""
        self.jobs.close()
        self.store.close()
