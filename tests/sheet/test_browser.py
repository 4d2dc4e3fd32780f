"""The sheet in a real browser: nothing is fetched, nothing is said on its console, nothing overlaps or sticks out."""

from __future__ import annotations

import pytest

from coldside import judge, write_sheet

pytestmark = pytest.mark.browser

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
)
# Every bundled build, each over one of the three bundled sessions that drive.
SEEN = {
    "avocet/split_loop": "track",
    "dunlin/build": "dyno-pulls",
    "godwit/hybrid": "traffic-then-pull",
    "heron/two_stage": "dyno-pulls",
    "plover/build": "track",
    "plover/stacked": "traffic-then-pull",
    "siskin/blown": "track",
    "tern/air": "track",
    "tern/water": "dyno-pulls",
}
WIDTHS = (1280, 390)

# Two texts overlap when their boxes share more than 2 px both ways, each first lowered by the third of its height
# that a font's box keeps free above and below its letters.  Text drawn twice in one place (an outline) is one text.
OVERLAPS = """() => {
  const found = [];
  for (const svg of document.querySelectorAll('svg.rb, svg.ch')) {
    if (!svg.getClientRects().length) continue;
    const boxes = [];
    for (const text of svg.querySelectorAll('text')) {
      const pieces = text.querySelectorAll('tspan').length ? text.querySelectorAll('tspan') : [text];
      for (const piece of pieces) {
        const r = piece.getBoundingClientRect(), words = piece.textContent.trim();
        if (!words || !r.width) continue;
        const cut = Math.min(r.height, r.width) / 6;
        boxes.push({words, owner: text, left: r.left, right: r.right, top: r.top + cut, bottom: r.bottom - cut});
      }
    }
    for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
      const a = boxes[i], b = boxes[j];
      if (a.owner === b.owner || a.words === b.words) continue;
      const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (wide > 2 && high > 2) found.push(`${svg.getAttribute('class')}: "${a.words}" over "${b.words}"`);
    }
  }
  return found;
}"""

# Texts of a drawing that leave its frame, and blocks of the page whose words do not fit into them.
STICKS_OUT = """() => {
  const found = [];
  for (const svg of document.querySelectorAll('svg.rb, svg.ch')) {
    const frame = svg.getBoundingClientRect();
    if (!frame.width) continue;
    for (const text of svg.querySelectorAll('text')) {
      const r = text.getBoundingClientRect();
      if (r.width && (r.left < frame.left - 1 || r.right > frame.right + 1 || r.bottom > frame.bottom + 1))
        found.push('drawing: ' + text.textContent);
    }
  }
  for (const block of document.querySelectorAll('p, li, td, th, h1, h2, h3, caption, figcaption'))
    if (block.getClientRects().length && block.scrollWidth > block.clientWidth + 1 && block.clientWidth > 1)
      found.push('page: ' + block.textContent.slice(0, 80));
  return found;
}"""


# Words of the ribbon drawing that stand on a ribbon, and leaders that run through words.  Both are looked for at points
# 4 px apart, inside a box that is 3 px smaller than the words' own on every side.
CROSSED = """() => {
  const found = new Set(), skip = /^(st|ar|w|case|tank)$/;
  for (const svg of document.querySelectorAll('svg.rb')) {
    if (!svg.getClientRects().length) continue;
    const paths = [...svg.querySelectorAll('path')].filter(p => !skip.test(p.getAttribute('class') || ''))
      .map(path => ({path, leader: path.getAttribute('class') === 'lead', box: path.getBBox()}));
    for (const text of svg.querySelectorAll('text')) {
      const b = text.getBBox(), left = b.x + 3, right = b.x + b.width - 3, top = b.y + 3, bottom = b.y + b.height - 3;
      for (const {path, leader, box} of paths) {
        if (box.x - 20 > right || box.x + box.width + 20 < left) continue;
        if (box.y - 20 > bottom || box.y + box.height + 20 < top) continue;
        if (leader) {
          const length = path.getTotalLength();
          for (let at = 0; at <= length; at += 4) {
            const p = path.getPointAtLength(at);
            if (p.x > left && p.x < right && p.y > top && p.y < bottom)
              found.add('a leader runs through: ' + text.textContent);
          }
          continue;
        }
        for (let y = top; y <= bottom; y += 4) for (let x = left; x <= right; x += 4) {
          const p = svg.createSVGPoint(); p.x = x; p.y = y;
          if (path.isPointInStroke(p))
            found.add('on a ribbon: ' + text.textContent);
        }
      }
    }
  }
  return [...found];
}"""


@pytest.fixture(scope="module")
def browser(chromium):
    """A headless Chromium."""
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as player:
        started = player.chromium.launch(executable_path=chromium, args=list(FLAGS))
        yield started
        started.close()


def test_every_bundled_build_is_seen(examples):
    found = {f"{file.parent.name}/{file.stem}" for file in examples.glob("*/*.toml")}
    assert {name for name in found if not name.startswith(("sessions/", "briefs/"))} == set(SEEN)


@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("name", SEEN)
def test_the_sheet_is_whole_at_desk_and_phone_width(browser, forecast, tmp_path, name, system):
    found = forecast(name, SEEN[name])
    file = write_sheet(found, judge(found), tmp_path / "sheet.html", system)
    page = browser.new_page(viewport={"width": WIDTHS[0], "height": 900})
    asked, said = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    try:
        page.goto(file.as_uri())
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            assert page.evaluate("document.querySelectorAll('svg.rb, svg.ch').length") >= 2
            assert page.evaluate(STICKS_OUT) == [], width
            assert page.evaluate(OVERLAPS) == [], width
            assert page.evaluate(CROSSED) == [], width
            page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true })")
            assert page.evaluate(STICKS_OUT) == [], width
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = false })")
        assert asked == [file.as_uri()]  # nothing but the file itself
        assert said == []
    finally:
        page.close()


def test_print_unfolds_what_was_assumed(browser, forecast, tmp_path):
    found = forecast("tern/air", SEEN["tern/air"])
    file = write_sheet(found, judge(found), tmp_path / "sheet.html", "us")
    page = browser.new_page(viewport={"width": 700, "height": 900})
    shown = "[...document.querySelectorAll('details td')].filter(cell => cell.checkVisibility()).length"
    try:
        page.goto(file.as_uri())
        assert page.evaluate(shown) == 0
        page.emulate_media(media="print")
        assert page.evaluate(shown) == page.evaluate("document.querySelectorAll('details td').length") > 20
    finally:
        page.close()


def test_the_check_of_overlaps_can_fail(browser):
    page = browser.new_page()
    try:
        page.set_content(
            '<svg class="rb" width="200" height="60"><text x="10" y="30">left core</text>'
            '<text x="30" y="32">right core</text><text x="180" y="50">out of the frame</text></svg>'
        )
        assert page.evaluate(OVERLAPS) == ['rb: "left core" over "right core"']
        assert page.evaluate(STICKS_OUT) == ["drawing: out of the frame"]
        page.set_content(
            '<svg class="rb" width="200" height="60"><path d="M0 20H90" stroke="#000" stroke-width="12"/>'
            '<path class="lead" d="M150 0V60" stroke="#000"/><text x="10" y="24">hot_pipe</text>'
            '<text x="120" y="40">cold_pipe</text><text x="10" y="55">clear</text></svg>'
        )
        assert page.evaluate(CROSSED) == ["on a ribbon: hot_pipe", "a leader runs through: cold_pipe"]
    finally:
        page.close()
