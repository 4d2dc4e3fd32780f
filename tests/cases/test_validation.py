"""docs/validation.md is what the records give now; what it shows does not flicker; what it hides is refused."""

from __future__ import annotations

import dataclasses
import importlib.util
import math
from types import ModuleType

import pytest

from cases.catalogue import LAWS, NOT_YET, NOTES
from cases.record import Case, Measured, load, load_measured
from cases.test_record import GOOD
from shape.source import ROOT


@pytest.fixture(scope="module")
def made() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_validation", ROOT / "docs" / "make_validation.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_page_is_up_to_date(made):
    assert made.PAGE.is_file(), "run `make validation` and commit docs/validation.md"
    lines = made.unlike(made.PAGE.read_text(encoding="utf-8"), made.validation_page())
    told = "\n".join(lines[:5])
    assert not lines, f"docs/validation.md is stale: run `make validation` and commit it. What it lacks:\n{told}"


def test_the_page_holds_no_miss(made):
    missed = [line for line in made.PAGE.read_text(encoding="utf-8").splitlines() if "**missed**" in line]
    assert not missed, missed


def test_every_case_of_the_notes_is_met_or_says_why_not():
    ids = {name for _, names in NOTES.values() for name in names}
    found = {case.id for case in load()}
    assert sorted(ids - found - set(NOT_YET)) == [], "neither a record nor in NOT_YET (tests/cases/catalogue.py)"
    assert sorted(found & set(NOT_YET)) == [], "met by now: take it out of NOT_YET"
    assert set(NOT_YET) <= ids
    assert all(all(text.strip() for text in later) for later in NOT_YET.values())


@pytest.mark.parametrize("law", LAWS)
def test_laws_name_tests_that_are_there(law):
    file, _, name = LAWS[law].partition("::")
    assert f"def {name}(" in (ROOT / file).read_text(encoding="utf-8")


def test_measured_data_come_with_their_origin():
    without = [one.name for one in load_measured() if not (ROOT / "tests/data" / one.data / "README.md").is_file()]
    assert not without


@pytest.mark.parametrize(
    ("value", "allowed", "text"),
    [
        (364.6249, 0.1, "364.62"),
        (84560.4, 16.9, "84560"),
        (0.756263, 7.56e-5, "0.756263"),
        (1.0, 1e-12, "1.00000"),
        (3e-14, 1e-9, "0"),
        (-2e-13, 1e-9, "0"),
        (0.00046608, 9.3e-7, "0.00046608"),
        (1.2345678e-8, 1e-12, "1.23457e-08"),
        (2.924e6, 2924.0, "2924000"),
        (45.0, 1000.0, "0"),
        (math.nan, 0.1, "nan"),
    ],
)
def test_digits_follow_from_what_is_allowed(made, value, allowed, text):
    assert made.rounded(value, allowed) == text


def page_of(made: ModuleType, value: float) -> str:
    case = Case(**GOOD | {"compute": lambda a: {"twice": value}, "expected": {"twice": 4.0}, "tolerance": 1e-3})
    return made.validation_page([case], [])


def test_a_last_digit_is_no_difference_and_a_figure_is(made):
    page = page_of(made, 4.0)
    assert "| twice 4 | 4.0000 |" in page
    assert "| holds |" in page
    assert made.unlike(page, page_of(made, 4.0 + 4e-5)) == []
    assert made.unlike(page, page_of(made, 4.0001)) == []
    assert len(made.unlike(page, page_of(made, 4.0003))) == 1
    assert "**missed**" in made.unlike(page, page_of(made, 4.1))[0]
    assert made.unlike(page, page.replace("doubling", "trebling"))
    assert made.unlike(page, page + "\n| one row more |\n")


def test_a_comparison_with_data_is_a_row(made):
    measured = Measured(
        id="data-x",
        what="a melt",
        data="melt",
        compute=lambda: {"rms": 0.8123, "share": 0.93},
        at_most={"rms": 1.0},
        at_least={"share": 0.9},
        unit="K",
        limit_reason="the reading's own error",
        source=("Analytic",),
        how="fitted on one, predicted the other",
    )
    page = made.validation_page([], [measured])
    assert "| rms at most 1 K<br>share at least 0.9 K | 0.81<br>0.930 |" in page
    worse = dataclasses.replace(measured, compute=lambda: {"rms": 1.2, "share": 0.93})
    assert "**missed**" in made.validation_page([], [worse])
