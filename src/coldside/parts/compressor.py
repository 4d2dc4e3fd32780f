"""Compressors: specification, maps, outlet state (variable cp), margins.

What is here: the generic map family, and `Compressor`, which finds efficiency, speed and margins from
flow and pressure ratio.  What is not: the reader of map files (`compressor_map.py`) and the losses
around it that set its pressure ratio (`plant/steady.py`).

A map is held in similarity form: at every corrected speed n the position on the speed line is
beta = (phi - phi_surge)/(phi_choke - phi_surge), with phi = flow/n, psi = (PR^k - 1)/n^2 and efficiency
as functions of (n, beta).  In these variables speed lines nearly collapse onto one another, so that
what lies between them is good to 0.3 % in flow and 0.6 % in pressure ratio (own check of the notes).
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from coldside.errors import BadInput, require
from coldside.media import air
from coldside.media.compiled import worth_compiling
from coldside.parts.compressor_map import HEAD_EXPONENT, MapData, SpeedLine, read_map
from coldside.parts.curves import hermite, knot_slopes
from coldside.parts.engine import RPM
from coldside.parts.fields import given

REFERENCE_TEMPERATURE = 298.15  # K, of the generic family and of a constant efficiency
REFERENCE_PRESSURE = 1e5  # Pa
IDLE_RATIO = 1.02  # at or below this pressure ratio the wheel only windmills
IDLE_FLOW = 0.02  # nor does it work below this share of the map's largest flow
SLOWEST = 1e-6  # of the table's first speed: stands for a wheel at rest
EDGE = 5e-4  # relative distance over an edge that still counts as on the map (rounding of the inverse table)
FAMILY_WORK = 0.65  # work coefficient of the generic family at its design point
FAMILY_SPEEDS = (0.4, 1.2)  # shares of design speed over which the generic family holds


@dataclass(frozen=True, kw_only=True)
class CompressorSpec:
    """`kind = "compressor"`: give a map file, or a design point for the generic family, or an efficiency."""

    map: str | None = given(
        "file",
        'map as CSV: on top # lines for "reference_temperature" and "reference_pressure", then columns "speed_rpm" '
        '(or "tip_speed_m_s"), "corrected_flow_kg_s" (or "corrected_flow_lb_min"), "pressure_ratio", "efficiency"',
        default=None,
    )
    design_flow: float | None = given(
        "mass_flow",
        "corrected flow of one compressor at its design point, amid its map (generic family): about three quarters of "
        "the most that it can pass at that pressure ratio, which is what makers like to name",
        default=None,
        low=0.005,
        high=5.0,
    )
    design_pressure_ratio: float | None = given(
        "number", "pressure ratio at the design point (generic family)", default=None, low=1.2, high=6.0
    )
    design_speed: float | None = given(
        "engine_speed",
        "shaft speed at the design point (generic family)",
        default=None,
        low=5000 * RPM,
        high=400000 * RPM,
        when_absent="shaft speed shown as a share of design speed",
    )
    peak_efficiency: float = given(
        "share", "best efficiency of the generic family", default=0.76, sd=0.02, low=0.4, high=0.9
    )
    efficiency: float | None = given(
        "share", "constant isentropic efficiency, total to total, instead of a map", default=None, low=0.3, high=0.95
    )
    speed_limit: float | None = given(
        "engine_speed",
        "highest allowed shaft speed",
        default=None,
        low=5000 * RPM,
        high=400000 * RPM,
        when_absent="the map's highest speed",
    )
    count: int = given("count", "identical compressors in parallel", default=1, low=1, high=4)
    ratio_share: float | None = given(
        "share",
        "of two stages, the first one's share in the logarithm of the whole pressure ratio",
        default=None,
        low=0.1,
        high=0.9,
        when_absent="50 %, which is equal ratios, if another compressor follows",
    )
    turbine_efficiency: float = given(
        "share", "efficiency of its turbine, bearings included", default=0.62, sd=0.04, low=0.2, high=0.85
    )
    turbine_in: float | None = given(
        "temperature",
        "exhaust before its turbine at full load",
        default=None,
        low=673.15,
        high=1473.15,
        when_absent="hot as the trade finds it: 937 degC on gasoline, 862 degC on E85 and alcohols, 952 degC in a "
        "rotary; each +- 40 K",
    )
    turbine_back_pressure: float = given(
        "pressure_difference",
        "loss of the exhaust behind its turbine at the engine's highest air flow; it goes with the square of flow",
        default=14e3,
        sd=6e3,
        low=0.0,
        high=2e5,
    )

    sides = ("charge",)


# ---------------------------------------------------------------------------------------- generic family


def design_tip_speed(spec: CompressorSpec) -> float:
    """Tip speed of the generic family at its design point [m/s], from the work it must do there."""
    assert spec.design_pressure_ratio is not None
    head = spec.design_pressure_ratio**HEAD_EXPONENT - 1
    return float(np.sqrt(1004.5 * REFERENCE_TEMPERATURE * head / (_family_shape(spec, 1.0, 1.0)[1] * FAMILY_WORK)))


def _family_edges(n: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """Relative flow coefficient at surge and at choke, at the share `n` of design speed."""
    n = np.asarray(n, dtype=float)
    return 0.45 + 0.15 * n**2, 1.90 - 0.60 * n


def _family_shape(spec: CompressorSpec, n: np.ndarray | float, f: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """(Work coefficient over its design value, efficiency) at speed share n and relative flow coefficient f."""
    n, f = np.asarray(n, dtype=float), np.asarray(f, dtype=float)
    f_s, f_c = _family_edges(n)
    f_p = (f_s + f_c) / 2
    peak = spec.peak_efficiency * (1 - 0.6 * (n - 0.85) ** 2)
    left, right = 1 - 0.06 * ((f_p - f) / (f_p - f_s)) ** 2, 1 - 0.55 * ((f - f_p) / (f_c - f_p)) ** 3
    return 1 + 0.6 * (1 - f), peak * np.where(f < f_p, left, right)


def family_point(
    spec: CompressorSpec, n: np.ndarray | float, beta: np.ndarray | float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Corrected flow [kg/s], pressure ratio and efficiency of the generic family.

    `n` is the share of design speed, 0.4 to 1.2, `beta` 0 at surge to 1 at choke.  An own, invented
    shape (no maker's data): backswept work line, efficiency with one peak; illustrative, so measured
    maps are better.  Reference 298.15 K and 100 kPa.  Raises `BadInput` out of range.
    """
    require("speed share", n, low=FAMILY_SPEEDS[0], high=FAMILY_SPEEDS[1])
    require("beta", beta, low=0.0, high=1.0)
    if spec.design_flow is None or spec.design_pressure_ratio is None:
        raise BadInput("the generic family needs design_flow and design_pressure_ratio")
    f_s, f_c = _family_edges(n)
    f = f_s + np.asarray(beta, dtype=float) * (f_c - f_s)
    work, efficiency = _family_shape(spec, n, f)
    speed = np.asarray(n, dtype=float) * design_tip_speed(spec)
    head = efficiency * FAMILY_WORK * work * speed**2 / (1004.5 * REFERENCE_TEMPERATURE)
    return f * n * spec.design_flow, (1 + head) ** (1 / HEAD_EXPONENT), efficiency


