"""How a figure came about, opened on the verdict: by its address, by keyboard, in a forecast that is reopened.

What is told there is held against `sheet/origins.py`, whose own tests are in `tests/sheet/test_origins.py`.
"""

from __future__ import annotations

import html
import re
from urllib.parse import quote

import pytest

from coldside.page.naming import plain_names
from coldside.sheet import sections
from coldside.sheet.origins import origin_of
from page.browser import meets, reckoned
from page.client import BUILD, SESSION, client, desk, folder  # noqa: F401  fixtures


def names_of(piece: str) -> list[str]:
    """The figures that a piece offers to open."""
    return [html.unescape(found) for found in re.findall(r'data-origin="([^"]*)"', piece)]


def test_every_name_on_the_verdict_opens_and_in_a_reopened_one_alike(client, desk):  # noqa: F811
    job = client.post("/do/verdict/start", build=BUILD, session=SESSION)["job"]
    client.finish(job)
    pieces = ("top", "why", "change", "dies", "before", "runs", "more", "folds")
    found = []
    for name in pieces:
        found += names_of(client.get(f"/do/verdict/piece?job={job}&name={name}")["html"])
    assert {"limits/0", "figures/power", "sure/intake, peak in boost", "answers/what to change"} <= set(found)
    case = desk.cases.held(desk.jobs.get(job).key)
    told = {}
    for figure in dict.fromkeys(found):
        answer = client.get(f"/do/verdict/origin?job={job}&figure={quote(figure)}")
        bare = re.sub(r"<a href=[^>]*>(.*?)</a>", r"\1", answer["html"])
        assert bare == plain_names(sections.origin(origin_of(figure, *case.answer(), "si")), case.build)
        told[figure] = answer
    assert f'href="/build?build={BUILD}&amp;session={SESSION}&amp;part=left_core"' in told["figures/intake gas"]["html"]
    assert f'href="/session?build={BUILD}&amp;session={SESSION}"' in "".join(one["html"] for one in told.values())
    again = client.post("/do/verdict/reopen", kept=str(case.kept))["job"]
    client.finish(again)
    for figure in ("limits/0", "figures/intake gas", "answers/how sure"):
        assert client.get(f"/do/verdict/origin?job={again}&figure={quote(figure)}") == told[figure]
    for figure in ("", "limits/7", "figures/<script>", "x/y"):  # that there are not
        (problem,) = client.get(f"/do/verdict/origin?job={job}&figure={quote(figure)}", 400)["problems"]
        assert "Traceback" not in problem["message"]
    assert client.get("/do/verdict/origin?job=none&figure=limits/0", 400)["problems"]


@pytest.mark.browser
def test_a_name_opens_by_keyboard_and_gives_the_focus_back(visit, car, day):
    tab = visit.open("/verdict", build=car, session=day)
    reckoned(tab)
    name = tab.locator('button[data-origin="limits/0"]')
    name.focus()
    tab.keyboard.press("Enter")
    dialog = tab.get_by_role("dialog", name="Limit: intake in boost")
    dialog.wait_for()
    assert tab.evaluate("() => document.activeElement.id") == "origin-title"
    assert dialog.get_by_role("heading", name="Equation").count() == 1
    tab.keyboard.press("Escape")
    meets(tab, dialog.count, lambda count: count == 0)
    assert tab.evaluate("() => document.activeElement.dataset.origin") == "limits/0"
    tab.keyboard.press("Enter")
    dialog.wait_for()
    dialog.get_by_role("button", name="Close").click()
    meets(tab, dialog.count, lambda count: count == 0)
    assert tab.evaluate("() => document.activeElement.dataset.origin") == "limits/0"
