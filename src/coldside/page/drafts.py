"""Drafts: files as they are being edited, with undo and redo, kept in the store until they are saved.

What is here: `Drafts` and its operations, `Change`, `Conflict`.  What is not: how a text is changed
(`build/editing.py`), what is wrong with it (`solving.py`).

Two tabs on one file edit one draft.  A change of a field names what the tab saw there: it is made when that still
stands, whatever else has changed meanwhile; else it is a `Conflict` that tells both.  Changes of places in a list of
tables name the `rev` that the tab saw.  A draft may be wrong in any way, even no TOML at all.

A file that somebody else changed on disk is taken over when the draft has nothing unsaved; else it is told, and saving
over it must be asked for.
"""

from __future__ import annotations

import time
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from coldside.build import editing
from coldside.build.document import LARGEST_FILE, scan
from coldside.errors import BadInput
from coldside.page.store import Store

WHATEVER = "*"  # `was` of a change that is made whatever stands there
MOST_STEPS = 300  # of one file that can be undone
MOST_PASSED = 30  # steps that do not read, looked through for one that does
ONE_GESTURE = 1.0  # s within which changes of one field are one step, as of a slider that is dragged
ON_DISK = "taken from the disk"
_OPTIONAL = {("car",): "engine", ("bay",): "engine"}  # tables that may be absent -> the one that they go behind


class Files(Protocol):
    """What drafts need of a project."""

    def read(self, name: str) -> str:
        """The text of a file."""

    def etag(self, name: str) -> str:
        """A mark of what it holds now, "" where there is none."""

    def write(self, name: str, text: str) -> None:
        """Write it whole."""


@dataclass(frozen=True)
class Change:
    """One field: its dotted `key` (items of lists from 0), its `new` value (None: take the key out), and `was`.

    `was` is what the tab saw there: the literal as in the text, or a text's value itself; None: the key was absent;
    `WHATEVER`: not asked.
    """

    key: str
    new: Any
    was: str | None = WHATEVER


@dataclass(frozen=True)
class Draft:
    """A file as it is being edited.

    `dirty`: differs from the file; `changed_on_disk`: somebody else changed the file since it was read, and there is
    something unsaved here; `undoes`, `redoes`: what the next undo and redo are about, "" for none.
    """

    name: str
    text: str
    rev: int
    dirty: bool
    saved_etag: str
    can_undo: bool
    can_redo: bool
    changed_on_disk: bool
    undoes: str = ""
    redoes: str = ""

    def literals(self) -> dict[str, str]:
        """Every key that has a value -> the characters that spell it, for `Change.was`; empty where it is no TOML."""
        try:
            spans = scan(self.text, self.name).spans
        except BadInput:
            return {}
        return {".".join(map(str, key)): self.text[start:end] for key, (start, end) in spans.items()}


@dataclass(frozen=True)
class Clash:
    """One field that two changed: what stands there now and what was wanted, as literals (None: no key)."""

    key: str
    theirs: str | None
    yours: str | None


class Conflict(BadInput):
    """A change on a state that is no more; nothing of it was made.  `clashes` names fields, empty for whole files."""

    def __init__(self, message: str, *, where: str, clashes: Sequence[Clash] = (), theirs: str = "", yours: str = ""):
        first = clashes[0] if clashes else Clash("", theirs, yours)
        super().__init__(message, where=where, key=first.key)
        self.clashes = tuple(clashes)
        self.theirs = first.theirs
        self.yours = first.yours


@dataclass(frozen=True)
class _State:
    """A row of `drafts` with the text of its step."""

    name: str
    rev: int
    place: int
    shape: int
    base: str
    etag: str
    text: str
    changed_on_disk: bool = False


