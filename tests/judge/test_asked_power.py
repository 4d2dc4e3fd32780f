"""The power that was asked for: told where it is missed by more than its likely range, with a boost that makes it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coldside.build.model import Given
from coldside.judge.asked_power import asked_power, likely_share
from coldside.judge.verdict import judge
from judge import made


def asking(power: float, **changes):
    base = made.forecast()
    engine = replace(base.build.engine, asked_power=power, top_speed=float(base.demand.engine_speed.max()))
    return replace(base, build=replace(base.build, engine=engine), **changes)


def likely() -> float:
    return likely_share(made.forecast())


def test_nothing_is_said_where_nothing_was_asked_or_it_is_made():
    most = float(made.forecast().power.max())
    assert asked_power(made.forecast()) == []
    assert asked_power(asking(most * 0.5)) == []
    assert asked_power(asking(most / (1.0 - likely()) * 0.99)) == []


def test_a_power_missed_by_more_than_its_likely_range_is_told_with_the_boost_that_makes_it():
    """Power goes with the plenum's absolute pressure (Analytic)."""
    base = made.forecast()
    most = float(base.power.max())
    found = asking(1.25 * most)
    (told,) = asked_power(found)
    at = int(np.argmax(base.power))
    air = base.demand.ambient_pressure
    assert told.values["takes"].value == pytest.approx(1.25 * base.plenum_pressure[at] - air)
    assert told.values["size"].value == pytest.approx(1.25 * base.build.engine.displacement)
    assert "psi" in told.words("us")
    assert "bar" in told.words("si")
    assert told in judge(found).headline


def test_what_no_turbo_gives_is_not_proposed():
    (told,) = asked_power(asking(5.0 * float(made.forecast().power.max())))
    assert "more than one turbo stage gives" in told.words()
    assert "larger engine" in told.words()


def test_a_session_that_never_shows_its_power_says_nothing_of_it():
    most = float(made.forecast().power.max())
    assert asked_power(asking(2.0 * most)) != []
    still = asking(2.0 * most)
    slow = replace(still.build.engine, top_speed=1.3 * still.build.engine.top_speed)
    assert asked_power(replace(still, build=replace(still.build, engine=slow))) == []


def test_how_likely_follows_from_what_is_known_of_the_efficiency():
    """A normal spread: 1.2816 standard deviations on either side hold four in five."""
    base = made.forecast()
    eta = base.build.engine.brake_efficiency

    def knowing(sd):
        givens = {**base.build.givens, "engine.brake_efficiency": Given(eta, "", sd, "given")}
        return likely_share(replace(base, build=replace(base.build, givens=givens)))

    assert knowing(0.05 * eta) == pytest.approx(0.0641, abs=1e-4)
    assert knowing(None) == pytest.approx(0.02)
