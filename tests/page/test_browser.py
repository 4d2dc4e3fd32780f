"""The page in a real browser: what is drawn, what is kept, what is said of wrong entries, how it looks and prints."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.phases import load_session
from coldside.plant.forecast import simulate
from page.browser import PHONE, Server, copy_examples, drawn, meets, reckoned, visiting
from sheet.test_browser import OVERLAPS, STICKS_OUT

pytestmark = pytest.mark.browser

# Figures in other units than the US ones.  Hours, seconds, percent and volts are the same in both.
METRIC = re.compile(r"\d (°C|K|bar|kPa|Pa|L|L/min|kg|kg/s|g|m|mm|km/h|km|kW|N|Nm)\b")


def lead(tab: Any) -> Any:
    """The leading chart as it is drawn: the points of its trace of gas, in degC and s."""
    chart = tab.locator("#lead svg")
    chart.wait_for()
    axis = {name: float(chart.get_attribute(f"data-{name}")) for name in ("t0", "t1", "x0", "x1")}
    ticks = chart.evaluate(TICKS)
    path = chart.locator("path.gas").first.get_attribute("d")
    points = np.array([[float(v) for v in pair.split()] for pair in path.removeprefix("M").split("L")])
    (y0, v0), (y1, v1) = ticks[0], ticks[-1]
    time = axis["t0"] + (points[:, 0] - axis["x0"]) / (axis["x1"] - axis["x0"]) * (axis["t1"] - axis["t0"])
    return time, v0 + (points[:, 1] - y0) * (v1 - v0) / (y1 - y0), abs((v1 - v0) / (y1 - y0))


# Grid lines of the intake's panel with the figures that stand before them: [y in px, figure].
TICKS = """(svg) => {
  const level = path => Number(path.getAttribute('d').split(' ')[1].split('H')[0]);
  const lines = [...svg.querySelectorAll('path.g')].map(level);
  const found = [];
  for (const text of svg.querySelectorAll('text[text-anchor=end]')) {
    const y = Number(text.getAttribute('y')) - 4;
    const line = lines.find(at => Math.abs(at - y) < 0.11);
    if (line !== undefined) found.push([line, Number(text.textContent.replace('−', '-'))]);
  }
  return found;
}"""


def plain(words: str) -> str:
    """Words with plain spaces."""
    return words.replace("\N{NO-BREAK SPACE}", " ")


def colours(tab: Any) -> list[str]:
    """The steps of the colour scale along the ribbons, in order."""
    return tab.locator("#ribbon svg").evaluate(
        "svg => [...svg.querySelectorAll('stop')].map(stop => stop.getAttribute('class'))"
    )


def test_what_is_drawn_is_what_was_reckoned(visit, served, car, day):
    """The trace's highest and lowest points and its length against the forecast that the program gives by itself."""
    build = load_build(served.folder / car)
    found = simulate(build, load_session(served.folder / day, build.loops))
    intake = found.intake - 273.15
    tab = visit.open("/verdict", build=car, session=day)
    time, drawn_at, per_px = lead(tab)
    assert drawn_at.max() == pytest.approx(intake.max(), abs=0.11 * per_px)  # drawn to a tenth of a px
    assert drawn_at.min() == pytest.approx(intake.min(), abs=0.11 * per_px)
    assert time[-1] == pytest.approx(found.time[-1], abs=0.2)
    highest = found.time[int(np.argmax(intake))]
    assert time[int(np.argmax(drawn_at))] == pytest.approx(highest, abs=found.time[-1] / 700)
    held = f"{intake[found.peak]:.0f} °C"
    assert held in plain(tab.locator("#p-top h1").inner_text())
    assert held in plain(tab.locator("#lead svg").text_content())

    # a time is chosen: every ribbon takes the colours of that time, the line stands there, the words say so
    hot = colours(tab)
    words = tab.locator("#reading").inner_text()
    tab.locator("#time").fill("0")
    meets(tab, tab.locator("#reading").inner_text, lambda now: now != words and "0:00" in now)
    assert f"{intake[0]:.0f} °C" in plain(tab.locator("#reading").inner_text())
    cold = colours(tab)
    assert len(set(cold)) < len(set(hot))  # everything starts at the air's temperature
    assert tab.locator("#lead .cursor").get_attribute("d").startswith(f"M{52.0:.1f} ")
    tab.get_by_role("button", name="Hottest moment").click()
    meets(tab, lambda: colours(tab), lambda now: now == hot)