# ------------------------------------------------------------------------------------------ the compressor


@dataclass(frozen=True, eq=False)
class Operating:
    """Where a compressor works; arrays of the shape asked for.

    `corrected_speed` and `shaft_speed` are rev/s, or shares of design speed when `design_speed` is not
    known.  Margins follow the definitions: surge 1 - m_surge/m and choke 1 - m/m_choke at constant speed,
    speed 1 - speed/limit; negative beyond an edge.  All of these are None for a constant efficiency, and
    the surge and choke margins are NaN where `idle`.  Over an edge the efficiency is that of the edge and
    the flag is set; `below_speed` means the lowest line was carried down by the fan law.
    """

    efficiency: np.ndarray
    idle: np.ndarray
    beyond_surge: np.ndarray
    beyond_choke: np.ndarray
    above_speed: np.ndarray
    below_speed: np.ndarray
    corrected_speed: np.ndarray | None = None
    shaft_speed: np.ndarray | None = None
    surge_margin: np.ndarray | None = None
    choke_margin: np.ndarray | None = None
    speed_margin: np.ndarray | None = None

    @property
    def off_map(self) -> np.ndarray:
        """True where the point lies over any edge of the map and the compressor is at work."""
        return self.beyond_surge | self.beyond_choke | self.above_speed | self.below_speed


