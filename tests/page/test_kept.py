"""Kept forecasts: reopened as they were, the newest first, a bounded number of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from coldside.build.files import read_build
from coldside.duty.phases import read_session
from coldside.errors import BadInput
from coldside.page.kept import MOST, Kept
from coldside.page.solving import Answer
from coldside.page.store import Store
from coldside.sheet.answer import answer
from coldside.sheet.render import sheet_html
from page.short import WITH_LIMIT
from words.files import BUILD


@pytest.fixture(scope="module")
def solved() -> Answer:
    return answer(read_build(BUILD, "car.toml"), read_session(WITH_LIMIT, "day.toml"))


def renamed(solved: Answer, name: str) -> Answer:
    forecast, verdict, asked = solved
    return replace(forecast, build=replace(forecast.build, name=name)), verdict, asked


def test_a_kept_forecast_is_reopened_as_it_was(tmp_path: Path, solved: Answer) -> None:
    texts = {"car.toml": BUILD, "day.toml": WITH_LIMIT}
    kept = Kept(Store(tmp_path / "coldside.db"), clock=lambda: 5.0)
    new = kept.keep(*solved, texts, {"chart si": "<svg/>"})
    assert kept.keep(*solved, texts, {"chart si": "<svg/>"}) == new  # not twice
    found = Kept(Store(tmp_path / "coldside.db")).open(new)
    assert (found.texts, found.pieces) == (texts, {"chart si": "<svg/>"})
    for system in ("si", "us"):
        again = sheet_html(found.forecast, found.verdict, system, found.asked)
        assert again == sheet_html(solved[0], solved[1], system, solved[2])
        assert found.entry.headline[system] == solved[1].words(system).headline
    assert (found.entry.when, found.entry.holds, found.entry.pinned) == (5.0, False, False)
    assert (found.entry.build, found.entry.session) == ("Kestrel", "One short pull")
    assert kept.texts(new) == texts


def test_the_newest_come_first_and_old_ones_make_room(
    tmp_path: Path, solved: Answer, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert MOST == 40
    monkeypatch.setattr("coldside.page.kept.MOST", 3)
    kept = Kept(Store(tmp_path / "coldside.db"))
    first = kept.keep(*renamed(solved, "first"), {})
    kept.pin(first)
    others = [kept.keep(*renamed(solved, f"car {n}"), {}) for n in range(5)]
    assert [entry.id for entry in kept.list()] == [others[4], others[3], others[2], first]
    kept.pin(first, False)
    kept.keep(*renamed(solved, "last"), {})
    kept.forget(others[4])
    assert [entry.build for entry in kept.list()] == ["last", "car 3"]
    for look in (kept.open, kept.texts):
        with pytest.raises(BadInput, match="not kept any more"):
            look(first)


def test_one_that_is_damaged_spoils_no_other(tmp_path: Path, solved: Answer) -> None:
    store = Store(tmp_path / "coldside.db")
    kept = Kept(store)
    one, two = kept.keep(*solved, {"a.toml": "x"}), kept.keep(*renamed(solved, "b"), {})
    with store.transaction() as db:
        db.execute("UPDATE kept SET result = ? WHERE id = ?", (b"coldside\x01nonsense", one))
    with pytest.raises(BadInput, match="damaged and cannot be opened"):
        kept.open(one)
    assert kept.texts(one) == {"a.toml": "x"}
    assert kept.open(two).entry.build == "b"
    assert len(kept.list()) == 2