def test_looking_closer_draws_more(visit, car):
    """A stretch of a long session is drawn anew, from all of its samples."""
    tab = visit.open("/verdict", build=car, session="sessions/traffic-then-pull.toml")
    time, _, _ = lead(tab)
    span = float(time[-1])
    tab.get_by_role("button", name="Look closer here").click()
    whole = tab.get_by_role("button", name="Whole session")
    whole.wait_for()
    chart = tab.locator("#lead svg")
    meets(
        tab, lambda: float(chart.get_attribute("data-t1")) - float(chart.get_attribute("data-t0")), lambda s: s < span
    )
    closer, values, _ = lead(tab)
    a, b = closer[0], closer[-1]
    assert b - a == pytest.approx(0.1 * span, rel=0.02)
    before = np.count_nonzero((time >= a) & (time <= b))
    assert len(closer) > 3 * before
    assert len(np.unique(np.round(closer, 2))) > 3 * before  # new times, not the old ones again
    whole.click()
    meets(
        tab,
        lambda: float(chart.get_attribute("data-t1")) - float(chart.get_attribute("data-t0")),
        lambda s: s > 0.9 * span,
    )

    chart.scroll_into_view_if_needed()  # the same by dragging across it
    box = chart.bounding_box()
    tab.mouse.move(box["x"] + 0.3 * box["width"], box["y"] + 80)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 0.4 * box["width"], box["y"] + 90, steps=4)
    assert tab.locator("#lead .closer").count() == 1
    tab.mouse.up()
    meets(
        tab,
        lambda: float(chart.get_attribute("data-t1")) - float(chart.get_attribute("data-t0")),
        lambda s: s < 0.2 * span,
    )


def test_units_change_everywhere_at_once_and_in_no_file(visit, served, car, day):
    files = {name: (served.folder / name).read_bytes() for name in (car, day)}
    tab = visit.open("/verdict", build=car, session=day)
    tab.locator("#lead svg").wait_for()
    assert "°C" in tab.locator("#p-top").inner_text()
    tab.get_by_label("Units").select_option("us")
    tab.locator("html[data-units=us]").wait_for(state="attached")
    tab.locator("#lead svg").wait_for()
    assert reckoned(tab) == "done"
    tab.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true })")
    tab.get_by_text("Sources", exact=True).last.evaluate("one => one.closest('details').remove()")  # titles of works
    words = plain(tab.locator("main").inner_text())
    assert "°F" in words
    assert METRIC.findall(words) == [], [words[m.start() - 60 : m.end() + 10] for m in METRIC.finditer(words)]
    assert "°F" in tab.locator("#lead svg").text_content()
    drawing = tab.locator("#ribbon svg").text_content() + tab.locator("#lead svg").text_content()
    assert METRIC.findall(plain(drawing)) == []
    other = visit.open("/build", build=car, session=day, part="tank")  # another tab has them too
    drawn(other)
    assert "°F" in other.locator("#headline").inner_text()
    assert METRIC.findall(plain(other.locator("#does").inner_text() + other.locator("#reading").inner_text())) == []
    assert plain(other.get_by_label("volume", exact=True).input_value()) == "2.51 US gal"
    assert "9.5 L" in plain(other.locator("[data-key='parts.tank.volume'] .same").inner_text())  # what the file says
    for name, held in files.items():
        assert (served.folder / name).read_bytes() == held
    tab.get_by_label("Units").select_option("si")
    tab.locator("html[data-units=si]").wait_for(state="attached")