@dataclass(frozen=True, eq=False)
class SpeedTable:
    """A map on a fine grid: speeds (N,), phi at both edges (N,), root of psi and efficiency (N, B)."""

    speed: np.ndarray
    phi_surge: np.ndarray
    phi_choke: np.ndarray
    root_psi: np.ndarray
    efficiency: np.ndarray
    lowest: float
    highest: float


@dataclass(frozen=True, eq=False)
class Compressor:
    """One compressor (of `count` in parallel), ready to be asked; made by `compressor`.

    Picklable.  `speed_known` is False when speeds are shares of design speed; `speed_limit` [rev/s] is
    the user's, None when the map's highest corrected speed counts.
    """

    reference_temperature: float
    reference_pressure: float
    count: int
    constant: float | None = None
    table: SpeedTable | None = None
    speed_known: bool = True
    speed_limit: float | None = None
    notes: tuple[str, ...] = field(default=())

    def evaluate(
        self,
        corrected_flow: np.ndarray | float,
        pressure_ratio: np.ndarray | float,
        inlet_temperature: np.ndarray | float | None = None,
        humidity_ratio: np.ndarray | float = 0.0,
    ) -> Operating:
        """Efficiency, speed and margins at one compressor's `corrected_flow` [kg/s] and total pressure ratio.

        `inlet_temperature` [K] turns corrected into shaft speed (None: the reference temperature).  At a
        pressure ratio of 1.02 or less, or next to no flow, the wheel windmills: the nearest valid
        point's efficiency is given, `idle` is set and no edge is reported.  Raises `BadInput` unless both
        are finite and flow is not negative.
        """
        require("corrected flow", corrected_flow, low=0.0)
        require("pressure ratio", pressure_ratio, low=0.0, open_low=True)
        m, ratio = np.broadcast_arrays(np.asarray(corrected_flow, dtype=float), np.asarray(pressure_ratio, dtype=float))
        if self.table is None:
            assert self.constant is not None
            no = np.zeros(m.shape, dtype=bool)
            return Operating(np.full(m.shape, self.constant), ratio <= IDLE_RATIO, no, no, no, no)
        table = self.table
        least = IDLE_FLOW * float(np.interp(table.highest, table.speed, table.speed * table.phi_choke))
        idle = (ratio <= IDLE_RATIO) | (m <= least)
        flow = np.maximum(m, least)
        root = np.sqrt(np.maximum(ratio, IDLE_RATIO) ** HEAD_EXPONENT - 1)
        speed, choked_by = _speed_at(table, flow.ravel(), root.ravel())
        speed, choked_by = speed.reshape(m.shape), choked_by.reshape(m.shape)
        return self._operating(flow, speed, choked_by, idle, (inlet_temperature, humidity_ratio))

    def _operating(
        self,
        flow: np.ndarray,
        speed: np.ndarray,
        choked_by: np.ndarray,
        idle: np.ndarray,
        inlet: tuple[np.ndarray | float | None, np.ndarray | float],
    ) -> Operating:
        """Everything that follows from the solved speed; `choked_by` is m/m_choke - 1 where over it, else 0."""
        table = self.table
        assert table is not None
        i, s = _cell(table.speed, speed)
        surge = speed * _between(table.phi_surge, i, s)
        choke = speed * _between(table.phi_choke, i, s)
        beta = np.clip((flow - surge) / (choke - surge), 0.0, 1.0)
        T1, W = inlet
        T1 = self.reference_temperature if T1 is None else T1
        shaft = speed * np.sqrt(np.asarray(T1, dtype=float) / self.reference_temperature * _gas_ratio(W))
        used = speed / table.highest if self.speed_limit is None else shaft / self.speed_limit
        choke_margin = np.where(choked_by > 0, -choked_by, np.maximum(1 - flow / choke, 0.0))
        return Operating(
            efficiency=_on_line(table.efficiency, i, s, beta),
            idle=idle,
            beyond_surge=~idle & (flow < surge * (1 - EDGE)),
            beyond_choke=~idle & (choked_by > EDGE),
            above_speed=~idle & (speed > table.highest * (1 + EDGE)),
            below_speed=~idle & (speed < table.lowest * (1 - EDGE)),
            corrected_speed=speed,
            shaft_speed=shaft,
            surge_margin=np.where(idle, np.nan, 1 - surge / flow),
            choke_margin=np.where(idle, np.nan, choke_margin),
            speed_margin=1 - used,
        )

    def at(self, speed: np.ndarray | float, beta: np.ndarray | float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Corrected flow [kg/s], pressure ratio and efficiency at a corrected speed and beta (0 surge, 1 choke).

        Speed as in `Operating`; `BadInput` beyond the map's lowest and highest speed, or without a map.
        """
        if self.table is None:
            raise BadInput("a compressor of constant efficiency has no speed lines")
        require("corrected speed", speed, low=self.table.lowest * (1 - 1e-9), high=self.table.highest * (1 + 1e-9))
        require("beta", beta, low=0.0, high=1.0)
        n, b = np.broadcast_arrays(np.asarray(speed, dtype=float), np.asarray(beta, dtype=float))
        i, s = _cell(self.table.speed, n)
        surge, choke = _between(self.table.phi_surge, i, s), _between(self.table.phi_choke, i, s)
        head = (n * _on_line(self.table.root_psi, i, s, b)) ** 2
        ratio = (1 + head) ** (1 / HEAD_EXPONENT)
        return n * (surge + b * (choke - surge)), ratio, _on_line(self.table.efficiency, i, s, b)

    def edges(self, speed: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
        """Corrected flow [kg/s] at surge and at choke on the line of a corrected `speed`."""
        n, i, s = self._line(speed)
        assert self.table is not None
        return n * _between(self.table.phi_surge, i, s), n * _between(self.table.phi_choke, i, s)

    def line_ratio(self, speed: np.ndarray | float, flow: np.ndarray | float) -> np.ndarray:
        """Pressure ratio at a corrected `flow` [kg/s] on the line of a corrected `speed`.

        Level left of surge; right of choke that of the choke end, which no flow passes.
        """
        n, i, s = self._line(speed)
        assert self.table is not None
        surge, choke = self.edges(speed)
        beta = np.clip((np.asarray(flow, dtype=float) - surge) / (choke - surge), 0.0, 1.0)
        return (1 + (n * _on_line(self.table.root_psi, i, s, beta)) ** 2) ** (1 / HEAD_EXPONENT)

    def line_flow(self, speed: np.ndarray | float, pressure_ratio: np.ndarray | float) -> np.ndarray:
        """Corrected flow [kg/s] at which the line of a corrected `speed` has this pressure ratio.

        Flow at surge where it has none so high, at choke where none so low.
        """
        n, i, s = self._line(speed)
        assert self.table is not None
        head = np.asarray(pressure_ratio, dtype=float) ** HEAD_EXPONENT - 1
        root = np.sqrt(np.maximum(head, 0.0)) / n

        def at(node: np.ndarray) -> np.ndarray:
            """The line's height at a node of beta, between the speeds of the grid."""
            lower = values[i, node]
            return np.asarray(lower + s * (values[i + 1, node] - lower))

        values = self.table.root_psi
        low, high = np.zeros(root.shape, dtype=int), np.full(root.shape, values.shape[1] - 1)
        for _ in range(int(np.ceil(np.log2(values.shape[1])))):  # pressure falls, or hardly rises, along a line
            middle = (low + high) // 2
            able = at(middle) >= root
            low, high = np.where(able & (middle > low), middle, low), np.where(able, high, np.maximum(middle, low + 1))
        fall = at(low) - at(high)
        share = np.where(fall > 0.0, (at(low) - root) / np.where(fall > 0.0, fall, 1.0), 1.0)
        beta = np.clip((low + share * (high - low)) / (values.shape[1] - 1), 0.0, 1.0)
        surge, choke = self.edges(speed)
        return surge + beta * (choke - surge)

    def on_line(
        self,
        speed: np.ndarray | float,
        flow: np.ndarray | float,
        idle: np.ndarray | bool,
        inlet_temperature: np.ndarray | float | None = None,
        humidity_ratio: np.ndarray | float = 0.0,
    ) -> Operating:
        """Where it works when something else sets its speed: `Operating` at corrected `speed` and `flow`.

        Arguments else as in `evaluate`; `idle` where it moves air past itself.  Raises `BadInput` without a map.
        """
        n, flow, still = np.broadcast_arrays(self._line(speed)[0], np.asarray(flow, dtype=float), np.asarray(idle))
        surge, choke = self.edges(n)
        held = np.maximum(flow, IDLE_FLOW * surge)
        over = np.maximum(held / choke - 1, 0.0)
        return self._operating(held, n, over, still, (inlet_temperature, humidity_ratio))

    def _line(self, speed: np.ndarray | float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """A corrected speed up to the table's last, the cell that holds it and the share of the way through that.

        Below the table's first speed its line is carried down by the fan law, as it is above that.
        """
        if self.table is None:
            raise BadInput("a compressor of constant efficiency has no speed lines")
        require("corrected speed", speed, low=0.0)
        n = np.clip(np.asarray(speed, dtype=float), SLOWEST * self.table.speed[0], self.table.speed[-1])
        return n, *_cell(self.table.speed, n)


def compressor(spec: CompressorSpec, folder: str = "") -> Compressor:
    """The compressor of a specification; `folder` is where a relative map path starts.

    Exactly one of `map`, `design_flow` with `design_pressure_ratio`, or `efficiency` must be given.
    Raises `BadInput` otherwise, and on a bad map file.
    """
    family = spec.design_flow is not None or spec.design_pressure_ratio is not None
    forms = [spec.map is not None, family, spec.efficiency is not None]
    if sum(forms) != 1:
        raise BadInput(
            "a compressor needs one of: map (a CSV file), design_flow with design_pressure_ratio (generic family),"
            f" or efficiency (constant); {'none' if not any(forms) else 'more than one'} of them is given"
        )
    if spec.efficiency is not None:
        _refuse_limit(spec)
        return Compressor(REFERENCE_TEMPERATURE, REFERENCE_PRESSURE, spec.count, constant=spec.efficiency)
    if spec.map is not None:
        path = os.path.join(folder, spec.map)
        data = read_map(path)
        table = _table_of_map(data, path)
        return Compressor(
            data.reference_temperature, data.reference_pressure, spec.count, table=table, speed_limit=spec.speed_limit
        )
    for name in ("design_flow", "design_pressure_ratio"):
        if getattr(spec, name) is None:
            raise BadInput(f"the generic family needs {name} too", key=name)
    if spec.design_speed is None:
        _refuse_limit(spec)
    return Compressor(
        REFERENCE_TEMPERATURE,
        REFERENCE_PRESSURE,
        spec.count,
        table=_table_of_family(spec),
        speed_known=spec.design_speed is not None,
        speed_limit=spec.speed_limit,
        notes=("compressor map of the generic family, reference 298.15 K and 100 kPa: illustrative, no maker's data",),
    )


def _refuse_limit(spec: CompressorSpec) -> None:
    if spec.speed_limit is not None:
        raise BadInput("a speed limit cannot be checked without design_speed or a map", key="speed_limit")


def _gas_ratio(humidity_ratio: np.ndarray | float) -> np.ndarray:
    """Gas constant of moist over dry air."""
    return np.asarray(air.gas_constant(humidity_ratio), dtype=float) / air.gas_constant(0.0)


def corrected_flow(
    m_dot: np.ndarray | float,
    T1: np.ndarray | float,
    p1: np.ndarray | float,
    machine: Compressor,
    humidity_ratio: np.ndarray | float = 0.0,
) -> np.ndarray:
    """Corrected flow of ONE compressor [kg/s] when `m_dot` [kg/s moist] passes all of `machine.count`.

    m sqrt(T1/T_ref R/R_a)/(p1/p_ref) with inlet total temperature `T1` [K] and pressure `p1` [Pa absolute].
    """
    require("inlet pressure", p1, low=0.0, open_low=True)
    theta = np.asarray(T1, dtype=float) / machine.reference_temperature * _gas_ratio(humidity_ratio)
    delta = np.asarray(p1, dtype=float) / machine.reference_pressure
    return np.asarray(m_dot, dtype=float) / machine.count * np.sqrt(theta) / delta


def outlet_temperature(
    T1: np.ndarray | float,
    pressure_ratio: np.ndarray | float,
    efficiency: np.ndarray | float,
    humidity_ratio: np.ndarray | float = 0.0,
) -> np.ndarray:
    """Outlet total temperature [K] with cp that varies with temperature.

    A pressure ratio below 1 (windmilling wheel) leaves the air as it is.
    """
    return air.compressed_temperature(T1, np.maximum(pressure_ratio, 1.0), efficiency, humidity_ratio)


# ------------------------------------------------------------------------------- tables and their inversion

SPEED_STEP = 0.01  # relative step of the speed grid: the inverse is then good to 1e-4 in pressure ratio
BETA_NODES = 201
Lines = Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]]


