"""How long the page lets a person wait: from the command to the server, from a click to a place, from a slider to its
redrawn chart and ribbon.

    python bench/page_times.py            all of it, on the Tern in half an hour of traffic and a pull

Terms: the real command in a process of its own, headless Chromium beside it on the same machine.  A slider's time runs
in the page, from its `input` event to the frame after chart and ribbon stand in the document; every position is a new
one, so nothing is remembered.  A place is usable when its heading, its fields or first words are there and, where it
has a chart, when that is drawn.  The first compilation of the kernel stands apart.
"""

from __future__ import annotations

import os
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))  # the browser is part of the tests

from page.browser import FLAGS, Server, copy_examples, drawn, visiting  # noqa: E402

CAR, DAY = "tern/water.toml", "sessions/traffic-then-pull.toml"
MOVES, STARTS, OPENINGS = 30, 3, 3
PLACES = {
    "start": ("/", "main h1"),
    "brief": ("/brief?brief=briefs/linnet.toml", "#read-back"),
    "build, with its chart": (f"/build?build={CAR}&session={DAY}&part=tank", "#lead svg"),
    "session, drawn": (f"/session?build={CAR}&session={DAY}", "#demand svg"),
    "verdict, first words and chart": (f"/verdict?build={CAR}&session={DAY}", "#lead svg"),
}

# Moves the slider to a share of its way; gives the ms until the frame in which what it shows has been redrawn.
MOVE = """(share) => new Promise(done => {
  const slider = document.querySelector("[data-key='parts.tank.volume'] .slide");
  const editor = document.getElementById('editor');
  const watch = new MutationObserver(() => {
    watch.disconnect();
    requestAnimationFrame(() => setTimeout(() => done(performance.now() - begun)));
  });
  watch.observe(editor, { attributes: true, attributeFilter: ['data-shown'] });
  slider.value = String(Number(slider.min) + share * (Number(slider.max) - Number(slider.min)));
  const begun = performance.now();
  slider.dispatchEvent(new Event('input', { bubbles: true }));
})"""


def main() -> int:
    """Measure and print."""
    from playwright.sync_api import sync_playwright

    program = next((f for n in ("chromium", "chromium-browser", "google-chrome") if (f := shutil.which(n))), None)
    if program is None:
        print("no Chromium on PATH", file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory() as made, sync_playwright() as player:
        folder = Path(made) / "shop"
        copy_examples(ROOT / "examples", folder)
        browser = player.chromium.launch(executable_path=program, args=list(FLAGS))
        row("what", "median", "least", "most", "of")
        compiling(browser, folder, Path(made) / "kernel")
        report("server up after the command", [up(folder) for _ in range(STARTS)])
        for name, (address, ready) in PLACES.items():
            report(f"usable: {name}", [opened(browser, folder, address, ready) for _ in range(OPENINGS)])
        sliding(browser, folder)
        browser.close()
    return 0


def row(what: str, *cells: str) -> None:
    """One line of the table."""
    print(f"{what:<44}" + "".join(f"{cell:>9}" for cell in cells), flush=True)


def report(what: str, seconds: list[float]) -> None:
    """One line of times."""
    row(what, *(f"{f(seconds):.3f} s" for f in (statistics.median, min, max)), str(len(seconds)))


def up(folder: Path) -> float:
    """From the command to its address; the kernel is compiled already."""
    begun = time.perf_counter()
    server = Server(folder).start()
    taken = time.perf_counter() - begun
    server.stop()
    return taken


def compiling(browser: Any, folder: Path, kernel: Path) -> None:
    """The first use on a machine: nothing compiled yet."""
    os.environ["NUMBA_CACHE_DIR"] = str(kernel)
    try:
        report("server up, nothing compiled yet", [up(folder)])
        begun = time.perf_counter()
        opened(browser, folder, *PLACES["build, with its chart"])
        report("first chart on a machine, compiling", [time.perf_counter() - begun])
    finally:
        del os.environ["NUMBA_CACHE_DIR"]


def opened(browser: Any, folder: Path, address: str, ready: str) -> float:
    """From asking a server that is up for a place until it can be used."""
    server = Server(folder).start()
    try:
        with visiting(browser, server) as visit:
            tab = visit.open("/")
            tab.wait_for_timeout(1500)  # as long as somebody looks at the start; the kernel is loaded meanwhile
            begun = time.perf_counter()
            tab.goto(server.top + address)
            tab.locator(ready).first.wait_for()
            return time.perf_counter() - begun
    finally:
        server.stop()


def sliding(browser: Any, folder: Path) -> None:
    """The tank's volume moved, once with nothing else to do and once while a verdict is being reckoned."""
    server = Server(folder).start()
    try:
        with visiting(browser, server) as visit:
            tab = visit.open("/")
            tab.goto(server.top + PLACES["build, with its chart"][0])
            drawn(tab)
            shares = [0.05 + 0.9 * k / MOVES for k in range(MOVES)]
            report("slider to chart and ribbon", [tab.evaluate(MOVE, share) / 1e3 for share in shares])
            other = visit.open("/")
            other.goto(server.top + PLACES["verdict, first words and chart"][0])
            other.locator("#lead svg").wait_for()
            tab.bring_to_front()
            moved = [tab.evaluate(MOVE, share + 0.4 / MOVES) / 1e3 for share in shares[: MOVES // 2]]
            report("the same while a verdict is reckoned", moved)
    finally:
        server.stop()


if __name__ == "__main__":
    sys.exit(main())
