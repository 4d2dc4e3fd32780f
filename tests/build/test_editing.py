"""Changes to a file's text: what was asked for happens, everything else stays byte for byte."""

from __future__ import annotations

import copy
import difflib
import re
import tomllib
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldside.build import editing
from coldside.build.document import scan
from coldside.build.editing import (
    add_item,
    add_table,
    duplicate_item,
    move_item,
    remove_item,
    remove_table,
    rename_part,
    rename_table,
    set_path,
    set_value,
    unset_value,
    value_at,
)
from coldside.build.files import load_build
from coldside.duty.phases import load_session
from coldside.errors import BadInput
from words.files import BUILD, SESSION

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
FILES = {str(file.relative_to(EXAMPLES)): file.read_text("utf-8") for file in sorted(EXAMPLES.rglob("*.toml"))}
BUILDS = {name: text for name, text in FILES.items() if "coldside.build/1" in text} | {"kestrel": BUILD}
SESSIONS = {name: text for name, text in FILES.items() if "coldside.session/1" in text} | {"session": SESSION}
TEXTS = BUILDS | SESSIONS
ENDS = st.sampled_from(["\n", "\r\n"])
VALUES = st.one_of(
    st.text(max_size=20),
    st.integers(-(2**62), 2**62),
    st.floats(allow_nan=False, allow_infinity=False),
    st.booleans(),
    st.lists(st.lists(st.text(max_size=5), min_size=2, max_size=2), min_size=1, max_size=4),
)
NAMES = st.from_regex(r"[a-z][a-z0-9_]{0,8}_new", fullmatch=True)


def joined(key: Sequence[str | int]) -> str:
    return ".".join(map(str, key))


def inside(data: Any, key: Sequence[str | int]) -> Any:
    for part in key:
        data = data[part]
    return data


def rows(text: str) -> list[str]:
    """Lines with their ends; only a line feed ends one, whatever signs a value holds."""
    return re.findall(r"[^\n]*\n|[^\n]+", text)


def lines_gone_and_come(before: str, after: str) -> tuple[list[str], list[str]]:
    """The lines that a change took out and put in, ends of lines and all."""
    old, new = rows(before), rows(after)
    gone, come = [], []
    for tag, a, b, c, d in difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if tag != "equal":
            gone += old[a:b]
            come += new[c:d]
    return gone, come


def said(lines: Sequence[str]) -> Counter[str]:
    """Lines that say something: blank ones may come and go with a block."""
    return Counter(line for line in lines if line.strip())


KEYS = {
    name: {sort: [key for key in getattr(scan(text, name), sort) if key] for sort in ("spans", "headers")}
    for name, text in TEXTS.items()
}


@st.composite
def places(draw: st.DrawFn, sort: str = "spans", texts: dict[str, str] = TEXTS) -> tuple[str, tuple[str | int, ...]]:
    """A text with either end of line, and the key of a value or a table in it."""
    name = draw(st.sampled_from(sorted(texts)))
    return texts[name].replace("\n", draw(ENDS)), draw(st.sampled_from(KEYS[name][sort]))


# -- single values -----------------------------------------------------------------------------------
@settings(deadline=None, max_examples=40)
@given(place=places(), new=VALUES)
def test_one_value_is_set_and_nothing_else_moves(place: tuple[str, tuple], new: Any) -> None:
    text, key = place
    changed = set_value(text, joined(key), new)
    start, end = scan(text, "").spans[key]
    assert changed.startswith(text[:start])
    assert changed.endswith(text[end:])
    value = inside(scan(changed, "").data, key)
    assert value == new
    assert type(value) is type(new)
    assert value_at(changed, joined(key))[0] == new


@settings(deadline=None, max_examples=40)
@given(place=places("headers"), new=VALUES)
def test_a_new_key_is_one_new_line_in_its_table(place: tuple[str, tuple], new: Any) -> None:
    text, table = place
    changed = set_value(text, joined([*table, "brand_new"]), new)
    gone, come = lines_gone_and_come(text, changed)
    assert not gone
    assert len(come) == 1
    assert come[0].startswith("brand_new = ")
    assert inside(scan(changed, "").data, table)["brand_new"] == new
    # and taking it out again leaves the file as it was
    assert unset_value(changed, joined([*table, "brand_new"])) == text


@settings(deadline=None, max_examples=40)
@given(place=places())
def test_setting_what_stands_there_changes_nothing(place: tuple[str, tuple]) -> None:
    text, key = place
    value, literal = value_at(text, joined(key))
    assert set_value(text, joined(key), value) == text
    assert literal is not None
    assert tomllib.loads(f"x = {literal}")["x"] == value