class Drafts:
    """Every file that is being edited.  All methods raise BadInput for a name that the project refuses."""

    def __init__(self, project: Files, store: Store, clock: Callable[[], float] = time.time) -> None:
        self.project = project
        self.store = store
        self.clock = clock

    # -- looking -------------------------------------------------------------------------------------
    def open(self, name: str) -> Draft:
        """The draft of a file; begun from the file where there is none."""
        with self.store.transaction():
            return self._draft(self._state(name))

    def names(self) -> list[str]:
        """Files with something unsaved."""
        with self.store.transaction() as db:
            rows = db.execute(
                "SELECT d.name FROM drafts d JOIN steps s ON s.name = d.name AND s.place = d.place"
                " WHERE s.text <> d.base ORDER BY d.name"
            )
            return [row[0] for row in rows]

    # -- changing ------------------------------------------------------------------------------------
    def set(self, name: str, changes: Sequence[Change], rev: int | None = None) -> Draft:
        """Change fields, all or none of them.  Conflict names every field that another tab changed meanwhile.

        `rev` is the one that the tab saw: needed to be sure that "phases.2" is still the same phase.
        """
        with self.store.transaction():
            state = self._state(name)
            if any(part.isdigit() for change in changes for part in change.key.split(".")):
                _same_places(state, rev)
            clashes = [clash for change in changes if (clash := _clash(state.text, change)) is not None]
            if clashes:
                raise Conflict(_clash_words(clashes[0]), where=name, clashes=clashes)
            text = state.text
            for change in changes:
                text = _changed(text, change)
            label = changes[0].key if len(changes) == 1 else f"{len(changes)} values"
            return self._push(state, text, label, gesture=len(changes) == 1)

    def set_paths(self, name: str, key: str, value: Sequence[Any], was: str | None = WHATEVER) -> Draft:
        """Set one path ("charge.path", "loops.x.path", "ducts.x.path") to a nested list, on readable lines."""
        with self.store.transaction():
            state = self._state(name)
            clash = _clash(state.text, Change(key, list(value), was))
            if clash is not None:
                raise Conflict(_clash_words(clash), where=name, clashes=[clash])
            return self._push(state, editing.set_path(state.text, key, value), key)

    def set_text(self, name: str, text: str, base_rev: int) -> Draft:
        """Take a whole text that was typed on top of `base_rev`; Conflict where the draft has changed since."""
        with self.store.transaction():
            state = self._state(name)
            if state.text != text and base_rev != state.rev:
                words = "was changed in another tab while this text was typed; nothing was overwritten"
                raise Conflict(words, where=name, theirs=state.text, yours=text)
            return self._push(state, text, "text", moves=True)

    def rename_part(self, name: str, old: str, new: str) -> Draft:
        """Change a part's name in its table and on every path."""
        return self._edit(name, f"rename {old}", lambda text: editing.rename_part(text, old, new))

    def add_item(
        self, name: str, key: str, after: int | None, values: Mapping[str, Any], rev: int | None = None
    ) -> Draft:
        """Add an item to a list of tables ("phases") behind item `after` (-1: first, None: last)."""
        return self._move(name, f"add to {key}", rev, lambda text: editing.add_item(text, key, after, values))

    def duplicate_item(self, name: str, key: str, index: int, rev: int | None = None) -> Draft:
        """Copy an item of a list of tables, right behind it."""
        return self._move(name, f"copy in {key}", rev, lambda text: editing.duplicate_item(text, key, index))

    def move_item(self, name: str, key: str, index: int, to: int, rev: int | None = None) -> Draft:
        """Move an item of a list of tables so that it becomes item `to`."""
        return self._move(name, f"move in {key}", rev, lambda text: editing.move_item(text, key, index, to))

    def remove_item(self, name: str, key: str, index: int, rev: int | None = None) -> Draft:
        """Take an item out of a list of tables."""
        return self._move(name, f"remove from {key}", rev, lambda text: editing.remove_item(text, key, index))

    def edit(self, name: str, label: str, change: Callable[[str], str]) -> Draft:
        """Any other change of the text as one step: `change` is given the text and returns the new one."""
        return self._move(name, label, None, change)

    # -- history -------------------------------------------------------------------------------------
    def undo(self, name: str, reads: Callable[[str], bool] | None = None) -> Draft:
        """One step back; at the first step nothing happens.

        With `reads` (whether a text is one that reads) the steps that do not are passed, if one before them does.
        """
        return self._go(name, "SELECT place, text FROM steps WHERE name = ? AND place < ? ORDER BY place DESC", reads)

    def redo(self, name: str, reads: Callable[[str], bool] | None = None) -> Draft:
        """One step forward again, `reads` as of `undo`; at the last step nothing happens."""
        return self._go(name, "SELECT place, text FROM steps WHERE name = ? AND place > ? ORDER BY place", reads)

    def save(self, name: str, over_disk: bool = False) -> Draft:
        """Write the draft to its file.  Conflict where somebody else changed the file, unless `over_disk`."""
        with self.store.transaction() as db:
            state = self._state(name)
            if state.changed_on_disk and not over_disk:
                words = "was changed outside this page since it was opened; nothing was overwritten"
                raise Conflict(words, where=name, theirs=self._on_disk(name) or "", yours=state.text)
            if state.text != state.base or state.changed_on_disk:
                self.project.write(name, state.text)
                # a kill from here on leaves a file that equals the draft: `_state` then takes it as saved
                etag = self.project.etag(name)
                db.execute("UPDATE drafts SET base = ?, etag = ? WHERE name = ?", (state.text, etag, name))
            return self._draft(self._state(name))

    def revert(self, name: str) -> Draft:
        """Back to what is in the file; undoing brings the draft back."""
        with self.store.transaction() as db:
            state = self._state(name)
            text, etag = self.project.read(name), self.project.etag(name)
            db.execute("UPDATE drafts SET base = ?, etag = ? WHERE name = ?", (text, etag, name))
            return self._push(self._state(name) if text == state.text else state, text, ON_DISK, moves=True)

    def forget(self, name: str) -> None:
        """Throw the draft and its history away; the file stays as it is."""
        with self.store.transaction() as db:
            db.execute("DELETE FROM steps WHERE name = ?", (name,))
            db.execute("DELETE FROM drafts WHERE name = ?", (name,))

    # -- inside a transaction ------------------------------------------------------------------------
    def _edit(self, name: str, label: str, change: Callable[[str], str]) -> Draft:
        with self.store.transaction():
            state = self._state(name)
            return self._push(state, change(state.text), label)

    def _move(self, name: str, label: str, rev: int | None, change: Callable[[str], str]) -> Draft:
        with self.store.transaction():
            state = self._state(name)
            _same_places(state, rev)
            return self._push(state, change(state.text), label, moves=True)

    def _go(self, name: str, query: str, reads: Callable[[str], bool] | None) -> Draft:
        with self.store.transaction() as db:
            state = self._state(name)
            steps = db.execute(f"{query} LIMIT {MOST_PASSED}", (name, state.place)).fetchall()
            place = steps[0][0] if steps else None
            if reads is not None:
                place = next((at for at, text in steps if reads(text)), place)
            if place is not None:
                rev = state.rev + 1
                db.execute("UPDATE drafts SET place = ?, rev = ?, shape = ? WHERE name = ?", (place, rev, rev, name))
                # what is changed next is a step of its own, however soon
                db.execute("UPDATE steps SET at = 0 WHERE name = ? AND place = ?", (name, place))
            return self._draft(self._state(name))

    def _push(self, state: _State, text: str, label: str, *, moves: bool = False, gesture: bool = False) -> Draft:
        """Make `text` the draft, as a step of its own or as more of the last one."""
        if text == state.text:
            return self._draft(state)
        _check(text, state.name)
        with self.store.transaction() as db:
            now, rev = self.clock(), state.rev + 1
            db.execute("DELETE FROM steps WHERE name = ? AND place > ?", (state.name, state.place))
            last = db.execute(
                "SELECT label, at FROM steps WHERE name = ? AND place = ?", (state.name, state.place)
            ).fetchone()
            more = gesture and last[0] == label and 0.0 <= now - last[1] < ONE_GESTURE
            place = state.place if more else state.place + 1
            db.execute("REPLACE INTO steps VALUES (?, ?, ?, ?, ?)", (state.name, place, text, label, now))
            db.execute("DELETE FROM steps WHERE name = ? AND place <= ?", (state.name, place - MOST_STEPS))
            shape = rev if moves else state.shape
            db.execute(
                "UPDATE drafts SET rev = ?, place = ?, shape = ? WHERE name = ?", (rev, place, shape, state.name)
            )
            return self._draft(self._row(state.name))

    def _row(self, name: str) -> _State:
        with self.store.transaction() as db:
            row = db.execute(
                "SELECT d.name, d.rev, d.place, d.shape, d.base, d.etag, s.text FROM drafts d"
                " JOIN steps s ON s.name = d.name AND s.place = d.place WHERE d.name = ?",
                (name,),
            ).fetchone()
            if row is None:
                raise KeyError(name)
            return _State(*row)

    def _state(self, name: str) -> _State:
        """The draft as it is now, seen against the file: begun, taken over from the disk, or told as changed there."""
        with self.store.transaction() as db:
            etag = self.project.etag(name)
            try:
                state = self._row(name)
            except KeyError:
                text = self.project.read(name)
                db.execute("INSERT INTO drafts VALUES (?, 1, 0, 1, ?, ?)", (name, text, etag))
                db.execute("INSERT INTO steps VALUES (?, 0, ?, '', 0)", (name, text))
                return self._row(name)
            if etag == state.etag:
                return state
            on_disk = self._on_disk(name)
            if on_disk is not None and (on_disk == state.text or state.text == state.base):
                db.execute("UPDATE drafts SET base = ?, etag = ? WHERE name = ?", (on_disk, etag, name))
                self._push(state, on_disk, ON_DISK, moves=True)
                return self._row(name)
            return _State(**{**vars(state), "changed_on_disk": True})

    def _on_disk(self, name: str) -> str | None:
        """The file's text; None where it is gone or cannot be read."""
        try:
            return self.project.read(name)
        except BadInput:
            return None

    def _draft(self, state: _State) -> Draft:
        with self.store.transaction() as db:
            here = db.execute(
                "SELECT label FROM steps WHERE name = ? AND place = ?", (state.name, state.place)
            ).fetchone()
            back = db.execute("SELECT 1 FROM steps WHERE name = ? AND place < ?", (state.name, state.place)).fetchone()
            on = db.execute(
                "SELECT label FROM steps WHERE name = ? AND place > ? ORDER BY place", (state.name, state.place)
            ).fetchone()
        return Draft(
            name=state.name,
            text=state.text,
            rev=state.rev,
            dirty=state.text != state.base,
            saved_etag=state.etag,
            can_undo=back is not None,
            can_redo=on is not None,
            changed_on_disk=state.changed_on_disk,
            undoes=here[0] if back is not None else "",
            redoes=on[0] if on is not None else "",
        )


