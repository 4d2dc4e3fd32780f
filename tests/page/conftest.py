"""One server a session of tests, one browser a module, and files of its own for every test that changes some."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from page.browser import FLAGS, Server, Visit, copy_examples, visiting

_numbers = itertools.count(1)


@pytest.fixture(scope="session")
def served(tmp_path_factory: pytest.TempPathFactory, examples: Path) -> Iterator[Server]:
    """The real command on a copy of the bundled files.  Tests that change files take `car` or `own`."""
    folder = tmp_path_factory.mktemp("page") / "shop"
    copy_examples(examples, folder)
    server = Server(folder).start()
    yield server
    server.stop()


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Any]:
    """A headless Chromium."""
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as player:
        started = player.chromium.launch(executable_path=chromium, args=list(FLAGS))
        yield started
        started.close()


@pytest.fixture
def visit(browser: Any, served: Server) -> Iterator[Visit]:
    """A browser profile of its own at desk size."""
    with visiting(browser, served) as made:
        yield made


@pytest.fixture
def own(served: Server) -> Callable[[str], str]:
    """Copies a file of the folder; returns the name of the copy, which no other test uses."""

    def make(name: str) -> str:
        source = served.folder / name
        target = source.with_name(f"{source.stem}-{next(_numbers)}.toml")
        shutil.copy(source, target)
        return target.relative_to(served.folder).as_posix()

    return make


@pytest.fixture
def car(own: Callable[[str], str]) -> str:
    """A build of the test's own: the car with two water cores."""
    return own("tern/water.toml")


@pytest.fixture
def day(own: Callable[[str], str]) -> str:
    """A short session of the test's own."""
    return own("short.toml")