@settings(deadline=None, max_examples=40)
@given(place=places())
def test_a_key_taken_out_is_its_line_and_no_more(place: tuple[str, tuple]) -> None:
    text, key = place
    changed = unset_value(text, joined(key))
    gone, come = lines_gone_and_come(text, changed)
    assert not come
    assert gone[0].lstrip().startswith(str(key[-1]))
    before = tomllib.loads(text)
    del inside(before, key[:-1])[key[-1]]
    assert tomllib.loads(changed) == before


def test_comments_stay() -> None:
    changed = set_value(BUILD, "parts.tank.volume", "40 L")
    assert 'volume = "40 L"                      # behind the driver\n' in changed


def test_comments_inside_a_list_go_above_it_and_its_rows_keep_their_lines() -> None:
    text = '[a]\n  b = [  # why\n    ["1 L", "2 m"],\n    ["3 L", "1 m"], # guess\n  ]  # end\n'
    assert set_value(text, "a.b", [["1 L", "2 m"], ["4 L", "0 m"]]) == (
        '[a]\n  # why\n  # guess\n  b = [\n      ["1 L", "2 m"],\n      ["4 L", "0 m"],\n  ]  # end\n'
    )


def test_a_new_key_behind_a_last_line_without_an_end() -> None:
    assert set_value('[a]\nb = "1 L"', "a.c", 2) == '[a]\nb = "1 L"\nc = 2\n'


def test_what_cannot_be_set_is_refused() -> None:
    nearest = 'there is no table [parts.tnak]; nearest: "parts.tank"'
    for text, key, new, words in (
        (BUILD, "parts.tnak.volume", "40 L", f"parts.tnak.volume: {nearest}"),
        (BUILD, "parts.tank.volume", {"a": 1}, "parts.tank.volume: a table cannot be a value"),
        (BUILD, "parts.tank", "40 L", "parts.tank: is a table, not a value"),
        (BUILD, "parts.tank.volume", float("nan"), "parts.tank.volume: nan cannot be a value; a finite number is needed"),  # noqa: E501
        (SESSION, "phases.99.duration", "1 s", None),
        ("[a\n", "a.b", 1, None),
    ):  # fmt: skip
        with pytest.raises(BadInput) as refused:
            set_value(text, key, new)
        assert words is None or str(refused.value) == words
    with pytest.raises(BadInput) as refused:
        unset_value(BUILD, "parts.tank.volum")
    assert str(refused.value) == 'parts.tank.volum: there is no such key; nearest: "parts.tank.volume"'
    assert value_at(BUILD, "parts.tank.volum") == (None, None)


def test_forms_that_our_files_do_not_use_are_named_not_spoiled() -> None:
    with pytest.raises(BadInput, match=r"a.b.c is a dotted key"):
        remove_table("[a]\nb.c = 1\n[a.b.d]\ne = 2\n", "a.b")


# -- paths -------------------------------------------------------------------------------------------
PATHS = [
    (name, key)
    for name, text in BUILDS.items()
    for key in scan(text, "").spans
    if key[-1] == "path" and key[0] in ("charge", "loops", "ducts")
]
WORDS = st.sampled_from(["tank", "pump", "left_return_hose", "a_name_that_is_longer_than_most", "x"])
NESTED = st.recursive(WORDS, lambda inner: st.lists(inner, min_size=2, max_size=6), max_leaves=12)


@settings(deadline=None, max_examples=40)
@given(place=st.sampled_from(PATHS), names=st.lists(NESTED, min_size=1, max_size=9), ends=ENDS)
def test_a_path_is_written_on_readable_lines(place: tuple[str, tuple], names: list[Any], ends: str) -> None:
    text = BUILDS[place[0]].replace("\n", ends)
    changed = set_path(text, joined(place[1]), names)
    start, end = scan(text, "").spans[place[1]]
    assert changed.startswith(text[:start])
    assert changed.endswith(text[end:])
    assert inside(tomllib.loads(changed), place[1]) == names
    written = changed[start : len(changed) - len(text) + end]
    assert max(map(len, written.splitlines())) <= 104 or max(map(len, names)) > 40
    assert set_path(changed, joined(place[1]), names) == changed


# -- tables ------------------------------------------------------------------------------------------
TABLE = {"kind": "hose", "length": "1.2 m", "losses": 2.5}


