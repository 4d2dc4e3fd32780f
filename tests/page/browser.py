"""A browser on the real page: the command runs in a process of its own, Chromium looks at it, and everything is noted.

Here: `Server`, `Visit`, the flags of Chromium, a short session.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

ROOT = Path(__file__).resolve().parents[2]
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
DESK, PHONE = (1280, 800), (390, 844)
PATIENCE = 60.0  # s that anything may take: the machine may be busy with other tests, or compile for the first time
ADDRESS = re.compile(r"coldside page: (http://\S+)")
SHORT = """\
# A short day, so that a test need not wait.  Invented.
schema = "coldside.session/1"
name = "Two short pulls"
start = "ambient"

[ambient]
temperature = "31 degC"             # in the shade
humidity = "45 %"

[[phases]]
kind = "idle"
duration = "20 s"

[[phases]]
kind = "pull"
on = "dyno"
from = "4000 rpm"
to = "7000 rpm"
duration = "8 s"
repeat = 2
rest = "20 s"

[[limits]]
quantity = "intake"
at_most = "55 degC"
during = "boost"
"""


class Server:
    """`coldside page FOLDER` in a process of its own, of the sources beside these tests."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.folder, self.options = folder, options
        self.log = folder.parent / f"{folder.name}.log"
        self.process: subprocess.Popen[bytes] | None = None
        self.address = ""  # with the key

    def start(self) -> Server:
        """Start it; returns when it has told its address."""
        env = {name: value for name, value in os.environ.items() if name != "PYTEST_CURRENT_TEST"}
        env |= {"PYTHONPATH": str(ROOT / "src"), "PYTHONUNBUFFERED": "1"}
        command = [sys.executable, "-m", "coldside", "page", str(self.folder), "--port", "0", "--no-browser"]
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                [*command, *self.options], stdout=log, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL, env=env
            )
        found = until(lambda: ADDRESS.search(self.said()), f"no address told: {self.said}", self.process)
        self.address = found[1]
        return self

    def said(self) -> str:
        """What the command printed so far."""
        return self.log.read_text(encoding="utf-8", errors="replace") if self.log.exists() else ""

    @property
    def top(self) -> str:
        """The address without path and key."""
        parts = urlsplit(self.address)
        return f"{parts.scheme}://{parts.netloc}"

    def kill(self) -> None:
        """End it at once, as a power cut would."""
        assert self.process is not None
        self.process.kill()
        self.process.wait(20)

    def stop(self) -> None:
        """End it as Ctrl+C does."""
        if self.process is None or self.process.poll() is not None:
            return
        with contextlib.suppress(OSError, ValueError):
            self.process.send_signal(signal.SIGINT if os.name == "posix" else signal.SIGTERM)
        try:
            self.process.wait(15)
        except subprocess.TimeoutExpired:
            self.kill()


def until(look: Callable[[], Any], failed: str, process: subprocess.Popen[bytes] | None = None) -> Any:
    """What `look` gives as soon as it gives something."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        found = look()
        if found:
            return found
        if process is not None and process.poll() is not None:
            break
        time.sleep(0.02)
    raise AssertionError(failed)


class Visit:
    """One browser profile on a server: its tabs, and all that they asked for and said."""

    def __init__(self, browser: Any, server: Server, size: tuple[int, int] = DESK, **context: Any) -> None:
        self.server = server
        self.context = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, reduced_motion="reduce", **context
        )
        self.context.set_default_timeout(PATIENCE * 1000)
        self.asked: list[str] = []
        self.said: list[str] = []
        self.forgiven: list[str] = []
        self.context.on("request", lambda request: self.asked.append(request.url))
        self.context.on("weberror", lambda fault: self.said.append(f"page error: {fault.error}"))
        self.context.on("console", lambda message: self.said.append(f"{message.type}: {message.text}"))
        self._entered = False

    def open(self, path: str = "/", **query: str | list[str]) -> Any:
        """A new tab at a place; the first one brings the key."""
        tab = self.context.new_page()
        self.go(tab, path, **query)
        return tab

    def go(self, tab: Any, path: str, **query: str | list[str]) -> None:
        """Go to a place in a tab."""
        if not self._entered:
            tab.goto(self.server.address)
            self._entered = True
        tail = urlencode(query, doseq=True, safe="/")
        tab.goto(self.server.top + path + ("?" + tail if tail else ""))

    def forgive(self, pattern: str) -> None:
        """Let the console say what matches `pattern`, where a test provokes it."""
        self.forgiven.append(pattern)

    def close(self) -> None:
        """Close all tabs; nothing may have been said on a console, or asked of another machine."""
        self.context.close()
        said = [words for words in self.said if not any(re.search(pattern, words) for pattern in self.forgiven)]
        assert said == [], "\n".join([*said, "the server said:", self.server.said()[-3000:]])
        elsewhere = {url for url in self.asked if urlsplit(url).scheme != "data" and not here(url)}
        assert elsewhere == set(), elsewhere
        assert self.asked, "nothing was asked at all"


def here(url: str) -> bool:
    """Whether an address is on this machine by its number."""
    return urlsplit(url).hostname == "127.0.0.1"


@contextlib.contextmanager
def visiting(browser: Any, server: Server, size: tuple[int, int] = DESK, **context: Any) -> Iterator[Visit]:
    """A `Visit` that is closed, and looked through where nothing else went wrong."""
    visit = Visit(browser, server, size, **context)
    try:
        yield visit
    except BaseException:
        visit.context.close()
        raise
    visit.close()


def copy_examples(examples: Path, folder: Path) -> None:
    """The bundled builds, sessions and briefs, and the short session."""
    shutil.copytree(examples, folder, ignore=shutil.ignore_patterns("studies", "__pycache__"))
    (folder / "short.toml").write_text(SHORT, encoding="utf-8", newline="")


def reckoned(tab: Any, root: str = "#verdict") -> str:
    """Wait until long work has ended; returns its state."""
    tab.wait_for_selector(f"{root}[data-state]")
    return str(tab.locator(root).get_attribute("data-state"))


def drawn(tab: Any, count: int = 1) -> int:
    """Wait until the build place has drawn at least `count` times; returns how often it has."""
    editor = tab.locator("#editor")
    return int(meets(tab, lambda: editor.get_attribute("data-shown"), lambda times: int(times or 0) >= count))


def meets(tab: Any, look: Callable[[], Any], wanted: Callable[[Any], bool]) -> Any:
    """What `look` gives as soon as it is `wanted`; the tab's events go on meanwhile."""
    end = time.monotonic() + PATIENCE
    while True:
        found = look()
        if wanted(found):
            return found
        if time.monotonic() > end:
            raise AssertionError(f"still {found!r}")
        tab.wait_for_timeout(20)
