"""The places of the page, asked as functions: what they show comes from the commands' own functions, in their words.

Compared with outside the page: `simulate` and `judge` on the same files, and the files' own bytes.  Builds and sessions
are the invented ones.
"""

from __future__ import annotations

import html
import itertools
import re
import shutil
import tomllib

import pytest

from coldside import judge, load_build, load_session, simulate
from coldside.page.places.build import lines_of, path_of
from coldside.resources import examples_folder
from page.client import BUILD, SESSION, SHORT, client, desk, folder  # noqa: F401  fixtures

QUERY = f"build={BUILD}&session={SESSION}"


def text_of(page: str) -> str:
    """The words of a piece of HTML."""
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))).replace("\u00a0", " ")


# -- start -------------------------------------------------------------------------------------------


def test_the_start_tells_what_is_there(client):
    words = text_of(client.page("/"))
    assert "Tern, two water cores" in words
    assert "Two short pulls" in words


def test_copying_the_demo_overwrites_nothing(client, folder):
    mine = (folder / BUILD).read_text() + "# mine\n"
    (folder / BUILD).write_text(mine)
    copied = client.post("/do/copy-demo")["copied"]
    assert "sessions/track.toml" in copied
    assert BUILD not in copied
    assert (folder / BUILD).read_text() == mine
    assert client.post("/do/copy-demo")["copied"] == []


def test_units_and_look_are_kept_in_cookies(client):
    client.post("/do/choose", name="units", value="us")
    assert 'data-units="us"' in client.page("/")
    client.post("/do/choose", name="look", value="dark")
    assert 'data-look="dark"' in client.page("/")
    for name, value in (("units", "imperial"), ("look", "pink"), ("key", "x")):
        assert client.post("/do/choose", 400, name=name, value=value)["problems"]


# -- build -------------------------------------------------------------------------------------------


def test_every_field_of_a_part_is_there_with_default_and_range(client):
    page = client.page(f"/build?{QUERY}&part=tank")
    words = text_of(page)
    assert "coolant in the tank. Allowed: 0.2 L to 500 L" in words
    assert 'value="9.5 L"' in page
    assert 'placeholder="3 W/K +- 50 %"' in page


def test_a_change_is_kept_in_the_draft_and_only_saving_writes_the_file(client, folder):
    before = (folder / BUILD).read_text()
    state = client.post(
        "/do/draft/put", file=BUILD, key="parts.tank.volume", kind="volume", value="12 L", was='"9.5 L"'
    )
    assert state["dirty"]
    assert state["problems"] == []
    assert (folder / BUILD).read_text() == before
    client.post("/do/draft/save", file=BUILD)
    assert (folder / BUILD).read_text() == before.replace('volume = "9.5 L"', 'volume = "12 L"')


def test_a_wrong_value_is_kept_and_told_at_its_field_in_the_files_words(client):
    state = client.post("/do/draft/put", file=BUILD, key="parts.tank.volume", kind="volume", value="9", was='"9.5 L"')
    assert [one["key"] for one in state["problems"]] == ["parts.tank.volume"]
    assert "has no unit" in state["problems"][0]["message"]
    assert re.fullmatch(r"water\.toml:\d+", state["problems"][0]["where"])
    fields = client.get(f"/do/build/fields?file={BUILD}&table=parts.tank")["html"]
    assert 'aria-invalid="true"' in fields
    assert "has no unit" in fields
    assert client.post("/do/build/look", 400, build=BUILD, session=SESSION)["problems"]


def test_two_tabs_on_one_field_are_told_of_each_other(client):
    client.post("/do/draft/put", file=BUILD, key="parts.tank.volume", kind="volume", value="12 L", was='"9.5 L"')
    told = client.post(
        "/do/draft/put", 400, file=BUILD, key="parts.tank.volume", kind="volume", value="20 L", was='"9.5 L"'
    )
    assert "12 L" in told["problems"][0]["message"]
    assert "12 L" in client.get(f"/do/draft/text?file={BUILD}")["text"]
    client.post("/do/draft/put", file=BUILD, key="parts.tank.height", kind="length", value="0.7 m", was='"0.55 m"')


