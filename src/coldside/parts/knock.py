"""Knock: ignition delay of the end gas, the octane number that a condition asks for, and the spark it bears.

What is here: delay laws, their integral over a cycle, `Conditions` of an engine (state at intake close from plenum
pressure and temperature), octane need, knock-limited spark, calibration factor, accuracy and cautions as constants.
What is not: an engine's own specification (`knock_model.py`), judging a session (`judge/knock.py`).

Never a tuning instruction.  Uncalibrated the numbers are good to +-10 octane or worse: only differences mean something.
Octane numbers are dimensionless, spark is degrees before top dead centre (least volume), pressures Pa absolute.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coldside.errors import require
from coldside.media.end_gas import EndGas, end_gas
from coldside.media.fuels import Fuel, evaporation_drop, saturated_drop
from coldside.parts.combustion import (
    BEST_PHASING,
    COARSE_STEPS,
    STEPS,
    Burn,
    Chamber,
    Cycle,
    Start,
    best_spark,
    cycle,
    retard_loss,
    wiebe_place,
)

Number = Any  # float or array in, the broadcast shape out

ATMOSPHERE = 101325.0  # Pa
OCTANE_POWER = 3.402  # of the octane number in the delay
WALL_PICKUP = 0.15  # share of the way to the walls that fresh charge warms on its way in; 0.10 to 0.25 common practice
INTAKE_WALL = 400.0  # K, ports and cylinder while filling; 380 to 420 common practice
RESIDUAL_SHARE = 0.05  # burnt gas left, by mass
RESIDUAL_TEMPERATURE = 1100.0  # K; 1050 to 1200 common practice
EVAPORATION = {"port": 0.35, "direct": 0.7}  # share of the fuel's latent heat that the charge gives; note at fuels.py
SPARKS = np.arange(-14.0, 47.0, 5.0)  # deg before, searched from the latest

# How far to trust it: note E7 of the design, own estimates; the words are for the screen.
UNCALIBRATED_BAND = 10.0  # octane numbers
CALIBRATED_OCTANE = (2.0, 3.0)  # octane numbers
CALIBRATED_SPARK = (2.0, 3.0)  # deg
CALIBRATED_TEMPERATURE = (15.0, 20.0)  # K of charge
CALIBRATED_WITHIN = (30.0, 30e3)  # K and Pa from the known point
RESERVE_SPARK, RESERVE_OCTANE = (2.0, 3.0), 3.0  # deg and octane numbers for scatter of cylinders and cycles
OCTANE_INDEX_K = (-0.5, 0.0, 0.5)  # low, used, high: which mix of RON and MON the engine feels
ETHANOL_TREND = 0.5  # share of alcohol above which only sign and order are known

ACCURACY_UNCALIBRATED = (
    "Without a known knock-limited point of this engine and fuel knock is known to 10 octane numbers or worse: "
    "only differences are shown."
)
ACCURACY_CALIBRATED = (  # places: CALIBRATED_WITHIN and CALIBRATED_TEMPERATURE, in the reader's units
    "Set to your known knock-limited point, and within {kelvin} and {boost} of it on the same engine and kind of fuel, "
    "knock is known to 2 to 3 octane numbers, 2 to 3 deg of spark, {low} to {high} of charge."
)
ACCURACY_ETHANOL = "With more than half of alcohol in the fuel only the sign and the order of a change are known."
ACCURACY_ROTARY = "For a rotary nothing of this has been checked: take it as a trend."
CAUTIONS = (
    "Knock figures are not a tuning instruction.",
    "They know no preignition, hot spots, oil, carbon or low-speed preignition.",
    (
        "Cylinders and cycles differ: keep 2 to 3 deg or 3 octane numbers in reserve, in a rotary more, where one "
        "event breaks apex seals; one lean cylinder knocks first."
    ),
    (
        "The sensor may be heat-soaked or sit before the fuel; the fuel's content is not measured; above 100 octane "
        "the law is extrapolated."
    ),
    "Confirm with knock detection on a dyno.",
)


# ---------------------------------------------------------------- ignition delay


def gasoline_delay(p: Number, T: Number, octane: Number) -> Number:
    """Delay [s] of gasoline at `p` [Pa absolute], `T` [K]: 17.68 ms (ON/100)^3.402 p^-1.7 exp(3800/T), p in atm.

    Octane 80 to 100 (beyond: extrapolated), T > 0, p > 0.  Has no range where delay rises with temperature; real
    fuels do near 750 to 900 K.  Source: DouaudEyzat1978.
    """
    require("octane", octane, low=0.0, open_low=True)
    atmospheres = np.asarray(p, dtype=float) / ATMOSPHERE
    return (
        17.68e-3
        * (np.asarray(octane, dtype=float) / 100.0) ** OCTANE_POWER
        * atmospheres**-1.7
        * np.exp(3800.0 / np.asarray(T, dtype=float))
    )


def ethanol_delay_low(p: Number, T: Number) -> Number:
    """Delay [s] of ethanol and air, lower end of what is known: 10^-1.79 us exp(12400/T) p^-0.83, p in bar.

    Stoichiometric, 10 to 50 bar, 650 to 1220 K.  Source: Cancino2010.
    """
    bars = np.asarray(p, dtype=float) / 1e5
    return 10.0**-1.79 * 1e-6 * np.exp(12400.0 / np.asarray(T, dtype=float)) * bars**-0.83


def ethanol_delay_high(p: Number, T: Number) -> Number:
    """Delay [s] of ethanol and air, upper end: 1.005e-9 exp(16582/T) p^-0.859, p in bar.

    800 to 1000 K, 10 to 80 bar, stoichiometric.  Never average the two.  Source: Own fit to NUIGHexane2015.
    """
    bars = np.asarray(p, dtype=float) / 1e5
    return 1.005e-9 * np.exp(16582.0 / np.asarray(T, dtype=float)) * bars**-0.859


def delay_integral(solved: Cycle, delay: Callable[[np.ndarray, np.ndarray], Number]) -> np.ndarray:
    """Livengood-Wu integral of dt/delay(p, T) over the end gas from intake close to the counted burnt share.

    Knock where it reaches 1.  Shape of the conditions.
    """
    upto = slice(0, solved.end + 1)
    rate = 1.0 / delay(solved.p[..., upto], solved.T_unburnt[..., upto])
    turn = np.diff(solved.angle[..., upto], axis=-1)
    return np.sum(0.5 * (rate[..., 1:] + rate[..., :-1]) * turn, axis=-1) / (360.0 * solved.n)


def octane_for(integral: Number, octane: Number) -> Number:
    """Octane number at which the integral becomes 1, from its value at `octane`: ON I^(1/3.402), exact for the law."""
    require("integral", integral, low=0.0)
    return np.asarray(octane, dtype=float) * np.asarray(integral, dtype=float) ** (1.0 / OCTANE_POWER)


# ---------------------------------------------------------------- an engine's conditions


@dataclass(frozen=True)
class Conditions:
    """How one engine on one fuel turns plenum state into a burnt cycle.

    `evaporation` share of latent heat that comes from the charge; `wall_pickup` share of the way to `intake_wall` [K];
    `residual` share of burnt gas at `residual_temperature` [K]; `ram` intake-close over plenum pressure;
    `evaporation_drop` [K] replaces what fuel and share give; `counted` burnt share watched.  Fuel that enters in the
    port (`saturates`) evaporates until intake close to its dew point at most.
    """

    chamber: Chamber
    fuel: Fuel
    lambda_: float
    evaporation: float = EVAPORATION["port"]
    wall_pickup: float = WALL_PICKUP
    intake_wall: float = INTAKE_WALL
    residual: float = RESIDUAL_SHARE
    residual_temperature: float = RESIDUAL_TEMPERATURE
    ram: float = 1.0
    evaporation_drop: float | None = None
    counted: float = 0.85
    saturates: bool = False

    @property
    def gas(self) -> EndGas:
        """The end gas: air, all fuel as vapour, burnt gas."""
        return end_gas(self.fuel, self.lambda_, self.residual)

    def closing_temperature(self, T_plenum: Number, p_plenum: Number) -> Number:
        """Charge at intake close [K] for plenum temperature [K] and pressure [Pa absolute].

        (1 - x_r)[T_m + eps (T_w - T_m) - dT_evap] + x_r T_r: a kelvin at the plenum is 0.75 to 0.88 K there.
        """
        T = np.asarray(T_plenum, dtype=float)
        require("plenum temperature", T, low=200.0, high=600.0)
        drop: Number = self.evaporation_drop
        if drop is None and self.saturates:
            warmed = T + self.wall_pickup * (self.intake_wall - T)  # it goes on evaporating while the cylinder fills
            drop = saturated_drop(self.fuel, self.lambda_, self.evaporation, warmed, p_plenum)
        elif drop is None:
            drop = float(evaporation_drop(self.fuel, self.lambda_, self.evaporation))
        fresh = T + self.wall_pickup * (self.intake_wall - T) - drop
        return (1.0 - self.residual) * fresh + self.residual * self.residual_temperature

    def trapped(self, p_plenum: Number, T_plenum: Number) -> Number:
        """Fresh charge with its fuel in the chamber at intake close [kg]."""
        chamber = self.chamber
        V = chamber.volume(chamber.intake_closes)
        T = self.closing_temperature(T_plenum, p_plenum)
        mass = np.asarray(p_plenum, dtype=float) * self.ram * V / (self.gas.R * T)
        return (1.0 - self.residual) * mass

    def start(self, n: Number, p_plenum: Number, T_plenum: Number) -> Start:
        """State at intake close, with the heat of its fuel: min(1, lambda) of the heating value is set free."""
        f = 1.0 / (self.lambda_ * self.fuel.stoichiometric)
        heat = self.trapped(p_plenum, T_plenum) * f / (1.0 + f) * self.fuel.heating_value * min(1.0, self.lambda_)
        p = np.asarray(p_plenum, dtype=float) * self.ram
        return Start(p, self.closing_temperature(T_plenum, p_plenum), heat, n)

    def solve(
        self,
        n: Number,
        p_plenum: Number,
        T_plenum: Number,
        burn: Burn,
        *,
        whole: bool = True,
        steps: tuple[int, ...] = STEPS,
    ) -> Cycle:
        """The cycle at `n` [rev/s], plenum `p_plenum` [Pa absolute] and `T_plenum` [K]; arrays broadcast."""
        watched = replace(burn, counted=self.counted)
        return cycle(self.chamber, self.gas, self.start(n, p_plenum, T_plenum), watched, whole=whole, steps=steps)

    def octane_needed(self, n: Number, p_plenum: Number, T_plenum: Number, burn: Burn, factor: float = 1.0) -> Number:
        """Octane number at which the end gas just does not ignite; `factor` multiplies every delay (calibration)."""
        solved = self.solve(n, p_plenum, T_plenum, burn, whole=False)
        return octane_for(delay_integral(solved, lambda p, T: factor * gasoline_delay(p, T, 100.0)), 100.0)

    def needed_by_spark(
        self, n: Number, p_plenum: Number, T_plenum: Number, duration: Number, factor: float = 1.0
    ) -> np.ndarray:
        """Octane need for each of `SPARKS` (last axis), latest first; conditions broadcast to one shape."""
        n, p, T, d = (a[..., None] for a in np.broadcast_arrays(n, p_plenum, T_plenum, np.asarray(duration, float)))
        solved = self.solve(n, p, T, Burn(SPARKS, d), whole=False, steps=COARSE_STEPS)
        return octane_for(delay_integral(solved, lambda p, T: factor * gasoline_delay(p, T, 100.0)), 100.0)


def calibration_factor(integral: float) -> float:
    """Factor on every delay that puts a known knock-limited point, whose integral is `integral`, on 1."""
    require("integral", integral, low=0.0, open_low=True)
    return float(integral)


def limited_spark(needed: np.ndarray, octane: Number) -> np.ndarray:
    """Knock-limited spark [deg before], from the octane need at `SPARKS` (last axis): searched from the latest.

    The first spark at which the need passes `octane`, linear between.  The need peaks and falls again beyond best
    torque, because the end gas then burns early; what comes after is not looked at.  -inf where even the latest
    spark asks for more, +inf where none does.
    """
    octane = np.broadcast_to(np.asarray(octane, dtype=float), needed.shape[:-1])
    over = needed > octane[..., None]
    first = np.argmax(over, axis=-1)
    before = np.maximum(first - 1, 0)
    low = np.take_along_axis(needed, before[..., None], axis=-1)[..., 0]
    high = np.take_along_axis(needed, np.maximum(first, 1)[..., None], axis=-1)[..., 0]
    rise = np.where(high > low, high - low, 1.0)
    found = SPARKS[before] + (SPARKS[1] - SPARKS[0]) * (octane - low) / rise
    found = np.where(over[..., 0], -np.inf, found)
    return np.where(over.any(axis=-1), found, np.inf)


@dataclass(frozen=True)
class LimitedPower:
    """Knock-limited work against charge temperature; arrays over `T` [K].

    `best_work` [J] of one chamber's closed cycle at best torque; `spark` [deg before] that knock allows, at most that
    of best torque; `spark_limited` and `boost_limited` [J]: same boost with spark taken back, same spark with boost
    taken off; `boost` [Pa absolute] of the latter.
    """

    T: np.ndarray
    best_work: np.ndarray
    spark: np.ndarray
    spark_limited: np.ndarray
    boost_limited: np.ndarray
    boost: np.ndarray


def limited_power(
    conditions: Conditions, n: float, p_plenum: float, T_plenum: np.ndarray, duration: float, octane: float
) -> LimitedPower:
    """What charge temperature costs where knock rules, at `n` [rev/s], `p_plenum` [Pa absolute], on `octane`.

    Boost-limited: the spark of the coldest `T_plenum` [K], and at every temperature the plenum pressure that just does
    not knock with it.  Work is that of the cycle at best phasing times 1 - `retard_loss`.  `octane` is the fuel's as
    the calibrated model sees it.  -inf spark gives NaN work.
    """
    T = np.asarray(T_plenum, dtype=float)
    best = float(best_spark(duration))
    spark = np.minimum(best, limited_spark(conditions.needed_by_spark(n, p_plenum, T, duration), octane))
    work = _work(conditions, n, p_plenum, T, Burn(best, duration))
    fixed = float(spark[int(np.argmin(T))])
    kept = 1.0 - _loss(best - spark)
    boost = limited_pressure(conditions, n, T, Burn(fixed, duration), octane, p_plenum)
    boost_work = _work(conditions, n, boost, T, Burn(best, duration)) * (1.0 - _loss(np.array(best - fixed)))
    return LimitedPower(T, work, spark, work * kept, boost_work, boost)


def _work(conditions: Conditions, n: Number, p: Number, T: Number, burn: Burn) -> np.ndarray:
    return np.asarray(conditions.solve(n, p, T, burn).work)


def _loss(later: np.ndarray) -> np.ndarray:
    finite = np.isfinite(later)
    return np.where(finite, retard_loss(np.where(finite, later, 0.0)), np.nan)


def limited_pressure(
    conditions: Conditions, n: Number, T_plenum: Number, burn: Burn, octane: Number, guess: Number, factor: float = 1.0
) -> np.ndarray:
    """Plenum pressure [Pa absolute, 30 to 800 kPa] at which the octane need meets `octane`; secants in ln p."""
    return _solved(
        lambda x: conditions.octane_needed(n, np.exp(x), T_plenum, burn, factor) - octane,
        np.log(np.asarray(guess, dtype=float) * np.ones(np.shape(T_plenum))),
        (np.log(3e4), np.log(8e5)),
        0.05,
    )


def limited_temperature(
    conditions: Conditions, n: Number, p_plenum: Number, burn: Burn, octane: Number, guess: Number, factor: float = 1.0
) -> np.ndarray:
    """Plenum temperature [K, 210 to 590] at which the octane need meets `octane`; NaN where it lies beyond."""
    T = _solved(
        lambda x: conditions.octane_needed(n, p_plenum, x, burn, factor) - octane,
        np.asarray(guess, dtype=float) * np.ones(np.shape(p_plenum)),
        (210.0, 590.0),
        10.0,
        exponent=False,
    )
    return np.where((T > 210.5) & (T < 589.5), T, np.nan)


def _solved(
    gap: Callable[[np.ndarray], Number],
    x: np.ndarray,
    ends: tuple[float, float],
    step: float,
    *,
    exponent: bool = True,
) -> np.ndarray:
    """Root of a smooth rising function for every element: secants kept within `ends`; exp of it if `exponent`."""
    old, old_gap = x, np.asarray(gap(x))
    new = np.clip(x + np.where(old_gap < 0.0, step, -step), *ends)
    for _ in range(12):
        new_gap = np.asarray(gap(new))
        if np.max(np.abs(new_gap), initial=0.0) < 1e-4:
            break
        run = new_gap - old_gap
        slope = np.where(np.abs(run) > 1e-12, run / np.where(new != old, new - old, 1.0), np.nan)
        move = np.where(np.isfinite(slope) & (slope > 0.0), -new_gap / np.where(slope > 0.0, slope, 1.0), 0.0)
        old, old_gap, new = new, new_gap, np.clip(new + np.clip(move, -12.0 * step, 12.0 * step), *ends)
    return np.exp(new) if exponent else np.asarray(new)


def phasing(spark: Number, duration: Number) -> Number:
    """How much later than best torque half of the burn sits [deg]; below 0 earlier."""
    half = wiebe_place(0.5) * np.asarray(duration, dtype=float) - np.asarray(spark, dtype=float)
    return half - BEST_PHASING
