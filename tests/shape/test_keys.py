"""The list of keys in the documentation is the program's own."""

from __future__ import annotations

import importlib.util

from shape.source import ROOT


def test_the_list_of_keys_is_up_to_date():
    file = ROOT / "docs" / "make_keys.py"
    spec = importlib.util.spec_from_file_location("make_keys", file)
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    assert made.PAGE.read_text(encoding="utf-8") == made.keys_page(), "run `make keys`"
