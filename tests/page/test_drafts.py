"""Drafts: two tabs lose nothing to each other, undo works, a save is whole, what the disk says is respected."""

from __future__ import annotations

import sqlite3
import threading
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldside.errors import BadInput
from coldside.page.drafts import Change, Conflict, Draft, Drafts
from coldside.page.project import Project
from coldside.page.store import Store
from words.files import BUILD, SESSION

CAR, DAY = "car.toml", "days/day.toml"
VOLUME = "parts.tank.volume"


class Clock:
    """Seconds that pass when a test says so."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


class Desk:
    """A folder with a build and a session, and drafts of them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "days").mkdir()
        (folder / CAR).write_bytes(BUILD.encode())
        (folder / DAY).write_bytes(SESSION.encode())
        self.clock = Clock()
        self.drafts = self.again()

    def again(self) -> Drafts:
        """Drafts of a server that was started anew, or of a second one."""
        return Drafts(Project(self.folder), Store(self.folder / "coldside.db"), self.clock)

    def on_disk(self, name: str = CAR) -> str:
        return (self.folder / name).read_bytes().decode()


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


def value(draft: Draft, key: str) -> object:
    found = tomllib.loads(draft.text)
    for part in key.split("."):
        found = found[int(part) if isinstance(found, list) else part]
    return found


# -- fields ------------------------------------------------------------------------------------------
def test_a_draft_begins_as_the_file_and_is_saved_into_it(desk: Desk) -> None:
    draft = desk.drafts.open(CAR)
    assert (draft.text, draft.rev, draft.dirty, draft.can_undo, draft.can_redo) == (BUILD, 1, False, False, False)
    was = draft.literals()[VOLUME]
    draft = desk.drafts.set(CAR, [Change(VOLUME, "40 L", was)])
    assert draft.dirty
    assert draft.text == BUILD.replace(f"volume = {was}", 'volume = "40 L"')
    assert desk.on_disk() == BUILD
    draft = desk.drafts.save(CAR)
    assert not draft.dirty
    assert desk.on_disk() == draft.text
    assert (desk.folder / "car.toml.bak").read_text() == BUILD
    assert draft.can_undo  # past a save too
    assert desk.drafts.undo(CAR).text == BUILD


def test_two_tabs_change_different_fields_of_what_both_saw(desk: Desk) -> None:
    seen = desk.drafts.open(CAR).literals()
    desk.drafts.set(CAR, [Change(VOLUME, "40 L", seen[VOLUME])])
    draft = desk.drafts.set(CAR, [Change("engine.lambda", 0.8, seen["engine.lambda"])])
    assert (value(draft, VOLUME), value(draft, "engine.lambda")) == ("40 L", 0.8)


def test_two_tabs_on_one_field_the_second_is_told(desk: Desk) -> None:
    seen = desk.drafts.open(CAR).literals()
    desk.drafts.set(CAR, [Change(VOLUME, "40 L", seen[VOLUME])])
    with pytest.raises(Conflict) as told:
        desk.drafts.set(
            CAR, [Change("engine.lambda", 0.8, seen["engine.lambda"]), Change(VOLUME, "50 L", seen[VOLUME])]
        )
    assert (told.value.key, told.value.theirs, told.value.yours) == (VOLUME, '"40 L"', '"50 L"')
    assert str(told.value) == f'{CAR}: {VOLUME}: is now "40 L" by another tab; this one would make it "50 L"'
    assert value(desk.drafts.open(CAR), "engine.lambda") == 0.82  # all or none
    # who wants the same as the other is at one with them, whatever was seen
    assert desk.drafts.set(CAR, [Change(VOLUME, "40 L", seen[VOLUME])]).rev == 2
    # and what one tab took out, the other is told too
    desk.drafts.set(CAR, [Change(VOLUME, None, '"40 L"')])
    with pytest.raises(Conflict, match="was taken out by another tab"):
        desk.drafts.set(CAR, [Change(VOLUME, "50 L", '"40 L"')])
    assert desk.drafts.set(CAR, [Change(VOLUME, None, '"40 L"')]).rev == 3


