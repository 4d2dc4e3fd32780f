"""One SQLite file in the project's folder: what the page must not lose when it is closed, reloaded or killed.

What is here: `Store`, the file itself: its layout and later changes of it, transactions, and what is done when it is
damaged.  What is not: what stands in the tables (`drafts.py`, `kept.py`, `drafted.py`).

A change is on the disk before it is acknowledged (write-ahead log, full synchronisation), so neither a killed process
nor a cut of power takes back what the page has shown as kept.  Several processes may use one file.
"""

from __future__ import annotations

import contextlib
import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path

from coldside.errors import BadInput

FILE = "coldside.db"
PATIENCE = 3.0  # s to wait for another process that writes; whoever else asks meanwhile waits too
_OURS = 0x434F4C44  # application_id in the file's head, so that another program's file is not taken for ours
_LAYOUTS = (  # script number n leads from layout n to n + 1; never change one that has been published
    """
    CREATE TABLE drafts (
        name TEXT PRIMARY KEY,     -- of the file in the project
        rev INTEGER NOT NULL,      -- counts every change, undoing too
        place INTEGER NOT NULL,    -- of the step that is the draft now
        shape INTEGER NOT NULL,    -- rev at which items of lists last changed their places
        base TEXT NOT NULL,        -- the file's text when it was last read or written
        etag TEXT NOT NULL         -- and its mark
    );
    CREATE TABLE steps (
        name TEXT NOT NULL,
        place INTEGER NOT NULL,
        text TEXT NOT NULL,
        label TEXT NOT NULL,       -- what was done
        at REAL NOT NULL,          -- when, s since 1970
        PRIMARY KEY (name, place)
    ) WITHOUT ROWID;
    CREATE TABLE kept (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        made REAL NOT NULL,        -- s since 1970
        version TEXT NOT NULL,     -- of coldside that made it
        build TEXT NOT NULL,       -- names in the files
        session TEXT NOT NULL,
        headline TEXT NOT NULL,    -- JSON: unit system -> words
        holds INTEGER,             -- NULL: nothing to hold
        pinned INTEGER NOT NULL DEFAULT 0,
        inputs BLOB NOT NULL,      -- texts of the files
        result BLOB NOT NULL       -- forecast, verdict, answers
    );
    """,
    """
    CREATE TABLE typed (           -- words typed into forms that are no files
        form TEXT NOT NULL,
        field TEXT NOT NULL,
        words TEXT NOT NULL,
        PRIMARY KEY (form, field)
    ) WITHOUT ROWID;
    """,
    """
    CREATE TABLE starters (        -- the last draft of each brief
        brief TEXT PRIMARY KEY,    -- its file in the project
        text TEXT NOT NULL,        -- the brief as it was drafted from
        version TEXT NOT NULL,     -- of coldside that drafted it
        result BLOB NOT NULL       -- brief, starters, what matters of the unknown, which were taken
    );
    """,
)


