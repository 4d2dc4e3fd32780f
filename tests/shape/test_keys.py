"""The list of keys in the documentation is the program's own, its examples can be typed, its words are the user's."""

from __future__ import annotations

import importlib.util
import re
from types import ModuleType

import pytest

from coldside import units
from coldside.build.values import Refused, read_value
from coldside.errors import BadInput
from shape.source import ROOT

# what a reader who is no programmer cannot know
CODE = (
    r"\bSpec\b|Spec\b|specification|\bfield\b|\battribute|\bmodule\b|\bclass\b|\bimplicit|\bNone\b|\bfloat\b|\barray|"
    r"\bdict\b|\btuple\b|\.py\b|\bSI\b|\bkernel\b|docstring|\bparameter\b|\bboolean\b"
)


@pytest.fixture(scope="module")
def made() -> ModuleType:
    file = ROOT / "docs" / "make_keys.py"
    spec = importlib.util.spec_from_file_location("make_keys", file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_list_of_keys_is_up_to_date(made):
    assert made.PAGE.read_text(encoding="utf-8") == made.keys_page(), "run `make keys`"


def test_its_words_are_the_users(made):
    found = [line for line in made.keys_page().splitlines() if re.search(CODE, line)]
    assert not found, found


def test_words_in_backticks_or_with_underscores_are_keys_or_values(made):
    page = made.keys_page()
    keys = set(re.findall(r"^\| `(\w+)` \|", page, re.MULTILINE))
    written = set(re.findall(r'"([\w.]+)"', page)) | {"schema", "path", "limits_file", "name"}
    words = set(re.findall(r"\b[a-z]+(?:_[a-z0-9]+)+\b", page))
    columns = {"speed_m_s", "t_s", "s_m", "curvature_1_m"}  # of a CSV
    assert words <= keys | written | columns, words - keys - written - columns


def test_examples_can_be_typed(made):
    tables = [*made.BUILD_TABLES, *made.SESSION_TABLES, *made.PART_KINDS.items()]
    refused = []
    for title, spec in tables:
        for item in made.fields_of(spec):
            if item.meta.kind not in units.KINDS:
                continue
            for text in re.findall(r'"([^"]*)"', made.form(item)) or [float(made.form(item))]:
                text = int(text) if item.meta.kind == "count" else text
                try:
                    read_value(item.meta, text, {})
                except (BadInput, Refused) as error:
                    refused.append((title, item.key, text, str(error)))
    assert not refused, refused
