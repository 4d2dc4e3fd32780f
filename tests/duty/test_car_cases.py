"""Check cases of road load, the intake sensor and fittings, from the records (tests/cases/car.py)."""

from __future__ import annotations

import pytest

from cases.record import failures, load


@pytest.mark.parametrize("case", load("car"), ids=lambda case: case.name)
def test_case(case):
    assert failures(case) == []
