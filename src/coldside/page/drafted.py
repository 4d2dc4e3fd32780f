"""Starter builds drafted from a brief, kept over a restart of the page: the last draft of each brief.

Here: `Drafted`.  Not here: the draft (`explore/draft.py`), how it is shown (`places/brief.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coldside import __version__
from coldside.build.brief import Brief
from coldside.errors import BadInput
from coldside.explore.draft import Starter
from coldside.explore.draft_unknowns import Unknowns
from coldside.page.codec import decode, encode
from coldside.page.store import Store

Taken = Mapping[int, Mapping[str, str]]  # starter -> the names of its build and session in the folder


@dataclass(frozen=True)
class Draft:
    """What was drafted of a brief's `text`; `unknowns` is None where it was stopped before they were found."""

    text: str
    brief: Brief
    starters: tuple[Starter, ...]
    unknowns: Unknowns | None
    taken: Taken


class Drafted:
    """The last draft of every brief of a project."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def keep(self, file: str, draft: Draft) -> None:
        """Keep what was drafted of a brief's file in place of what was there."""
        taken = [[index, dict(names)] for index, names in draft.taken.items()]
        result = encode((draft.brief, draft.starters, draft.unknowns, taken))
        with self._store.transaction() as db:
            db.execute("REPLACE INTO starters VALUES (?, ?, ?, ?)", (file, draft.text, __version__, result))

    def last(self, file: str) -> Draft | None:
        """The last draft of a brief's file; None where there is none, or another version of coldside made it."""
        with self._store.transaction() as db:
            row = db.execute("SELECT text, version, result FROM starters WHERE brief = ?", (file,)).fetchone()
        if row is None or row[1] != __version__:
            return None
        try:
            brief, starters, unknowns, taken = decode(row[2])
        except (BadInput, TypeError, ValueError):
            return None  # its classes have changed since: it is drafted again
        if not isinstance(brief, Brief) or not all(isinstance(one, Starter) for one in starters):
            return None
        return Draft(row[0], brief, tuple(starters), unknowns, {int(index): names for index, names in taken})
