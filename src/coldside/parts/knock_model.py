"""One engine's knock: what its specification makes of the laws in `knock.py`, and what its calibration takes back.

What is here: `KnockModel` (built by `KnockModel.of`), its margins and changes, `trimmed`, `chamber_of`.  What is
not: a session (`judge/knock.py`).  Without a known knock-limited point only differences mean anything; `margins`
then refuses.  Angles here are degrees (on a specification radians), pressures Pa absolute, speed rev/s.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np

from coldside.errors import BadInput
from coldside.media.fuels import fuel
from coldside.parts.combustion import LATEST, Burn, Chamber, best_spark, retard_loss
from coldside.parts.engine import RPM, EngineSpec
from coldside.parts.knock import (
    EVAPORATION,
    OCTANE_INDEX_K,
    OCTANE_POWER,
    SPARKS,
    Conditions,
    calibration_factor,
    delay_integral,
    ethanol_delay_high,
    ethanol_delay_low,
    gasoline_delay,
    limited_pressure,
    limited_spark,
    limited_temperature,
    phasing,
)

Number = Any  # float or array in, the broadcast shape out

ROD, ROD_SD = 1.67, 0.08  # rod over stroke where none is given, and a share (own; 1.5 to 1.9 is common practice)
BURN = {"piston": 55.0, "rotary": 90.0}  # deg at 5500 rpm; middle of 45 to 70 and 70 to 110, common practice
BURN_SD = {"piston": 8.0, "rotary": 15.0}  # deg, one standard deviation
BURN_SPEED, BURN_GROWTH = 5500 * RPM, 0.3  # it grows with speed to the power 0.2 to 0.4
LONGEST_BURN = {"piston": 115.0, "rotary": 190.0}  # deg, so that it ends before the exhaust opens
TABLE_PRESSURES, TABLE_TEMPERATURES = (0.8e5, 4.5e5), (260.0, 410.0)  # ends of the table of octane need, Pa and K
SIZES_AGREE = 0.05  # share by which bore and stroke may miss the displacement


# ---------------------------------------------------------------- sizes


def cylinder_fault(
    displacement: float | None, cylinders: float | None, bore: float | None, stroke: float | None, rod: float | None
) -> tuple[str, str] | None:
    """Key and message where the sizes of a cylinder contradict each other, else None; None too if too few are given."""
    if displacement is None or cylinders is None:
        return None
    swept = displacement / cylinders
    bore, stroke = _bore_and_stroke(swept, bore, stroke)
    made = 0.25 * math.pi * bore**2 * stroke
    if abs(made / swept - 1.0) > SIZES_AGREE:
        return "bore", (
            f"and stroke make {made * 1e6:.0f} cm3 a cylinder, but displacement and cylinders make "
            f"{swept * 1e6:.0f} cm3"
        )
    if rod is not None and rod < 0.8 * stroke:
        return "rod", f"must be at least 0.8 times the stroke of {stroke * 1e3:.0f} mm"
    return None


def _bore_and_stroke(swept: float, bore: float | None, stroke: float | None) -> tuple[float, float]:
    square = (4.0 * swept / math.pi) ** (1.0 / 3.0)
    if stroke is None:
        stroke = square if bore is None else 4.0 * swept / (math.pi * bore**2)
    if bore is None:
        bore = math.sqrt(4.0 * swept / (math.pi * stroke))
    return bore, stroke


def chamber_of(spec: EngineSpec) -> Chamber:
    """The working chamber of an engine; bore and stroke that are not given follow from its volume with bore = stroke.

    Raises `BadInput` when the size is missing or its figures contradict each other by more than 5 %.
    """
    if spec.kind == "rotary":
        if spec.chamber_volume is None:
            raise BadInput("a rotary engine needs its chamber_volume", key="engine.chamber_volume")
        bore, stroke = _bore_and_stroke(spec.chamber_volume, None, None)
        return Chamber("rotary", spec.chamber_volume, spec.compression_ratio, bore, stroke, ROD * stroke)
    if spec.displacement is None or spec.cylinders is None:
        raise BadInput("a piston engine needs displacement and cylinders", key="engine.displacement")
    fault = cylinder_fault(spec.displacement, spec.cylinders, spec.bore, spec.stroke, spec.rod)
    if fault:
        raise BadInput(fault[1], key=f"engine.{fault[0]}")
    swept = spec.displacement / spec.cylinders
    bore, stroke = _bore_and_stroke(swept, spec.bore, spec.stroke)
    return Chamber("piston", swept, spec.compression_ratio, bore, stroke, spec.rod or ROD * stroke)


def usual_figures(spec: EngineSpec) -> dict[str, tuple[float, float]]:
    """What this engine leaves out of `rod` and `burn_duration`: by key the usual figure and its deviation, SI.

    Raises `BadInput` as `chamber_of` does.
    """
    found: dict[str, tuple[float, float]] = {}
    if spec.kind == "piston" and spec.rod is None:
        rod = chamber_of(spec).rod
        found["rod"] = (rod, ROD_SD * rod)
    if spec.burn_duration is None:
        found["burn_duration"] = (math.radians(BURN[spec.kind]), math.radians(BURN_SD[spec.kind]))
    return found


# ---------------------------------------------------------------- what the calibration takes back


@dataclass(frozen=True)
class Trimmed:
    """What is left once spark is taken back; arrays over the conditions.

    `power` share, `spark` [deg before] that it then runs.
    """

    power: np.ndarray
    spark: np.ndarray


def trimmed(model: KnockModel, n: Number, p_plenum: Number, T_sensor: Number) -> Trimmed:
    """Share of power and spark that are left once `trim_spark` has answered the sensor.

    `T_sensor` [K] is what the intake sensor reads, not the charge; `p_plenum` [Pa absolute] is what `boost_left`
    leaves.  Power goes with the retard loss; the trim is linear between its points and level beyond.  Vectorised.
    """
    n, p, T = np.broadcast_arrays(n, p_plenum, np.asarray(T_sensor, dtype=float))
    asked = model.asked_spark(n, p)
    spark = asked - np.degrees(_level(model.spec.trim_spark, T))
    return Trimmed((1.0 - model.loss(n, spark)) / (1.0 - model.loss(n, asked)), spark)


def boost_left(spec: EngineSpec, asked: Number, T_sensor: Number, p_ambient: Number) -> np.ndarray:
    """Pressure [Pa absolute] that `trim_boost` leaves of what is `asked`, when the intake sensor reads `T_sensor` [K].

    The trim takes a share of boost over `p_ambient`, linear between its points and level beyond; without boost
    nothing.  Vectorised.
    """
    p, T = np.broadcast_arrays(np.asarray(asked, dtype=float), np.asarray(T_sensor, dtype=float))
    return np.asarray(np.where(p > p_ambient, p_ambient + (p - p_ambient) * (1.0 - _level(spec.trim_boost, T)), p))


def _level(points: tuple[tuple[float, float], ...] | None, at: np.ndarray) -> np.ndarray:
    if points is None:
        return np.zeros(np.shape(at))
    return np.interp(at, [x for x, _ in points], [y for _, y in points])


# ---------------------------------------------------------------- the model


@dataclass(frozen=True)
class NeedTable:
    """Octane need over engine speed, plenum pressure and temperature, for each spark searched.

    Axes are ln n, ln p and T, entries ln of the need: smooth and nearly straight, unlike the limit that follows.
    """

    log_n: np.ndarray
    log_p: np.ndarray
    T: np.ndarray
    log_needed: np.ndarray  # (n, p, T, sparks)

    def limit(self, n: Number, p_plenum: Number, T_plenum: Number, octane: float) -> np.ndarray:
        """Knock-limited spark [deg before] on `octane`, as `knock.limited_spark`, kept to -14 to 46.

        Linear between the entries, level beyond the edges; within 0.3 deg of the search itself (alcohols 0.6).
        """
        asked = np.broadcast_arrays(np.log(n), np.log(p_plenum), np.asarray(T_plenum, dtype=float))
        places = []
        for axis, at in zip((self.log_n, self.log_p, self.T), asked, strict=True):
            index = np.clip(np.searchsorted(axis, at) - 1, 0, len(axis) - 2)
            places.append((index, np.clip((at - axis[index]) / (axis[index + 1] - axis[index]), 0.0, 1.0)))
        found = np.zeros((*asked[0].shape, len(SPARKS)))
        for corner in np.ndindex(2, 2, 2):
            weight = np.ones(asked[0].shape)
            for (_, share), high in zip(places, corner, strict=True):
                weight = weight * (share if high else 1.0 - share)
            spots = tuple(index + high for (index, _), high in zip(places, corner, strict=True))
            found += weight[..., None] * self.log_needed[spots]
        return np.clip(limited_spark(np.exp(found), octane), SPARKS[0], SPARKS[-1])


@dataclass(frozen=True)
class Margins:
    """How far from knock, below 0 beyond it; all good only to what `knock.CALIBRATED_...` say.

    `octane` numbers, `spark` [deg], `boost` [Pa], `temperature` [K of charge]; a margin beyond what the model covers
    is +-inf (spark) or NaN (temperature).
    """

    octane: np.ndarray
    spark: np.ndarray
    boost: np.ndarray
    temperature: np.ndarray


@dataclass(frozen=True)
class Change:
    """Octane need at one state less that at another of the same speed, and what would make up for it.

    `octane` numbers more, `spark` [deg] to take back, `boost` [Pa] to take off.
    """

    octane: float
    spark: float
    boost: float


@dataclass(frozen=True)
class KnockModel:
    """An engine on its fuel.

    `octane` effective number with K = 0, `octane_low` and `octane_high` with K = +0.5 and -0.5; `factor` multiplies
    every delay so that the known knock-limited point is on the limit, None without such a point; `known` that point
    as (n, plenum pressure, plenum temperature, spark).
    """

    spec: EngineSpec
    conditions: Conditions
    octane: float
    octane_low: float
    octane_high: float
    factor: float | None = None
    known: tuple[float, float, float, float] | None = None

    @classmethod
    def of(cls, spec: EngineSpec, p_ambient: float) -> KnockModel:
        """The model of an engine; `p_ambient` [Pa absolute] turns a gauge `knock_boost` into plenum pressure.

        The same engine and pressure give the same object, whose table is then made only once.
        Raises `BadInput` when a size is missing or only part of the known point is given.
        """
        try:
            hash(spec)
        except TypeError:  # made by hand with lists in it: cannot be remembered
            return _model_of.__wrapped__(spec, float(p_ambient))
        return _model_of(spec, float(p_ambient))

    @property
    def law_octane(self) -> float | None:
        """Octane number that the law itself asks for at the known point: how far the calibration had to go."""
        return None if self.factor is None else self.octane * self.factor ** (1.0 / OCTANE_POWER)

    @property
    def calibrated(self) -> bool:
        """Whether a known knock-limited point sets the level."""
        return self.factor is not None

    def duration(self, n: Number) -> np.ndarray:
        """Whole angle of the burn [deg] at `n` [rev/s]."""
        kind = self.conditions.chamber.kind
        given = self.spec.burn_duration
        at = BURN[kind] if given is None else math.degrees(given)
        grown = at * (np.maximum(np.asarray(n, dtype=float), 1.0) / BURN_SPEED) ** BURN_GROWTH
        return np.minimum(grown, LONGEST_BURN[kind])

    def burn(self, n: Number, spark: Number) -> Burn:
        """The burn at `n` [rev/s] from `spark` [deg before]."""
        return Burn(spark, self.duration(n))

    def asked_spark(self, n: Number, p_plenum: Number) -> np.ndarray:
        """Spark [deg before] that the calibration asks for with cool charge, at `n` [rev/s], `p_plenum` [Pa absolute].

        The user's curve; else that of best torque, and with a known knock-limited point at most what knock allows
        there with the charge as warm as at that point.
        """
        if self.spec.spark is not None:
            return np.degrees(_level(self.spec.spark, np.asarray(n, dtype=float)))
        best = np.asarray(best_spark(self.duration(n)))
        if self.known is None:
            return best
        return np.minimum(best, self.quick_limit(n, p_plenum, self.known[2]))

    def loss(self, n: Number, spark: Number) -> np.ndarray:
        """Share of best torque lost with `spark` [deg before] at `n` [rev/s]."""
        later = np.asarray(phasing(spark, self.duration(n)))
        return np.asarray(retard_loss(np.clip(later, -LATEST, LATEST)))

    def needed(self, n: Number, p_plenum: Number, T_plenum: Number, spark: Number) -> np.ndarray:
        """Octane number asked for; uncalibrated good for differences alone.  Vectorised; T 200 to 600 K."""
        factor = 1.0 if self.factor is None else self.factor
        return np.asarray(
            self.conditions.octane_needed(n, p_plenum, T_plenum, self.burn(n, spark), factor), dtype=float
        )

    def limit(self, n: Number, p_plenum: Number, T_plenum: Number) -> np.ndarray:
        """Knock-limited spark [deg before] on the fuel's octane; +-inf as `knock.limited_spark`.  Calibrated only."""
        needed = self.conditions.needed_by_spark(n, p_plenum, T_plenum, self.duration(n), self._level())
        return limited_spark(needed, self.octane)

    @cached_property
    def _needs(self) -> NeedTable:
        """The octane need tabulated over what a car meets, 1000 rpm to above top speed."""
        log_n = np.linspace(np.log(1000 * RPM), np.log(1.1 * self.spec.top_speed), 8)
        lowest, highest = TABLE_PRESSURES
        log_p, T = np.linspace(np.log(lowest), np.log(highest), 4), np.linspace(*TABLE_TEMPERATURES, 6)
        n, p, temperature = np.meshgrid(np.exp(log_n), np.exp(log_p), T, indexing="ij")
        needed = self.conditions.needed_by_spark(n, p, temperature, self.duration(n), self._level())
        return NeedTable(log_n, log_p, T, np.log(needed))

    def quick_limit(self, n: Number, p_plenum: Number, T_plenum: Number) -> np.ndarray:
        """`limit` from a table made once: within 0.3 deg (alcohols 0.6), kept to -14 to 46 deg.  Calibrated only."""
        return self._needs.limit(n, p_plenum, T_plenum, self.octane)

    def run_spark(self, n: Number, p_plenum: Number, T_plenum: Number, T_sensor: Number) -> np.ndarray:
        """Spark [deg before] that the engine runs: what is asked, less the trim for what the sensor reads.

        With a known knock-limited point at most what knock allows, as knock control would leave it.
        """
        asked = self.asked_spark(n, p_plenum) - np.degrees(_level(self.spec.trim_spark, np.asarray(T_sensor, float)))
        return asked if self.factor is None else np.minimum(asked, self.quick_limit(n, p_plenum, T_plenum))

    def power_share(self, n: Number, p_plenum: Number, T_plenum: Number, T_sensor: Number) -> np.ndarray:
        """Share of power that knock and the trim of spark leave, of that with the asked spark.

        For feeding heat back on driving: from a table, vectorised, quick.  1 where nothing is trimmed or knocks.
        Density and boost are not in it: power already goes with the charge's temperature and pressure.
        """
        left = trimmed(self, n, p_plenum, T_sensor)
        if self.factor is None:
            return left.power
        runs = np.minimum(left.spark, self.quick_limit(n, p_plenum, T_plenum))
        return left.power * (1.0 - self.loss(n, runs)) / (1.0 - self.loss(n, left.spark))

    def margins(self, n: Number, p_plenum: Number, T_plenum: Number, spark: Number) -> Margins:
        """All four margins at these states; vectorised.  BadInput without a known knock-limited point."""
        factor = self._level()
        n, p, T, spark = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in (n, p_plenum, T_plenum, spark)))
        burn = self.burn(n, spark)
        return Margins(
            octane=self.octane - self.needed(n, p, T, spark),
            spark=self.limit(n, p, T) - spark,
            boost=limited_pressure(self.conditions, n, T, burn, self.octane, p, factor) - p,
            temperature=self.temperature_margin(n, p, T, spark),
        )

    def temperature_margin(self, n: Number, p_plenum: Number, T_plenum: Number, spark: Number) -> np.ndarray:
        """How much warmer [K] the charge might be before knock, NaN beyond 210 to 590 K.  Calibrated only."""
        factor = self._level()
        n, p, T, spark = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in (n, p_plenum, T_plenum, spark)))
        return limited_temperature(self.conditions, n, p, self.burn(n, spark), self.octane, T, factor) - T

    def _level(self) -> float:
        if self.factor is None:
            raise BadInput(
                "how near an engine is to knock is known only with one known knock-limited point: give knock_speed, "
                "knock_boost, knock_intake and knock_spark",
                key="engine.knock_speed",
            )
        return self.factor

    def change(self, n: float, p_plenum: float, T_plenum: float, T_reference: float, spark: float) -> Change:
        """What charge at `T_plenum` asks for beyond charge at `T_reference` [K], all else alike.

        Needs no known point.
        """
        T, p = np.array([T_reference, T_plenum, T_plenum, T_plenum]), p_plenum * np.array([1.0, 1.0, 1.02, 1.0])
        sparks = spark + np.array([0.0, 0.0, 0.0, -1.0])
        cold, hot, denser, later = self.needed(n, p, T, sparks)
        more = float(hot - cold)
        return Change(more, more / float(hot - later), more / float(denser - hot) * 0.02 * p_plenum)

    def spark_per_kelvin(self, n: float, p_plenum: float, T_plenum: float, spark: float) -> float:
        """Spark to take back for each kelvin of charge so that the octane need stays [deg/K]."""
        return self.change(n, p_plenum, T_plenum + 5.0, T_plenum - 5.0, spark).spark / 10.0

    def ethanol_integrals(self, n: float, p_plenum: float, T_plenum: float, spark: float) -> tuple[float, float]:
        """Delay integral by the upper and by the lower law of ethanol's own delay: sign and order only; 1 is knock."""
        solved = self.conditions.solve(n, p_plenum, T_plenum, self.burn(n, spark), whole=False)
        return float(delay_integral(solved, ethanol_delay_high)), float(delay_integral(solved, ethanol_delay_low))


