"""No limit given: one is proposed, with its reason.

Here: `propose`, `Proposal`, `proposed` (the session with it), `with_proposal` (the verdict that says why) and
`proposal_json`.  Not here: judging (`verdict.py`), knock (`knock.py`).

What is known of this car comes first: where its own calibration starts to take spark or boost away, and where a known
knock-limited point says that the spark set is too much; the lower of the two counts.  Without either, what the
trade keeps to by fuel, and lower for a rotary, whose apex seals one knock breaks (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coldside.duty.model import LimitSpec, Session
from coldside.judge.knock import KnockVerdict, judge_knock
from coldside.judge.verdict import NAMES, Verdict
from coldside.judge.wording import Quantity, Sentence, limit_quantity
from coldside.media.fuels import fuel
from coldside.parts.engine import EngineSpec
from coldside.plant.results import Forecast

# degC of charge that shops keep to, by the fuel's octane number and what is alcohol (common practice, no source)
GASOLINE = ((95.0, 50.0), (98.0, 55.0), (100.0, 58.0))
ALCOHOL = 70.0  # of pure alcohol, in between by its share
SEALS = 10.0  # K less for a rotary
BELOW = " That is below the air outside: only ice, a chiller or injection into the charge could hold it."
TAKEN = 1e-6  # rad or share that a trim must take to count


@dataclass(frozen=True)
class Proposal:
    """A limit in place of one not given: `ground` "trims", "knock" or "fuel", and the `reason` as a whole sentence."""

    limit: LimitSpec
    ground: str
    reason: Sentence


def propose(forecast: Forecast, knock: KnockVerdict | None = None) -> Proposal:
    """A limit for a forecast whose session has none; `knock` where it has been judged already.

    By the car's trims on its sensor (on the intake where none is fitted), or by knock on the intake; the lower one,
    rounded down to whole kelvin.  Else by fuel and seals.  One that lies below the air outside says what could hold it.
    """
    chosen = _chosen(forecast, knock)
    counts = forecast.boost if forecast.boost.any() else np.ones(len(forecast.time), dtype=bool)
    if chosen.limit.bound >= float(forecast.demand.ambient_temperature[counts].max()):
        return chosen
    return replace(chosen, reason=Sentence(chosen.reason.template + BELOW, chosen.reason.values))


def _chosen(forecast: Forecast, knock: KnockVerdict | None) -> Proposal:
    """The limit proposed, with what speaks for it."""
    engine = forecast.build.engine
    found: list[tuple[float, Proposal]] = []
    trims = trims_start(engine)
    if trims is not None:
        sensed = "sensor" if forecast.sensor is not None else "intake"
        found.append(
            _made(sensed, trims, "trims", "there the car's own calibration starts to take spark or boost away")
        )
    judged = judge_knock(forecast) if knock is None else knock
    start = None if judged is None or not judged.calibrated else judged.line.start
    if start is not None:
        why = "above it, by your known knock-limited point, the spark set is too much at the session's worst moment"
        found.append(_made("intake", start, "knock", why))
    if found:
        return min(found, key=lambda one: one[0])[1]
    return _made("intake", usual_limit(engine), "fuel", _fuel_words(engine))[1]


def trims_start(engine: EngineSpec) -> float | None:
    """Sensor temperature [K] up to which the car's own trims take nothing; None without one, or if they always do."""
    starts = []
    for curve in (engine.trim_spark, engine.trim_boost):
        taken = np.array([value for _, value in curve or ()])
        beyond = np.flatnonzero(taken > TAKEN)
        if curve and beyond.size and beyond[0] > 0:
            starts.append(float(curve[int(beyond[0]) - 1][0]))
    return min(starts) if starts else None


def usual_limit(engine: EngineSpec) -> float:
    """Charge temperature [K] that the trade keeps to with this engine's fuel and seals (common practice, no source)."""
    burnt = fuel(engine.fuel)
    octane = burnt.RON if engine.octane is None else engine.octane
    share = burnt.alcohol_share
    points = np.array(GASOLINE)
    # a blend's own octane is its alcohol's already: the better of the two marks, not their sum
    gasoline = float(np.interp(min(octane, points[-1, 0]), points[:, 0], points[:, 1]))
    celsius = gasoline + share * max(ALCOHOL - gasoline, 0.0)
    return 273.15 + celsius - (SEALS if engine.kind == "rotary" else 0.0)


def _fuel_words(engine: EngineSpec) -> str:
    words = f"it is what shops keep to with {engine.fuel} (common practice, no source)"
    if engine.kind == "rotary":
        words = f"it is what shops keep to with {engine.fuel}, lower for apex seals (common practice, no source)"
    return words + "; give the car's own trims or a known knock-limited point for a better one"


def _made(quantity: str, at_most: float, ground: str, why: str) -> tuple[float, Proposal]:
    whole = 273.15 + float(np.floor(at_most - 273.15 + 1e-6))
    limit = LimitSpec(quantity=quantity, at_most=whole, during="boost")
    values: dict[str, Quantity | str] = {
        "name": NAMES[quantity],
        "limit": limit_quantity(whole, "temperature"),
        "why": why,
    }
    return whole, Proposal(
        limit,
        ground,
        Sentence("No limit was given; {limit} at most for the {name} in boost is proposed: {why}.", values),
    )


def proposed(session: Session, proposal: Proposal) -> Session:
    """The session with the proposed limit, which everything that judges or shows it then calls proposed."""
    return replace(session, limits=(proposal.limit,), proposed=True)


def with_proposal(verdict: Verdict, proposal: Proposal) -> Verdict:
    """A verdict on a `proposed` session that says in its headline why that limit."""
    return replace(verdict, headline=(*verdict.headline, proposal.reason))


def proposal_json(proposal: Proposal, system: str = "si") -> dict[str, Any]:
    """A proposal as a plain dictionary for JSON."""
    return {
        "quantity": proposal.limit.quantity,
        "at_most_K": proposal.limit.bound,
        "during": proposal.limit.during,
        "ground": proposal.ground,
        "reason": proposal.reason.words(system),
    }
