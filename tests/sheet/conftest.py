"""Forecasts for the sheet's tests: invented ones for odd layouts, solved ones for every bundled build."""

from __future__ import annotations

import functools

import pytest

from sheet.synthetic import CASES, EXAMPLES, forecast_of

BUILDS = ("tern/water", "tern/air", "plover/build", "dunlin/build")


@functools.cache
def _forecast(build: str, session: str):
    from coldside import load_build, load_session, simulate

    return simulate(
        load_build(str(EXAMPLES / f"{build}.toml")), load_session(str(EXAMPLES / f"sessions/{session}.toml"))
    )


@pytest.fixture(scope="session")
def invented():
    """Every layout of `synthetic.CASES` with invented numbers."""
    return {name: forecast_of(case) for name, case in CASES.items()}


@pytest.fixture(scope="session")
def forecast():
    """The forecast of a bundled build ("tern/water") over a bundled session ("track"), solved once when first asked."""
    return _forecast


@pytest.fixture(scope="session")
def solved():
    """Four bundled builds over two bundled sessions: one with repeats on a dyno, one with groups on the road."""
    return {f"{build} {session}": _forecast(build, session) for build in BUILDS for session in ("dyno-pulls", "track")}
