# ruff: noqa: E501  (stored texts stand unbroken)
"""Other words of the trade lead to kinds and keys that are there, and a mistaken one is answered with the right one."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldside.build.files import load_build
from coldside.build.schema import OTHER_WORDS, PART_KINDS, fields_of
from coldside.build.vocabulary import OTHER_KEYS, OTHER_KINDS
from coldside.errors import BadInput
from words.files import BUILD, spoiled


def test_words_for_kinds_lead_to_kinds():
    assert {kind for kinds in OTHER_KINDS.values() for kind in kinds} <= set(PART_KINDS)
    assert not set(OTHER_KINDS) & set(PART_KINDS)
    assert set(OTHER_KEYS) - {"engine", "car", "loops", "ducts"} <= set(PART_KINDS)


@pytest.mark.parametrize("spec", OTHER_WORDS, ids=lambda spec: spec.__name__)
def test_words_for_keys_lead_to_keys(spec):
    keys = {item.key for item in fields_of(spec)}
    assert set(OTHER_WORDS[spec].values()) <= keys
    assert not set(OTHER_WORDS[spec]) & keys, "a key needs no other word"


@pytest.mark.parametrize(
    ("edit", "said"),
    [
        (('kind = "water_core"', 'kind = "intercooler"'), '"intercooler" is no kind of part; nearest: "water_core" or "air_core"'),
        (('kind = "reservoir"', 'kind = "Ice Box"'), '"Ice Box" is no kind of part; nearest: "reservoir"'),
        (('kind = "reservoir"', 'kind = "icebx"'), '"icebx" is no kind of part; nearest: "reservoir"'),
        (('kind = "exchanger"', 'kind = "radiator"'), '"radiator" is no kind of part; nearest: "exchanger"'),
        (('kind = "exchanger"', "kind = 3"), "3 is no kind of part; one of filter, compressor"),
        (('volume = "9 L" ', 'capacity = "9 L" '), 'capacity: is not a key of a reservoir; nearest: "volume"'),
        (('fuel = "E85"', 'fuel = "E85"\nredline = "7000 rpm"'), 'redline: is not a key of the engine; nearest: "top_speed"'),
    ],
)  # fmt: skip
def test_a_mistaken_word_is_answered(edit, said, tmp_path: Path):
    where = BUILD.index(edit[0])
    text = BUILD[:where] + edit[1] + BUILD[where + len(edit[0]) :]
    (tmp_path / "hill.toml").write_text(text)
    with pytest.raises(BadInput) as refused:
        load_build(tmp_path / "hill.toml")
    assert said in str(refused.value)
    assert len(str(refused.value).splitlines()) == 1  # one slip, one message


def test_a_part_of_many_keys_does_not_list_them(tmp_path: Path):
    text = spoiled(BUILD, ("[parts.right_core]\n", '[parts.right_core]\ncolour = "red"\n'))
    (tmp_path / "hill.toml").write_text(text)
    with pytest.raises(BadInput, match=r"colour: is not a key of a water_core; its \d\d keys are in docs/keys.md$"):
        load_build(tmp_path / "hill.toml")
