"""Makes docs/screenshots/: every place of the page at a desk's and a phone's size, of the bundled invented cars.

Run `make screenshots` after the page's looks have changed.  It needs a Chromium on PATH.  The server is the real
command on a folder of its own that is thrown away; the browser is what the tests use (`tests/page/browser.py`).
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "docs" / "screenshots"
sys.path.insert(0, str(ROOT / "tests"))  # the browser is part of the tests

from page.browser import DESK, FLAGS, PHONE, Server, copy_examples, drawn, reckoned, visiting  # noqa: E402

MOST_BYTES = 4_000_000  # of the folder
CAR, OTHER, DAY = "tern/water.toml", "tern/air.toml", "sessions/dyno-pulls.toml"
CHROMIUM = ("chromium", "chromium-browser", "google-chrome")


@dataclass(frozen=True)
class View:
    """One picture at each size: where, what to wait for and to do, and in which looks."""

    name: str
    address: str
    ready: Callable[[Any], None]
    looks: tuple[str, ...] = ("light",)


def seen(selector: str) -> Callable[[Any], None]:
    """Wait until something is to be seen."""
    return lambda tab: tab.locator(selector).first.wait_for()


def starters(tab: Any) -> None:
    """Draft, and look at what came out."""
    tab.locator("#draft").click()
    tab.locator("#p-unknowns h2").wait_for()
    to_top(tab, "#p-starters")


def whole(tab: Any) -> None:
    """The verdict, when all of it stands there."""
    reckoned(tab)
    for last in ("#p-more h2", "#ribbon svg", "#p-cautions li"):
        tab.locator(last).first.wait_for()


def ribbon(tab: Any) -> None:
    """The verdict's ribbon."""
    whole(tab)
    to_top(tab, "section:has(> #ribbon)")


def changes(tab: Any) -> None:
    """What to change, and what when something dies."""
    whole(tab)
    to_top(tab, ".columns")


def offer(tab: Any) -> None:
    """The proposal, with some figures typed."""
    tab.locator("#offer[data-ready]").wait_for()
    for label, words in (("From (your shop)", "An invented shop"), ("Work, an hour", "80")):
        tab.get_by_label(label).fill(words)
        tab.get_by_label(label).press("Tab")
    reckoned(tab, "#beside")
    to_top(tab, "#offer")


def opened_phase(tab: Any) -> None:
    """A session with one phase opened."""
    tab.locator("#demand svg").wait_for()
    tab.locator("#c-phase-1 > summary").click()


def to_top(tab: Any, selector: str) -> None:
    """Scroll until something stands at the top."""
    tab.locator(selector).first.evaluate("one => one.scrollIntoView()")


BOTH = ("light", "dark")
VIEWS = (
    View("start", "/", seen("main h1")),
    View("brief", "/brief?brief=briefs/redstart.toml", seen("#read-back")),
    View("brief-starters", "/brief?brief=briefs/redstart.toml", starters),
    View("build", f"/build?build={CAR}&session={DAY}&part=tank", lambda tab: drawn(tab), BOTH),
    View("session", f"/session?build={CAR}&session={DAY}", opened_phase),
    View("verdict", f"/verdict?build={CAR}&session={DAY}", whole, BOTH),
    View("verdict-ribbon", f"/verdict?build={CAR}&session={DAY}", ribbon),
    View("verdict-change", f"/verdict?build={CAR}&session={DAY}", changes),
    View("beside", f"/beside?build={CAR}&build={OTHER}&session={DAY}", lambda tab: reckoned(tab, "#beside")),
    View("beside-proposal", f"/beside?build={CAR}&build={OTHER}&session={DAY}", offer),
    View("sheet", f"/sheet?build={CAR}&session={DAY}", seen("iframe")),
)


def main() -> int:
    """Make all of them, or those whose names are given; 1 where the folder has become too large."""
    wanted = set(sys.argv[1:])
    program = next((found for name in CHROMIUM if (found := shutil.which(name))), None)
    if program is None:
        sys.stderr.write("no Chromium on PATH: " + ", ".join(CHROMIUM) + "\n")
        return 2
    from playwright.sync_api import sync_playwright

    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as made, sync_playwright() as player:
        folder = Path(made) / "shop"
        copy_examples(ROOT / "examples", folder)
        (folder / "short.toml").unlink()
        server = Server(folder).start()
        browser = player.chromium.launch(executable_path=program, args=list(FLAGS))
        try:
            for view in VIEWS:
                if not wanted or view.name in wanted:
                    picture(browser, server, view)
        finally:
            browser.close()
            server.stop()
    size = sum(path.stat().st_size for path in FOLDER.glob("*.png"))
    count = len(list(FOLDER.glob("*.png")))
    sys.stdout.write(f"{FOLDER.relative_to(ROOT)}: {count} pictures, {size / 1e6:.1f} MB\n")
    return 1 if size > MOST_BYTES else 0


def picture(browser: Any, server: Server, view: View) -> None:
    """One view at both sizes."""
    for size, word in ((DESK, "desk"), (PHONE, "phone")):
        for look in view.looks:
            with visiting(browser, server, size, color_scheme=look) as visit:
                tab = visit.open("/")
                tab.goto(server.top + view.address)
                view.ready(tab)
                tab.wait_for_timeout(600)
                tail = "" if look == "light" else f"-{look}"
                tab.screenshot(path=FOLDER / f"{view.name}-{word}{tail}.png")


if __name__ == "__main__":
    sys.exit(main())
