"""Where the files lie that come with the program."""

from __future__ import annotations

import importlib.resources
from pathlib import Path

from coldside.errors import Internal


def examples_folder() -> Path:
    """The bundled builds and sessions: inside the installed package, or beside `src` in a clone."""
    packaged = Path(str(importlib.resources.files("coldside"))) / "examples"
    if packaged.is_dir():
        return packaged
    beside = Path(__file__).resolve().parents[2] / "examples"
    if beside.is_dir():
        return beside
    raise Internal(f"the bundled examples are missing: looked in {packaged} and {beside}")