def test_the_look_is_the_forecast_of_the_draft(client, folder):
    seen = client.post("/do/build/look", build=BUILD, session=SESSION)
    build = load_build(folder / BUILD)
    forecast = simulate(build, load_session(folder / SESSION, build.loops))
    assert seen["holds"] == judge(forecast).holds
    assert seen["peak"] == pytest.approx(float(forecast.time[forecast.peak]), abs=1.0)
    told = float(re.search(r"intake ([\d.]+) °C", seen["moment"]["words"])[1])
    assert told == pytest.approx(float(forecast.intake[forecast.peak]) - 273.15, abs=1.5)  # a quick look, rounded
    assert seen["lead"].startswith("<svg")
    assert 'data-part="tank"' in seen["moment"]["ribbon"]
    assert "9.5 L" in seen["live"]["tank"]


def test_a_slider_is_tried_without_being_kept_and_kept_when_it_is_let_go(client):
    tried = client.post("/do/build/look", build=BUILD, session=SESSION, key="parts.tank.volume", value=0.02)
    assert tried["typed"] == "20 L"
    assert "20 L" in tried["live"]["tank"]
    assert "9.5 L" in client.get(f"/do/draft/text?file={BUILD}")["text"]
    client.post("/do/build/slide", file=BUILD, key="parts.tank.volume", value=0.02)
    assert 'volume = "20 L"' in client.get(f"/do/draft/text?file={BUILD}")["text"]


def test_us_units_are_shown_and_written_but_the_file_keeps_its_own(client, folder):
    client.post("/do/choose", name="units", value="us")
    tried = client.post("/do/build/look", build=BUILD, session=SESSION, key="parts.tank.volume", value=0.02)
    assert tried["typed"] == "5.28 US gal"
    assert "°F" in tried["headline"]
    assert "°C" not in text_of(tried["lead"] + tried["moment"]["ribbon"])
    assert "9.5 L" in (folder / BUILD).read_text()


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("a\nb\n", ["a", "b"]),
        ("a\nb + c\nd", ["a", ["b", "c"], "d"]),
        ("a, b + c\n", [[["a", "b"], "c"]]),
        ("\n a ,b \n", ["a", "b"]),
    ],
)
def test_paths_as_lines(text, path):
    assert path_of(text) == path
    again = "\n".join(" + ".join(", ".join(branch) for branch in line) for line in lines_of(path))
    assert path_of(again) == path


def test_paths_nested_deeper_than_lines_can_say_are_left_to_the_text():
    assert lines_of(["a", [["b", ["c", "d"]], "e"]]) is None


def test_a_part_goes_in_is_renamed_and_comes_out_again(client):
    before = client.get(f"/do/draft/text?file={BUILD}")["text"]
    added = {"item": "hose_25", "name": "extra_hose", "path": "loops.charge.path", "after": "pump"}
    state = client.post("/do/build/add", file=BUILD, **added)
    assert state["problems"] == []
    text = client.get(f"/do/draft/text?file={BUILD}")["text"]
    assert re.search(r'"pump",\s+"extra_hose"', text)
    assert client.post("/do/build/rename", file=BUILD, part="extra_hose", new="long_hose")["problems"] == []
    assert client.post("/do/build/remove", file=BUILD, part="long_hose")["problems"] == []
    after = client.get(f"/do/draft/text?file={BUILD}")["text"]
    assert load_text(after) == load_text(before)


def load_text(text: str) -> dict:
    import tomllib

    return tomllib.loads(text)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"item": "nothing", "name": "x"}, "not in the catalogue"),
        ({"item": "hose_25", "name": "Tank 2"}, "no name of a part"),
        ({"item": "hose_25", "name": "tank"}, "already"),
    ],
)
def test_a_part_that_cannot_be_is_refused_in_words(client, data, words):
    assert words in client.post("/do/build/add", 400, file=BUILD, **data)["problems"][0]["message"]


def test_a_copy_is_a_file_of_its_own(client, folder):
    made = client.post("/do/build/copy", file=BUILD, title="Tern <b>wide</b>")["file"]
    assert made == "tern/tern-b-wide-b.toml"
    assert load_build(folder / made).name == "Tern <b>wide</b>"
    assert "<b>wide" not in client.page(f"/build?build={made}")


# -- session -----------------------------------------------------------------------------------------


