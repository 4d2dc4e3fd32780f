"""Parts against measured data sets (tests/data); each comparison is a record that also stands in the documentation."""

from __future__ import annotations

import pytest

from cases.record import load_measured, shortfalls

MEASURED = load_measured("measured_data")


@pytest.mark.parametrize("measured", MEASURED, ids=[one.name for one in MEASURED])
def test_measured(measured):
    assert shortfalls(measured) == []
