"""Power corrections of three standards, and why none is right for a boosted engine.

Here: `corrections` and the sentence that goes with a dyno pull; `reruns`, the session run again in each standard's own
air, which is what its factor stands for.  Power everywhere in a forecast is as observed; nothing is ever corrected.
The factors are `media/air.power_correction`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coldside.duty.model import Session
from coldside.judge.wording import Quantity, Sentence
from coldside.media import air
from coldside.plant.forecast import simulate
from coldside.plant.results import Forecast
from coldside.units import Pressure

RIGHT = 0.0025  # share of power by which factor and run again may differ and count as alike
ISO_VALID = (0.93, 1.07)  # ISO 1585: beyond it the factor does not hold (from memory)
STANDARDS = {"sae": "SAE J1349 of 1990 (dry pressure)", "iso": "ISO 1585 (dry pressure)", "din": "DIN 70020 (total)"}


def corrections(forecast: Forecast) -> Mapping[str, float]:
    """Factor of each standard on observed power, from ambient air at the intake's mouth at the moment of most power.

    Of pulls in boost where there are any: what a dyno sheet shows.
    """
    outside = _outside(forecast)
    return {name: float(air.power_correction(*outside, standard=name)) for name in STANDARDS}


def _outside(forecast: Forecast) -> tuple[float, float, float]:
    """Ambient air at the moment of most power: temperature K, pressure Pa, of which the vapour's Pa."""
    at = _at_most(forecast)
    T, p = float(forecast.demand.ambient_temperature[at]), forecast.demand.ambient_pressure
    W = float(air.humidity_ratio(T, p, forecast.demand.humidity[at]))
    return T, p, p * W / (air.MASS_RATIO + W)


def correction_words(forecast: Forecast) -> list[Sentence]:
    """For a session with pulls on a dyno in boost: what the standards would make of its power, and why not to."""
    if not forecast.boost.any() or not any(phase.on == "dyno" for phase in forecast.session.phases):
        return []
    factors = corrections(forecast)
    told = ", ".join(
        f"{words} {factors[name]:.3f}{_beyond_its_range(name, factors)}" for name, words in STANDARDS.items()
    )
    low, high = sorted(
        float(air.diesel_correction(*_outside(forecast), engine_factor=share)) for share in air.DIESEL_FACTORS
    )
    diesel = f"{low:.3f} to {high:.3f}"
    return [
        Sentence(
            "Power is as observed. Standards would multiply it, {told}, by ambient air at the intake's mouth, never by "
            "the cooled charge; none is right for a boosted engine: its boost control has already made up for thin "
            "air, so their pressure term gives back power that was never lost. A dyno set to turbocharged diesels "
            "would multiply it by {diesel} (ISO 1585), by the fuel that a cycle burns: never one for an engine with "
            "a spark.",
            {"told": told, "diesel": diesel},
        )
    ]


def _beyond_its_range(name: str, factors: Mapping[str, float]) -> str:
    """Words where a standard itself does not let its factor count; only ISO 1585's own range is known here."""
    low, high = ISO_VALID
    if name != "iso" or low <= factors[name] <= high:
        return ""
    return f" (not valid: the standard's own range is {low:.2f} to {high:.2f})"


# ---------------------------------------------------------------- run again in the standards' own air

REFERENCE = {"sae": (298.15, 100e3, 1e3), "iso": (298.15, 100e3, 1e3), "din": (293.15, 101.3e3, 0.0)}
"""Temperature [K], pressure and the vapour's share of it [Pa] at which a standard states power."""


@dataclass(frozen=True)
class Rerun:
    """One standard's factor beside the session run again in its reference air, SI.

    `factor` on observed power and `ratio` of the power run again to that observed, at the highest power `observed`
    [W], of its pulls where it has any (`pulled`); `warmer` [K] is the session's outside air over the reference's and
    `intake` [K] the intake's peak over that of the session run again.
    """

    standard: str
    temperature: float
    pressure: float
    factor: float
    ratio: float
    observed: float
    warmer: float
    intake: float
    pulled: bool = False

    @property
    def excess(self) -> float:
        """How much more power the factor promises than the session run again has, as a share of it."""
        return self.factor / self.ratio - 1.0


