"""Knock over a session: how near at the worst moment, what heat adds to it, the spark line, the car's own trims.

Here: `judge_knock`, `KnockVerdict` and its sentences.  JSON is in `knock_json.py`, the laws in `parts/knock.py`, one
engine's model in `parts/knock_model.py`.  Without one known knock-limited point of the engine only changes are told,
never how near it is.  Every number comes with its accuracy and the cautions.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from coldside.judge.wording import Quantity, Range, Sentence
from coldside.parts.knock import (
    ACCURACY_CALIBRATED,
    ACCURACY_ETHANOL,
    ACCURACY_ROTARY,
    ACCURACY_UNCALIBRATED,
    CALIBRATED_TEMPERATURE,
    CALIBRATED_WITHIN,
    CAUTIONS,
    ETHANOL_TREND,
    RESERVE_SPARK,
    LimitedPower,
    limited_power,
)
from coldside.parts.knock_model import Change, KnockModel, Trimmed, trimmed
from coldside.plant.results import Forecast

MOST_SAMPLES = 300  # moments in boost that are looked at
PUBLISHED_OCTANE = 1.0 / 7.0  # octane numbers per kelvin of intake (RussSAE960497)
PUBLISHED_SPARK = 1.0  # octane numbers per degree (RussSAE960497)
WORTH_SAYING = 2.0  # K over ambient below which heat adds nothing worth a sentence
POWER_STEP = 10.0  # K between the charge temperatures of the power table
TRIM_LEAST = 0.005  # share of power taken by the trims that is worth a sentence


POWER_IS = (
    "Power and times follow brake_efficiency, taken as it is with the spark, compression and fuel given: change one of "
    "those, and change it too."
)


@dataclass(frozen=True)
class Moment:
    """Where in the session the engine asks for most: sample, s into the session, words of the phase, and the state.

    `n` rev/s, `p` Pa absolute and `T` K of the plenum, `sensor` K read, `spark` deg before top dead centre; boost and
    spark as the car's own trims leave them.
    """

    sample: int
    time: float
    where: str
    n: float
    p: float
    T: float
    sensor: float
    spark: float


@dataclass(frozen=True)
class WorstMargins:
    """Margins at the worst moment, below 0 beyond knock; None where the model does not reach so far."""

    octane: float
    spark: float | None  # deg
    boost: float | None  # Pa
    temperature: float | None  # K


@dataclass(frozen=True)
class SparkLine:
    """Spark to take back above a charge temperature: `low` to `high` deg per 10 K above `start` [K].

    `start` is None where it is not known: without a known point, or where the set spark never meets the limit.
    """

    start: float | None
    low: float
    high: float


@dataclass(frozen=True)
class Felt:
    """What the car's own trims take at the moment when they take most power.

    `power` share lost, `spark` deg, `boost` Pa taken off; `sensor` K read then and `charge` K as it is.
    """

    time: float
    power: float
    mean_power: float
    spark: float
    boost: float
    sensor: float
    charge: float


@dataclass(frozen=True)
class KnockVerdict:
    """Knock over a forecast.

    `samples` of the forecast that were looked at, `needed` the octane number asked for at each (uncalibrated: only
    differences mean something), `worst` the moment that asks for most.  `change` is against charge at `reference` [K,
    the session's ambient] with speed, boost and spark alike, `change_octane` its band from published slopes and ours.
    `margins` and `margin_trace` [K, over samples; NaN beyond the model] are None without a known point.
    """

    model: KnockModel
    samples: np.ndarray
    needed: np.ndarray
    worst: Moment
    reference: float
    change: Change
    change_octane: tuple[float, float]
    change_spark: tuple[float, float]
    margins: WorstMargins | None
    margin_trace: np.ndarray | None
    line: SparkLine
    felt: Felt | None
    beyond: bool  # the worst moment lies farther from the known point than its accuracy reaches
    ambient_pressure: float

    @property
    def calibrated(self) -> bool:
        """Whether a known knock-limited point sets the level."""
        return self.model.calibrated

    @cached_property
    def power(self) -> LimitedPower | None:
        """Knock-limited work at the worst moment's speed and boost against charge temperature; None uncalibrated.

        From ambient to 20 K over the worst, in steps of 10 K.
        """
        if self.model.law_octane is None:
            return None
        T = np.arange(self.reference, max(self.worst.T, self.reference) + 2.5 * POWER_STEP, POWER_STEP)
        n, duration = self.worst.n, float(self.model.duration(self.worst.n))
        return limited_power(self.model.conditions, n, self.worst.p, T, duration, self.model.law_octane)

    @property
    def sentences(self) -> tuple[Sentence, ...]:
        """What a user should know, in order; accuracy last."""
        said = [_margin_words(self)] if self.margins else _change_words(self)
        if self.worst.T - self.reference >= WORTH_SAYING or self.margins:
            said.append(_line_words(self))
        if self.felt is not None and self.felt.power >= TRIM_LEAST:
            said.append(_felt_words(self.felt))
        values: dict[str, Quantity | str] = {}
        accuracy = [ACCURACY_UNCALIBRATED]
        if self.calibrated:
            accuracy = [ACCURACY_CALIBRATED]
            values = {
                "kelvin": Quantity(CALIBRATED_WITHIN[0], "temperature_difference"),
                "boost": Quantity(CALIBRATED_WITHIN[1], "boost_difference"),
                "low": Quantity(CALIBRATED_TEMPERATURE[0], "temperature_difference"),
                "high": Quantity(CALIBRATED_TEMPERATURE[1], "temperature_difference"),
            }
        if self.beyond:
            accuracy.append("The worst moment lies farther than that from your point: trust it less.")
        if _much_alcohol(self):
            accuracy.append(ACCURACY_ETHANOL)
        if self.model.conditions.chamber.kind == "rotary":
            accuracy.append(ACCURACY_ROTARY)
        return (*said, Sentence(POWER_IS, {}), Sentence(" ".join(accuracy), values))

    @property
    def brief(self) -> tuple[Sentence, ...]:
        """The same where room is short: how near or what heat adds, the sloped line, what the trims take."""
        said = [_brief_words(self)]
        if self.worst.T - self.reference >= WORTH_SAYING or self.margins:
            said.append(_line_words(self))
        if self.felt is not None and self.felt.power >= TRIM_LEAST:
            said.append(_felt_words(self.felt))
        return tuple(said)

    @property
    def cautions(self) -> tuple[str, ...]:
        """Cautions that stand with every number of knock."""
        return (" ".join(CAUTIONS),)


# ---------------------------------------------------------------- judging


def judge_knock(forecast: Forecast) -> KnockVerdict | None:
    """Knock over a forecast's time in boost; None where boost is never reached with the engine turning.

    At most 300 moments are looked at, the hottest and the one of highest boost among them.  Raises `BadInput` for
    sizes of the engine that contradict each other.
    """
    samples = _moments(forecast)
    if samples.size == 0:
        return None
    ambient = forecast.demand
    model = KnockModel.of(forecast.build.engine, ambient.ambient_pressure)
    n, p, T = forecast.demand.engine_speed[samples], forecast.plenum_pressure[samples], forecast.intake[samples]
    read = T if forecast.sensor is None else forecast.sensor[samples]
    left = trimmed(model, n, p, read)
    felt = _felt(forecast, model, samples, (n, p, T, read), left)
    spark = left.spark
    needed = model.needed(n, p, T, spark)
    at = int(np.argmax(needed))
    sample = int(samples[at])
    worst = Moment(
        sample,
        float(forecast.time[sample]),
        _place(forecast, sample),
        *(float(values[at]) for values in (n, p, T, read, spark)),
    )
    reference = float(ambient.ambient_temperature[sample])
    change = model.change(worst.n, worst.p, worst.T, reference, worst.spark)
    margins, trace = _margins(model, worst, (n, p, T, spark)) if model.calibrated else (None, None)
    over = worst.T - reference
    ours = model.spark_per_kelvin(worst.n, worst.p, worst.T, worst.spark)
    return KnockVerdict(
        model=model,
        samples=samples,
        needed=needed,
        worst=worst,
        reference=reference,
        change=change,
        change_octane=_band(change.octane, over * PUBLISHED_OCTANE),
        change_spark=_band(change.spark, over * PUBLISHED_OCTANE / PUBLISHED_SPARK),
        margins=margins,
        margin_trace=trace,
        line=_spark_line(worst, margins, ours),
        felt=felt,
        beyond=_beyond(model, worst),
        ambient_pressure=ambient.ambient_pressure,
    )


def _moments(forecast: Forecast) -> np.ndarray:
    """Samples in boost with the engine turning, thinned, with the hottest and the densest kept."""
    found = np.flatnonzero(forecast.boost & (forecast.demand.engine_speed > 1.0))
    if found.size <= MOST_SAMPLES:
        return found
    kept = found[np.linspace(0, found.size - 1, MOST_SAMPLES - 2).astype(int)]
    ends = [found[np.argmax(forecast.intake[found])], found[np.argmax(forecast.plenum_pressure[found])]]
    return np.unique(np.concatenate([kept, ends]))


def _place(forecast: Forecast, sample: int) -> str:
    return next((span.label for span in forecast.demand.spans if span.first <= sample <= span.last), "")


def _band(ours: float, published: float) -> tuple[float, float]:
    low, high = sorted((ours, published))
    return low, high


def _margins(model: KnockModel, worst: Moment, states: tuple[np.ndarray, ...]) -> tuple[WorstMargins, np.ndarray]:
    """All margins at the worst moment, and that of charge temperature at every moment."""
    found = model.margins(worst.n, worst.p, worst.T, worst.spark)
    values = (float(value) for value in (found.spark, found.boost, found.temperature))
    spark, boost, temperature = (value if np.isfinite(value) else None for value in values)
    return WorstMargins(float(found.octane), spark, boost, temperature), model.temperature_margin(*states)


def _spark_line(worst: Moment, margins: WorstMargins | None, ours: float) -> SparkLine:
    """Where the spark set starts to be too much, and the slope: ours and the published one as a band."""
    low, high = sorted((10.0 * ours, 10.0 * PUBLISHED_OCTANE / PUBLISHED_SPARK))
    start = None if margins is None or margins.temperature is None else worst.T + margins.temperature
    return SparkLine(start, float(np.floor(10.0 * low) / 10.0), float(np.ceil(10.0 * high) / 10.0))


def _felt(
    forecast: Forecast, model: KnockModel, samples: np.ndarray, states: tuple[np.ndarray, ...], left: Trimmed
) -> Felt | None:
    """What the trims take; None without trims.  Power goes with plenum pressure, the charge as warm as it is."""
    if model.spec.trim_spark is None and model.spec.trim_boost is None:
        return None
    n, p, T, read = states
    taken = forecast.demand.boost_taken
    off = np.zeros(len(p)) if taken is None else taken[samples]
    kept = left.power * p / (p + off)
    at = int(np.argmin(kept))
    asked = np.asarray(model.asked_spark(n, p))
    return Felt(
        time=float(forecast.time[samples[at]]),
        power=1.0 - float(kept[at]),
        mean_power=1.0 - float(kept.mean()),
        spark=float(asked[at] - left.spark[at]),
        boost=float(off[at]),
        sensor=float(read[at]),
        charge=float(T[at]),
    )


def _beyond(model: KnockModel, worst: Moment) -> bool:
    if model.known is None:
        return False
    _, p, T, _ = model.known
    kelvin, pascal = CALIBRATED_WITHIN
    return abs(worst.T - T) > kelvin or abs(worst.p - p) > pascal


# ---------------------------------------------------------------- words


def _span(low: float, high: float, digits: int = 0) -> str:
    """ "3 to 5", or one number where both round alike."""
    first, last = f"{low:.{digits}f}", f"{high:.{digits}f}"
    return first if first == last else f"{first} to {last}"


def _moment_words(worst: Moment) -> tuple[str, dict[str, Quantity | str]]:
    text = "in {where} at {when}" if worst.where else "at {when}"
    values: dict[str, Quantity | str] = {"where": worst.where, "when": Quantity(worst.time, "clock")}
    return text, values


def _change_words(result: KnockVerdict) -> list[Sentence]:
    """Without a known point: what the charge's heat adds, or that it adds nothing."""
    over = result.worst.T - result.reference
    place, values = _moment_words(result.worst)
    if over < WORTH_SAYING:
        return [
            Sentence(
                "Knock: the charge is nowhere in boost so much warmer than ambient that knock would come nearer; how "
                "near it is anyway is not known (give knock_speed, knock_boost, knock_intake and knock_spark).",
                {},
            )
        ]
    values["over"] = Quantity(over, "temperature_difference")
    values["octane"] = _octane(*result.change_octane)
    values["spark"] = _span(*result.change_spark)
    values["boost"] = Quantity(abs(result.change.boost), "boost_difference")
    return [
        Sentence(
            "Knock: with charge {over} over ambient " + place + " this engine asks for {octane} more "
            "than with charge at ambient; {spark} deg less spark or some {boost} less boost make up for it. How near "
            "it is to knock is not known: give one point where it just knocks (knock_speed, knock_boost, knock_intake, "
            "knock_spark).",
            values,
        )
    ]


def _brief_words(result: KnockVerdict) -> Sentence:
    """The margin with its accuracy, or the change; one sentence."""
    place, values = _moment_words(result.worst)
    margins = result.margins
    if margins is None:
        over = result.worst.T - result.reference
        if over < WORTH_SAYING:
            return Sentence("The charge is nowhere in boost so much warmer than ambient that knock comes nearer.", {})
        values["over"] = Quantity(over, "temperature_difference")
        values["octane"], values["spark"] = _octane(*result.change_octane), _span(*result.change_spark)
        return Sentence(
            "Charge {over} over ambient " + place + " asks for {octane} more, or {spark} deg less spark; how near "
            "knock is takes a point where it just knocks (knock_speed and its like)"
            + (
                "; of so much alcohol only the sign and the order of a change are known."
                if _much_alcohol(result)
                else "."
            ),
            values,
        )
    pieces, good = [f"{abs(margins.octane):.1f} octane numbers"], ["2 to 3 octane numbers"]
    if margins.temperature is not None:
        pieces.append("{kelvin} of charge")
        good.append("{within} of charge")
        values["kelvin"] = Quantity(abs(margins.temperature), "temperature_difference")
    if margins.spark is not None:
        pieces.append(f"{abs(margins.spark):.1f} deg of spark")
        good.append("2 to 3 deg")
    start, end = "Nearest ", " in hand"
    if margins.octane < 0.0:
        start, end = "Worst ", " beyond what this fuel bears"
    elif margins.spark is not None and margins.spark < RESERVE_SPARK[0]:
        end += ", less than the 2 to 3 deg to keep in reserve"
    far = "; it lies far from your known point, so trust it less" if result.beyond else ""
    told = start + place + ": " + ", or ".join(pieces) + end + "; known to " + ", ".join(good) + far + "."
    return Sentence(told, {**values, "within": Range(*CALIBRATED_TEMPERATURE, "temperature_difference")})


def _much_alcohol(result: KnockVerdict) -> bool:
    return result.model.conditions.fuel.alcohol_share > ETHANOL_TREND


def _octane(low: float, high: float) -> str:
    """ "1 octane number", "1 to 2 octane numbers"."""
    told = _span(low, high)
    return f"{told} octane number" + ("" if told == "1" else "s")


def _margin_words(result: KnockVerdict) -> Sentence:
    """With a known point: the four margins at the worst moment."""
    margins = result.margins
    assert margins is not None
    place, values = _moment_words(result.worst)
    short = margins.octane < 0.0
    pieces = [f"{abs(margins.octane):.1f} octane numbers"]
    if margins.temperature is not None:
        pieces.append("{kelvin} of charge")
        values["kelvin"] = Quantity(abs(margins.temperature), "temperature_difference")
    if margins.spark is not None:
        pieces.append(f"{abs(margins.spark):.1f} deg of spark")
    if margins.boost is not None:
        pieces.append("{boost} of boost")
        values["boost"] = Quantity(abs(margins.boost), "boost_difference")
    told = ", or ".join(pieces)
    if short:
        return Sentence(
            "Knock: worst " + place + ", " + told + " beyond what this fuel bears: it would knock there unless its "
            "control takes the spark back, as the forecast's power reckons.",
            values,
        )
    kept = "keep 2 to 3 deg in reserve"
    if margins.spark is not None and margins.spark < RESERVE_SPARK[0]:
        kept = "that is less than the 2 to 3 deg to keep in reserve"
    return Sentence("Knock: nearest " + place + ", with " + told + " in hand, each taken alone; " + kept + ".", values)


def _line_words(result: KnockVerdict) -> Sentence:
    """The sloped line: a starting point for a dyno."""
    line = result.line
    start: dict[str, Quantity | str] = {
        "start": Quantity(line.start or 0.0, "temperature"),
        "step": Quantity(10.0, "temperature_difference"),
        "slope": _span(line.low, line.high, 1),
    }
    text = "From where your spark is right take {slope} deg per {step} of warmer charge"
    if line.start is not None:
        text = "Above {start} of charge take {slope} deg of spark per {step}"
    if result.margins is not None and result.margins.octane + result.change.octane < 0.0:
        text = (
            "Spark as set is too much even with the charge at ambient; from what knock allows take {slope} deg per "
            "{step} of warmer charge"
        )
    return Sentence(text + ": a starting point for a dyno with knock detection, not an instruction.", start)


def _felt_words(felt: Felt) -> Sentence:
    values: dict[str, Quantity | str] = {
        "when": Quantity(felt.time, "clock"),
        "power": Quantity(felt.power, "share"),
        "mean": Quantity(felt.mean_power, "share"),
        "sensor": Quantity(felt.sensor, "temperature"),
        "charge": Quantity(felt.charge, "temperature"),
    }
    taken = [f"{felt.spark:.1f} deg of spark"] if felt.spark > 0.05 else []
    if felt.boost > 0.0:
        taken.append("{boost} of boost")
        values["boost"] = Quantity(felt.boost, "boost_difference")
    return Sentence(
        "The car's own trims take " + " and ".join(taken) + " at {when}, when its sensor reads {sensor} (the charge is "
        "{charge}): {power} of the power there, {mean} on average in boost. The forecast's power, boost and heat "
        "have that in them.",
        values,
    )
