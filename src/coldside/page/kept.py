"""Forecasts kept: what was solved and said, to be reopened later as it was.

What is here: `Kept`, `Entry`, `Opened`.  What is not: the bytes (`codec.py`), the file (`store.py`).

With a forecast go the texts that it was made from.  The latest `MOST` that nobody pinned stay; older ones make room.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from coldside import __version__
from coldside.errors import BadInput
from coldside.judge.verdict import Verdict
from coldside.page.codec import decode, encode
from coldside.page.store import Store
from coldside.plant.results import Forecast
from coldside.sheet.asked import Asked

MOST = 40  # that are not pinned
SYSTEMS = ("si", "us")


@dataclass(frozen=True)
class Entry:
    """A kept forecast in a list.

    `when` s since 1970; `build`, `session` the names in the files; `headline` by unit system; `holds` None where there
    was nothing to hold; `version` of coldside that made it.
    """

    id: int
    when: float
    build: str
    session: str
    headline: Mapping[str, str]
    holds: bool | None
    pinned: bool
    version: str


@dataclass(frozen=True)
class Opened:
    """A kept forecast as it was, with the texts of its files by name; `pieces` is what was kept besides."""

    entry: Entry
    forecast: Forecast
    verdict: Verdict
    asked: Asked
    texts: Mapping[str, str]
    pieces: Mapping[str, str]


class Kept:
    """All kept forecasts of a project."""

    def __init__(self, store: Store, clock: Callable[[], float] = time.time) -> None:
        self._store = store
        self._clock = clock

    def keep(
        self,
        forecast: Forecast,
        verdict: Verdict,
        asked: Asked,
        texts: Mapping[str, str],
        pieces: Mapping[str, str] | None = None,
    ) -> int:
        """Keep a forecast; returns its id.  What is equal in every bit to the latest one is not kept twice.

        `texts`: the files that it was made from, by name; `pieces`: anything that was shown with it, as text.
        """
        headline = {system: verdict.words(system).headline for system in SYSTEMS}
        inputs = encode({"texts": dict(texts), "pieces": dict(pieces or {})})
        result = encode((forecast, verdict, asked))
        names = (forecast.build.name, forecast.session.name)
        holds = verdict.holds if any(limit.holds is not None for limit in verdict.limits) else None
        row = (self._clock(), __version__, *names, json.dumps(headline), holds, 0, inputs, result)
        with self._store.transaction() as db:
            last = db.execute("SELECT id, inputs, result FROM kept ORDER BY id DESC LIMIT 1").fetchone()
            if last is not None and (last[1], last[2]) == (inputs, result):
                return int(last[0])
            new = db.execute(
                "INSERT INTO kept (made, version, build, session, headline, holds, pinned, inputs, result)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                row,
            ).lastrowid
            db.execute(
                "DELETE FROM kept WHERE pinned = 0 AND id NOT IN"
                " (SELECT id FROM kept WHERE pinned = 0 ORDER BY id DESC LIMIT ?)",
                (MOST,),
            )
            return int(new or 0)

    def list(self) -> list[Entry]:
        """All of them, the newest first."""
        with self._store.transaction() as db:
            return [_entry(row) for row in db.execute(f"SELECT {_COLUMNS} FROM kept ORDER BY id DESC")]

    def open(self, kept_id: int) -> Opened:
        """One as it was.  BadInput where it is not there, damaged, or of a version whose results looked otherwise."""
        with self._store.transaction() as db:
            row = db.execute(f"SELECT {_COLUMNS}, inputs, result FROM kept WHERE id = ?", (kept_id,)).fetchone()
        if row is None:
            raise BadInput("this forecast is not kept any more")
        given, result = decode(row[-2]), decode(row[-1])
        try:
            forecast, verdict, asked = result
            texts, pieces = given["texts"], given["pieces"]
        except (TypeError, ValueError, KeyError):
            forecast = verdict = asked = texts = pieces = None
        of = ((forecast, Forecast), (verdict, Verdict), (asked, Asked), (texts, dict), (pieces, dict))
        if not all(isinstance(found, kind) for found, kind in of):
            raise BadInput("what was kept is no forecast and cannot be opened")
        return Opened(_entry(row), forecast, verdict, asked, texts, pieces)

    def texts(self, kept_id: int) -> Mapping[str, str]:
        """The files that a forecast was made from, for one that cannot be opened any more.  BadInput as `open`."""
        with self._store.transaction() as db:
            row = db.execute("SELECT inputs FROM kept WHERE id = ?", (kept_id,)).fetchone()
        if row is None:
            raise BadInput("this forecast is not kept any more")
        found: Mapping[str, str] = decode(row[0])["texts"]
        return found

    def pin(self, kept_id: int, pinned: bool = True) -> None:
        """Have one stay, or make room when its time comes."""
        with self._store.transaction() as db:
            db.execute("UPDATE kept SET pinned = ? WHERE id = ?", (int(pinned), kept_id))

    def forget(self, kept_id: int) -> None:
        """Throw one away."""
        with self._store.transaction() as db:
            db.execute("DELETE FROM kept WHERE id = ?", (kept_id,))


_COLUMNS = "id, made, build, session, headline, holds, pinned, version"


def _entry(row: tuple) -> Entry:
    holds = None if row[5] is None else bool(row[5])
    return Entry(row[0], row[1], row[2], row[3], json.loads(row[4]), holds, bool(row[6]), row[7])
