"""The charge side at steady flow: engine demand, pressure losses and one or two compressors, balanced together.

What is here: `ChargeSide.balance`, which for given engine speed, pressure target, plenum and inlet
temperature finds the flow and the states before and after every compressor, for many points at once; a
turbocharger's exhaust pressure and a supercharger's belt power follow.  What is not: the heat the charge
loses on its way (`tables.py`, `kernel.py`); its temperature along the path enters here only through the
density in each part's loss, and is taken as compressor outlet before the first core, plenum after the
last, and midway inside and between.  Between two stages it runs in the same way from the first outlet to
the second inlet.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from coldside.build.model import Build, Path, names_on
from coldside.errors import BadInput, NoAnswer
from coldside.media import air
from coldside.parts import charge_tract, compressor, engine, supercharger, turbine
from coldside.parts.compressor import CompressorSpec
from coldside.parts.exchanger import AirCoreSpec, WaterCoreSpec
from coldside.parts.lines import FilterSpec, PlenumSpec
from coldside.parts.supercharger import Supercharger, SuperchargerSpec
from coldside.plant.flows import Air, charge_split, without_sensors

GRID = 160  # nodes of each stretch's loss against flow; linear between them in sqrt(flow)
ITERATIONS = 60
LARGEST_RATIO = 20.0  # pressure ratio beyond which an input must be wrong
SETTLED = 1e-9  # relative change of the compressor's pressure ratio
UNSETTLED = 1e-6  # the same, above which the last turn is no answer
DRIVEN = 1e-9  # logarithm beyond what a belt drives that counts as rounding
LEAST_PLENUM = 0.2  # of ambient pressure: no supercharger works there, so every drive can
EQUAL_RATIOS = 0.5  # share of the first of two stages in the logarithm of the whole pressure ratio


@dataclass(frozen=True)
class _Stage:
    """A stage while the balance settles."""

    name: str
    inlet: np.ndarray
    inlet_pressure: np.ndarray
    outlet: np.ndarray
    outlet_pressure: np.ndarray
    pressure_ratio: np.ndarray
    efficiency: np.ndarray
    corrected_flow: np.ndarray
    operating: compressor.Operating
    flow: np.ndarray


@dataclass(frozen=True)
class StageState(_Stage):
    """One stage of compression over the points: what enters and leaves it, and where it works.

    `name`; `inlet` and `outlet` temperature [K] and their pressures [Pa absolute]; `corrected_flow` of
    one of its identical compressors; `operating` there; `flow` [kg/s] through it, with what a
    supercharger's bypass takes back; `shaft_power` [W] that all of them give to the air, m (h2 - h1).
    """

    shaft_power: np.ndarray


@dataclass(frozen=True)
class ChargeState:
    """Arrays over points: flow [kg/s moist], pressures [Pa absolute], temperatures [K], margins.

    `compressor_in` is the first stage's inlet, `compressor_out` the last one's outlet and
    `pressure_ratio` what lies between the two; `efficiency`, `corrected_flow` and `operating` are those
    of the stage that has the least room on its map at each point.  `flow` is the engine's; the path up to
    the engine passes `leak` [kg/s] more.  `exhaust_pressure` is the least mean pressure before the turbine
    that drives the compressors: infinite where no pressure is enough, NaN with a belt.  `belt_power` [W]
    is what a supercharger takes off the crank, 0 without one.
    """

    flow: np.ndarray
    compressor_in: np.ndarray
    compressor_in_pressure: np.ndarray
    compressor_out: np.ndarray
    compressor_out_pressure: np.ndarray
    plenum_pressure: np.ndarray
    pressure_ratio: np.ndarray
    efficiency: np.ndarray
    corrected_flow: np.ndarray
    operating: compressor.Operating
    stages: tuple[StageState, ...]
    leak: np.ndarray
    exhaust_pressure: np.ndarray
    belt_power: np.ndarray


@dataclass(frozen=True)
class _Asked:
    """What is asked at every point: engine speed, pressure, plenum temperature, gas drawn by every stage, sense, and
    the water in the air.
    """

    speed: np.ndarray
    goal: np.ndarray
    plenum: np.ndarray
    drawn: list[np.ndarray]
    at_outlet: np.ndarray
    humidity: np.ndarray | float


@dataclass(frozen=True)
class _Settled:
    """A balance: what passes the path, plenum pressure, outlet pressure that this needs, and the stages."""

    through: np.ndarray
    p_plenum: np.ndarray
    p_need: np.ndarray
    stages: list[_Stage]


@dataclass(frozen=True)
class _Stretch:
    """One part or group of the charge path: loss times density against flow, and its place between hot and cold."""

    name: str
    flow: np.ndarray
    loss: np.ndarray
    place: float  # 0: air as it leaves the compressor, 1: as in the plenum

    def at(self, m: np.ndarray) -> np.ndarray:
        return np.interp(np.sqrt(m), np.sqrt(self.flow), self.loss)


class ChargeSide:
    """The charge side of one build in given surroundings, those of the day's middle where they move.

    `peak_flow` [kg/s] is the engine's highest air flow at full load with the plenum 30 K over ambient:
    it stands for bench flows that were not given.
    """

    def __init__(self, build: Build, around: Air, folder: str) -> None:
        self.build, self.around = build, around
        spec = build.engine
        n = np.linspace(0.25 * spec.top_speed, spec.top_speed, 60)
        target = engine.boost_target(spec, n, around.pressure)
        self.peak_flow = float(engine.air_flow(spec, n, target, around.temperature + 30.0, around.humidity_ratio).max())
        path, self.sensors = without_sensors(build.charge, build.parts)
        self.path = path
        places = [
            i
            for i, item in enumerate(path)
            if isinstance(item, str) and isinstance(build.parts[item], (CompressorSpec, SuperchargerSpec))
        ]
        self.stages = tuple(str(path[i]) for i in places)
        self.compressor_name = self.stages[0]
        self.before, self.after = path[: places[0]], path[places[0] + 1 :]
        last = build.parts[self.stages[-1]]
        self.drive = supercharger.supercharger(last, folder) if isinstance(last, SuperchargerSpec) else None
        self.compressors = (
            (self.drive.machine,)
            if self.drive is not None
            else tuple(compressor.compressor(build.parts[name], folder) for name in self.stages)
        )
        self.compressor = self.compressors[0]
        filters = [build.parts[n] for n in names_on(self.before) if isinstance(build.parts[n], FilterSpec)]
        self.bay_share = filters[0].bay_share if filters else 0.0
        top = 2.0 * self.peak_flow
        self._grid = top * np.linspace(0.0, 1.0, GRID) ** 2
        self._before = [self._stretch((item,), 0.0) for item in self.before]
        self._between = self._stretches(path[places[0] + 1 : places[-1]])  # none with one stage
        self._after = self._stretches(path[places[-1] + 1 :])
        self.leak_area = self._leak_area()

    def _stretch(self, path: Path, place: float) -> _Stretch:
        _, _, loss = charge_split(self.build, path, self._grid, self.peak_flow)
        return _Stretch(names_on(path)[0], self._grid, loss, place)

    def _stretches(self, path: Path) -> list[_Stretch]:
        """Parts behind a compressor with their place between hot and cold; a group of cores counts as one core."""
        cooled = [
            any(isinstance(self.build.parts[n], (WaterCoreSpec, AirCoreSpec)) for n in names_on((item,)))
            for item in path
        ]
        count, passed, found = max(sum(cooled), 1), 0, []
        for item, is_core in zip(path, cooled, strict=True):
            found.append(self._stretch((item,), (passed + 0.5 * is_core) / count))
            passed += is_core
        return found

    def _leak_area(self) -> float:
        """Effective area of the leak behind the last compressor, m2, from the plenum's pressure-decay test."""
        behind = [self.build.parts[stretch.name] for stretch in self._after]
        parts = [self.build.parts[name] for name in names_on(self.after)]
        displacement = engine.four_stroke_equivalent(self.build.engine)
        volume = sum(charge_tract.held_volume(part, displacement) or 0.0 for part in parts)
        return sum(charge_tract.tested_leak_area(part, volume) for part in behind if isinstance(part, PlenumSpec))

    def inlet_temperature(
        self, bay: np.ndarray, rise: np.ndarray | None = None, ambient: np.ndarray | None = None
    ) -> np.ndarray:
        """Air reaching the compressor, K: `rise` [K] over ambient where known, else its share of the `bay` [K].

        `ambient` [K] is the moment's; None: that of the surroundings.
        """
        outside = self.around.temperature if ambient is None else ambient
        if rise is None:
            rise = self.bay_share * (bay - outside)
        return np.asarray(outside + rise)

    def balance(
        self,
        speed: np.ndarray,
        target: np.ndarray,
        plenum: np.ndarray,
        inlet: np.ndarray,
        between: np.ndarray | None = None,
        *,
        humidity: np.ndarray | float | None = None,
        settled: float = SETTLED,
    ) -> ChargeState:
        """Find flow and compressor states; arrays of one shape.

        Parameters: engine `speed` [rev/s]; `target` pressure [Pa absolute] where boost_reference says,
        taken as the plenum's below ambient pressure (the throttle sets it there; between 0.95 and 1.05
        of ambient one reading goes over into the other); gas temperature in the `plenum`, at the first
        compressor's `inlet` and, with two stages, `between` them where the second one draws [K].
        Where the target asks for less than the path passes at a pressure ratio of 1, the throttle takes
        the rest (charge note D3).  Two stages share the logarithm of the whole ratio as the first one's
        `ratio_share` says; what lies between them loses at the density there.  `humidity` is the air's humidity
        ratio where it is not that of the surroundings, one figure or one a point.  `settled` is the relative
        change of the pressure ratio at which a turn is the last, 1e-6 at most.

        Raises `ValueError` for two stages without `between`, `NoAnswer` and `BadInput` where there is no balance.
        """
        n, T_pl, T_in = (np.asarray(v, dtype=float) for v in (speed, plenum, inlet))
        goal = np.asarray(target, dtype=float)
        W = self.around.humidity_ratio if humidity is None else humidity
        asked = _Asked(n, goal, T_pl, self._drawn(T_in, between), self._sensed_at_outlet(goal), W)
        found = self._settle(asked, settled)
        if self.drive is not None:
            found = self._within_drive(self.drive, asked, found)
        self._refuse_beyond(asked, found.p_plenum)
        return self._state(asked, found)

    def _settle(self, asked: _Asked, settled: float = SETTLED) -> _Settled:
        """The balance at what is asked, whether or not a belt could drive it."""
        goal, T_pl, drawn = asked.goal, asked.plenum, asked.drawn
        p_plenum = goal.copy()
        T_out = [np.maximum(T, T_pl) for T in drawn]
        total = np.ones_like(goal)
        shifted = np.zeros_like(goal)
        for _ in range(ITERATIONS):
            flow = self._through(asked, p_plenum)
            R = air.gas_constant(asked.humidity)
            p_in = self._inlet_pressure(flow, drawn[0], R)
            p_need = self._outlet_pressure(flow, p_plenum, (T_out[-1], T_pl), R)
            if asked.at_outlet.any():
                # losses hardly move with plenum pressure, so this plain correction contracts by a tenth a turn
                loss, before = p_need - p_plenum, p_plenum
                p_plenum = np.maximum(goal - asked.at_outlet * loss, 0.2 * goal)
                p_need = p_plenum + loss
                shifted = np.abs(p_plenum - before) / p_plenum
            previous, total = (
                total,
                np.maximum(p_need / self._unboosted(flow, p_in, total, (T_out[0], drawn[-1], R)), 1.0),
            )
            if total.max() > LARGEST_RATIO:
                self._refuse(flow, total)
            stages = self._compress(flow, p_in, total, asked)
            T_out = [stage.outlet for stage in stages]
            moved = np.maximum(np.abs(total - previous) / total, shifted)
            if np.all(moved <= settled):
                break
        if float(moved.max()) > UNSETTLED:
            raise NoAnswer(
                f"the charge side does not settle: {self.compressor_name}'s pressure ratio still moves by "
                f"{float(moved.max()):.1e} of itself a turn; check its map and the losses on the charge path"
            )
        return _Settled(flow, p_plenum, p_need, stages)

    def _within_drive(self, drive: Supercharger, asked: _Asked, settled: _Settled) -> _Settled:
        """The same with the plenum no higher than the belt can bring it, at every point."""
        beyond = self._excess(drive, asked, settled) > DRIVEN
        if not beyond.any():
            return settled
        n, T_pl, T_in = asked.speed[beyond], asked.plenum[beyond], asked.drawn[0][beyond]
        sense = np.zeros_like(n)
        W = asked.humidity if np.ndim(asked.humidity) == 0 else np.asarray(asked.humidity)[beyond]

        def excess(p: np.ndarray) -> np.ndarray:
            part = _Asked(n, p, T_pl, [T_in], sense, W)
            return self._excess(drive, part, self._settle(part))

        p = settled.p_plenum.copy()
        p[beyond] = _root(excess, np.full_like(n, LEAST_PLENUM * self.around.pressure), settled.p_plenum[beyond])
        return self._settle(replace(asked, goal=p, at_outlet=np.zeros_like(p)))

    def _excess(self, drive: Supercharger, asked: _Asked, settled: _Settled) -> np.ndarray:
        (stage,) = settled.stages
        inlet = (stage.inlet, stage.inlet_pressure)
        ratio = settled.p_need / stage.inlet_pressure
        return drive.excess(settled.through, ratio, asked.speed, inlet, asked.humidity)

    def _drawn(self, inlet: np.ndarray, between: np.ndarray | None) -> list[np.ndarray]:
        """Gas temperature at every stage's inlet."""
        if len(self.stages) == 1:
            return [inlet]
        if between is None:
            raise ValueError("two stages need the gas temperature between them")
        return [inlet, np.asarray(between, dtype=float)]

    def _ratios(self, total: np.ndarray) -> list[np.ndarray]:
        """Each stage's pressure ratio."""
        if len(self.stages) == 1:
            return [total]
        share = self.build.parts[self.stages[0]].ratio_share
        first = total ** (EQUAL_RATIOS if share is None else share)
        return [first, total / first]

    def _unboosted(
        self, flow: np.ndarray, p_in: np.ndarray, total: np.ndarray, gas: tuple[np.ndarray, np.ndarray, Any]
    ) -> np.ndarray:
        """Outlet pressure of the last stage over the product of all pressure ratios; `gas` as of `_second_inlet`."""
        if len(self.stages) == 1:
            return p_in
        first = self._ratios(total)[0]
        return self._second_inlet(flow, first * p_in, gas) / first

    def _second_inlet(self, flow: np.ndarray, p: np.ndarray, gas: tuple[np.ndarray, np.ndarray, Any]) -> np.ndarray:
        """Pressure at the second stage from that behind the first.

        `gas`: temperature as it enters and leaves what is between [K], gas constant [J/(kg K)].
        """
        enters, leaves, R = gas
        for stretch in self._between:
            p = self._behind(stretch, p, flow, (enters + stretch.place * (leaves - enters), R))
        return p

    def _compress(self, flow: np.ndarray, p_in: np.ndarray, total: np.ndarray, asked: _Asked) -> list[_Stage]:
        """Every stage at its share of the `total` ratio."""
        W, p = asked.humidity, p_in
        found: list[_Stage] = []
        for k, (name, machine, T, ratio) in enumerate(
            zip(self.stages, self.compressors, asked.drawn, self._ratios(total), strict=True)
        ):
            if k:
                p = self._second_inlet(flow, found[0].outlet_pressure, (found[0].outlet, T, air.gas_constant(W)))
            if self.drive is not None:
                through, corrected, operating = self.drive.evaluate(flow, ratio, asked.speed, (T, p), W)
            else:
                through, corrected = flow, compressor.corrected_flow(flow, T, p, machine, W)
                operating = machine.evaluate(corrected, ratio, T, W)
            T_out = air.compressed_temperature(T, ratio, operating.efficiency, W)
            found.append(
                _Stage(name, T, p, T_out, ratio * p, ratio, operating.efficiency, corrected, operating, through)
            )
        return found

    def _state(self, asked: _Asked, settled: _Settled) -> ChargeState:
        W, p_plenum = asked.humidity, settled.p_plenum
        flow = self._engine_flow(asked, p_plenum)
        stages = [
            StageState(
                **vars(s), shaft_power=np.asarray(s.flow * (air.enthalpy(s.outlet, W) - air.enthalpy(s.inlet, W)))
            )
            for s in settled.stages
        ]
        first, last = stages[0], stages[-1]
        ratio, tight = first.pressure_ratio, first
        if len(stages) > 1:
            ratio, tight = last.outlet_pressure / first.inlet_pressure, _tightest(first, last)
        return ChargeState(
            flow,
            first.inlet,
            first.inlet_pressure,
            last.outlet,
            last.outlet_pressure,
            p_plenum,
            ratio,
            tight.efficiency,
            tight.corrected_flow,
            tight.operating,
            tuple(stages),
            self._leak(asked, p_plenum),
            self._exhaust_pressure(flow, p_plenum, stages, W),
            np.zeros_like(flow) if self.drive is None else supercharger.belt_power(last.shaft_power, self.drive.spec),
        )

    def _exhaust_pressure(
        self, flow: np.ndarray, p_plenum: np.ndarray, stages: list[StageState], W: np.ndarray | float
    ) -> np.ndarray:
        """Mean pressure before the first turbine; the last compressor's turbine stands first in the exhaust."""
        if self.drive is not None:
            return np.full_like(flow, np.nan)
        spec, ambient = self.build.engine, self.around.pressure
        specs = [self.build.parts[stage.name] for stage in stages]
        lam = engine.mixture(spec, p_plenum / ambient)
        burnt = flow + engine.fuel_flow(spec, flow, W, lam)
        T = turbine.gas_temperature(spec) if specs[-1].turbine_in is None else specs[-1].turbine_in
        behind = ambient + specs[0].turbine_back_pressure * (flow / self.peak_flow) ** 2
        powers = [stage.shaft_power for stage in reversed(stages)]
        return turbine.pressure_before(powers, burnt, T, behind, [s.turbine_efficiency for s in reversed(specs)])

    def _sensed_at_outlet(self, goal: np.ndarray) -> np.ndarray:
        """Share of the path loss beyond the control: 1 in boost where it senses at the compressor outlet."""
        if self.build.engine.boost_reference != "compressor_out":
            return np.zeros_like(goal)
        s = np.clip((goal / self.around.pressure - 0.95) / 0.10, 0.0, 1.0)
        return np.asarray(s * s * (3.0 - 2.0 * s))

    def _refuse(self, flow: np.ndarray, ratio: np.ndarray) -> None:
        m = flow[int(np.argmax(ratio)) : int(np.argmax(ratio)) + 1]
        stretches = [*self._before, *self._between, *self._after]
        tightest = max(stretches, key=lambda stretch: float(stretch.at(m)[0]))
        raise NoAnswer(
            f"{self.compressor_name} would need a pressure ratio of {float(ratio.max()):.0f}; "
            f"{tightest.name} loses the most on the charge path at {float(m[0]):.3f} kg/s: "
            "check its size, its loss and the flow it was measured at"
        )

    def _refuse_beyond(self, asked: _Asked, p: np.ndarray) -> None:
        """Losses are known up to twice the engine's own peak flow: a session that asks for more is another car's."""
        n = asked.speed
        flow = engine.air_flow(self.build.engine, n, p, asked.plenum, asked.humidity)
        if flow.size and float(flow.max()) > self._grid[-1] * (1.0 + 1e-9):
            k = int(np.argmax(flow))
            raise NoAnswer(
                f"the session asks for {flow.flat[k]:.3f} kg/s of air ({n.flat[k] / engine.RPM:.0f} rpm at "
                f"{p.flat[k] / 1e3:.0f} kPa absolute), over twice the {self.peak_flow:.3f} kg/s of this engine at its "
                "own boost and top speed: check engine.boost, engine.top_speed, or whose samples are replayed"
            )

    def _engine_flow(self, asked: _Asked, p: np.ndarray) -> np.ndarray:
        flow = engine.air_flow(self.build.engine, asked.speed, p, asked.plenum, asked.humidity)
        return np.asarray(np.minimum(flow, self._grid[-1]))

    def _leak(self, asked: _Asked, p: np.ndarray) -> np.ndarray:
        if self.leak_area == 0.0:
            return np.zeros_like(p)
        return charge_tract.leak_flow(self.leak_area, p, asked.plenum, self.around.pressure, asked.humidity)

    def _through(self, asked: _Asked, p: np.ndarray) -> np.ndarray:
        """Flow through the path: what the engine takes and what leaks, the leak taken at plenum state."""
        return self._engine_flow(asked, p) + self._leak(asked, p)

    def _inlet_pressure(self, flow: np.ndarray, T: np.ndarray, R: np.ndarray | float) -> np.ndarray:
        """Pressure at the compressor inlet: losses at the density midway through each part."""
        p = np.full_like(flow, self.around.pressure)
        for stretch in self._before:
            p = self._behind(stretch, p, flow, (T, R))
        return p

    def _behind(self, stretch: _Stretch, p: np.ndarray, flow: np.ndarray, gas: tuple[np.ndarray, Any]) -> np.ndarray:
        """Pressure behind a part that `flow` enters at `p` [Pa absolute]; its loss is that at the mean density.

        `gas` is its temperature there [K] and its gas constant [J/(kg K)].
        """
        T, R = gas
        room = p * p - 2.0 * stretch.at(flow) * R * T
        if np.any(room <= 0.0):
            raise BadInput(
                f"{stretch.name} cannot pass {float(flow.max()):.3f} kg/s: its loss would use up the air pressure; "
                "check its loss and bench_flow",
                key=f"parts.{stretch.name}",
            )
        return np.asarray(np.sqrt(room))

    def _outlet_pressure(
        self, flow: np.ndarray, p_plenum: np.ndarray, gas: tuple[np.ndarray, np.ndarray], R: np.ndarray | float
    ) -> np.ndarray:
        """Pressure at the compressor outlet that leaves `p_plenum` behind all losses.

        `gas` is the temperature [K] at the outlet and in the plenum, `R` its gas constant.
        """
        p = p_plenum
        T_out, T_pl = gas
        for stretch in reversed(self._after):
            T = T_out + stretch.place * (T_pl - T_out)
            p = np.sqrt(p * p + 2.0 * stretch.at(flow) * R * T)
        return p


