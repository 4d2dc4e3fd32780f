"""The Brief asked without a browser: what is typed, what is read back, what is told at once, what stays on coming back.

Factors: inch, US gallon, pound and horsepower by their definitions (NIST SP 811, from memory).
"""

# ruff: noqa: F811  fixtures come from client.py and are arguments here

from __future__ import annotations

import re

import pytest

from coldside.build.brief import parse_brief
from page.client import client, desk, folder  # noqa: F401  fixtures


@pytest.fixture
def us(client):
    client.post("/do/choose", name="units", value="us")
    client.http.cookies.set("units", "us")
    return client


def answer(client, **values):
    state = {"file": ""}
    for key, value in values.items():
        state = client.post("/do/brief/put", file=state["file"], key=key, value=value)
    return state


def plain(page):
    return page.replace("\u00a0", " ").replace("&nbsp;", " ")  # a number keeps its unit on its line


def brief_of(client, state):
    return parse_brief(client.desk.project.read(state["file"]), state["file"])


def test_what_a_shop_types_goes_into_the_file_with_its_unit(us):
    said = {
        "tank_room": ("3 gal", "3 US gal", 3 * 231 * 0.0254**3),
        "pump_flow": ("8 gpm", "8 US gal/min", 8 * 231 * 0.0254**3 / 60),
        "core_length": ('13"', "13 in", 13 * 0.0254),
        "core_width": ("8 1/2", "8.5 in", 8.5 * 0.0254),
        "line_bore": ("3/4 in", "0.75 in", 0.75 * 0.0254),
        "redline": ("7,200", "7200 rpm", 120.0),
        "power": ("620", "620 hp", 620 * 745.69987),
        "car_mass": ("2,900 lb", "2900 lb", 2900 * 0.45359237),
        "session_length": ("25", "25 min", 1500.0),
    }
    state = {"file": ""}
    for key, (typed, stands, _) in said.items():
        state = us.post("/do/brief/put", file=state["file"], key=key, value=typed)
        assert state["value"] == stands
        assert state["problems"] == []
    spec = brief_of(us, state).spec
    for key, (_, _, value) in said.items():
        assert getattr(spec, key) == pytest.approx(value, rel=1e-7), key


def test_an_injector_is_converted_by_the_fuel_of_the_brief(us):
    """1000 cm3/min of E85, whose density the fuel table holds: not of gasoline's 0.72."""
    from coldside.media.fuels import fuel

    state = answer(us, fuel="E85", injector_capacity="1000 cc/min")
    assert brief_of(us, state).spec.injector_capacity == pytest.approx(1e-3 / 60 * fuel("E85").density, rel=1e-3)
    assert state["value"].endswith(" lb/h")
    assert f"injector capacity {state['value']}" in state["paragraph"]


def test_a_comma_in_a_speed_is_answered_with_a_speed(us):
    told = answer(us, redline="1,5 bar")["problems"]
    assert len(told) == 1
    assert "an engine or shaft speed is needed" in told[0]["message"]
    assert "1.5 bar" not in told[0]["message"]


def test_the_read_back_follows_all_that_reads_and_names_the_rest(us):
    state = answer(us, winter="cold", redline="7400 rpm", nose_depth="plenty", power="555 hp")
    assert [one["name"] for one in state["problems"]] == ["nose depth", "winter"]
    assert not any(one["message"].startswith("nose_depth") for one in state["problems"])
    assert "7400 rpm" in state["paragraph"]
    assert "555 hp" in state["paragraph"]
    page = us.page(f"/brief?brief={state['file']}")
    assert "Without what does not read" in page
    assert "nose depth, winter" in page


def test_a_core_as_it_is_without_its_sizes_leaves_the_rest_read_back(us):
    state = answer(us, power="480 hp", core="a core as it is", core_length="13 in")
    assert {one["name"] for one in state["problems"]} == {"core width", "core height"}
    assert "480 hp" in state["paragraph"]


def test_no_brief_at_all_is_told_and_read_back_as_nothing(us, folder):
    (folder / "b.toml").write_text('schema = "coldside.brief/1"\nname = "Mine"\npower = "400 hp\n')
    assert 'id="read-back"></p>' in us.page("/brief?brief=b.toml")


def test_boost_and_power_are_told_at_once(us):
    state = answer(us, displacement="2.6 L", fuel="E85", redline="7200", power="620")
    assert re.fullmatch(r"3\d(\.\d)? psi of boost is taken for the 620 hp asked\.", state["boost"])
    state = us.post("/do/brief/put", file=state["file"], key="boost", value="24")
    assert re.fullmatch(
        r"At 24 psi of boost it makes about \d{3} hp, not the 620 hp asked; 620 hp takes about 3\d(\.\d)? psi\.",
        state["boost"],
    )
    state = us.post("/do/brief/put", file=state["file"], key="boost", value="90")
    assert [one["name"] for one in state["problems"]] == ["boost"]
    assert state["boost"] == ""
    assert "90 psi" in state["paragraph"]


def test_the_session_is_told_with_its_share_of_full_throttle(us):
    assert answer(us, use="track")["session"] == "Run as twelve laps of 100 s, full throttle 21 s in 100."
    assert answer(us, use="track", session_length="25 min")["session"].startswith("Run as 15 laps of 100 s")


def test_every_blank_is_explained_in_the_page_itself(us):
    page = us.page("/brief")
    explained = page[page.index("Every blank explained") : page.index('id="brief-problems"')]
    assert "run of the coolant hoses from the front of the car to the tank, one way" in explained
    assert 'data-about="boost at full load' in page


def test_a_draft_of_what_no_turbo_gives_is_refused_before_it_is_begun(us):
    state = answer(us, displacement="1.2 L", power="600 hp")
    told = us.post("/do/brief/start", 400, file=state["file"])["problems"]
    assert "pressure ratio" in told[0]["message"]


@pytest.mark.slow
def test_starters_stay_on_coming_back_and_tell_boost_session_and_sizes(us):
    state = answer(us, displacement="2.4 L", fuel="E85", use="dyno", boost="20", tank_room="3 gal")
    file = state["file"]
    begun = us.post("/do/brief/start", file=file)
    us.finish(begun["job"])
    page = plain(us.page(f"/brief?brief={file}"))
    for words in (
        "Starter builds, each really run",
        "At 20 psi of boost it makes",
        "five dyno pulls",
        "boost 20 psi from",
    ):
        assert words in page
    assert "[[" not in page
    assert 'id="older" class="soft" hidden' in page
    taken = us.post("/do/brief/take", draft=begun["draft"], index=0)
    assert f'Taken as <a href="/build?build={taken["build"]}' in us.page(f"/brief?brief={file}")
    with us.desk._lock:  # a page started anew holds nothing but the store
        us.desk._held.clear()
    assert f'Taken as <a href="/build?build={taken["build"]}' in us.page(f"/brief?brief={file}")
    assert us.post("/do/brief/take", draft=begun["draft"], index=1)["build"] != taken["build"]
    us.post("/do/brief/put", file=file, key="boost", value="18")
    page = plain(us.page(f"/brief?brief={file}"))
    assert 'id="older" class="soft">' in page
    assert "At 20 psi of boost it makes" in page
