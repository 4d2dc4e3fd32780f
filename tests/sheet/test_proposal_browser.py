"""The proposal in a real browser: whole at desk, tablet and phone width whatever was typed, fetches nothing."""

from __future__ import annotations

import pytest

from coldside.explore.compare import compared
from coldside.sheet.proposal import proposal, write_proposal

pytestmark = pytest.mark.browser

FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run")
WIDTHS = (1280, 700, 390, 360)

# Blocks whose words do not fit into them, words of the picture outside it or over one another, and a page that scrolls
# sideways.
FAULTS = """() => {
  const found = [];
  if (document.documentElement.scrollWidth > window.innerWidth) found.push('scrolls sideways');
  for (const block of document.querySelectorAll('p, li, dd, td, th, h1, h2, h3, figcaption, li span'))
    if (block.getClientRects().length && block.clientWidth > 1 && block.scrollWidth > block.clientWidth + 1)
      found.push('sticks out: ' + block.textContent.slice(0, 60));
  for (const svg of document.querySelectorAll('svg')) {
    const frame = svg.getBoundingClientRect();
    if (!frame.width) continue;
    const boxes = [];
    for (const text of svg.querySelectorAll('text')) {
      const r = text.getBoundingClientRect();
      if (r.left < frame.left - 1 || r.right > frame.right + 1) found.push('leaves the picture: ' + text.textContent);
      for (const b of boxes)
        if (Math.min(r.right, b.right) - Math.max(r.left, b.left) > 2
            && Math.min(r.bottom, b.bottom) - Math.max(r.top, b.top) > 4) found.push('overlaps: ' + text.textContent);
      boxes.push(r);
    }
  }
  return found;
}"""


@pytest.fixture(scope="module")
def browser(chromium):
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as player:
        started = player.chromium.launch(executable_path=chromium, args=list(FLAGS))
        yield started
        started.close()


@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("typed", ["Ines", "W" * 5000])
def test_the_proposal_is_whole_at_every_width(browser, forecast, tmp_path, system, typed):
    cars = [forecast("tern/water", "dyno-pulls"), forecast("tern/air", "dyno-pulls")] * 2
    made = proposal(compared(cars, [None] * 4, losses=False), customer=typed, offer_notes=typed, system=system)
    file = write_proposal(made, tmp_path / "offer.html")
    page = browser.new_page(viewport={"width": WIDTHS[0], "height": 900})
    fetched, said = [], []
    page.on("request", lambda request: fetched.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    try:
        page.goto(file.as_uri())
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate(FAULTS) == [], width
        assert fetched == [file.as_uri()]
        assert not said
    finally:
        page.close()


def test_the_check_can_fail(browser):
    page = browser.new_page(viewport={"width": 400, "height": 300})
    try:
        page.set_content('<p style="width:50px;white-space:nowrap">words that are wider than their paragraph</p>')
        assert any(fault.startswith("sticks out") for fault in page.evaluate(FAULTS))
    finally:
        page.close()
