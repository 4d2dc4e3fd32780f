"""Rules of the trade: every figure in its range, the tool's words say so too, the page is what the records give."""

from __future__ import annotations

import functools
import importlib.util
import re
from collections.abc import Mapping

import pytest

from facts.by_hand import known_to, tank_warmer
from facts.record import AIR_TO_AIR, BACK_TO_BACK, ETHANOL, FACTS, PUMP, TANK, Fact, outside
from shape.source import ROOT


@functools.cache
def came_out(number: int) -> tuple[Mapping[str, float], str]:
    return FACTS[number].compute()


def stored() -> str:
    return (ROOT / "docs" / "facts.md").read_text(encoding="utf-8")


@pytest.mark.slow
@pytest.mark.parametrize("number", range(len(FACTS)))
def test_every_figure_falls_in_its_range(number):
    figures, words = came_out(number)
    assert outside(FACTS[number], figures) == []
    assert words.strip()


def numbers(*rules: str) -> list[int]:
    return [k for k, fact in enumerate(FACTS) if fact.rule in rules]


@pytest.mark.slow
@pytest.mark.parametrize("number", numbers(BACK_TO_BACK, TANK, AIR_TO_AIR))
def test_the_tool_says_so_where_a_rule_does_not_hold(number):
    """The rule's own limit is the session's: the verdict must agree with the record."""
    fact, (_, words) = FACTS[number], came_out(number)
    assert words.startswith("Holds:") == fact.holds
    if not fact.holds:
        assert f"over your {48.9 if fact.rule == AIR_TO_AIR else 22.2}" in words


@pytest.mark.slow
@pytest.mark.parametrize("number", numbers(PUMP))
def test_the_tool_says_whether_the_pump_may_stand(number):
    fact, (_, words) = FACTS[number], came_out(number)
    assert ("stopping the pump keeps heat out" if fact.holds else "stopping the pump is wrong") in words
    assert f"the peak is {'4.' if fact.holds else '0.'}" in words


@pytest.mark.slow
@pytest.mark.parametrize("number", numbers(ETHANOL))
def test_the_tool_never_says_more_of_knock_than_is_known(number):
    _, words = came_out(number)
    assert "only differences are shown" in words
    gasoline = "gasoline 95" in FACTS[number].inputs
    assert ("only the sign and the order of a change are known" in words) != gasoline


def test_the_tank_is_worked_by_hand_with_nothing_of_the_program():
    """The ranges of its three rows are those of the calculation, whose file takes nothing of ours."""
    source = (ROOT / "tests" / "facts" / "by_hand.py").read_text(encoding="utf-8")
    assert {line.split()[1] for line in source.splitlines() if line.startswith(("from ", "import "))} == {
        "__future__",
        "math",
        "numpy",
    }
    rows = [fact for fact in FACTS if fact.rule == TANK]
    for fact, (litres, pulls) in zip(rows, ((9.46, 1), (9.46, 12), (37.85, 12)), strict=True):
        assert fact.ranges["tank warmer by"] == pytest.approx(known_to(litres, pulls), abs=0.05)
    assert tank_warmer(9.46, 1, heat=0.0) < 0.2  # the pump alone: 150 W for half a minute into 85 kJ/K
    assert tank_warmer(9.46, 1, air=0.0) > tank_warmer(9.46, 1)


def test_every_rule_is_shown_and_a_figure_out_of_range_is_told():
    assert {(fact.rule, fact.holds) for fact in FACTS} == {
        (rule, holds) for rule in (BACK_TO_BACK, TANK, AIR_TO_AIR, PUMP, ETHANOL) for holds in (True, False)
    }
    fact: Fact = FACTS[0]
    name, (_, high) = next(iter(fact.ranges.items()))
    inside = {figure: low for figure, (low, _) in fact.ranges.items()}
    assert outside(fact, inside) == []
    assert len(outside(fact, inside | {name: high + 1.0})) == 1


@pytest.mark.slow
def test_the_page_is_what_the_records_give():
    spec = importlib.util.spec_from_file_location("make_facts", ROOT / "docs" / "make_facts.py")
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    page, number = made.facts_page(), re.compile(r"-?\d+(?:\.\d+)?")
    assert number.sub("#", page) == number.sub("#", stored()), "run `make facts` and commit docs/facts.md"
    for ours, theirs in zip(number.findall(page), number.findall(stored()), strict=True):
        # words are rounded to whole kelvin, and seconds: one more or less is another machine's last bit
        assert float(ours) == pytest.approx(float(theirs), rel=0.1, abs=1.01)
    assert "**no**" not in page