def test_phases_move_copy_and_go_and_comments_stay(client):
    def order() -> list[str]:
        return [phase["kind"] for phase in load_text(client.get(f"/do/draft/text?file={SESSION}")["text"])["phases"]]

    def act(do: str, index: int, **more: object) -> None:
        rev = client.get(f"/do/draft/state?file={SESSION}")["rev"]
        client.post("/do/session/item", file=SESSION, do=do, list="phases", index=index, rev=rev, **more)

    act("add", -1, kind="cooldown")
    assert order() == ["idle", "pull", "cooldown"]
    act("up", 2)
    act("copy", 0)
    assert order() == ["idle", "idle", "cooldown", "pull"]
    act("remove", 0)
    assert order() == ["idle", "cooldown", "pull"]
    assert "# kept through every change" in client.get(f"/do/draft/text?file={SESSION}")["text"]
    for _ in range(4):
        client.post("/do/draft/undo", file=SESSION)
    assert client.get(f"/do/draft/text?file={SESSION}")["text"] == SHORT


def test_every_kind_of_new_phase_reads(client):
    from coldside.page.places.session import FRESH

    for kind in FRESH:
        rev = client.get(f"/do/draft/state?file={SESSION}")["rev"]
        state = client.post("/do/session/item", file=SESSION, do="add", list="phases", index=-1, kind=kind, rev=rev)
        if kind == "replay":  # names a file that is not there yet, and says so
            assert "samples.csv" in state["problems"][0]["message"]
            client.post("/do/draft/undo", file=SESSION)
        else:
            assert state["problems"] == [], kind


def test_the_demand_is_drawn_on_a_car(client):
    drawn = client.get(f"/do/session/demand?file={SESSION}&build={BUILD}")
    assert "road speed" in drawn["svg"]
    assert "Tern" in drawn["words"]


def test_a_ready_made_session_becomes_a_file(client, folder):
    made = client.post("/do/session/make", ready="track.toml")["file"]
    assert (folder / made).read_bytes() == (examples_folder() / "sessions" / "track.toml").read_bytes()
    again = client.post("/do/session/make", ready="track.toml")["file"]
    assert again != made


# -- verdict -----------------------------------------------------------------------------------------


def test_the_verdict_is_that_of_the_command(client, folder):
    job = client.post("/do/verdict/start", build=BUILD, session=SESSION)["job"]
    state = client.finish(job)
    assert state["state"] == "done", state
    top = text_of(client.get(f"/do/verdict/piece?job={job}&name=top")["html"])
    build = load_build(folder / BUILD)
    forecast = simulate(build, load_session(folder / SESSION, build.loops))
    spoken = judge(forecast).words("si").headline.replace("degC", "°C")
    assert spoken.partition(".")[0] in top
    for name in ("why", "change", "dies", "before", "more", "folds", "cautions"):
        assert client.get(f"/do/verdict/piece?job={job}&name={name}")["html"], name
    # kept, and shown again as it was
    page = client.page("/")
    kept = re.search(r"/verdict\?kept=(\d+)", page)[1]
    again = client.post("/do/verdict/reopen", kept=kept)["job"]
    assert client.finish(again)["state"] == "done"
    assert text_of(client.get(f"/do/verdict/piece?job={again}&name=top")["html"]) == top


def test_the_chart_looks_closer_and_the_ribbon_follows(client):
    job = client.post("/do/verdict/start", build=BUILD, session=SESSION)["job"]
    client.finish(job)
    whole = client.get(f"/do/verdict/sight?job={job}&part=chart")["lead"]
    close = client.get(f"/do/verdict/sight?job={job}&part=chart&from=20&to=30")["lead"]
    assert 'data-t0="0.00"' in whole
    assert 'data-t0="20.00"' in close
    early = client.get(f"/do/verdict/sight?job={job}&part=moment&time=1")
    late = client.get(f"/do/verdict/sight?job={job}&part=moment&time=27.5")
    assert early["ribbon"] != late["ribbon"]
    assert early["words"].startswith("0:01")


@pytest.mark.parametrize("query", ["build=nothing.toml&session=short.toml", f"build={BUILD}&session=../x.toml"])
def test_files_that_are_not_there_are_told(client, query):
    build, session = re.fullmatch("build=(.*)&session=(.*)", query).groups()
    assert client.post("/do/verdict/start", 400, build=build, session=session)["problems"][0]["message"]
    assert client.page(f"/sheet/whole?{query}", 400)


# -- the rest ----------------------------------------------------------------------------------------


def test_every_place_opens_on_an_empty_folder(client, folder):
    shutil.rmtree(folder / "tern")
    (folder / "short.toml").unlink()
    for place in ("/", "/brief", "/build", "/session", "/verdict", "/sheet"):
        assert "<h1" in client.page(place), place


