"""The power that was asked for: told where it is missed by more than its likely range, with a boost that makes it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import Given
from coldside.duty.phases import read_session
from coldside.explore.outcome import preview
from coldside.judge.asked_power import asked_power, likely_share
from coldside.judge.verdict import judge
from coldside.resources import examples_folder
from judge import made

EXAMPLES = examples_folder()
PULL = """schema = "coldside.session/1"
name = "A pull"
[ambient]
temperature = "25 degC"
[[phases]]
kind = "pull"
on = "dyno"
from = "3500 rpm"
to = "6500 rpm"
duration = "8 s"
"""


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


def test_the_boost_that_is_told_does_make_the_power():
    """Run again with the plenum's absolute pressure raised by the share told: within 3 % of what was asked."""
    build = load_build(EXAMPLES / "tern" / "water.toml")
    session = read_session(PULL, "pull.toml")
    first = preview(build, session)
    engine = replace(build.engine, asked_power=1.12 * float(first.power.max()), top_speed=6400.0 / 60.0)
    seen = preview(replace(build, engine=engine), session)
    (told,) = asked_power(seen)
    air = float(np.max(seen.demand.ambient_pressure))
    share = (told.values["takes"].value + air) / float(seen.plenum_pressure[int(np.argmax(seen.power))])
    more = tuple((n, replace(p, value=share * (p.value + air) - air)) for n, p in build.engine.boost)
    again = preview(replace(build, engine=replace(build.engine, boost=more)), session)
    assert float(again.power.max()) == pytest.approx(engine.asked_power, rel=0.03)


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
