"""What a hostile page, a hand-over from a stranger or a slip may bring: told in words, nothing spoiled.

Sources: RFC 6265 section 5.4 (one Cookie header holds the cookies of every program on a host, whatever the port) and
RFC 8259 section 8.2 (halves of surrogate pairs in JSON), from memory; the names of devices on Windows, from memory; the
bytes of files before and after.
"""

# ruff: noqa: F811  fixtures come from client.py and are arguments here

from __future__ import annotations

import json
import os
import shutil
import sys
import zlib

import numpy as np
import pytest

from coldside.build.catalogue import catalogue
from coldside.build.editing import add_item, set_value, value_at
from coldside.errors import BadInput
from coldside.page import codec
from coldside.page.codec import MAGIC, decode
from coldside.page.comparing import beside_of
from coldside.page.guard import cookie_name
from coldside.page.project import Project
from coldside.resources import examples_folder
from page.client import BUILD, SESSION, client, desk, folder  # noqa: F401  fixtures

NAME = cookie_name("127.0.0.1:8750")


# -- requests ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("other", ['a={"x": 1}', "bad name=1", "a=b c", 'a="', "é=1", "", f"{NAME}=of-a-start-before"])
def test_cookies_of_other_programs_lock_nobody_out(client, other):
    client.http.cookies.clear()
    for cookies in (f"{other}; {NAME}=key", f"{NAME}=key; {other}"):
        assert client.http.get("/", headers={"cookie": cookies.encode()}).status_code == 200
    assert client.http.get("/", headers={"cookie": other.encode()}).status_code == 403


def test_half_of_a_character_is_refused_before_it_reaches_a_file(client, folder):
    before = (folder / BUILD).read_bytes()
    for data in (b'{"file": "\\ud800"}', b'{"name": "a.toml", "text": "\\udfff"}', b'{"file": "\xed\xa0\x80"}'):
        for address in ("/do/draft/put-text", "/do/bring", "/do/beside/words"):
            answer = client.http.post(address, content=data, headers={"content-type": "application/json"})
            assert answer.status_code == 400
            assert "no JSON object" in answer.json()["problems"][0]["message"]
    assert (folder / BUILD).read_bytes() == before


@pytest.mark.parametrize("key", ['"', '"a', "phases.²", "phases.²x.duration", 'parts."tank'])
def test_keys_that_are_none_are_told(client, key):
    client.post("/do/draft/put", 400, file=SESSION, key=key, value="1 min", kind="time", was=None)


def test_a_number_longer_than_any_is_told(client):
    client.post(
        "/do/draft/put", 400, file=BUILD, key="parts.tank.volume", value="0x" + "f" * 20_000, kind="volume", was="*"
    )
    with pytest.raises(BadInput, match="absurdly large"):
        set_value("a = 1\n", "a", 2**63)


def test_superscript_digits_are_no_number_of_a_kept_forecast(client):
    client.page("/verdict?kept=%C2%B2", 400)


# -- files -------------------------------------------------------------------------------------------


def test_a_brief_keeps_its_comments_and_all_that_was_not_answered(client, folder):
    shutil.copytree(examples_folder() / "briefs", folder / "briefs")
    file = folder / "briefs" / "crossbill.toml"
    before = file.read_text()
    client.post("/do/brief/put", file="briefs/crossbill.toml", key="redline", value="7000 rpm")
    assert file.read_text() == before.replace('"7400 rpm"', '"7000 rpm"')
    client.post("/do/brief/put", file="briefs/crossbill.toml", key="cylinders", value="6")  # stands there as a number
    client.post("/do/brief/put", file="briefs/crossbill.toml", key="pump_flow", value="")  # stands there not at all
    assert file.read_text() == before.replace('"7400 rpm"', '"7000 rpm"')


def test_a_brief_that_does_not_read_is_not_written_over(client, folder):
    (folder / "b.toml").write_text(text := 'schema = "coldside.brief/1"\nname = "Mine"\npower = "400 hp\n')
    told = client.post("/do/brief/put", 400, file="b.toml", key="redline", value="7000 rpm")["problems"]
    assert told[0]["line"] == 3
    assert (folder / "b.toml").read_text() == text


def test_a_build_is_never_taken_for_a_brief(client, folder):
    before = (folder / BUILD).read_bytes()
    told = client.post("/do/brief/put", 400, file=BUILD, key="redline", value="7000 rpm")["problems"]
    assert "is no brief" in told[0]["message"]
    assert (folder / BUILD).read_bytes() == before


def test_a_file_beside_that_changes_is_read_anew(desk, folder):
    samples = "time [s],engine_speed [rpm],plenum [kPa abs],road_speed [km/h]\n"
    session = (
        (folder / SESSION)
        .read_text()
        .replace("[[limits]]", '[[phases]]\nkind = "replay"\nsamples = "s.csv"\n\n[[limits]]')
    )
    (folder / "replayed.toml").write_text(session)

    def write(last: int) -> None:
        (folder / "s.csv").write_text(samples + "".join(f"{t},3000,150,{t}\n" for t in range(last)))

    write(30)
    first, beside = desk.cases.of(BUILD, "replayed.toml"), beside_of(desk, [BUILD, "tern/air.toml"], "replayed.toml")
    assert desk.cases.of(BUILD, "replayed.toml") is first
    write(60)
    assert desk.cases.of(BUILD, "replayed.toml") is not first
    assert beside_of(desk, [BUILD, "tern/air.toml"], "replayed.toml") is not beside


