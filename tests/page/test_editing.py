"""Editing in a real browser: nothing typed is taken away, what does not read is told once and saved only when meant."""

from __future__ import annotations

import re
from typing import Any

import pytest

from page.browser import drawn, meets

pytestmark = pytest.mark.browser
SELECTION = "[document.activeElement.id, document.activeElement.selectionStart, document.activeElement.selectionEnd]"


def typed(tab: Any, label: str, words: str) -> Any:
    """Type a value and press Enter."""
    field = tab.get_by_label(label, exact=True)
    field.fill(words)
    field.press("Enter")
    return field


def told(tab: Any, words: str) -> int:
    """How often the place says something."""
    plain = [text.replace("\N{NO-BREAK SPACE}", " ") for text in (tab.locator("main").inner_text(), words)]
    return plain[0].count(plain[1].partition(" = ")[2])


def test_another_tab_takes_nothing_from_a_field_being_typed_in(visit, served, car, day):
    visit.forgive("status of 400")
    one = visit.open("/build", build=car, session=day, part="tank")
    two = visit.open("/build", build=car, session=day, part="tank")
    drawn(one), drawn(two)
    volume = one.get_by_label("volume", exact=True)
    volume.click()
    volume.fill("1234567 L")
    one.keyboard.press("Home")
    for _ in range(3):
        one.keyboard.press("Shift+ArrowRight")
    before = one.evaluate(SELECTION)
    one.evaluate("document.activeElement.dataset.same = 'node'")
    typed(two, "metal mass", "2.1 kg")
    mass = one.get_by_label("metal mass", exact=True)
    meets(one, mass.input_value, lambda words: words == "2.1 kg")  # the other fields follow
    typed(two, "volume", "8 L")
    note = one.locator("[data-key='parts.tank.volume'] .theirs")
    note.wait_for()
    assert "8 L" in note.inner_text()
    assert volume.input_value() == "1234567 L"
    assert one.evaluate(SELECTION) == before
    assert one.evaluate("document.activeElement.dataset.same") == "node"
    volume.fill("7 L")
    volume.press("Enter")  # both are told, and nobody is overwritten without being asked
    told = one.locator("#trouble")
    told.wait_for()
    assert "8 L" in told.inner_text()
    assert "7 L" in told.inner_text()
    assert two.get_by_label("volume", exact=True).input_value() == "8 L"
    note.get_by_role("button", name="Keep mine").click()
    meets(two, two.get_by_label("volume", exact=True).input_value, lambda words: words == "7 L")
    meets(one, note.count, lambda count: count == 0)
    assert volume.input_value() == "7 L"


def test_what_does_not_read_is_saved_at_the_second_asking(visit, served, car, day):
    file = served.folder / car
    before = file.read_bytes()
    tab = visit.open("/build", build=car, session=day, part="tank")
    drawn(tab)
    typed(tab, "volume", "9")
    saved, save = tab.locator("#saved"), tab.locator("#save")
    meets(tab, saved.inner_text, lambda words: "does not read" in words)
    meets(tab, tab.locator("#of-last").inner_text, lambda words: "last state that read" in words)
    save.click()
    meets(tab, saved.inner_text, lambda words: words == "This does not read yet: save it anyway?")
    assert file.read_bytes() == before
    save.click()
    meets(tab, saved.inner_text, lambda words: words == "saved, but it does not read yet")
    assert file.read_bytes() != before

    tab.get_by_role("link", name="Verdict", exact=True).click()
    fault = tab.locator("#case-faults li")
    fault.wait_for()
    assert "no unit" in fault.inner_text()
    assert tab.get_by_text("What to change").count() == 0
    fault.get_by_role("link").click()
    meets(tab, lambda: tab.evaluate("document.activeElement.id"), lambda ident: ident == "f-parts-tank-volume")
    tab.get_by_role("button", name="Undo").click()
    meets(tab, saved.inner_text, lambda words: words == "not saved yet")
    save.click()
    meets(tab, saved.inner_text, lambda words: words == "saved")
    assert file.read_bytes() == before


def test_a_fault_is_told_once_and_leads_to_its_field(visit, served, car, day):
    tab = visit.open("/build", build=car, session=day, part="tank")
    drawn(tab)
    typed(tab, "volume", "9")
    said = tab.locator("[data-key='parts.tank.volume'] .problem")
    said.wait_for()
    words = said.inner_text()
    assert told(tab, words) == 1
    tab.locator("#pick").select_option("parts.pump")
    link = tab.locator("#fault-list button")
    link.wait_for()
    assert told(tab, words) == 1
    link.click()
    meets(tab, lambda: tab.evaluate("document.activeElement.id"), lambda ident: ident == "f-parts-tank-volume")
    assert told(tab, words) == 1
    for entry in ("still nothing", "9 bananas"):
        typed(tab, "volume", entry)
    meets(tab, said.inner_text, lambda told: "bananas" in told)
    tab.wait_for_timeout(1100)
    tab.get_by_role("button", name="Undo").click()  # past every state that never read
    meets(tab, tab.get_by_label("volume", exact=True).input_value, lambda now: now == "9.5 L")
    meets(tab, tab.locator("#faults").is_hidden, bool)


def test_a_slider_stays_where_it_is_let_go(visit, car, day):
    tab = visit.open("/build", build=car, session=day, part="tank")
    times = drawn(tab)
    slide = tab.locator("[data-key='parts.tank.volume'] .slide")
    volume = tab.get_by_label("volume", exact=True)
    shares = []
    for _ in range(2):
        box = slide.bounding_box()
        tab.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + box["height"] / 2)
        tab.mouse.down()
        tab.mouse.move(box["x"] + 0.8 * box["width"], box["y"] + box["height"] / 2)
        assert re.fullmatch(r"2\d\.?\d* L", volume.input_value()), volume.input_value()  # at once, before any answer
        tab.mouse.up()
        times = drawn(tab, times + 1)
        meets(tab, tab.locator("#saved").inner_text, lambda words: words == "not saved yet")
        tab.wait_for_timeout(400)
        shares.append(slide.evaluate("one => (one.value - one.min) / (one.max - one.min)"))
    assert shares[0] == pytest.approx(0.8, abs=0.03)
    assert shares[1] == pytest.approx(shares[0], abs=0.01)


def test_the_part_whose_fields_are_shown_is_marked(visit, car, day):
    tab = visit.open("/build", build=car, session=day, part="tank")
    drawn(tab)
    assert tab.locator("#ribbon a[aria-current=true]").get_attribute("data-part") == "tank"
    shape = tab.locator("#ribbon g[data-part=pump]").first
    shape.dispatch_event("click")
    meets(tab, tab.locator("#pick").input_value, lambda table: table == "parts.pump")
    assert tab.locator("#ribbon a[aria-current=true]").get_attribute("data-part") == "pump"


def test_what_was_stopped_goes_on(visit, car):
    tab = visit.open("/verdict", build=car, session="sessions/dyno-pulls.toml")
    tab.locator("#lead svg").wait_for()
    assert "follow here" in tab.locator("#p-change").inner_text()
    tab.get_by_role("button", name="stop").click()
    tab.locator("#verdict[data-state=stopped]").wait_for()
    assert "left" not in tab.locator("#work-words").inner_text().split()
    assert "Not reckoned" in tab.locator("#p-change").inner_text()
    tab.get_by_role("button", name="go on").click()
    tab.locator("#verdict[data-state=done]").wait_for()
    assert tab.locator("#p-change .to-come").count() == 0
    assert tab.get_by_role("button", name="go on").is_hidden()