def test_nothing_but_json_objects_are_taken(client):
    assert (
        client.http.post("/do/draft/put", content=b"[1]", headers={"content-type": "application/json"}).status_code
        == 400
    )
    assert (
        client.http.post("/do/draft/put", content=b"{", headers={"content-type": "application/json"}).status_code == 400
    )
    assert client.http.post("/do/draft/put", content=b"a=1").status_code == 415
    assert client.post("/do/draft/put", 400)["problems"][0]["message"].startswith("the request lacks")


def test_a_fault_of_ours_shows_no_traceback(client, monkeypatch, capsys):
    monkeypatch.setattr(client.desk.drafts, "undo", lambda *_: 1 / 0)
    told = client.post("/do/draft/undo", 500, file=BUILD)
    assert "Fault inside coldside" in told["problems"][0]["message"]
    assert "Traceback" not in str(told)
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_the_sheet_is_that_of_the_command(client, folder):
    from coldside.sheet.render import sheet_html

    page = client.page(f"/sheet/whole?{QUERY}")
    assert page.startswith("<!DOCTYPE html>")
    case = client.desk.cases.of(BUILD, SESSION)
    assert page == sheet_html(*case.answer()[:2], "si", case.answer()[2])
    taken = client.http.get(f"/sheet/whole?{QUERY}&take=1")
    assert "attachment" in taken.headers["content-disposition"]


def test_files_are_brought_in_bounded_and_under_plain_names(client, folder):
    track = "s_m,curvature_1_m\n0,0\n100,0.01\n"
    assert client.post("/do/bring", name="my track.csv", text=track)["file"] == "my track.csv"
    assert client.post("/do/bring", name="my track.csv", text=track)["file"] == "my track-2.csv"
    assert (folder / "my track.csv").read_text() == track
    for name in ("../a.csv", "a.exe", "/etc/a.csv", "a/b/c/d.csv", ""):
        assert client.post("/do/bring", 400, name=name, text="x")["problems"], name
    assert "larger" in client.post("/do/bring", 400, name="big.csv", text="x" * 1_000_001)["problems"][0]["message"]
    assert client.post("/do/bring", 400, name="bad.toml", text="= 1")["problems"]
    assert not (folder / "bad.toml").exists()


def test_the_air_may_change_by_readings(client):
    rev = client.get(f"/do/draft/state?file={SESSION}")["rev"]
    item = {"do": "add", "list": "ambient.readings", "index": -1, "rev": rev}
    assert client.post("/do/session/item", file=SESSION, **item)["problems"] == []
    cards = client.get(f"/do/session/cards?file={SESSION}")["html"]
    assert 'data-key="ambient.readings.0.temperature"' in cards
    change = {"key": "ambient.readings.0.temperature", "kind": "temperature", "value": "33 degC", "was": '"30 degC"'}
    state = client.post(
        "/do/draft/put", file=SESSION, rev=client.get(f"/do/draft/state?file={SESSION}")["rev"], **change
    )
    assert state["problems"] == []
    assert 'temperature = "33 degC"' in client.get(f"/do/draft/text?file={SESSION}")["text"]


# -- what is done with files -------------------------------------------------------------------------


def test_files_are_renamed_copied_and_set_aside(client, folder):
    before = (folder / BUILD).read_text()
    assert client.post("/do/start/rename", file=BUILD, title='The "Tern"')["title"] == 'The "Tern"'
    after = (folder / BUILD).read_text()
    differs = [(a, b) for a, b in zip(before.splitlines(), after.splitlines(), strict=True) if a != b]
    assert len(differs) == 1
    assert 'The "Tern"' in text_of(client.page("/"))  # without the backslashes of the file
    copied = client.post("/do/start/copy", file=BUILD, title="Second")["file"]
    assert copied == "tern/second.toml"
    assert load_build(folder / copied).name == "Second"
    assert client.post("/do/start/copy", 400, file=BUILD, title=" ")["problems"]
    client.post("/do/draft/put", file=copied, key="parts.tank.volume", value="9 L", kind="volume", was='"9.5 L"')
    assert "not saved" in client.post("/do/start/remove", 400, file=copied)["problems"][0]["message"]
    client.post("/do/draft/save", file=copied)
    moved = client.post("/do/start/remove", file=copied)["moved"]
    assert moved == "removed/tern-second.toml"
    assert not (folder / copied).exists()
    assert 'volume = "9 L"' in (folder / moved).read_text()
    assert "Second" not in text_of(client.page("/"))
    client.post("/do/start/remove", 400, file="../outside.toml")