def _check(text: str, name: str) -> None:
    """Refuse a text that could be kept but never be a file."""
    try:
        size = len(text.encode("utf-8"))
    except UnicodeEncodeError:
        raise BadInput("holds half of a character, which no file can hold", where=name) from None
    if size > LARGEST_FILE:
        raise BadInput(f"would be larger than {LARGEST_FILE} bytes, the most that is read", where=name)


def _same_places(state: _State, rev: int | None) -> None:
    """Refuse a change of counted items from a tab that saw them at other places."""
    if rev is not None and rev < state.shape:
        raise Conflict("was changed in another tab, items may have moved; look at it again", where=state.name)


def _clash(text: str, change: Change) -> Clash | None:
    """What stands where a change is wanted, if that is neither what the tab saw nor what it wants."""
    value, literal = editing.value_at(text, change.key)
    if change.was == WHATEVER or _stands(change.was, value, literal):
        return None
    if literal is None or change.new is None:
        wanted = literal is None and change.new is None
    else:
        wanted = editing.same(value, change.new)
    if wanted:
        return None
    yours = None if change.new is None else editing.literal(change.new)
    return Clash(change.key, literal, yours)


def _stands(was: str | None, value: Any, literal: str | None) -> bool:
    if was is None or literal is None:
        return was is literal
    if was in (literal, value):
        return True
    try:
        return editing.same(tomllib.loads(f"was = {was}").get("was"), value)
    except (ValueError, RecursionError):
        return False


def _clash_words(clash: Clash) -> str:
    theirs = "was taken out" if clash.theirs is None else f"is now {clash.theirs}"
    yours = "take it out" if clash.yours is None else f"make it {clash.yours}"
    return f"{theirs} by another tab; this one would {yours}"


def _changed(text: str, change: Change) -> str:
    """The text with one change made; a table that a file may lack is begun."""
    literal = editing.value_at(text, change.key)[1]
    if change.new is None:
        return text if literal is None else editing.unset_value(text, change.key)
    table, _, last = change.key.rpartition(".")
    names = tuple(table.split("."))
    if literal is None and not editing.has_table(text, table):
        if names in _OPTIONAL:
            after = _OPTIONAL[names] if editing.has_table(text, _OPTIONAL[names]) else None
            return editing.add_table(text, table, {last: change.new}, after)
        if names[-1] == "air" and len(names) == 3 and editing.has_table(text, ".".join(names[:2])):
            return editing.add_table(text, table, {last: change.new})
    return editing.set_value(text, change.key, change.new)
