"""What is typed is not lost, whatever arrives meanwhile; what fails is told.  In headless Chromium."""

from __future__ import annotations

from typing import Any

from coldside.page.guard import LOCKED
from page.browser import meets

FIRST, SECOND = "#f-parts-tank-volume", "#f-parts-tank-metal_mass"
DAY = "sessions/steady.toml"


def first_held(tab: Any, address: str) -> list[Any]:
    """Holds back the first answer from an address: the list gets its route, to be continued."""
    held: list[Any] = []

    def handle(route: Any) -> None:
        if held:
            route.continue_()
        else:
            held.append(route)

    tab.route(address, handle)
    return held


def typed_before_the_answer(tab: Any, words: str) -> None:
    """Types into the first field and goes on into the second; then the fields are put in place anew."""
    held = first_held(tab, "**/do/build/fields?*")
    tab.fill(FIRST, "21 L")
    tab.press(FIRST, "Tab")
    meets(tab, lambda: len(held), lambda n: n == 1)
    tab.locator(SECOND).focus()
    tab.keyboard.press("Control+a")
    tab.keyboard.type(words)
    about = tab.locator("#fields .about")
    about.evaluate("words => { words.dataset.old = '1'; }")
    held[0].continue_()
    meets(tab, lambda: about.get_attribute("data-old"), lambda old: old is None)


def test_words_half_typed_outlive_the_answer_to_the_field_before(visit, car):
    tab = visit.open("/build", build=car, session=DAY, part="tank")
    typed_before_the_answer(tab, "2.")
    tab.keyboard.type("5 kg")
    assert tab.input_value(SECOND) == "2.5 kg"
    assert tab.input_value(FIRST) == "21 L"
    tab.keyboard.press("Tab")
    meets(tab, lambda: tab.locator(SECOND).get_attribute("value"), lambda value: value == "2.5 kg")


def test_words_whole_when_the_answer_comes_are_sent_when_their_field_is_left(visit, car):
    tab = visit.open("/build", build=car, session=DAY, part="tank")
    typed_before_the_answer(tab, "2.5 kg")
    tab.keyboard.press("Tab")
    meets(tab, lambda: tab.locator(SECOND).get_attribute("value"), lambda value: value == "2.5 kg")


def test_a_text_that_is_refused_stays_in_its_box(visit, car):
    visit.forgive("400")
    tab, other = visit.open("/build", build=car, session=DAY), visit.open("/build", build=car, session=DAY, part="tank")
    tab.bring_to_front()
    tab.locator("#raw summary").click()
    meets(tab, lambda: tab.input_value("#raw-text"), lambda text: "schema" in text)
    tab.locator("#raw-text").focus()
    tab.keyboard.press("Control+End")
    tab.keyboard.type("# mine")
    other.fill(FIRST, "22 L")
    other.press(FIRST, "Tab")
    meets(other, lambda: other.locator("#saved").inner_text(), lambda words: words == "not saved yet")
    tab.locator("#raw-text").blur()
    meets(tab, lambda: tab.locator("#trouble").inner_text(), lambda words: "another tab" in words)
    state = tab.request.get(f"{visit.server.top}/do/draft/state?file={car}").json()
    with tab.expect_response(lambda answer: "/do/draft/state" in answer.url and answer.json()["rev"] > state["rev"]):
        other.fill(FIRST, "23 L")  # one change more, of which the first tab hears
        other.press(FIRST, "Tab")
    tab.wait_for_timeout(300)  # room for what must not happen
    assert tab.input_value("#raw-text").endswith("# mine")


def test_a_piece_that_does_not_come_is_told(visit, car):
    visit.forgive("500")
    tab = visit.open()
    tab.route("**/do/verdict/piece?*name=why*", lambda route: route.fulfill(status=500, body="no answer today"))
    visit.go(tab, "/verdict", build=car, session=DAY)
    meets(tab, lambda: tab.locator("#trouble").inner_text(), lambda words: "no answer today" in words)


def test_a_page_whose_key_has_changed_says_so_in_words(visit, car):
    visit.forgive("403")
    tab = visit.open("/build", build=car, session=DAY, part="tank")
    tab.route("**/do/draft/put", lambda route: route.fulfill(status=403, body=LOCKED, content_type="text/html"))
    tab.fill(FIRST, "21 L")
    tab.press(FIRST, "Tab")
    words = meets(tab, lambda: tab.locator("#trouble").inner_text(), bool)
    assert "This page needs its key. Open the address" in words
    assert "<" not in words


def focus(tab: Any) -> str:
    """The id of what has the focus, or of the nearest above it that has one."""
    return str(tab.evaluate("() => document.activeElement.closest('[id]')?.id ?? ''"))


def test_the_focus_stays_near_when_its_button_goes(visit, car, own):
    tab = visit.open("/build", build=car, session=DAY, part="tank")
    tab.locator("#part-more summary").click()
    tab.locator("#new-name").fill("big_tank")
    tab.keyboard.press("Enter")
    meets(tab, lambda: focus(tab), lambda now: now == "pick")
    meets(tab, lambda: tab.input_value("#pick"), lambda now: now == "parts.big_tank")
    tab.locator("#undo").press("Enter")  # it was the only step
    meets(tab, lambda: focus(tab), lambda now: now == "redo")
    meets(tab, lambda: tab.input_value("#pick"), lambda now: now == "engine")  # the part of that name is gone

    visit.go(tab, "/session", session=own(DAY), build=car)
    tab.locator("[data-do=add][data-list=limits]").press("Enter")
    meets(tab, lambda: focus(tab), lambda now: now == "c-limit-2")
    tab.locator("#c-limit-2 [data-do=remove]").press("Enter")
    meets(tab, lambda: focus(tab), lambda now: now == "c-limit-1")