@pytest.mark.parametrize("was", ['"30 L"', "30 L", "'30 L'", "*"])
def test_what_was_seen_may_be_a_literal_or_a_text(desk: Desk, was: str) -> None:
    desk.drafts.set(CAR, [Change(VOLUME, "30 L")])
    assert value(desk.drafts.set(CAR, [Change(VOLUME, "31 L", was)]), VOLUME) == "31 L"


def test_a_key_is_added_and_taken_out(desk: Desk) -> None:
    draft = desk.drafts.set(CAR, [Change("engine.boost_lag", "0.5 s", None)])
    assert value(draft, "engine.boost_lag") == "0.5 s"
    assert desk.drafts.set(CAR, [Change("engine.boost_lag", None, '"0.5 s"')]).text == BUILD
    assert desk.drafts.set(CAR, [Change("engine.boost_lag", None, None)]).rev == 3  # nothing to do
    with pytest.raises(BadInput, match=r"there is no table \[parts.tnak\]"):
        desk.drafts.set(CAR, [Change("parts.tnak.volume", "1 L", None)])


def test_tables_that_may_be_absent_are_begun(desk: Desk) -> None:
    draft = desk.drafts.set(CAR, [Change("car.mass", "1300 kg", None), Change("car.drag_area", "0.6 m2", None)])
    assert value(draft, "car") == {"mass": "1300 kg", "drag_area": "0.6 m2"}
    assert draft.text.index("[engine]") < draft.text.index("[car]") < draft.text.index("[bay]")
    draft = desk.drafts.set(DAY, [Change("phases.0.air.rear", "3 m/s", None)])
    assert value(draft, "phases.0.air.rear") == "3 m/s"


def test_a_path(desk: Desk) -> None:
    was = desk.drafts.open(CAR).literals()["ducts.nose.path"]
    draft = desk.drafts.set_paths(CAR, "ducts.nose.path", ["nose_fan", "nose_hx"], was)
    assert value(draft, "ducts.nose.path") == ["nose_fan", "nose_hx"]
    with pytest.raises(Conflict):
        desk.drafts.set_paths(CAR, "ducts.nose.path", ["nose_hx"], was)


# -- history -----------------------------------------------------------------------------------------
def test_undo_and_redo_step_by_step(desk: Desk) -> None:
    texts = [desk.drafts.open(CAR).text]
    for litres in (31, 32, 33):
        desk.clock.now += 10.0
        texts.append(desk.drafts.set(CAR, [Change(VOLUME, f"{litres} L")]).text)
    assert [desk.drafts.undo(CAR).text for _ in range(4)] == [texts[2], texts[1], texts[0], texts[0]]
    assert [desk.drafts.redo(CAR).text for _ in range(2)] == [texts[1], texts[2]]
    draft = desk.drafts.set(CAR, [Change("name", "x")])
    assert not draft.can_redo
    assert draft.undoes == "name"
    draft = desk.drafts.undo(CAR)
    assert (draft.text, draft.undoes, draft.redoes) == (texts[2], VOLUME, "name")


def test_a_dragged_slider_is_one_step(desk: Desk) -> None:
    for litres in range(20, 60):
        desk.clock.now += 0.1
        desk.drafts.set(CAR, [Change(VOLUME, f"{litres} L")])
    assert desk.drafts.undo(CAR).text == BUILD
    assert value(desk.drafts.redo(CAR), VOLUME) == "59 L"
    desk.drafts.set(CAR, [Change(VOLUME, "1 L")])  # soon after a redo: a step of its own
    assert value(desk.drafts.undo(CAR), VOLUME) == "59 L"


