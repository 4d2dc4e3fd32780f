"""Forecasts for the sheet's tests: invented ones for odd layouts, solved ones for every bundled build."""

from __future__ import annotations

import pytest

from sheet.synthetic import CASES, EXAMPLES, forecast_of

BUILDS = ("tern/water", "tern/air", "plover/build", "dunlin/build")


@pytest.fixture(scope="session")
def invented():
    """Every layout of `synthetic.CASES` with invented numbers."""
    return {name: forecast_of(case) for name, case in CASES.items()}


@pytest.fixture(scope="session")
def solved():
    """Every bundled build over two bundled sessions: one with repeats on a dyno, one with groups on the road."""
    from coldside import load_build, load_session, simulate

    found = {}
    for build in BUILDS:
        for session in ("dyno-pulls", "track"):
            pair = load_build(str(EXAMPLES / f"{build}.toml")), load_session(str(EXAMPLES / f"sessions/{session}.toml"))
            found[f"{build} {session}"] = simulate(*pair)
    return found