def test_wrong_entries_are_told_at_the_field_and_kept(visit, served, car, day):
    file = served.folder / car
    before = file.read_bytes()
    tab = visit.open("/build", build=car, session=day, part="tank")
    times = drawn(tab)
    volume = tab.get_by_label("volume", exact=True)
    volume.fill("9")
    volume.press("Enter")
    said = tab.locator("[data-key='parts.tank.volume'] .problem")
    said.wait_for()
    words = said.inner_text()
    assert "no unit" in words
    assert "such as" in words  # what would be right
    assert volume.get_attribute("aria-invalid") == "true"
    assert words in tab.locator(f"#{volume.get_attribute('aria-describedby').split()[-1]}").inner_text()
    assert f"{file.name}:" in tab.locator("#faults").inner_text()  # with its line
    assert drawn(tab) == times  # nothing is drawn of what does not read
    tab.reload()
    again = tab.get_by_label("volume", exact=True)
    assert again.input_value() == "9"
    assert again.get_attribute("aria-invalid") == "true"
    assert file.read_bytes() == before
    again.fill("11 L")
    again.press("Enter")
    drawn(tab)
    assert said.count() == 0
    assert tab.get_by_label("volume", exact=True).get_attribute("aria-invalid") is None
    for entry, words in (("-3 L", "0.2"), ("11 flasks", "unit"), ("11 kPa", "volume")):
        tab.get_by_label("volume", exact=True).fill(entry)
        tab.get_by_label("volume", exact=True).press("Enter")
        meets(tab, lambda: said.all_inner_texts(), lambda told, words=words: bool(told) and words in told[0])


def test_a_session_and_a_brief_tell_wrong_entries_too(visit, served, car, day):
    tab = visit.open("/session", build=car, session=day)
    tab.locator("#c-phase-1 > summary").click()
    length = tab.locator("[data-key='phases.1.duration'] input[type=text]")
    length.fill("soon")
    length.press("Enter")
    tab.locator("[data-key='phases.1.duration'] .problem").wait_for()
    assert length.get_attribute("aria-invalid") == "true"
    tab.locator("#undo").click()
    meets(tab, lambda: length.input_value(), lambda words: words == "8 s")
    meets(tab, lambda: tab.locator("#faults").is_hidden(), bool)

    visit.go(tab, "/brief")
    power = tab.locator("#b-power")
    power.fill("plenty")
    power.press("Tab")
    tab.locator("#brief-problems li").wait_for()
    assert "power" in tab.locator("#brief-problems").inner_text()
    assert power.get_attribute("aria-invalid") == "true"
    tab.reload()
    assert tab.locator("#b-power").input_value() == "plenty"


def test_undo_redo_reload_and_back(visit, served, car, day):
    """What was typed and not saved is there after each of them; the forecast is shown again."""
    before = (served.folder / car).read_bytes()
    tab = visit.open("/build", build=car, session=day, part="tank")
    drawn(tab)
    volume = tab.get_by_label("volume", exact=True)
    for entry in ("7 L", "14 L"):
        times = drawn(tab)
        volume.fill(entry)
        volume.press("Enter")
        drawn(tab, times + 1)
        tab.wait_for_timeout(1100)  # what follows within a second is one step, as of a slider
    headline = tab.locator("#headline").inner_text()
    tab.get_by_role("button", name="Undo").click()
    meets(tab, volume.input_value, lambda words: words == "7 L")
    tab.get_by_role("button", name="Undo").click()
    meets(tab, volume.input_value, lambda words: words == "9.5 L")
    meets(tab, tab.locator("#saved").inner_text, lambda words: words == "saved")
    assert tab.get_by_role("button", name="Undo").is_disabled()
    for entry in ("7 L", "14 L"):
        tab.get_by_role("button", name="Redo").click()
        meets(tab, volume.input_value, lambda words, entry=entry: words == entry)
    tab.reload()
    drawn(tab)
    assert tab.get_by_label("volume", exact=True).input_value() == "14 L"
    meets(tab, tab.locator("#headline").inner_text, lambda words: words == headline)
    tab.get_by_role("link", name="Verdict", exact=True).click()
    tab.locator("#lead svg").wait_for()
    tab.go_back()
    drawn(tab)
    assert tab.get_by_label("volume", exact=True).input_value() == "14 L"
    tab.go_forward()
    tab.locator("#lead svg").wait_for()
    tab.go_back()
    drawn(tab)
    assert (served.folder / car).read_bytes() == before
    tab.get_by_role("button", name="Back to the file").click()
    meets(tab, lambda: tab.get_by_label("volume", exact=True).input_value(), lambda words: words == "9.5 L")