def test_a_kept_forecast_stays_for_good_and_gives_its_files_back(client, folder):
    case = client.desk.cases.forecast(client.desk.cases.of(BUILD, SESSION))
    kept = client.desk.keep(case)
    before = (folder / BUILD).read_text()
    client.post("/do/start/pin", kept=kept, stays=True)
    assert client.desk.kept.list()[0].pinned
    assert "stays for good" in text_of(client.page("/"))
    client.post("/do/start/pin", kept=kept, stays=False)
    assert not client.desk.kept.list()[0].pinned
    (folder / BUILD).write_text(before.replace("9.5 L", "3 L"))
    files = client.post("/do/start/restore", kept=kept)["files"]
    assert files == ["tern/water-as-kept.toml", "short-as-kept.toml"]
    assert (folder / files[0]).read_text() == before
    assert client.post("/do/start/restore", kept=kept)["files"][0] == "tern/water-as-kept-2.toml"
    assert client.post("/do/start/restore", 400, kept=999)["problems"]


def test_a_kept_forecast_is_forgotten(client):
    job = client.post("/do/verdict/start", build=BUILD, session=SESSION)["job"]
    assert client.finish(job)["state"] == "done"
    (entry,) = client.desk.kept.list()
    assert f"kept={entry.id}" in client.page("/")
    client.post("/do/start/forget", kept=entry.id)
    assert client.desk.kept.list() == []
    assert "kept=" not in client.page("/")


def test_a_plain_boost_and_units_as_meant_are_taken(client):
    client.post("/do/choose", name="units", value="us")
    for key, kind, typed, held in (
        ("engine.boost", "curve", "24 psi", 'boost = "24 psi"'),
        ("engine.boost", "curve", "22", 'boost = "22 psi"'),
        ("parts.tank.volume", "volume", "3 gal", 'volume = "3 US gal"'),
        ("engine.volumetric_efficiency", "curve", "95 %", 'volumetric_efficiency = "95 %"'),
    ):
        state = client.post("/do/draft/put", file=BUILD, key=key, kind=kind, value=typed, was="*")
        assert state["problems"] == [], typed
        assert held in client.desk.drafts.open(BUILD).text
    page = client.page(f"/build?{QUERY}&part=engine")
    assert 'value="146 in3"' in page
    assert "in the file: 2.4 L" in text_of(page)


def test_fields_are_shown_and_written_in_the_units_chosen_and_what_is_not_changed_stays(client, folder):
    client.post("/do/choose", name="units", value="us")
    fields = client.get(f"/do/build/fields?file={BUILD}&table=parts.tank")["html"]
    assert 'value="2.51 US gal"' in fields
    assert "in the file: 9.5 L" in fields
    put = {"file": BUILD, "key": "parts.tank.volume", "kind": "volume", "was": '"9.5 L"'}
    assert client.post("/do/draft/put", value="2.51 US gal", **put)["dirty"] is False  # as it was shown
    state = client.post("/do/draft/put", value="3 gal", **put)
    assert state["literal"] == '"3 US gal"'
    before, after = (folder / BUILD).read_text(), client.get(f"/do/draft/text?file={BUILD}")["text"]
    assert after == before.replace('volume = "9.5 L"', 'volume = "3 US gal"')


def test_of_a_curve_only_the_cell_that_was_changed_is_written(client):
    client.post("/do/choose", name="units", value="us")
    draft = client.desk.drafts.open(BUILD)
    key, literal = next((k, v) for k, v in draft.literals().items() if k.endswith("curve") and "L/min" in v)
    page = client.get(f"/do/build/fields?file={BUILD}&table={key.rpartition('.')[0]}")["html"]
    shown = html.unescape(re.search(rf'data-key="{key}".*?<textarea[^>]*>(.*?)</textarea>', page, re.S)[1])
    assert "US gal/min" in shown
    assert "L/min" not in shown.replace("gal/min", "")
    put = {"file": BUILD, "key": key, "kind": "curve", "was": literal}
    assert client.post("/do/draft/put", value=shown, **put)["dirty"] is False
    first = re.search(r'"([^"]* ft)"', shown)[1]
    state = client.post("/do/draft/put", value=shown.replace(f'"{first}"', '"31 ft"', 1), **put)
    assert state["problems"] == []
    old, new = tomllib.loads(f"v = {literal}")["v"], tomllib.loads(f"v = {state['literal']}")["v"]
    changed = [(a, b) for row, now in zip(old, new, strict=True) for a, b in zip(row, now, strict=True) if a != b]
    assert [b for _, b in changed] == ["31 ft"]