@pytest.mark.skipif(os.name != "posix", reason="links and pipes")
def test_links_in_a_ring_and_pipes_stop_no_place(client, folder):
    os.symlink("ring.toml", folder / "ring.toml")
    os.mkfifo(folder / "pipe.toml")
    (folder / "folder.toml").mkdir()
    assert "Tern" in client.page("/")
    client.page("/build?build=ring.toml", 400)


@pytest.mark.skipif(os.name != "posix", reason="links")
def test_nothing_is_copied_through_a_link_that_leads_out(client, folder, tmp_path_factory):
    out = tmp_path_factory.mktemp("outside")
    os.symlink(out, folder / "heron")
    client.post("/do/copy-demo", 400)
    assert not any(out.iterdir())


@pytest.mark.parametrize("name", ["con.toml", "tern/NUL.toml", "com1.csv", "aux.other.toml"])
def test_names_of_devices_are_refused(tmp_path, name):
    with pytest.raises(BadInput, match="device"):
        Project(tmp_path).create(name, "")


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "car").write_text("a file where a folder is wanted")
    for write in (Project(tmp_path).create, Project(tmp_path).write):
        with pytest.raises(BadInput, match="cannot be made"):
            write("car/a.toml", "")


@pytest.mark.parametrize("spoiled", ["[[parts]]\nkind = 'pump'\n", "[parts.x]\nkind = ['pump']\n", "parts = 3\n"])
def test_a_file_of_parts_of_another_form_is_told(tmp_path, spoiled):
    (tmp_path / "own.toml").write_text('schema = "coldside.parts/1"\n' + spoiled)
    with pytest.raises(BadInput):
        catalogue(tmp_path)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('kind = "reservoir"', "kind = [1]"),
        ('kind = "reservoir"', "kind = {a = 1}"),
        ("[parts.tank]", "[[parts.tank]]"),
        ('volume = "9.5 L"', "volume = 0x" + "f" * 400),
        ("[charge]", "[charge.x]"),
    ],
)
def test_a_build_spoiled_in_its_form_still_opens(client, folder, old, new):
    text = (folder / BUILD).read_text()
    assert old in text
    (folder / "spoiled.toml").write_text(text.replace(old, new))
    for part in ("tank", "engine", "core"):
        client.page(f"/build?build=spoiled.toml&session={SESSION}&part={part}")
    assert client.get("/do/draft/state?file=spoiled.toml")["problems"]


def test_lists_of_tables_begin_where_their_table_is_not_yet():
    text = add_item('schema = "x"\n', "ambient.readings", None, {"at": "1 min"})
    assert value_at(text, "ambient.readings.0.at")[0] == "1 min"
    with pytest.raises(BadInput, match="is no table"):
        add_item("ambient = 3\n", "ambient.readings", None, {"at": "1 min"})


# -- a database from a stranger ----------------------------------------------------------------------


def packed(tree: object, shapes: list, *blobs: bytes) -> bytes:
    """Bytes as the codec writes them, of any content."""
    parts = [zlib.compress(json.dumps([tree, shapes]).encode(), 9), *blobs]
    return MAGIC + b"".join(len(part).to_bytes(4, "little") + part for part in parts)


@pytest.mark.parametrize(
    ("tree", "shapes", "blobs"),
    [
        (["D", "no number"], [], []),
        (["a", 0], [["<f8", [0, 10**30]]], [zlib.compress(b"")]),
        (["n", "coldside.page.drafts:Change", ["a", "b"]], [], []),  # a dataclass is not made by calling it
        (["e", "coldside.page.drafts:Change", "a"], [], []),
        (["c", "coldside.page.drafts:Conflict", []], [], []),
        (["t", [1, 2]], [], []),
    ],
)
def test_crafted_bytes_make_nothing_and_are_told(desk, tree, shapes, blobs):
    raw = packed(tree, shapes, *blobs)
    with desk.store.transaction() as db:
        row = (0.0, "1", "a", "b", "{}", None, 0, raw, raw)
        new = db.execute(
            "INSERT INTO kept (made, version, build, session, headline, holds, pinned, inputs, result)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            row,
        ).lastrowid
    with pytest.raises(BadInput):
        desk.kept.open(new)


def test_a_small_file_does_not_unpack_without_end(monkeypatch):
    monkeypatch.setattr(codec, "LARGEST", 1_000_000)
    full = zlib.compress(np.zeros(600_000, np.uint8).tobytes(), 9)
    shape = ["|u1", [600_000]]
    assert decode(packed(["a", 0], [shape], full)).nbytes == 600_000
    with pytest.raises(BadInput, match="too large"):
        decode(packed(["a", 0], [shape, shape], full, full))
    monkeypatch.setattr(codec, "LARGEST_TREE", 1000)
    with pytest.raises(BadInput, match="longer"):
        decode(packed(["l", [0] * 2000], []))
    assert sys.getsizeof(full) < 2000