def test_two_tabs_lose_nothing_of_each_other(visit, served, car, day):
    one = visit.open("/build", build=car, session=day, part="tank")
    two = visit.open("/build", build=car, session=day, part="pump")
    drawn(one), drawn(two)
    for tab, label, entry in ((one, "volume", "12 L"), (two, "voltage", "12.5 V")):
        field = tab.get_by_label(label, exact=True)
        field.fill(entry)
        field.press("Enter")
        meets(tab, tab.locator("#saved").inner_text, lambda words: words == "not saved yet")
    two.get_by_role("button", name="Save").click()
    meets(two, two.locator("#saved").inner_text, lambda words: words == "saved")
    text = (served.folder / car).read_text(encoding="utf-8")
    assert 'volume = "12 L"' in text
    assert 'voltage = "12.5 V"' in text

    # the same field in both: the second one is told what stands there, and both values are still to be seen
    visit.forgive("status of 400")
    three = visit.open("/build", build=car, session=day, part="tank")
    drawn(three)
    three.evaluate("setInterval = () => 0")
    one.reload()
    drawn(one)
    one.get_by_label("volume", exact=True).fill("8 L")
    three.get_by_label("volume", exact=True).fill("5 L")  # typed while the other one is not sent yet
    one.get_by_label("volume", exact=True).press("Enter")
    meets(one, one.locator("#saved").inner_text, lambda words: words == "not saved yet")
    three.get_by_label("volume", exact=True).press("Enter")
    told = three.locator("#trouble")
    told.wait_for()
    assert "8 L" in told.inner_text()
    assert "5 L" in told.inner_text() + three.get_by_label("volume", exact=True).input_value()
    assert one.get_by_label("volume", exact=True).input_value() == "8 L"


def test_a_stop_leaves_what_was_found(visit, car):
    tab = visit.open("/verdict", build=car, session="sessions/dyno-pulls.toml")
    tab.locator("#lead svg").wait_for()
    tab.get_by_role("button", name="stop").click()
    assert reckoned(tab) == "stopped"
    assert tab.locator("#p-top h1").inner_text().startswith(("Holds", "Does not hold"))
    assert tab.locator("#lead svg").count() == 1
    assert tab.locator("#ribbon svg").count() == 1
    assert tab.locator("#p-before table").count() >= 1
    assert "stop" in tab.locator("#work-words").inner_text()
    assert tab.locator("#trouble").is_hidden()


def test_a_killed_server_leaves_files_whole_and_drafts_kept(browser, examples, tmp_path):
    """A power cut at different moments of a save: the file is the old or the new one, and what was typed is there."""
    copy_examples(examples, tmp_path / "shop")
    server = Server(tmp_path / "shop")
    file = server.folder / "tern" / "water.toml"
    old = file.read_text(encoding="utf-8")
    new = old.replace('"9.5 L" ', '"12 L" ')
    assert new != old
    for wait in (0.0, 0.004):
        server.start()
        with visiting(browser, server) as visit:
            visit.forgive("net::ERR_")
            tab = visit.open("/build", build="tern/water.toml", session="short.toml", part="tank")
            volume = tab.get_by_label("volume", exact=True)
            if volume.input_value() != "12 L":
                volume.fill("12 L")
                volume.press("Enter")
            if file.read_text(encoding="utf-8") == old:
                meets(tab, tab.locator("#save").is_enabled, bool)
            tab.evaluate("document.getElementById('save').click()")
            tab.wait_for_timeout(1000 * wait)
            server.kill()
            assert file.read_text(encoding="utf-8") in (old, new)
            tab.get_by_label("volume", exact=True).fill("13 L")
            tab.get_by_label("volume", exact=True).press("Enter")
            meets(tab, tab.locator("#trouble").inner_text, lambda words: "does not answer" in words)
    server.start()
    try:
        with visiting(browser, server) as visit:
            tab = visit.open("/build", build="tern/water.toml", session="short.toml", part="tank")
            drawn(tab)
            assert tab.get_by_label("volume", exact=True).input_value() == "12 L"
            if tab.locator("#save").is_enabled():
                tab.locator("#save").click()
            meets(tab, tab.locator("#saved").inner_text, lambda words: words == "saved")
            assert file.read_text(encoding="utf-8") == new
            visit.go(tab, "/")  # what the cut left beside the file is taken for no car
            assert tab.get_by_role("link", name="Tern, two water cores", exact=False).count() == 2  # build and verdict
    finally:
        server.stop()