@lru_cache(maxsize=16)
def _model_of(spec: EngineSpec, p_ambient: float) -> KnockModel:
    burnt = fuel(spec.fuel)
    shift = 0.0 if spec.octane is None else spec.octane - burnt.RON
    low, used, high = (burnt.octane(K) + shift for K in reversed(OCTANE_INDEX_K))
    in_port = spec.fuel_injection == "port"
    share = EVAPORATION[spec.fuel_injection]
    conditions = Conditions(chamber_of(spec), burnt, spec.fuel_lambda, share, saturates=in_port)
    model = KnockModel(spec, conditions, used, low, high)
    point = (spec.knock_speed, spec.knock_boost, spec.knock_intake, spec.knock_spark)
    if all(value is None for value in point):
        return model
    n, boost, T, spark = point
    if n is None or boost is None or T is None or spark is None:
        raise BadInput(
            "a known point of knock needs knock_speed, knock_boost, knock_intake and knock_spark",
            key="engine.knock_speed",
        )
    known = (n, boost.absolute(p_ambient), T, math.degrees(spark))  # type: ignore[attr-defined]
    solved = conditions.solve(known[0], known[1], known[2], model.burn(n, known[3]), whole=False)
    integral = float(delay_integral(solved, lambda p, T: gasoline_delay(p, T, used)))
    return KnockModel(spec, conditions, used, low, high, calibration_factor(integral), known)