class Store:
    """The file; made where there is none.

    `notes` says what was found damaged and set aside, in words for the user.  Raises BadInput where the file cannot be
    made or read, is another program's, or was made by a newer coldside.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self.notes: list[str] = []
        self._lock = threading.RLock()
        self._depth = 0
        self._connection = self._opened()

    @contextlib.contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """All or nothing: what is done inside is on the disk when the block is left, or undone when it raises.

        One at a time, also over processes.  A transaction inside another is part of it.
        """
        with self._lock:
            if self._depth:
                yield self._connection
                return
            with self._told():
                self._connection.execute("BEGIN IMMEDIATE")
                self._depth += 1
                try:
                    yield self._connection
                except BaseException:
                    with contextlib.suppress(sqlite3.Error):
                        self._connection.execute("ROLLBACK")
                    raise
                else:
                    self._connection.execute("COMMIT")
                finally:
                    self._depth -= 1

    def close(self) -> None:
        """Give the file back; nothing may be asked after that."""
        with self._lock:
            self._connection.close()

    def __del__(self) -> None:
        with contextlib.suppress(AttributeError, sqlite3.Error):  # one that was never opened has nothing to close
            self._connection.close()

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        """SQLite's faults in words; a damaged file is set aside and a new one begun."""
        try:
            yield
        except sqlite3.OperationalError as error:
            with contextlib.suppress(sqlite3.Error):
                self._connection.execute("ROLLBACK")
            raise self._refusal(error) from None
        except sqlite3.DatabaseError as error:
            if not _damaged(error):
                raise
            self._connection.close()
            self._set_aside()
            self._connection = self._opened()
            raise BadInput(self.notes[-1], where=str(self.path)) from None

    def _opened(self) -> sqlite3.Connection:
        """The file, laid out as this program wants it."""
        for last in (False, True):
            connection = None
            try:
                connection = sqlite3.connect(self.path, timeout=PATIENCE, isolation_level=None, check_same_thread=False)
                self._prepare(connection)
                return connection
            except sqlite3.DatabaseError as error:
                if connection is not None:
                    connection.close()
                if isinstance(error, sqlite3.OperationalError) or not _damaged(error) or last:
                    raise self._refusal(error) from None
                self._set_aside()
            except BadInput:
                if connection is not None:
                    connection.close()
                raise
        raise AssertionError("not reached")

    def _prepare(self, connection: sqlite3.Connection) -> None:
        self._layout(connection)  # before anything is written, so that what is not ours stays as it is
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("BEGIN IMMEDIATE")  # of two processes that start at once one lays out, the other waits
        try:
            for script in _LAYOUTS[self._layout(connection) :]:
                for statement in script.split(";"):
                    if statement.strip():
                        connection.execute(statement)
            connection.execute(f"PRAGMA application_id={_OURS}")
            connection.execute(f"PRAGMA user_version={len(_LAYOUTS)}")
            # what is needed at every start is read once, so that damage shows now and not in the middle of work
            connection.execute("SELECT count(*), sum(length(base)) FROM drafts").fetchone()
            connection.execute("SELECT count(*), sum(length(text)) FROM steps").fetchone()
            connection.execute("SELECT count(*), sum(length(headline)) FROM kept").fetchone()
        except BaseException:
            with contextlib.suppress(sqlite3.Error):
                connection.execute("ROLLBACK")
            raise
        connection.execute("COMMIT")

    def _layout(self, connection: sqlite3.Connection) -> int:
        """Number of the layout that the file has; BadInput where it is not ours or from later on."""
        owner = connection.execute("PRAGMA application_id").fetchone()[0]
        layout = int(connection.execute("PRAGMA user_version").fetchone()[0])
        if owner != _OURS and connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
            raise BadInput(f"is a file of another program; the page keeps drafts in {FILE}", where=str(self.path))
        if layout > len(_LAYOUTS):
            newer = f"was made by a newer coldside (layout {layout}, this one knows {len(_LAYOUTS)})"
            raise BadInput(f"{newer}; use that one, or move the file away", where=str(self.path))
        return layout

    def _set_aside(self) -> None:
        """Move a damaged file out of the way, under a name that is free."""
        count = 1
        while (aside := self.path.with_name(f"{self.path.name}.damaged-{count}")).exists():
            count += 1
        try:
            self.path.rename(aside)
            for tail in ("-wal", "-shm"):
                side = self.path.with_name(self.path.name + tail)
                if side.exists():
                    side.rename(aside.with_name(aside.name + tail))
        except OSError as error:
            raise BadInput(
                f"is damaged and cannot be moved away: {error.strerror or error}", where=str(self.path)
            ) from None
        self.notes.append(
            f"{self.path.name} was damaged and is now {aside.name}; drafts not saved and forecasts kept in it are not "
            "shown any more, your builds and sessions are untouched"
        )

    def _refusal(self, error: sqlite3.Error) -> BadInput:
        words = str(error)
        if "locked" in words or "busy" in words:
            words = "is being written by another program; try again"
        elif "readonly" in words or "unable to open" in words:
            words = "cannot be written; the page keeps drafts in it, so its folder must allow that"
        elif "full" in words:
            words = "cannot grow: the disk is full"
        else:
            words = f"cannot be used: {words}"
        return BadInput(words, where=str(self.path))


def _damaged(error: sqlite3.DatabaseError) -> bool:
    """Whether the file itself is broken, rather than what was asked of it."""
    return not isinstance(error, sqlite3.IntegrityError | sqlite3.ProgrammingError | sqlite3.InterfaceError)
