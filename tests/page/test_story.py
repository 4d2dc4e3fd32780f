"""The whole story in a browser: brief, starter builds, another tank, the verdict, side by side, the proposal.

Once with the mouse, once with nothing but the keyboard.  What is checked beside the steps: the files that are written.
"""

from __future__ import annotations

import tomllib
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from page.browser import drawn, meets

pytestmark = pytest.mark.browser

KNOWN = {"name": "Wren", "power": "240 kW", "car_mass": "1200 kg", "use": "street", "tank_room": "9 L"}

VERDICTS = ("Holds", "Does not hold")


def chosen(tab: Any) -> tuple[list[str], str]:
    """The cars and the session that an address names."""
    query = parse_qs(urlsplit(tab.url).query)
    return query["build"], query["session"][0]


def test_from_a_brief_to_a_proposal(visit, served):
    tab = visit.open("/")
    tab.get_by_role("link", name="Start from a brief").click()
    for key, answer in KNOWN.items():
        blank = tab.locator(f"#b-{key}")
        if key == "use":
            blank.select_option(answer)
        else:
            blank.fill(answer)
            blank.press("Tab")
    read = tab.locator("#read-back")
    meets(tab, read.inner_text, lambda words: "240 kW" in words and "1200 kg" in words and "9 L" in words)
    tab.get_by_role("button", name="Draft two or three ways").click()
    starters = tab.locator(".starter")
    starters.nth(1).wait_for()
    for k in range(2):
        starters.nth(k).get_by_role("button", name="Take this one").click()
        starters.nth(k).get_by_role("link").wait_for()
    taken = {one.get_by_role("link").inner_text() for one in starters.all()}
    assert all((served.folder / name).is_file() for name in taken)
    assert tab.locator("#p-unknowns").get_by_role("heading").inner_text() == "Which unknown matters most"

    water = next(one for one in starters.all() if one.get_by_role("heading").inner_text() == "Water-to-air")
    water.get_by_role("link").click()
    drawn(tab)
    (build,), session = chosen(tab)
    file = served.folder / build
    before = file.read_text(encoding="utf-8")
    tab.locator("#ribbon a[data-part=tank]").first.click()
    volume = tab.get_by_label("volume", exact=True)
    volume.wait_for()
    times = drawn(tab)
    volume.fill("6 L")
    volume.press("Enter")
    drawn(tab, times + 1)
    slider = tab.get_by_label("volume, slider")
    box = slider.bounding_box()
    tab.mouse.move(box["x"] + 0.25 * box["width"], box["y"] + box["height"] / 2)
    tab.mouse.down()
    for share in (0.5, 0.75, 0.95):
        tab.mouse.move(box["x"] + share * box["width"], box["y"] + box["height"] / 2)
    tab.mouse.up()
    meets(tab, tab.locator("#saved").inner_text, lambda words: words == "not saved yet")
    typed = meets(tab, lambda: tab.get_by_label("volume", exact=True).input_value(), lambda words: words != "6 L")
    assert 12.0 < float(typed.split()[0]) <= 18.0  # a slider reaches to three times the value
    assert file.read_text(encoding="utf-8") == before
    tab.get_by_role("button", name="Save").click()
    meets(tab, tab.locator("#saved").inner_text, lambda words: words == "saved")
    after = file.read_text(encoding="utf-8")
    assert tomllib.loads(after)["parts"]["tank"]["volume"] == typed
    moved = [pair for pair in zip(before.splitlines(), after.splitlines(), strict=True) if pair[0] != pair[1]]
    assert len(moved) == 1
    assert moved[0][0].partition("#")[2] == moved[0][1].partition("#")[2]  # its comment

    tab.get_by_role("link", name="Verdict", exact=True).click()
    headline = tab.locator("#p-top h1")
    tab.locator("#lead svg").wait_for()
    said = headline.inner_text()
    assert said.startswith(VERDICTS), said
    tab.get_by_role("link", name="Side by side").click()
    if not tab.locator("#cars[open]").count():
        tab.locator("#cars summary").click()
    tab.locator("#cars input[value^=wren-air]").check()
    tab.get_by_role("button", name="Put side by side").click()
    tab.locator(".side").wait_for()
    assert set(chosen(tab)[0]) == taken
    assert build in taken
    assert chosen(tab)[1] == session

    tab.locator("#offer[data-ready]").wait_for()
    for label, words in (("For (customer)", "A. Customer"), ("Work, an hour", "80")):
        tab.get_by_label(label).fill(words)
        tab.get_by_label(label).press("Tab")
    for field, figure in (("price", "1234.50"), ("hours", "2")):
        first = tab.locator(f"#offer input[data-field={field}]").first
        first.fill(figure)
        first.press("Tab")
    total = tab.locator(".priced [data-live=total]").first
    meets(tab, total.inner_text, lambda words: "1394.50" in bare(words))  # 1234.50 and 2 hours at 80
    with tab.expect_download() as coming:
        tab.get_by_role("link", name="Save as HTML").click()
    html = coming.value.path().read_text(encoding="utf-8")
    assert "A. Customer" in html
    assert "1394.50" in bare(html)
    with tab.expect_download() as coming:
        tab.get_by_role("link", name="Save as PDF").click()
    assert coming.value.path().read_bytes()[:5] == b"%PDF-"


def bare(words: str) -> str:
    """Words without any space in them."""
    return "".join(words.split())