@settings(deadline=None, max_examples=40)
@given(text=st.sampled_from(sorted(BUILDS)), ends=ENDS, data=st.data())
def test_a_table_is_added_and_taken_out_again(text: str, ends: str, data: st.DataObject) -> None:
    before = BUILDS[text].replace("\n", ends)
    parts = [key for key in scan(before, "").headers if key[0] == "parts"]
    after = data.draw(st.one_of(st.none(), st.sampled_from([joined(key) for key in parts])))
    changed = add_table(before, "parts.brand_new", TABLE, after)
    wanted = tomllib.loads(before)
    wanted["parts"]["brand_new"] = TABLE
    assert tomllib.loads(changed) == wanted
    gone, come = lines_gone_and_come(before, changed)
    assert not gone
    assert said(come) == said(
        [f"{line}{ends}" for line in ("[parts.brand_new]", 'kind = "hose"', 'length = "1.2 m"', "losses = 2.5")]
    )
    order = [key for key in scan(changed, "").headers if key[0] == "parts"]
    assert order.index(("parts", "brand_new")) == (
        len(parts) if after is None else [*map(joined, parts)].index(after) + 1
    )
    assert remove_table(changed, "parts.brand_new") == before


@settings(deadline=None, max_examples=40)
@given(place=places("headers", BUILDS))
def test_a_table_taken_out_leaves_all_others(place: tuple[str, tuple]) -> None:
    text, key = place
    changed = remove_table(text, joined(key))
    wanted = tomllib.loads(text)
    del inside(wanted, key[:-1])[key[-1]]
    found = tomllib.loads(changed)
    assert {k: v for k, v in found.items() if v} == {k: v for k, v in wanted.items() if v}
    gone, come = lines_gone_and_come(text, changed)
    assert not come
    own = text[scan(text, "").headers[key][0] : scan(text, "").ends[key]]
    assert not said(own.splitlines(keepends=True)) - said(gone)
    others = said(gone) - said(own.splitlines(keepends=True))
    assert all(line.startswith("#") for line in others)


def test_comments_right_above_a_table_go_with_it_and_others_stay() -> None:
    text = '# head\nname = "x"\n\n# --- water ---\n\n# of tin\n[a]\nb = 1\n# c = 2\n\n# --- air ---\n\n[d]\n'
    assert remove_table(text, "a") == '# head\nname = "x"\n\n# --- water ---\n\n# --- air ---\n\n[d]\n'
    assert remove_table(text, "d").endswith("# c = 2\n\n# --- air ---\n")
    assert add_table(text, "e", {}, after="a").index("[e]") > text.index("# c = 2")


def test_an_optional_table_goes_where_it_is_told(examples: Path) -> None:
    text = remove_table((examples / "tern" / "water.toml").read_text(), "car")
    changed = add_table(text, "car", {"mass": "1300 kg"}, after="engine")
    order = list(scan(changed, "").headers)
    assert order.index(("car",)) == order.index(("engine",)) + 1


def test_tables_inside_a_table_come_and_go_with_it() -> None:
    text = add_table("", "phases_air", {"x": 1, "air": {"nose": "8 m/s"}})
    assert text == '[phases_air]\nx = 1\n[phases_air.air]\nnose = "8 m/s"\n'
    assert remove_table(text + "\n[b]\n", "phases_air") == "[b]\n"


def test_tables_that_are_there_or_not_are_refused() -> None:
    missing = 'there is no table [parts.tnak]; nearest: "parts.tank"'
    no_name = "cannot be a name; use letters, digits and _, starting with a letter"
    for change, words in (
        (lambda: add_table(BUILD, "parts.tank", {}), "parts.tank: there is already a table [parts.tank]"),
        (lambda: add_table(BUILD, "parts.new", {}, after="parts.tnak"), f"parts.new: {missing}"),
        (lambda: remove_table(BUILD, "parts.tnak"), f"parts.tnak: {missing}"),
        (lambda: rename_part(BUILD, "tnak", "box"), f"parts.tnak: {missing}"),
        (lambda: rename_part(BUILD, "tank", "pump"), "parts.tank: there is already a table [parts.pump]"),
        (lambda: rename_part(BUILD, "tank", "2 tank"), f'tank: "2 tank" {no_name}'),
        (lambda: rename_part(BUILD, "tank", "engine"), f'tank: "engine" {no_name}'),
        (lambda: rename_table(BUILD, "loops.hot", "cold"), None),
    ):  # fmt: skip
        with pytest.raises(BadInput) as refused:
            change()
        assert words is None or str(refused.value) == words


