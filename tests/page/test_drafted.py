"""Starter builds over a restart: the same words again, none of another version, nothing of what is damaged."""

from __future__ import annotations

import pytest

from coldside.build.brief import brief_text, parse_brief
from coldside.page.drafted import Draft, Drafted
from coldside.page.store import Store


@pytest.fixture
def store(tmp_path):
    made = Store(tmp_path / "coldside.db")
    yield made
    made.close()


def drafted(name: str) -> Draft:
    text = brief_text({"power": "300 kW"}, name)
    return Draft(text, parse_brief(text), (), None, {1: {"build": "a.toml", "session": "b.toml"}})


def test_the_last_draft_of_a_brief_is_found_again(store, tmp_path):
    assert Drafted(store).last("brief.toml") is None
    for name in ("first", "last"):
        Drafted(store).keep("brief.toml", drafted(name))
    again = Store(tmp_path / "coldside.db")
    assert Drafted(again).last("brief.toml") == drafted("last")
    assert Drafted(again).last("other.toml") is None
    again.close()


def test_what_another_version_made_or_what_is_damaged_is_drafted_again(store, monkeypatch):
    kept = Drafted(store)
    kept.keep("brief.toml", drafted("car"))
    with monkeypatch.context() as patch:
        patch.setattr("coldside.page.drafted.__version__", "99")
        assert kept.last("brief.toml") is None
    with store.transaction() as db:
        db.execute("UPDATE starters SET result = ?", (b"coldside\x01nonsense",))
    assert kept.last("brief.toml") is None
