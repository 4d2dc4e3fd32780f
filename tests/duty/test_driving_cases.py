"""Check cases of cars driven at their limits, from the records (tests/cases/driving.py)."""

from __future__ import annotations

import pytest

from cases.record import failures, load


@pytest.mark.parametrize("case", load("driving"), ids=lambda case: case.name)
def test_case(case):
    assert failures(case) == []
