"""The store: damage is told once and set aside, another program's file is left alone."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from coldside.errors import BadInput
from coldside.page.store import Store


def filled(path: Path, rows: int = 200) -> None:
    store = Store(path)
    with store.transaction() as db:
        for n in range(rows):
            db.execute("INSERT INTO steps VALUES (?, ?, ?, '', 0)", ("a.toml", n, "x" * 500))
    store.close()


def count(store: Store) -> int:
    with store.transaction() as db:
        return int(db.execute("SELECT count(*) FROM steps").fetchone()[0])


def test_what_was_acknowledged_is_there_again(tmp_path: Path) -> None:
    filled(tmp_path / "coldside.db")
    store = Store(tmp_path / "coldside.db")
    assert count(store) == 200
    assert store.notes == []


def test_all_or_nothing(tmp_path: Path) -> None:
    store = Store(tmp_path / "coldside.db")

    def fails_halfway() -> None:
        with store.transaction() as db:
            db.execute("INSERT INTO steps VALUES ('a', 0, '', '', 0)")
            with store.transaction():
                db.execute("INSERT INTO steps VALUES ('a', 1, '', '', 0)")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fails_halfway()
    assert count(store) == 0


@pytest.mark.parametrize("damage", ["text", "empty head", "cut", "spoiled pages"])
def test_a_damaged_file_is_set_aside_with_one_message(tmp_path: Path, damage: str) -> None:
    path = tmp_path / "coldside.db"
    filled(path)
    raw = bytearray(path.read_bytes())
    if damage == "text":
        raw = bytearray(b"not a database at all, but longer than a header of one hundred bytes " * 20)
    elif damage == "empty head":
        raw[:100] = bytes(100)
    elif damage == "cut":
        raw = raw[: len(raw) // 2]
    else:
        for page in range(4096, len(raw), 4096):
            raw[page : page + 200] = bytes(range(200))
    path.write_bytes(raw)
    store = Store(path)
    assert count(store) == 0
    assert len(store.notes) == 1
    assert "was damaged and is now coldside.db.damaged-1" in store.notes[0]
    assert (tmp_path / "coldside.db.damaged-1").read_bytes() == raw
    store.close()
    assert Store(path).notes == []


def test_damage_met_in_the_middle_of_work_is_one_refusal(tmp_path: Path) -> None:
    path = tmp_path / "coldside.db"
    store = Store(path)
    with pytest.raises(BadInput, match="was damaged and is now"), store.transaction():
        raise sqlite3.DatabaseError("database disk image is malformed")
    assert count(store) == 0


def test_an_empty_file_becomes_a_store(tmp_path: Path) -> None:
    (tmp_path / "coldside.db").touch()
    assert count(Store(tmp_path / "coldside.db")) == 0


def test_files_of_others_are_left_alone(tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / "other.db")
    other.execute("CREATE TABLE theirs (a)")
    other.commit()
    other.close()
    before = (tmp_path / "other.db").read_bytes()
    with pytest.raises(BadInput, match="is a file of another program"):
        Store(tmp_path / "other.db")
    assert (tmp_path / "other.db").read_bytes() == before


def test_a_newer_file_is_refused_and_kept(tmp_path: Path) -> None:
    filled(tmp_path / "coldside.db")
    newer = sqlite3.connect(tmp_path / "coldside.db")
    newer.execute("PRAGMA user_version=99")
    newer.close()
    with pytest.raises(BadInput, match="was made by a newer coldside"):
        Store(tmp_path / "coldside.db")
    assert (tmp_path / "coldside.db").exists()


def test_places_that_cannot_be_written_are_told(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be written"):
        Store(tmp_path / "none" / "coldside.db")
    (tmp_path / "folder.db").mkdir()
    with pytest.raises(BadInput, match="cannot be written"):
        Store(tmp_path / "folder.db")


def test_a_store_in_use_is_waited_for_then_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coldside.page.store.PATIENCE", 0.1)
    path = tmp_path / "coldside.db"
    first, second = Store(path), Store(path)
    with (
        first.transaction(),
        pytest.raises(BadInput, match="is being written by another program"),
        second.transaction(),
    ):
        pass
    assert count(second) == 0
