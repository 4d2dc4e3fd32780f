"""Chiller: a refrigerant evaporator in a coolant loop, by its capacity curve.

What is here: the specification, the heat it takes from the coolant, and the loss of its passage.  What is
not: the refrigerant circuit.  Its condenser is taken to stand outside the ducts of the build, and what
drives its compressor is not taken off the engine's power.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.media.coolants import Coolant
from coldside.parts.curves import MonotoneCurve
from coldside.parts.fields import bleed_field, given, height_field
from coldside.parts.lines import Loss, ValveSpec, valve_loss
from coldside.parts.pump import Control

FADE = 3.0  # K above freezing over which the capacity comes up from nothing: the evaporator's own guard (own)
APPROACH = 0.7  # the most of (coolant - freezing) that one pass can take from the coolant (own)


@dataclass(frozen=True, kw_only=True)
class ChillerSpec:
    """`kind = "chiller"`."""

    capacity: tuple[tuple[float, float], ...] = given(
        "curve",
        "heat taken from the coolant against the coolant's temperature, running "
        "(less than its label says in a hot car: measure it)",
        curve=("temperature", "power"),
        shape="any",
    )
    control: Control = given(
        "control",
        'always (parked too), schedule, off, or "above 10 degC coolant, 3 K hysteresis"',
        default=Control("always"),
    )
    bore: float = given("length", "inside diameter of its passage", default=0.016, sd_share=0.2, low=2e-3, high=0.1)
    losses: float = given(
        "number",
        "loss coefficient on the velocity head in that bore",
        default=12.0,
        sd_share=0.5,
        low=0.0,
        high=1000.0,
    )
    coolant_volume: float = given("volume", "coolant held", default=4e-4, sd_share=0.4, low=1e-5, high=0.02)
    height: float | None = height_field()
    bleed: bool = bleed_field()

    sides = ("coolant",)


def cooling(
    spec: ChillerSpec,
    command: np.ndarray | float,
    Q: np.ndarray | float,
    T: np.ndarray | float,
    coolant: Coolant,
) -> np.ndarray:
    """Heat taken from the coolant [W] at `command` (0 to 1), volume flow `Q` [m3/s] and coolant at `T` [K].

    The capacity curve (monotone cubic, level beyond its ends, never below 0) times the command, fading to
    nothing over 3 K above the coolant's freezing point, and at most what takes the passing coolant 70 % of
    the way to freezing: none without flow.
    """
    T, Q = np.asarray(T, dtype=float), np.abs(np.asarray(Q, dtype=float))
    curve = MonotoneCurve.through(spec.capacity)
    above = np.maximum(T - coolant.freezing_point, 0.0)
    running = np.maximum(curve(T), 0.0) * np.asarray(command, dtype=float) * np.clip(above / FADE, 0.0, 1.0)
    return np.minimum(running, APPROACH * above * Q * coolant.density(T) * coolant.cp(T))


def chiller_loss(
    spec: ChillerSpec, Q: np.ndarray | float, density: np.ndarray | float, viscosity: np.ndarray | float
) -> Loss:
    """Loss of its passage [Pa] and its derivative by volume flow [Pa s/m3], as a valve's (`lines.valve_loss`)."""
    return valve_loss(ValveSpec(bore=spec.bore, losses=spec.losses), Q, density, viscosity)