class Keys:
    """A person with a keyboard alone.  Wherever the focus goes it must be seen."""

    def __init__(self, tab: Any) -> None:
        self.tab = tab

    def to(self, selector: str, key: str = "Tab") -> None:
        """Press a key until an element has the focus."""
        passed = []
        for _ in range(400):
            here, seen, what = self.tab.evaluate(FOCUSED, selector)
            assert seen, f"the focus on {what} is not to be seen"
            if here:
                return
            passed.append(what)
            self.tab.keyboard.press(key)
        raise AssertionError(f"{selector} is not reached; passed {passed[:60]}")

    def press(self, *keys: str) -> None:
        for key in keys:
            self.tab.keyboard.press(key)

    def write(self, words: str) -> None:
        """Write over what a field holds."""
        self.press("Control+a")
        self.tab.keyboard.type(words)


# Whether the element with the focus is the one asked for, whether its focus shows, and what it is.
FOCUSED = """(selector) => {
  const one = document.activeElement;
  const style = getComputedStyle(one);
  const box = one.getBoundingClientRect();
  const placed = one === document.body || one.getAttribute('tabindex') === '-1';  // put there, nothing to work
  const seen = placed || (style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 1
    && box.width > 0 && box.height > 0);
  return [one.matches(selector), seen, one.tagName + '#' + one.id + ' ' + (one.textContent || '').trim().slice(0, 30)];
}"""


def test_the_same_with_the_keyboard_alone(visit, served):
    tab = visit.open("/")
    keys = Keys(tab)
    keys.to("main a[href='/brief']")
    keys.press("Enter")
    tab.wait_for_url("**/brief")
    for key, answer in (KNOWN | {"name": "Pipit"}).items():
        keys.to(f"#b-{key}")
        if key == "use":
            tab.keyboard.type(answer)  # a list of choices goes to what is typed
        else:
            keys.write(answer)
    keys.to("#draft")
    meets(tab, tab.locator("#read-back").inner_text, lambda words: "9 L" in words and "street" in words)
    keys.press("Enter")
    tab.locator(".starter").nth(1).wait_for()
    keys.to("#stop", "Shift+Tab")  # the search for what matters most goes on; what is there stays
    keys.press("Enter")
    for k in range(2):
        keys.to(f"[data-take='{k}']")
        keys.press("Enter")
        meets(tab, lambda: tab.evaluate("document.activeElement.tagName"), lambda tag: tag == "A")
    water = tab.locator(".starter", has=tab.get_by_role("heading", name="Water-to-air", exact=True))
    name = water.get_by_role("link").inner_text()
    keys.to(f".starter a[href*='{name}']")
    keys.press("Enter")
    drawn(tab)
    file = served.folder / name
    before = file.read_text(encoding="utf-8")
    keys.to("#pick")
    tab.keyboard.type("tank")
    volume = tab.get_by_label("volume", exact=True)
    volume.wait_for()
    keys.to("#f-parts-tank-volume")
    keys.write("6 L")
    keys.press("Enter")
    slider = tab.get_by_label("volume, slider")
    meets(tab, slider.input_value, lambda value: float(value) == pytest.approx(6e-3))
    keys.to("[data-key='parts.tank.volume'] .slide")
    for _ in range(3):
        keys.press("ArrowRight")
    typed = volume.input_value()
    assert 6.0 < float(typed.split()[0]) < 7.0
    keys.press("Control+s")
    meets(tab, tab.locator("#saved").inner_text, lambda words: words == "saved")
    assert tomllib.loads(file.read_text(encoding="utf-8"))["parts"]["tank"]["volume"] == typed
    meets(tab, volume.input_value, lambda words: words == typed)
    assert len(set(before.splitlines()) ^ set(file.read_text(encoding="utf-8").splitlines())) == 2

    keys.to("nav a[href^='/verdict']", "Shift+Tab")
    keys.press("Enter")
    tab.locator("#lead svg").wait_for()
    assert tab.locator("#p-top h1").inner_text().startswith(VERDICTS)
    keys.to("#time")
    before_moving = tab.locator("#reading").inner_text()
    keys.press("Home")
    meets(tab, tab.locator("#reading").inner_text, lambda words: words != before_moving)
    keys.to("#strips-fold summary")
    keys.press("Enter")
    assert tab.locator("#strips-fold[open] svg").count() == 1

    keys.to("nav a[href^='/beside']", "Shift+Tab")
    keys.press("Enter")
    tab.wait_for_url("**/beside**")
    if not tab.locator("#cars[open]").count():
        keys.to("#cars summary")
        keys.press("Enter")
    keys.to("#cars input[value^=pipit-air]")
    keys.press("Space")
    keys.to("#choose button[type=submit]")
    keys.press("Enter")
    tab.locator("#offer[data-ready]").wait_for()
    keys.to("#w-customer")
    keys.write("B. Customer")
    keys.to("#t-rate")
    keys.write("80")
    keys.to("#offer input[data-field=price]")
    keys.write("1234.50")
    keys.to("#offer input[data-field=hours]")
    keys.write("2")
    keys.press("Tab")
    total = tab.locator(".priced [data-live=total]").first
    meets(tab, total.inner_text, lambda words: "1394.50" in bare(words))
    keys.to("#offer a[data-take=html]")
    with tab.expect_download() as coming:
        keys.press("Enter")
    assert "B. Customer" in coming.value.path().read_text(encoding="utf-8")