PLACES = {
    "start": "/",
    "brief": "/brief",
    "build": "/build?build={car}&session={day}&part=tank",
    "session": "/session?build={car}&session={day}",
    "verdict": "/verdict?build={car}&session={day}",
    "beside": "/beside?build={car}&build=tern/air.toml&session={day}",
    "sheet": "/sheet?build={car}&session={day}",
}
READY = {
    "build": "#lead svg",
    "session": "#demand svg",
    "verdict": "#p-more h2",
    "beside": "#offer[data-ready]",
    "sheet": "iframe",
}


@pytest.mark.parametrize("size", [PHONE, (360, 740)], ids=["390", "360"])
@pytest.mark.parametrize("place", PLACES)
def test_every_place_fits_a_phone(browser, served, place, size):
    with visiting(browser, served, size) as visit:
        tab = visit.open("/")
        tab.goto(served.top + PLACES[place].format(car="tern/water.toml", day="short.toml"))
        if place in READY:
            tab.locator(READY[place]).first.wait_for()
        for opened in ("false", "true"):
            tab.evaluate(f"document.querySelectorAll('details').forEach(fold => {{ fold.open = {opened} }})")
            wide = tab.evaluate(WIDER)
            assert tab.evaluate("document.documentElement.scrollWidth") <= size[0], wide
            assert tab.evaluate(STICKS_OUT) == []
        assert tab.evaluate(OVERLAPS) == []
        assert tab.locator("h1").count() == 1


# Elements that reach over the right edge.
WIDER = """() => [...document.querySelectorAll('body *')]
  .filter(one => one.getBoundingClientRect().right > innerWidth + 1)
  .map(one => one.tagName + '.' + one.className + '#' + one.id).slice(0, 8)"""


def test_the_dark_look(visit, car, day):
    tab = visit.open("/verdict", build=car, session=day)
    light = tab.evaluate(BACK)
    tab.get_by_label("Look").select_option("dark")
    tab.locator("html[data-look=dark]").wait_for(state="attached")
    tab.locator("#lead svg").wait_for()
    dark = tab.evaluate(BACK)
    assert max(dark["back"]) < 60 < 200 < min(light["back"])
    assert min(dark["ink"]) > 180
    assert tab.locator("#lead svg text").first.evaluate("text => getComputedStyle(text).fill") != "rgb(32, 38, 43)"
    visit.go(tab, "/build", build=car, session=day)  # in every place
    assert tab.evaluate(BACK) == dark


BACK = """() => Object.fromEntries([['back', 'backgroundColor'], ['ink', 'color']].map(([name, what]) =>
  [name, getComputedStyle(document.documentElement)[what].match(/\\d+/g).slice(0, 3).map(Number)]))"""


def test_the_verdict_prints(visit, car, day):
    tab = visit.open("/verdict", build=car, session=day)
    tab.locator("#lead svg").wait_for()
    tab.emulate_media(media="print")
    for gone in (".mast", "div.bar", ".foot", "#work", "#hottest"):
        assert tab.locator(gone).is_hidden(), gone
    tab.locator("#p-cautions li").first.wait_for(state="attached")
    for kept in ("#p-top h1", "#lead svg", "#ribbon svg", "#p-cautions", "svg.bars >> nth=0", "svg.bars .bar >> nth=0"):
        assert tab.locator(kept).is_visible(), kept
    assert tab.pdf(format="A4")[:5] == b"%PDF-"