def test_undo_passes_what_never_read(client):
    for typed in ("10 L", "1", "11 bananas", "12 L"):
        client.post("/do/draft/put", file=BUILD, key="parts.tank.volume", kind="volume", value=typed, was="*")
        now = client.desk.drafts.clock() + 5.0  # each a step of its own
        client.desk.drafts.clock = itertools.repeat(now).__next__
    client.post("/do/draft/undo", file=BUILD)
    assert 'volume = "10 L"' in client.desk.drafts.open(BUILD).text
    client.post("/do/draft/redo", file=BUILD)
    assert 'volume = "12 L"' in client.desk.drafts.open(BUILD).text


def test_a_verdict_of_what_does_not_read_leads_to_the_field(client):
    client.post("/do/draft/put", file=BUILD, key="parts.tank.volume", kind="volume", value="9", was="*")
    client.post("/do/draft/put", file=SESSION, key="phases.0.duration", kind="time", value="soon", was="*")
    page = html.unescape(client.page(f"/verdict?{QUERY}"))
    assert "part=tank&field=parts.tank.volume" in page
    assert "field=phases.0.duration" in page
    assert "What to change" not in page


def test_a_quick_look_proposes_a_limit_as_the_command_does(client, folder):
    (folder / SESSION).write_text(SHORT.partition("[[limits]]")[0])
    made = client.post("/do/build/look", build=BUILD, session=SESSION)
    words = made["headline"].replace("\u00a0", " ")
    assert "No limit was given" in words
    assert "your" not in words.partition("No limit")[0]


def test_a_broken_file_of_own_parts_costs_nobody_the_rest(client, folder):
    (folder / "parts").mkdir()
    (folder / "parts" / "mine.toml").write_text('schema = "coldside.parts/1"\n[parts.my_hose]\nkind = "hose"\n')
    (folder / "parts" / "bad.toml").write_text("= 1\n")
    page = client.page(f"/build?{QUERY}")
    assert "own/my_hose" in page
    assert "parts/bad.toml:1 is left out" in page
    assert str(folder) not in page


def test_an_older_state_of_the_same_files_is_not_reckoned_any_longer(client):
    first = client.post("/do/verdict/start", build=BUILD, session=SESSION)["job"]
    client.post("/do/build/slide", file=BUILD, key="parts.tank.volume", value=0.02)
    second = client.post("/do/verdict/start", build=BUILD, session=SESSION)["job"]
    assert second != first
    assert client.finish(first)["state"] in ("stopped", "done")
    assert client.finish(second)["state"] == "done"


def test_a_drafted_limit_is_told_as_that_until_the_owner_sets_one(client, folder):
    (folder / SESSION).write_text(SHORT.replace('start = "ambient"', 'start = "ambient"\ndrafted = true'))
    case = client.desk.cases.forecast(client.desk.cases.of(BUILD, SESSION))
    assert "the drafted 45 degC limit" in case.verdict.words().headline
    put = {"file": SESSION, "key": "limits.0.at_most", "kind": "by quantity", "was": '"45 degC"'}
    rev = client.get(f"/do/draft/state?file={SESSION}")["rev"]
    assert client.post("/do/draft/put", value="50 degC", rev=rev, **put)["problems"] == []
    text = client.get(f"/do/draft/text?file={SESSION}")["text"]
    assert "drafted" not in text
    assert 'at_most = "50 degC"' in text


def test_a_crowded_folder_says_that_it_is_cut(client, folder):
    assert "More than" not in text_of(client.page("/"))
    for number in range(501):
        (folder / f"b{number:03}.toml").write_text(f'schema = "coldside.brief/1"\nname = "b{number}"\n')
    words = text_of(client.page("/"))
    assert "More than 500 TOML files lie in this folder" in words
    assert len(client.desk.project.entries()) == 500


def test_the_sheet_is_seen_in_the_look_chosen_and_saved_for_any(client):
    whole = f"/sheet/whole?{QUERY}"
    plain = client.page(whole)
    for look, rule in (("dark", "@media screen{"), ("light", "@media not all{")):
        client.post("/do/choose", name="look", value=look)
        seen = client.page(whole)
        assert f'<meta name="color-scheme" content="{look}"' in seen
        assert "prefers-color-scheme" not in seen
        assert rule in seen
        assert client.page(whole + "&take=1") == plain