def _tabulate(lines: Lines, lowest: float, highest: float) -> SpeedTable:
    """Grid from a twentieth of the lowest to twice the highest speed; beyond both, their lines are held (fan law).

    `lines(n, beta)` gives phi at surge and choke (N,), psi and efficiency (N, B).
    """
    inner = np.geomspace(lowest, highest, max(3, int(np.ceil(np.log(highest / lowest) / SPEED_STEP)) + 1))
    below = np.geomspace(lowest / 20, lowest, int(np.log(20) / SPEED_STEP))[:-1]
    above = np.geomspace(highest, 2 * highest, int(np.log(2) / SPEED_STEP))[1:]
    inner[0], inner[-1] = lowest, highest
    speed = np.concatenate([below, inner, above])
    found = lines(inner, np.linspace(0, 1, BETA_NODES))
    held = np.concatenate([np.zeros(len(below), int), np.arange(len(inner)), np.full(len(above), len(inner) - 1)])
    phi_surge, phi_choke, root_psi, efficiency = (v[held] for v in (found[0], found[1], np.sqrt(found[2]), found[3]))
    return SpeedTable(speed, phi_surge, phi_choke, root_psi, efficiency, lowest, highest)


def _table_of_family(spec: CompressorSpec) -> SpeedTable:
    """The generic family on the grid; speeds are shares of design speed unless that is known.

    Efficiency goes with its peak, and so does the work that the design asks for: flow and head do not know the peak.
    """
    table = _family_at_usual_peak(spec.design_flow, spec.design_pressure_ratio, spec.design_speed)
    usual = CompressorSpec().peak_efficiency
    return replace(table, efficiency=table.efficiency * (spec.peak_efficiency / usual))