# -- renaming ----------------------------------------------------------------------------------------
def everywhere(value: Any, old: str, new: str) -> Any:
    """Data with a part's name changed wherever it is a name on a path."""
    if isinstance(value, list):
        return [everywhere(item, old, new) for item in value]
    head, dot, tail = value.partition(".") if isinstance(value, str) else (value, "", "")
    return f"{new}{dot}{tail}" if head == old else value


@settings(deadline=None, max_examples=40)
@given(place=places("headers", BUILDS), new=NAMES)
def test_a_part_is_renamed_in_its_table_and_on_every_path(place: tuple[str, tuple], new: str) -> None:
    text, key = place
    if key[0] != "parts":
        return
    old = str(key[1])
    changed = rename_part(text, old, new)
    wanted = copy.deepcopy(tomllib.loads(text))
    wanted["parts"][new] = wanted["parts"].pop(old)
    for table in (wanted["charge"], *wanted.get("loops", {}).values(), *wanted.get("ducts", {}).values()):
        table["path"] = everywhere(table["path"], old, new)
    assert tomllib.loads(changed) == wanted
    gone, come = lines_gone_and_come(text, changed)
    assert len(gone) == len(come)
    assert [line.replace(new, old) for line in come] == gone
    assert rename_part(changed, new, old) == text


def test_a_renamed_part_reads_as_the_same_build(tmp_path: Path, examples: Path) -> None:
    for file in sorted(examples.rglob("*.toml")):
        text = file.read_text()
        if "coldside.build/1" not in text:
            continue
        before = load_build(file)
        for old in tomllib.loads(text)["parts"]:
            text = rename_part(text, old, f"x_{old}")
        (tmp_path / "x.toml").write_text(text)
        after = load_build(tmp_path / "x.toml")
        assert [name.removeprefix("x_") for name in after.parts] == list(before.parts)
        assert [name.removeprefix("x_") for name in after.charge if isinstance(name, str)] == [
            name for name in before.charge if isinstance(name, str)
        ]


def test_both_ends_of_an_oil_cooler_follow_and_a_like_name_does_not() -> None:
    text = (
        '[charge]\npath = ["cool", "cooler"]\n[loops.oil]\npath = ["cooler.oil", ["cooler", "pump"]] # cooler\n'
        '[loops.w]\npath = ["cooler.water"]\n[parts.cooler]\nnote = "cooler"\n[parts.cool]\n'
    )
    assert rename_part(text, "cooler", "plate") == text.replace('"cooler"', '"plate"').replace(
        '"cooler.', '"plate.'
    ).replace("[parts.cooler]", "[parts.plate]").replace('note = "plate"', 'note = "cooler"')


@settings(deadline=None, max_examples=40)
@given(place=places("headers", BUILDS), new=NAMES)
def test_a_loop_or_duct_is_renamed_in_its_header_alone(place: tuple[str, tuple], new: str) -> None:
    text, key = place
    if key[0] in ("loops", "ducts"):
        changed = rename_table(text, joined(key), new)
        assert changed == text.replace(f"[{joined(key)}]", f"[{key[0]}.{new}]")


# -- lists of tables ---------------------------------------------------------------------------------
PHASE = {"kind": "cruise", "duration": "5 min", "speed": "100 km/h", "air": {"nose": "8 m/s"}}


@st.composite
def items(draw: st.DrawFn) -> tuple[str, str, int, int]:
    """A session, a list of tables in it, and two of its items."""
    text = SESSIONS[draw(st.sampled_from(sorted(SESSIONS)))]
    data = tomllib.loads(text)
    name = draw(st.sampled_from([name for name in ("phases", "limits") if name in data]))
    count = st.integers(0, len(data[name]) - 1)
    return text.replace("\n", draw(ENDS)), name, draw(count), draw(count)


@settings(deadline=None, max_examples=40)
@given(place=items())
def test_an_item_is_moved_with_its_comments(place: tuple[str, str, int, int]) -> None:
    text, name, index, to = place
    changed = move_item(text, name, index, to)
    wanted = tomllib.loads(text)
    wanted[name].insert(to, wanted[name].pop(index))
    assert tomllib.loads(changed) == wanted
    assert said(changed.splitlines()) == said(text.splitlines())
    assert said(move_item(changed, name, to, index).splitlines()) == said(text.splitlines())