def reruns(forecast: Forecast, *, progress: Callable[[str], None] = lambda _: None) -> tuple[Rerun, ...]:
    """Every standard's factor against the session run again in its own air; empty without boost.

    Highest power, of pulls where there are any.  The air is the standard's from start to end; what starts
    colder or hotter than the air (a chilled tank) starts as it does.  DIN 70020 knows no humidity: there the air is
    dry.  Raises as `simulate` does.
    """
    if not forecast.boost.any():
        return ()
    factors, seen, found = corrections(forecast), {}, []
    observed, outside = float(forecast.power[_at_most(forecast)]), forecast.demand.ambient_temperature
    for name, (T, p, vapour) in REFERENCE.items():
        if (T, p, vapour) not in seen:
            progress(f"  the session again in the air of {STANDARDS[name]}")
            seen[T, p, vapour] = simulate(forecast.build, in_air(forecast.session, T, p, vapour))
        again = seen[T, p, vapour]
        found.append(
            Rerun(
                standard=name,
                temperature=T,
                pressure=p,
                factor=factors[name],
                ratio=float(again.power[_at_most(again)]) / observed,
                observed=observed,
                warmer=float(outside[forecast.peak]) - T,
                intake=float(forecast.intake[forecast.peak] - again.intake[again.peak]),
                pulled=bool(_pulled(forecast).any()),
            )
        )
    return tuple(found)


def in_air(session: Session, temperature: float, pressure: float, vapour: float) -> Session:
    """The session in still air of `temperature` [K], `pressure` [Pa absolute] of which `vapour` is [Pa] water's."""
    W = air.MASS_RATIO * vapour / (pressure - vapour)
    saturated = float(air.humidity_ratio(temperature, pressure, 1.0))
    humidity = vapour * (air.MASS_RATIO + saturated) / (pressure * saturated) if W > 0.0 else 0.0
    around = replace(
        session.ambient,
        temperature=temperature,
        altitude=None,
        pressure=Pressure(pressure, gauge=False),
        humidity=humidity,
    )
    return replace(session, ambient=around, readings=())


def _pulled(forecast: Forecast) -> np.ndarray:
    """Samples of pulls at full load and in boost (n,)."""
    counts = np.zeros(len(forecast.time), dtype=bool)
    for span in forecast.demand.spans:
        counts[span.first : span.last + 1] |= span.kind == "pull"
    return counts & forecast.demand.full_load & forecast.boost


def _at_most(forecast: Forecast) -> int:
    """Sample of the highest power: of pulls where there are any."""
    counts = _pulled(forecast)
    return int(np.argmax(np.where(counts, forecast.power, -np.inf) if counts.any() else forecast.power))


def rerun_words(found: Sequence[Rerun]) -> list[Sentence]:
    """Factor against run again, standard by standard, and why they differ."""
    said = []
    for one in found:
        values: dict[str, Quantity | str] = {
            "standard": STANDARDS[one.standard],
            "factor": f"{one.factor:.3f}{_beyond_its_range(one.standard, {one.standard: one.factor})}",
            "made": Quantity(one.factor * one.observed, "power"),
            "air": Quantity(one.temperature, "temperature"),
            "pressure": Quantity(one.pressure, "pressure"),
            "again": Quantity(one.ratio * one.observed, "power"),
            "ratio": f"{one.ratio:.3f}",
            "by": Quantity(abs(one.excess), "share", 1),
        }
        end = "the factor is right here, by chance" if abs(one.excess) < RIGHT else "the factor promises {by} too "
        if abs(one.excess) >= RIGHT:
            end += "much" if one.excess > 0.0 else "little"
        said.append(
            Sentence(
                "{standard}: its factor {factor} makes {made} of the highest power"
                + (" in a pull" if one.pulled else "")
                + "; the session run again in its air ({air}, {pressure}) has {again}, {ratio} times: "
                + end
                + ".",
                values,
            )
        )
    if found:
        one = max(found, key=lambda rerun: abs(rerun.warmer))
        text = (
            "Why: what the engine gets is decided behind boost control and core. Boost over the outside air's pressure "
            "moves the plenum's pressure by as much as that air's, which is a smaller share of it; boost held absolute "
            "does not move it at all"
        )
        between: dict[str, Quantity | str] = {}
        if abs(one.warmer) >= 1.0:
            text += (
                "; and outside air {warmer} {how} than the reference's leaves the intake {intake} {then}, not as much"
            )
            between = {
                "warmer": Quantity(abs(one.warmer), "temperature_difference", 1),
                "how": "warmer" if one.warmer > 0.0 else "cooler",
                "intake": Quantity(abs(one.intake), "temperature_difference", 1),
                "then": "warmer" if one.intake > 0.0 else "cooler",
            }
            text = text.removesuffix(", not as much")
        said.append(Sentence(text + ".", between))
    return said


def reruns_json(found: Sequence[Rerun], system: str = "si") -> dict[str, Any]:
    """A plain dictionary; keys carry the unit."""
    return {
        "observed_W": found[0].observed if found else None,
        "standards": [
            {
                "standard": one.standard,
                "reference_K": one.temperature,
                "reference_Pa": one.pressure,
                "factor": one.factor,
                "run_again": one.ratio,
                "factor_over_run_again": one.excess,
                "outside_warmer_K": one.warmer,
                "intake_max_higher_K": one.intake,
            }
            for one in found
        ],
        "words": [sentence.words(system) for sentence in rerun_words(found)],
    }
