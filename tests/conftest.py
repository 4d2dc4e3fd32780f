"""What every test may ask for: the repository's root, the bundled files, and a browser where there is one."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

# several workers share the cores: BLAS threads of their own would only fight over them (read when numpy loads)
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

# no test is timed: a machine that others use would fail one that is right
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="session")
def root() -> Path:
    """The repository's root folder."""
    return ROOT


@pytest.fixture(scope="session")
def examples() -> Path:
    """The folder of the bundled builds and sessions."""
    return ROOT / "examples"


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of a Chromium; without one the test is skipped, or fails where COLDSIDE_BROWSER=required."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        found = shutil.which(name)
        if found:
            return found
    reason = "no Chromium on PATH (chromium, chromium-browser, google-chrome): the sheet was not looked at in a browser"
    if os.environ.get("COLDSIDE_BROWSER") == "required":
        pytest.fail(reason)
    pytest.skip(reason)
