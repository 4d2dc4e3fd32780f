"""The mechanism of check cases itself: what it refuses, that a wrong figure is seen, that all cases load."""

from __future__ import annotations

import dataclasses

import pytest

from cases.record import Case, failures, load

GOOD = {
    "id": "x-1",
    "what": "doubling",
    "inputs": {"a": 2.0},
    "compute": lambda a: {"twice": 2.0 * a},
    "expected": {"twice": 4.0},
    "tolerance": 1e-6,
    "tolerance_reason": "exact",
    "source": ("Analytic",),
    "how": "derived",
}


def test_a_case_that_holds_says_nothing():
    assert failures(Case(**GOOD)) == []


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"expected": {"twice": 4.1}}, "x-1: twice = 4, expected 4.1; off by 0.0244 relative, allowed 1e-06 (exact)"),
        ({"expected": {"thrice": 6.0}}, "x-1: thrice was not computed"),
        (
            {"compute": lambda a: {"twice": float("nan")}},
            "x-1: twice = nan, expected 4; off by nan relative, allowed 1e-06 (exact)",
        ),
    ],
)
def test_a_case_that_fails_says_by_how_much(change, said):
    assert failures(Case(**GOOD | change)) == [said]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"tolerance_reason": " "}, "case x-1 has no tolerance_reason"),
        ({"how": ""}, "case x-1 has no how"),
        ({"expected": {}}, "case x-1 lacks an expected figure or a source"),
        ({"source": ()}, "case x-1 lacks an expected figure or a source"),
        ({"source": ("Nobody1900",)}, r"case x-1 cites \['Nobody1900'\], not in coldside.sources"),
        ({"tolerance": 0.0}, "case x-1 needs a tolerance above 0"),
        ({"kind": "about"}, "case x-1: kind must be relative or absolute, not 'about'"),
        ({"expected": {"twice": 0.0}}, "case x-1: a figure of 0 needs an absolute tolerance"),
    ],
)
def test_a_case_without_its_reasons_does_not_load(change, said):
    with pytest.raises(ValueError, match=f"^{said}$"):
        Case(**GOOD | change)


def test_every_case_loads_and_none_occurs_twice():
    found = load()
    assert len(found) >= 97
    assert all(dataclasses.is_dataclass(case) for case in found)
