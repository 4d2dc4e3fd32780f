"""Every place looked at by axe-core (rules after WCAG 2.2), wide and narrow, light and dark: nothing serious found."""

from __future__ import annotations

import json
from typing import Any

import pytest

from page.browser import DESK, PHONE, visiting

pytestmark = pytest.mark.browser

CAR, OTHER, DAY = "tern/water.toml", "tern/air.toml", "short.toml"
PLACES = {  # place: address, what shows that it is there, what is opened
    "start": ("/", "main h1", ()),
    "brief": ("/brief?brief=briefs/linnet.toml", "#read-back", ()),
    "starters": ("/brief?brief=briefs/redstart.toml", "#read-back", ("#draft",)),
    "build": (f"/build?build={CAR}&session={DAY}&part=tank", "#lead svg", ()),
    "session": (f"/session?build={CAR}&session={DAY}", "#demand svg", ()),
    "verdict": (f"/verdict?build={CAR}&session={DAY}", "#p-more h2", ()),
    "beside": (f"/beside?build={CAR}&build={OTHER}&session={DAY}", "#offer[data-ready]", ()),
    "sheet": (f"/sheet?build={CAR}&session={DAY}", "iframe", ()),
    "the sheet itself": (f"/sheet/whole?build={CAR}&session={DAY}", "svg.rb", ()),
    "refused": ("/sheet/whole?build=none.toml&session=none.toml", "h1", ()),
}
OPTIONS = {"resultTypes": ["violations"], "iframes": False, "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa",
           "wcag22aa", "best-practice"]}  # fmt: skip


@pytest.fixture(scope="module")
def axe() -> str:
    """The source of axe-core."""
    return str(pytest.importorskip("axe_playwright_python.sync_playwright").Axe().axe_script)


@pytest.mark.parametrize("place", PLACES)
def test_nothing_serious_bars_anybody(browser, served, axe, place):
    address, ready, pressed = PLACES[place]
    with visiting(browser, served) as visit:
        visit.forgive("status of 400")  # the refused one
        tab = visit.open("/")
        tab.goto(served.top + address)
        tab.locator(ready).first.wait_for()
        for button in pressed:
            tab.locator(button).click()
            tab.locator(".starter").first.wait_for()
        tab.evaluate(axe)
        tab.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true })")
        told = {}
        for size in (DESK, PHONE):
            tab.set_viewport_size({"width": size[0], "height": size[1]})
            for look in ("light", "dark"):
                tab.emulate_media(color_scheme=look)
                tab.evaluate("look => { document.documentElement.dataset.look = look }", look)
                found = tab.evaluate(f"() => axe.run(document, {json.dumps(OPTIONS)})")
                told |= {f"{size[0]} {look}": words for words in [serious(found)] if words}
        assert told == {}


def serious(found: dict[str, Any]) -> list[str]:
    """The findings that bar somebody, one line each with the first place."""
    return [
        f"{one['impact']} {one['id']}: {node['html'][:160]} {node.get('failureSummary', '')[-200:]}"
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"][:4]
    ]


def test_axe_finds_what_is_wrong(browser, served, axe):
    """The same check on a page that is spoilt: it does look."""
    with visiting(browser, served) as visit:
        tab = visit.open("/brief")
        tab.evaluate("document.querySelector('#b-power').removeAttribute('aria-label')")
        tab.evaluate("document.querySelector('#b-power').removeAttribute('title')")
        tab.evaluate("document.querySelector('#b-power').removeAttribute('placeholder')")
        tab.evaluate("document.querySelector('main h1').style.color = '#eee'")
        tab.evaluate(axe)
        found = serious(tab.evaluate(f"() => axe.run(document, {json.dumps(OPTIONS)})"))
        assert any(" label:" in words for words in found)
        assert any(" color-contrast:" in words for words in found)