def _tightest(one: StageState, two: StageState) -> StageState:
    """At every point the stage with the least room on its map; one without a map has room for ever."""
    second = _room(two) < _room(one)
    values: dict[str, Any] = {
        item.name: _choose(second, getattr(one.operating, item.name), getattr(two.operating, item.name))
        for item in fields(compressor.Operating)
    }
    merged: dict[str, Any] = {
        name: np.where(second, getattr(two, name), getattr(one, name)) for name in ("efficiency", "corrected_flow")
    }
    return replace(one, operating=compressor.Operating(**values), **merged)


def _choose(second: np.ndarray, one: np.ndarray | None, two: np.ndarray | None) -> np.ndarray | None:
    """`two` where `second`, else `one`; NaN where that stage has no such figure, None where neither has."""
    if one is None and two is None:
        return None
    return np.where(second, np.nan if two is None else two, np.nan if one is None else one)


def _room(stage: StageState) -> np.ndarray:
    """The least of a stage's margins; infinite without a map and where it only windmills."""
    margins = [
        margin
        for margin in (stage.operating.surge_margin, stage.operating.choke_margin, stage.operating.speed_margin)
        if margin is not None
    ]
    if not margins:
        return np.full(stage.pressure_ratio.shape, np.inf)
    least = np.min([np.where(np.isnan(m), np.inf, m) for m in margins], axis=0)
    return np.asarray(np.where(stage.operating.idle, np.inf, least))


def _root(excess: Callable[[np.ndarray], np.ndarray], low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Where a rising function crosses 0 between `low` (below it) and `high` (above it); false position (Illinois)."""
    f_low, f_high = excess(low), excess(high)
    side = np.zeros(low.shape)
    for _ in range(ITERATIONS):
        x = np.clip(high - f_high * (high - low) / (f_high - f_low), low, high)
        f = excess(x)
        above = f > 0.0
        f_low = np.where(above, np.where(side > 0.0, 0.5 * f_low, f_low), f)
        f_high = np.where(above, f, np.where(side < 0.0, 0.5 * f_high, f_high))
        low, high = np.where(above, low, x), np.where(above, x, high)
        side = np.where(above, 1.0, -1.0)
        if np.all((np.abs(f) <= DRIVEN) | (high - low <= DRIVEN * high)):
            break
    return np.asarray(x)
