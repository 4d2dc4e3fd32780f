"""Superchargers: a compressor that a belt turns at a fixed ratio to the crank.

What is here: specification, what the drive can give at an engine speed, where it works, power off the
crank.  What is not: the losses around it and the plenum pressure that follows (`plant/charge.py`).

Two sorts: one that moves its displacement each turn (its flow is given, its pressure ratio is what the
path behind it makes of that), and a centrifugal one on its map, whose speed is the crank's.  What it
moves beyond the engine's need goes back to its inlet through a bypass, cooled to inlet temperature; below
ambient pressure in the plenum the bypass stands open and it gives no pressure and takes no power.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.errors import BadInput
from coldside.media import air
from coldside.parts.compressor import IDLE_RATIO, Compressor, CompressorSpec, Operating, compressor, corrected_flow
from coldside.parts.engine import RPM
from coldside.parts.fields import given

BELT_LAG = 0.1  # s in which boost follows its target where no lag is given: bypass and plenum alone (own)


@dataclass(frozen=True, kw_only=True)
class SuperchargerSpec:
    """`kind = "supercharger"`: give its displacement, or a map file, or a design point for the generic family."""

    drive_ratio: float = given(
        "number", "turns of its rotors or wheel for one of the crank, belt and own gears together", low=0.3, high=60.0
    )
    displacement: float | None = given(
        "volume", "air that it moves each turn, at its inlet (Roots, screw, scroll)", default=None, low=5e-5, high=2e-2
    )
    volumetric_efficiency: float = given(
        "share", "share of its displacement that does not slip back", default=0.90, sd=0.04, low=0.4, high=1.0
    )
    efficiency: float = given(
        "share",
        "isentropic efficiency, total to total: Roots 50 to 62 %, screw 65 to 75 %",
        default=0.60,
        sd=0.06,
        low=0.3,
        high=0.9,
    )
    map: str | None = given(
        "file",
        'map as CSV (centrifugal): on top # lines for "reference_temperature" and "reference_pressure", then columns '
        '"speed_rpm" (or "tip_speed_m_s"), "corrected_flow_kg_s" (or "corrected_flow_lb_min"), "pressure_ratio",'
        ' "efficiency"',
        default=None,
    )
    design_flow: float | None = given(
        "mass_flow", "corrected flow at its design point (centrifugal)", default=None, low=0.005, high=5.0
    )
    design_pressure_ratio: float | None = given(
        "number", "pressure ratio at the design point (centrifugal)", default=None, low=1.2, high=6.0
    )
    design_speed: float | None = given(
        "engine_speed", "wheel speed at the design point (centrifugal)", default=None, low=5000 * RPM, high=400000 * RPM
    )
    peak_efficiency: float = given(
        "share", "best efficiency of the generic family (centrifugal)", default=0.74, sd=0.03, low=0.4, high=0.9
    )
    mechanical_efficiency: float = given(
        "share",
        "share of the crank's power that reaches the air through belt, gears and bearings",
        default=0.93,
        sd=0.03,
        low=0.5,
        high=1.0,
    )
    speed_limit: float | None = given(
        "engine_speed",
        "highest allowed speed of its rotors or wheel",
        default=None,
        low=1000 * RPM,
        high=400000 * RPM,
        when_absent="the map's highest speed; none for one of displacement",
    )

    sides = ("charge",)


@dataclass(frozen=True, eq=False)
class Supercharger:
    """One supercharger ready to be asked; made by `supercharger`."""

    spec: SuperchargerSpec
    machine: Compressor

    def drawn(
        self, n: np.ndarray, T: np.ndarray, p: np.ndarray, ratio: np.ndarray, humidity_ratio: np.ndarray | float
    ) -> np.ndarray:
        """Air that it moves [kg/s moist] with the crank at `n` [rev/s], at its own pressure ratio.

        `T` [K] and `p` [Pa absolute] at its inlet.
        """
        if self.spec.displacement is not None:
            rho = np.asarray(air.density(T, p, humidity_ratio))
            return self.spec.volumetric_efficiency * rho * self.spec.displacement * self.spec.drive_ratio * n
        one = np.asarray(corrected_flow(1.0, T, p, self.machine, humidity_ratio))
        return self.machine.line_flow(self._corrected_speed(n, T, humidity_ratio), ratio) / one

    def excess(
        self,
        flow: np.ndarray,
        ratio: np.ndarray,
        n: np.ndarray,
        inlet: tuple[np.ndarray, np.ndarray],
        W: np.ndarray | float,
    ) -> np.ndarray:
        """How far what is asked lies beyond the drive, as a logarithm; 0 or below where it can be had.

        `flow` [kg/s moist] at the pressure ratio `ratio` (below 1 where no boost is needed), crank at `n` [rev/s],
        `inlet` its temperature [K] and pressure [Pa absolute].  Rises with both flow and ratio without a jump.
        """
        T, p = inlet
        asked = np.log(np.maximum(ratio, 1e-6))
        with np.errstate(divide="ignore"):
            if self.spec.displacement is not None:
                return np.minimum(asked, np.log(np.maximum(flow, 1e-12) / self.drawn(n, T, p, ratio, W)))
            corrected = corrected_flow(flow, T, p, self.machine, W)
            speed = self._corrected_speed(n, T, W)
            _, choke = self.machine.edges(speed)
            beyond = np.log(np.maximum(corrected, 1e-12) / choke)
        over = asked - np.log(self.machine.line_ratio(speed, corrected))
        return np.minimum(asked, np.maximum(over, beyond))

    def evaluate(
        self,
        flow: np.ndarray,
        ratio: np.ndarray,
        n: np.ndarray,
        inlet: tuple[np.ndarray, np.ndarray],
        W: np.ndarray | float,
    ) -> tuple[np.ndarray, np.ndarray, Operating]:
        """Air through it [kg/s], the same corrected, and where it works; arguments as in `excess`.

        What passes is the engine's `flow` or, in boost, all that it moves.
        """
        T, p = inlet
        idle = ratio <= IDLE_RATIO
        through = np.where(ratio <= 1.0, flow, np.maximum(flow, self.drawn(n, T, p, ratio, W)))
        corrected = np.asarray(corrected_flow(through, T, p, self.machine, W))
        shaft = self.spec.drive_ratio * n
        if self.spec.displacement is None:
            operating = self.machine.on_line(self._corrected_speed(n, T, W), corrected, idle, T, W)
            return through, corrected, operating
        no = np.zeros(flow.shape, dtype=bool)
        limit = self.spec.speed_limit
        operating = Operating(
            np.full(flow.shape, self.spec.efficiency),
            idle,
            no,
            no,
            no,  # without a map there is no edge; a limit shows in its margin
            no,
            shaft_speed=shaft,
            speed_margin=None if limit is None else 1.0 - shaft / limit,
        )
        return through, corrected, operating

    def _corrected_speed(self, n: np.ndarray, T: np.ndarray, humidity_ratio: np.ndarray | float) -> np.ndarray:
        theta = np.asarray(T) / self.machine.reference_temperature
        gas = air.gas_constant(humidity_ratio) / air.gas_constant(0.0)
        return np.asarray(self.spec.drive_ratio * n / np.sqrt(theta * gas))


def supercharger(spec: SuperchargerSpec, folder: str = "") -> Supercharger:
    """The supercharger of a specification; `folder` is where a relative map path starts.

    Exactly one of `displacement`, `map`, or `design_flow` with `design_pressure_ratio` and `design_speed`.
    Raises `BadInput` otherwise, and on a bad map file.
    """
    centrifugal = spec.map is not None or spec.design_flow is not None or spec.design_pressure_ratio is not None
    if centrifugal == (spec.displacement is not None):
        raise BadInput(
            "a supercharger needs one of: displacement, map (a CSV file), or design_flow with design_pressure_ratio"
            f" and design_speed; {'more than one' if centrifugal else 'none'} of them is given"
        )
    if not centrifugal:
        return Supercharger(spec, compressor(CompressorSpec(efficiency=spec.efficiency)))
    if spec.map is None and spec.design_speed is None:
        raise BadInput("a belt sets its wheel's speed, so design_speed is needed too", key="design_speed")
    machine = CompressorSpec(
        map=spec.map,
        design_flow=spec.design_flow,
        design_pressure_ratio=spec.design_pressure_ratio,
        design_speed=spec.design_speed,
        peak_efficiency=spec.peak_efficiency,
        speed_limit=spec.speed_limit,
    )
    return Supercharger(spec, compressor(machine, folder))


def belt_power(shaft_power: np.ndarray | float, spec: SuperchargerSpec) -> np.ndarray:
    """Power off the crank [W] for `shaft_power` [W] given to the air."""
    return np.asarray(shaft_power, dtype=float) / spec.mechanical_efficiency