@lru_cache(maxsize=32)
def _family_at_usual_peak(flow: float | None, ratio: float | None, speed: float | None) -> SpeedTable:
    spec = CompressorSpec(design_flow=flow, design_pressure_ratio=ratio, design_speed=speed)
    unit = 1.0 if spec.design_speed is None else spec.design_speed

    def lines(speed: np.ndarray, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        n = np.clip(speed / unit, *FAMILY_SPEEDS)
        flow, ratio, efficiency = family_point(spec, n[:, None], beta[None, :])
        psi = (ratio**HEAD_EXPONENT - 1) / speed[:, None] ** 2
        return flow[:, 0] / speed, flow[:, -1] / speed, psi, efficiency

    return _tabulate(lines, FAMILY_SPEEDS[0] * unit, FAMILY_SPEEDS[1] * unit)


def _table_of_map(data: MapData, path: str) -> SpeedTable:
    """A measured map on the grid: monotone cubics along each line, then across lines at constant beta.

    Raises `BadInput` where flow and pressure ratio would not fix the speed (lines that cross).
    """
    known = np.array([line.speed for line in data.lines])
    edges = np.array([[line.flow[0], line.flow[-1]] for line in data.lines]) / known[:, None]

    def lines(speed: np.ndarray, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        shape = np.array([_along(line, beta) for line in data.lines])  # (lines, psi | efficiency, B)
        stacked = np.concatenate([edges, shape.reshape(len(known), -1)], axis=1)
        found = hermite(known, stacked, knot_slopes(known, stacked), speed)[0]
        psi, efficiency = found[:, 2:].reshape(len(speed), 2, len(beta)).swapaxes(0, 1)
        return found[:, 0], found[:, 1], psi, efficiency

    table = _tabulate(lines, float(known[0]), float(known[-1]))
    fault = _first_crossing(table)
    if fault is not None:
        upper = int(np.clip(np.searchsorted(known, fault), 1, len(known) - 1))
        raise BadInput(
            f"the speed lines of {known[upper - 1] / RPM:g} and {known[upper] / RPM:g} rpm cross or meet: at one flow"
            " the faster line must have the higher pressure ratio, and its choke flow must be higher",
            where=path,
        )
    return table


def _along(line: SpeedLine, beta: np.ndarray) -> np.ndarray:
    """psi and efficiency (2, B) of one line at `beta`."""
    own = (line.flow - line.flow[0]) / (line.flow[-1] - line.flow[0])
    psi = (line.pressure_ratio**HEAD_EXPONENT - 1) / line.speed**2
    both = np.column_stack([psi, line.efficiency])
    return hermite(own, both, knot_slopes(own, both), beta)[0].T


def _first_crossing(table: SpeedTable) -> float | None:
    """Speed at which a faster line stops giving more pressure at the same flow; None for a sound map."""
    beta = np.linspace(0, 1, 41)
    n, fall = table.speed[:-1], table.phi_choke - table.phi_surge
    if np.any(fall <= 0):
        return float(table.speed[int(np.argmax(fall <= 0))])
    flow = n[:, None] * (table.phi_surge[:-1, None] + beta * fall[:-1, None])
    own = n[:, None] * _row_at(table.root_psi, np.arange(len(n))[:, None], np.broadcast_to(beta, flow.shape))
    index = np.broadcast_to(np.arange(1, len(table.speed))[:, None], flow.shape)
    bad = (_root_at_node(table, index, flow) <= own).any(axis=1) | (np.diff(table.speed * table.phi_choke) <= 0)
    return float(table.speed[int(np.argmax(bad)) + 1]) if bad.any() else None


def _speed_at(table: SpeedTable, flow: np.ndarray, root: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Corrected speed at `flow` with sqrt(PR^k - 1) = `root`, and how far beyond choke (m/m_choke - 1, else 0).

    Left of surge the line is carried on level, right of choke it drops: so each flow and head has one
    speed.  At constant flow the head rises with speed, hence bisection over the grid's speeds, then a
    straight line within the cell.
    """
    n = table.speed
    if worth_compiling(flow.size):
        from coldside.parts.speed_lines import speed_at  # Numba: only where a whole run is put together

        found: tuple[np.ndarray, np.ndarray] = speed_at(
            n, table.phi_surge, table.phi_choke, table.root_psi, flow.astype(float), root.astype(float)
        )
        return found
    low, high = np.zeros(flow.shape, dtype=int), np.full(flow.shape, len(n) - 1)
    for _ in range(int(np.ceil(np.log2(len(n))))):
        middle = (low + high) // 2
        able = _root_at_node(table, middle, flow) >= root
        high, low = np.where(able, middle, high), np.where(able, low, np.maximum(middle, low))
    low = np.maximum(high - 1, 0)
    # Where the lower node is choked at this flow the cell starts at the speed that just passes it.
    passing = np.interp(flow, n * table.phi_choke, n)
    start = np.clip(passing, n[low], n[high])
    y_choke = n * table.root_psi[:, -1]
    y_low = np.where(start > n[low], np.interp(start, n, y_choke), _root_at_node(table, low, flow))
    y_high = _root_at_node(table, high, flow)
    gap = np.where(y_high > y_low, y_high - y_low, 1.0)
    speed = start + np.clip((root - y_low) / gap, 0.0, 1.0) * (n[high] - start)
    at_root = np.interp(root, y_choke, n)  # speed whose choke end has this head
    over = flow / np.interp(at_root, n, n * table.phi_choke) - 1
    return speed, np.where(passing > at_root, np.maximum(over, 0.0), 0.0)


def _root_at_node(table: SpeedTable, i: np.ndarray, flow: np.ndarray) -> np.ndarray:
    """sqrt(PR^k - 1) at grid speed `i` and `flow`: level left of surge, -1 (unable) right of choke."""
    n, surge, choke = table.speed[i], table.phi_surge[i], table.phi_choke[i]
    beta = (flow / n - surge) / (choke - surge)
    return np.where(beta > 1 + 1e-12, -1.0, n * _row_at(table.root_psi, i, np.clip(beta, 0.0, 1.0)))


def _row_at(values: np.ndarray, i: np.ndarray, beta: np.ndarray) -> np.ndarray:
    """`values` (N, B) at row `i`, linear in beta."""
    place = beta * (values.shape[1] - 1)
    j = np.minimum(place.astype(int), values.shape[1] - 2)
    return values[i, j] + (place - j) * (values[i, j + 1] - values[i, j])


def _cell(grid: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Index of the cell of `grid` that holds `at`, and the share of the way through it, 0 to 1."""
    i = np.clip(np.searchsorted(grid, at, side="right") - 1, 0, len(grid) - 2)
    return i, np.clip((at - grid[i]) / (grid[i + 1] - grid[i]), 0.0, 1.0)


def _between(values: np.ndarray, i: np.ndarray, s: np.ndarray) -> np.ndarray:
    return values[i] + s * (values[i + 1] - values[i])


def _on_line(values: np.ndarray, i: np.ndarray, s: np.ndarray, beta: np.ndarray) -> np.ndarray:
    """`values` (N, B) at share `s` of cell `i`, linear in beta."""
    lower = _row_at(values, i, beta)
    return lower + s * (_row_at(values, i + 1, beta) - lower)