@settings(deadline=None, max_examples=40)
@given(place=items())
def test_an_item_is_copied_and_the_copy_taken_out(place: tuple[str, str, int, int]) -> None:
    text, name, index, _ = place
    changed = duplicate_item(text, name, index)
    wanted = tomllib.loads(text)
    wanted[name].insert(index, wanted[name][index])
    assert tomllib.loads(changed) == wanted
    gone, _ = lines_gone_and_come(text, changed)
    assert not said(gone)
    back = remove_item(changed, name, index + 1)
    assert tomllib.loads(back) == tomllib.loads(text)
    assert said(back.splitlines()) == said(text.splitlines())


@settings(deadline=None, max_examples=40)
@given(place=items(), first=st.booleans())
def test_an_item_is_added_and_taken_out(place: tuple[str, str, int, int], first: bool) -> None:
    text, _, index, _ = place
    index = min(index, len(tomllib.loads(text)["phases"]) - 1)
    after = -1 if first else index
    changed = add_item(text, "phases", after, PHASE)
    wanted = tomllib.loads(text)
    wanted["phases"].insert(after + 1, PHASE)
    assert tomllib.loads(changed) == wanted
    assert not said(lines_gone_and_come(text, changed)[0])
    assert remove_item(changed, "phases", after + 1) == text


@settings(deadline=None, max_examples=40)
@given(place=items())
def test_an_item_taken_out_leaves_all_others(place: tuple[str, str, int, int]) -> None:
    text, name, index, _ = place
    changed = remove_item(text, name, index)
    wanted = tomllib.loads(text)
    del wanted[name][index]
    assert tomllib.loads(changed) == {key: value for key, value in wanted.items() if value != []}
    assert not said(lines_gone_and_come(text, changed)[1])


def test_a_first_item_and_one_behind_the_last() -> None:
    text = 'name = "x"\n\n[ambient]\ntemperature = "20 degC"\n'
    one = add_item(text, "limits", None, {"quantity": "intake"})
    assert one == text + '\n[[limits]]\nquantity = "intake"\n'
    assert add_item(one, "limits", None, {"quantity": "spread"}) == one + '\n[[limits]]\nquantity = "spread"\n'
    assert remove_item(one, "limits", 0) == text


def test_items_that_are_not_there_are_refused() -> None:
    count = len(tomllib.loads(SESSION)["phases"])
    for change in (
        lambda: remove_item(SESSION, "phases", count),
        lambda: remove_item(SESSION, "phases", -1),
        lambda: move_item(SESSION, "phases", 0, count),
        lambda: duplicate_item(SESSION, "phase", 0),
        lambda: add_item(SESSION, "phases", count, {}),
        lambda: add_item(SESSION, "ambient", None, {}),
        lambda: add_item("phases = [{ kind = 'idle' }]\n", "phases", None, {}),
        lambda: add_item(SESSION, "phases", None, {"duration": object()}),
    ):
        with pytest.raises(BadInput):
            change()


def test_the_changed_session_still_reads(tmp_path: Path) -> None:
    text = (EXAMPLES / "sessions" / "dyno-pulls.toml").read_text()
    text = move_item(duplicate_item(text, "phases", 1), "phases", 2, 3)
    text = add_item(set_value(text, "phases.0.air.nose", "9 m/s"), "phases", 0, PHASE)
    (tmp_path / "x.toml").write_text(text)
    assert [phase.kind for phase in load_session(tmp_path / "x.toml").phases] == [
        "idle", "cruise", "pull", "cooldown", "pull",
    ]  # fmt: skip


def test_items_of_a_list_inside_a_table():
    """[[ambient.readings]]: put behind their table, moved, taken out; all else byte for byte."""
    text = 'schema = "x"\n\n[ambient]  # the day\ntemperature = "20 degC"\n\n[[phases]]\nkind = "idle"\n'
    one = editing.add_item(text, "ambient.readings", None, {"at": "10 min"})
    assert one.index("[[ambient.readings]]") < one.index("[[phases]]")
    two = editing.add_item(one, "ambient.readings", -1, {"at": "5 min"})
    assert [item["at"] for item in tomllib.loads(two)["ambient"]["readings"]] == ["5 min", "10 min"]
    swapped = editing.move_item(two, "ambient.readings", 0, 1)
    assert [item["at"] for item in tomllib.loads(swapped)["ambient"]["readings"]] == ["10 min", "5 min"]
    gone = editing.remove_item(editing.remove_item(two, "ambient.readings", 1), "ambient.readings", 0)
    assert tomllib.loads(gone) == tomllib.loads(text)
    assert "# the day" in gone
