"""The walk over TOML text: every key has its line, spans hold the values, any text is read or refused."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldside.build.document import Document, dotted, read_document, scan
from coldside.errors import BadInput
from words.files import BUILD, LIMITS, SESSION

TEXT = """\
# a comment with [brackets] and a = sign

top = "a # no comment"   # a comment
'quoted key' = 'it''s' # two literals would be an error
""".replace("'it''s'", "'its'")

TABLES = """\
a = 1
[one.two]
b = [["1 L", "2 m"],
     ["3 L",   # inside
      "4 m"]]
[[list]]
c = true
[list.sub]
d = "]"
[[list]]

c = 'x]'
"""


def everything(data: Any, key: tuple = ()) -> list[tuple]:
    """Every key in the data, tables, lists and their elements included."""
    found = [key] if key else []
    if isinstance(data, dict):
        for name, value in data.items():
            found += everything(value, (*key, name))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            found += everything(value, (*key, index))
    return found


def test_lines_of_keys_tables_and_rows() -> None:
    lines = scan(TABLES, "t.toml").lines
    assert lines[("a",)] == 1
    assert lines[("one",)] == 2
    assert lines[("one", "two", "b")] == 3
    assert lines[("one", "two", "b", 1)] == 4
    assert lines[("one", "two", "b", 1, 1)] == 5
    assert lines[("list", 0)] == 6
    assert lines[("list", 0, "sub", "d")] == 9
    assert lines[("list", 1)] == 10
    assert lines[("list", 1, "c")] == 12


def test_comments_and_quotes_do_not_confuse_it() -> None:
    document = scan(TEXT, "t.toml")
    assert document.lines == {("top",): 3, ("quoted key",): 4}
    start, end = document.spans[("top",)]
    assert TEXT[start:end] == '"a # no comment"'


@pytest.mark.parametrize("text", [BUILD, SESSION, LIMITS, TABLES, TEXT])
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_every_key_has_a_line_and_its_span_is_its_value(text: str, ends: str) -> None:
    text = text.replace("\n", ends)
    document = scan(text, "t.toml")
    for key in everything(document.data):
        assert key in document.lines, key
        row = text.split(ends)[document.lines[key] - 1]
        if isinstance(key[-1], str):
            assert key[-1] in row
    for key, (start, end) in document.spans.items():
        value: Any = document.data
        for part in key:
            value = value[part]
        assert tomllib.loads(f"v = {text[start:end]}")["v"] == value


def test_the_bundled_files_have_lines_for_every_key(examples: Path) -> None:
    for file in sorted(examples.rglob("*.toml")):
        document = read_document(file)
        assert not document.misuse
        assert set(everything(document.data)) <= set(document.lines)


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    (tmp_path / "bom.toml").write_bytes(b"\xef\xbb\xbf" + BUILD.encode())
    assert read_document(tmp_path / "bom.toml").data == tomllib.loads(BUILD)


def test_forms_that_our_files_do_not_use() -> None:
    text = "a.b = 1\nc = { d = [1, {e = 2}], f = '}' }\ng = '''x\n'''\n[h]\ni.j.k = 2\n"
    assert scan(text, "t.toml").misuse == [
        (("a", "b"), "is a dotted key; write b = ... in a table [a]"),
        (("c",), "is an inline table; write it as a table [c]"),
        (("g",), "is a text over several lines; write it on one line"),
        (("h", "i", "j", "k"), "is a dotted key; write k = ... in a table [h.i.j]"),
    ]


@pytest.mark.parametrize(
    ("override", "value"),
    [
        ("parts.tank.volume=40 L", "40 L"),
        ('parts.tank.volume = "40 L"', "40 L"),
        ("parts.tank.nodes=3", 3),
        ("parts.tank.x=true", True),
        ("parts.tank.x=[['0 L/min', '8 m'], ['9 L/min', '1 m']]", [["0 L/min", "8 m"], ["9 L/min", "1 m"]]),
        ("parts.tank.x=a=b", "a=b"),
        ("parts.tank.x=1979-05-27", "1979-05-27"),
        ("parts.tank.x={a=1}", "{a=1}"),
    ],
)
def test_overrides(override: str, value: object) -> None:
    document = scan(BUILD, "hill.toml")
    document.override(override)
    key = ("parts", "tank", override.partition("=")[0].strip().rpartition(".")[2])
    assert document.data["parts"]["tank"][key[-1]] == value
    assert document.origin(key) == "set"
    assert document.where(key) == "--set"
    assert document.where(("parts", "tank", "height")) == "hill.toml:79"


def test_an_optional_table_may_be_made_by_an_override() -> None:
    document = scan(BUILD, "hill.toml")
    document.override("car.mass=1200 kg", optional=("car",))
    assert document.data["car"] == {"mass": "1200 kg"}


def test_tables_of_a_list_are_counted_from_one() -> None:
    assert dotted(("phases", 0, "kind")) == "phases.1.kind"


def read_or_refuse(text: str) -> Document | None:
    """A document, or None where it is refused; any other exception fails the test."""
    try:
        return scan(text, "t.toml")
    except BadInput as error:
        told = (error.where[:6], str(error).count("\n"))
    assert told == ("t.toml", 0)
    return None


MARKS = [
    "a",
    "b.c",
    '"q"',
    "'l'",
    "=",
    "[",
    "]",
    "[[",
    "]]",
    "{",
    "}",
    ",",
    "\n",
    " ",
    "#",
    '"',
    "'",
    '"""',
    "'''",
    "1",
]
LINES = ["\\", "\r\n", "é", "\t", "x = 1\n", "[t]\n", "y = [1, 2]\n"]
PIECES = st.sampled_from(MARKS + LINES)


@settings(max_examples=400)
@given(st.one_of(st.text(max_size=60), st.lists(PIECES, max_size=25).map("".join)))
def test_any_text_is_walked_or_refused(text: str) -> None:
    document = read_or_refuse(text)
    if document is not None and not document.misuse:
        assert set(everything(document.data)) <= set(document.lines)


@settings(max_examples=200)
@given(
    which=st.sampled_from([BUILD, SESSION]),
    at=st.floats(0.0, 1.0),
    cut=st.integers(0, 30),
    put=st.lists(PIECES, max_size=3).map("".join),
)
def test_any_spoiled_file_is_walked_or_refused(which: str, at: float, cut: int, put: str) -> None:
    place = int(at * len(which))
    document = read_or_refuse(which[:place] + put + which[place + cut :])
    if document is not None and not document.misuse:
        assert set(everything(document.data)) <= set(document.lines)


@pytest.mark.parametrize("text", ["a = " + "[" * 50_000, "a = " + "9" * 5000, "a = " + "[" * 3000 + "]" * 3000])
def test_absurd_texts_are_refused(text: str) -> None:
    with pytest.raises(BadInput):
        scan(text, "t.toml")