def test_history_is_bounded(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coldside.page.drafts.MOST_STEPS", 12)
    for count in range(17):
        desk.drafts.set(CAR, [Change("name", f"n{count}"), Change("engine.lambda", 0.8)])
    db = sqlite3.connect(desk.folder / "coldside.db")
    assert db.execute("SELECT count(*) FROM steps").fetchone()[0] == 12
    steps = 0
    while desk.drafts.open(CAR).can_undo:
        desk.drafts.undo(CAR)
        steps += 1
    assert steps == 11


# -- whole texts, lists of tables --------------------------------------------------------------------
def test_a_text_may_be_anything_and_is_kept(desk: Desk) -> None:
    rev = desk.drafts.open(CAR).rev
    draft = desk.drafts.set_text(CAR, "[engine\nnot TOML \0 é", rev)
    assert desk.again().open(CAR) == draft
    assert draft.literals() == {}
    with pytest.raises(BadInput):
        desk.drafts.set(CAR, [Change(VOLUME, "40 L")])
    with pytest.raises(Conflict) as told:
        desk.drafts.set_text(CAR, "other", rev)
    assert (told.value.theirs, told.value.yours) == ("[engine\nnot TOML \0 é", "other")
    for text in ("\ud800", "x" * 1_000_001):
        with pytest.raises(BadInput):
            desk.drafts.set_text(CAR, text, draft.rev)
    assert desk.drafts.undo(CAR).text == BUILD


def test_parts_and_items(desk: Desk) -> None:
    draft = desk.drafts.rename_part(CAR, "tank", "box")
    assert "box" in value(draft, "loops.charge.path")
    assert desk.drafts.edit(CAR, "all", lambda text: text.upper()).undoes == "all"
    count = len(value(desk.drafts.open(DAY), "phases"))
    desk.drafts.add_item(DAY, "phases", None, {"kind": "idle", "duration": "1 min"})
    desk.drafts.duplicate_item(DAY, "phases", count)
    desk.drafts.move_item(DAY, "phases", count + 1, 0)
    draft = desk.drafts.remove_item(DAY, "phases", 1)
    assert len(value(draft, "phases")) == count + 1
    assert value(draft, "phases.0.kind") == "idle"
    for _ in range(4):
        draft = desk.drafts.undo(DAY)
    assert draft.text == SESSION


def test_a_counted_item_is_not_taken_for_another(desk: Desk) -> None:
    seen = desk.drafts.open(DAY)
    moved = desk.drafts.move_item(DAY, "phases", 1, 0, rev=seen.rev)
    for change in (
        lambda: desk.drafts.remove_item(DAY, "phases", 1, rev=seen.rev),
        lambda: desk.drafts.set(DAY, [Change("phases.1.name", "x")], rev=seen.rev),
    ):
        with pytest.raises(Conflict, match="items may have moved"):
            change()
    # a field that has no number is safe, and so is one seen after the move, even if other fields changed since
    desk.drafts.set(DAY, [Change("name", "x")], rev=seen.rev)
    assert value(desk.drafts.set(DAY, [Change("phases.1.name", "x")], rev=moved.rev), "phases.1.name") == "x"


# -- the disk ----------------------------------------------------------------------------------------
def test_a_file_changed_on_disk_is_taken_over_where_nothing_is_unsaved(desk: Desk) -> None:
    desk.drafts.open(CAR)
    (desk.folder / CAR).write_text(BUILD.replace("Kestrel", "Merlin"))
    draft = desk.drafts.open(CAR)
    assert value(draft, "name") == "Merlin"
    assert (draft.dirty, draft.changed_on_disk, draft.rev) == (False, False, 2)
    assert value(desk.drafts.undo(CAR), "name") == "Kestrel"


def test_a_file_changed_on_disk_is_told_where_something_is_unsaved(desk: Desk) -> None:
    desk.drafts.set(CAR, [Change(VOLUME, "40 L")])
    theirs = BUILD.replace("Kestrel", "Merlin")
    (desk.folder / CAR).write_text(theirs)
    draft = desk.drafts.open(CAR)
    assert draft.changed_on_disk
    assert value(draft, VOLUME) == "40 L"
    with pytest.raises(Conflict) as told:
        desk.drafts.save(CAR)
    assert told.value.theirs == theirs
    assert desk.on_disk() == theirs
    # either way out
    assert desk.drafts.revert(CAR).text == theirs
    draft = desk.drafts.undo(CAR)
    assert (value(draft, VOLUME), draft.dirty, draft.changed_on_disk) == ("40 L", True, False)
    (desk.folder / CAR).write_text(theirs + "#\n")
    draft = desk.drafts.save(CAR, over_disk=True)
    assert (draft.dirty, draft.changed_on_disk, desk.on_disk()) == (False, False, draft.text)


def test_a_file_that_is_gone_is_written_again_only_if_asked(desk: Desk) -> None:
    with pytest.raises(BadInput, match="there is no such file here"):
        desk.drafts.open("cra.toml")
    desk.drafts.set(CAR, [Change(VOLUME, "40 L")])
    (desk.folder / CAR).unlink()
    assert desk.drafts.open(CAR).changed_on_disk
    with pytest.raises(Conflict):
        desk.drafts.save(CAR)
    desk.drafts.save(CAR, over_disk=True)
    assert "40 L" in desk.on_disk()
    desk.drafts.forget(CAR)
    assert not desk.drafts.open(CAR).can_undo


def test_a_save_that_fails_leaves_file_and_draft(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.drafts.set(CAR, [Change(VOLUME, "40 L")])

    def full(*_: object) -> None:
        raise BadInput("cannot be written: No space left on device")

    monkeypatch.setattr(desk.drafts.project, "write", full)
    with pytest.raises(BadInput):
        desk.drafts.save(CAR)
    assert desk.on_disk() == BUILD
    assert desk.drafts.open(CAR).dirty
    assert desk.drafts.names() == [CAR]


def test_a_kill_between_file_and_store_counts_as_saved(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.drafts.set(CAR, [Change(VOLUME, "40 L")])
    write = desk.drafts.project.write

    def killed(name: str, text: str) -> None:
        write(name, text)
        raise KeyboardInterrupt

    monkeypatch.setattr(desk.drafts.project, "write", killed)
    with pytest.raises(KeyboardInterrupt):
        desk.drafts.save(CAR)
    draft = desk.again().open(CAR)
    assert (draft.dirty, draft.changed_on_disk) == (False, False)
    assert value(draft, VOLUME) == "40 L"


# -- many at once ------------------------------------------------------------------------------------
def test_threads_and_two_servers_lose_nothing(desk: Desk) -> None:
    servers = [desk.drafts, desk.again()]
    keys = [f"parts.tank.note_{n}" for n in range(24)]

    def work(mine: int) -> None:
        for key in keys[mine::4]:
            servers[mine % 2].set(CAR, [Change(key, mine, None)])

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    draft = desk.again().open(CAR)
    assert draft.rev == 1 + len(keys)
    assert all(value(draft, key) == n % 4 for n, key in enumerate(keys))


STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("set"), st.integers(0, 3), st.integers(0, 1)),
        st.tuples(st.sampled_from(["undo", "redo", "save", "again"]), st.just(0), st.just(0)),
    ),
    max_size=25,
)


@settings(deadline=None, max_examples=15)
@given(steps=STEPS)
def test_history_is_that_of_a_plain_list(tmp_path_factory: pytest.TempPathFactory, steps: list) -> None:
    """The drafts against the simplest thing that they could be: a list of texts and a place in it."""
    desk = Desk(tmp_path_factory.mktemp("desk"))
    texts, place = [BUILD], 0
    saved = BUILD
    for what, number, key in steps:
        desk.clock.now += 5.0
        if what == "set":
            draft = desk.drafts.set(CAR, [Change(("name", VOLUME)[key], f"{number} L")])
            if draft.text != texts[place]:
                texts, place = [*texts[: place + 1], draft.text], place + 1
        elif what == "again":
            desk.drafts = desk.again()
            draft = desk.drafts.open(CAR)
        elif what == "save":
            draft = desk.drafts.save(CAR)
            saved = texts[place]
        else:
            draft = getattr(desk.drafts, what)(CAR)
            place = max(place - 1, 0) if what == "undo" else min(place + 1, len(texts) - 1)
        assert draft.text == texts[place]
        assert draft.dirty == (texts[place] != saved)
        assert (draft.can_undo, draft.can_redo) == (place > 0, place < len(texts) - 1)
        assert desk.on_disk() == saved
