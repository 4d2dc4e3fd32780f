"""One moment of a forecast, stream by stream: what the ribbon drawing and the characters version both tell.

Here: `Moment` (temperatures, heat-capacity rates and heats of every part on every path at one sample) and the
few words that stand beside a part.  Not here: any geometry (`ribbon.py`) or colour (`scale.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from coldside.build.model import Parallel, Path, names_on
from coldside.judge.wording import Quantity, shown
from coldside.parts.airflow import FanSpec
from coldside.parts.compressor import CompressorSpec
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.parts.oil_cooler import OIL_END, WATER_END, OilCoolerSpec
from coldside.parts.pump import PumpSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.parts.sensor import SensorSpec
from coldside.parts.supercharger import SuperchargerSpec
from coldside.plant.results import Forecast

ALMOST_NOTHING = 0.02  # of the charge's largest heat-capacity rate: below it a ribbon is a dashed line
DEFAULT_KNEE = 333.15  # K, where the colours change when the session has no temperature limit


@dataclass(frozen=True)
class Stream:
    """One part's stretch of one path at the moment: temperatures K, `rate` W/K (flow times cp)."""

    name: str  # as it stands in the path
    t_in: float
    t_out: float
    rate: float
    known: bool  # False: no temperature of its own was solved, its neighbour's is drawn


@dataclass(frozen=True)
class Knee:
    """Where the colours change: the user's limit, K, and how to name it."""

    temperature: float
    words: str  # "your limit", "the proposed limit", or "" without a limit on the charge


def knee_of(forecast: Forecast, limit: float | None = None) -> Knee:
    """The knee of the colour scale: `limit` [K], else the session's own on the intake (in boost, if it
    has one), else on the sensor, else over ambient, else 60 degC."""
    if limit is not None:
        return Knee(limit, "your limit")
    levels = {"intake": 0.0, "sensor": 0.0, "over_ambient": float(forecast.demand.ambient_temperature[forecast.worst])}
    for quantity, shift in levels.items():
        found = [item for item in forecast.session.limits if item.quantity == quantity]
        counted = [item for item in found if item.during == "boost"] or found
        if counted:
            return Knee(min(item.bound for item in counted) + shift, f"{forecast.session.whose} limit")
    return Knee(DEFAULT_KNEE, "")


def part_name(entry: str) -> str:
    """The part of a path's entry: `oil_cooler` of `oil_cooler.oil`."""
    return entry.split(".", 1)[0]


class Moment:
    """Every stream of `forecast` at one `sample` (index), with words in `system` ("si" or "us")."""

    def __init__(self, forecast: Forecast, sample: int, system: str) -> None:
        self.forecast = forecast
        self.build = forecast.build
        self.sample = int(sample)
        self.system = system
        self.ambient = float(forecast.demand.ambient_temperature[self.sample])
        self.charge = self._walk(self.build.charge, "charge", self.ambient)
        self.loops = {n: self._loop(loop.path) for n, loop in self.build.loops.items()}
        self.ducts = {n: self._walk(duct.path, "cooling", self.ambient) for n, duct in self.build.ducts.items()}
        rates = [self._largest_rate(entry, "charge") for entry in names_on(self.build.charge)]
        self.charge_rate_max = max([r for r in rates if r > 0.0], default=1.0)
        self.duct_of = {part_name(e): n for n, duct in self.build.ducts.items() for e in names_on(duct.path)}
        self.loop_of = {e: n for n, loop in self.build.loops.items() for e in names_on(loop.path)}
        self.on_charge = {part_name(e) for e in names_on(self.build.charge)}

    # -- numbers -------------------------------------------------------------------------------

    @property
    def intake(self) -> float:
        """Gas into the engine, K."""
        return float(self.forecast.intake[self.sample])

    @property
    def time(self) -> float:
        """Time into the session, s."""
        return float(self.forecast.time[self.sample])

    @property
    def phase(self) -> str:
        """The words of the phase at the moment; empty between phases."""
        for span in self.forecast.demand.spans:
            if span.first <= self.sample <= span.last:
                return span.label
        return ""

    def spec(self, entry: str) -> Any:
        """The specification behind a path's entry; the engine's own for `engine`."""
        name = part_name(entry)
        return self.build.engine if name == "engine" else self.build.parts.get(name)

    def _keys(self, entry: str, side: str) -> list[tuple[str, str]]:
        name, _, end = entry.partition(".")
        keys = [(name, end)] if end else []
        return [*keys, (entry, side), (name, side)]

    def _at(self, table: Mapping[tuple[str, str], np.ndarray], entry: str, side: str) -> float | None:
        for key in self._keys(entry, side):
            if key in table:
                value = float(table[key][self.sample])
                return value if np.isfinite(value) else None
        return None

    def _cp(self, entry: str, side: str) -> float | None:
        for key in self._keys(entry, side):
            if key in self.forecast.heat_capacity:
                return float(self.forecast.heat_capacity[key])
        return None

    def _largest_rate(self, entry: str, side: str) -> float:
        cp = self._cp(entry, side)
        for key in self._keys(entry, side):
            if key in self.forecast.flow and cp is not None:
                return float(np.nanmax(np.abs(self.forecast.flow[key]))) * cp
        return 0.0

    def _rate(self, entry: str, side: str) -> float | None:
        flow, cp = self._at(self.forecast.flow, entry, side), self._cp(entry, side)
        return None if flow is None or cp is None else abs(flow) * cp

    def _walk(self, path: Path, side: str, start: float, rate: float | None = None) -> dict[str, Stream]:
        """Streams along `path`; what was not solved takes its neighbour's temperature and rate."""
        found: dict[str, Stream] = {}
        current = start
        if rate is None:
            rate = next((r for e in names_on(path) if (r := self._trunk_rate(path, e, side)) is not None), 0.0)
        for item in path:
            if isinstance(item, Parallel):
                ends, weights = [], []
                for branch in item.branches:
                    own = next((r for e in names_on(branch) if (r := self._rate(e, side)) is not None), None)
                    own = rate / len(item.branches) if own is None else own
                    streams = self._walk(branch, side, current, own)
                    found.update(streams)
                    last = streams[names_on(branch)[-1]] if branch else None
                    ends.append(last.t_out if last else current)
                    weights.append(max(own, 1e-9))
                current = float(np.average(ends, weights=weights))
                continue
            t_in = self._at(self.forecast.inlet, item, side)
            t_out = self._at(self.forecast.outlet, item, side)
            own_rate = self._rate(item, side)
            t_in = current if t_in is None else t_in
            stream = Stream(
                item, t_in, t_in if t_out is None else t_out, rate if own_rate is None else own_rate, t_out is not None
            )
            found[item] = stream
            current = stream.t_out
        return found

    def _trunk_rate(self, path: Path, entry: str, side: str) -> float | None:
        return self._rate(entry, side) if entry in path else None

    def _loop(self, path: Path) -> dict[str, Stream]:
        start = self.ambient
        for entry in reversed(names_on(path)):
            known = self._at(self.forecast.outlet, entry, "coolant")
            if known is not None:
                start = known
                break
        return self._walk(path, "coolant", start)

    def is_still(self, rate: float) -> bool:
        """Whether a heat-capacity rate is so small that the flow is drawn dashed."""
        return rate < ALMOST_NOTHING * self.charge_rate_max

    def drives(self, stream: Stream) -> bool:
        """Whether a pump or fan runs and moves something at the moment: only then arrows are drawn on it."""
        trace = self.forecast.command.get(part_name(stream.name))
        return not self.is_still(stream.rate) and (trace is None or float(trace[self.sample]) > 0.0)

    def heat(self, entry: str) -> float:
        """Heat crossing in a core, exchanger or oil cooler, W; positive: charge or oil -> coolant -> cooling air."""
        name = part_name(entry)
        if isinstance(self.spec(entry), OilCoolerSpec):
            # by the coolant's end for both: a coolant's heat capacity hardly moves with temperature, an oil's does
            liquid = self._stream(f"{name}.{WATER_END}", "coolant")
            return 0.0 if liquid is None else liquid.rate * (liquid.t_out - liquid.t_in)
        if name in self.on_charge and name in self.charge:
            stream = self.charge[name]
            return stream.rate * (stream.t_in - stream.t_out)
        duct = self.duct_of.get(name)
        if duct is None:
            return 0.0
        stream = self.ducts[duct][name]
        return stream.rate * (stream.t_out - stream.t_in)

    def other_end(self, entry: str) -> Stream | None:
        """The stream on the other side of an oil cooler, whose ends lie on loops: `cooler.oil` <-> `cooler.water`."""
        if not isinstance(self.spec(entry), OilCoolerSpec):
            return None
        name, _, end = entry.partition(".")
        return self._stream(f"{name}.{WATER_END if end == OIL_END else OIL_END}", "coolant")

    def largest_heat(self) -> float:
        """The largest heat crossing of any core or exchanger over the whole session, W; 1 when there is none."""
        largest = 1.0
        for name, spec in self.build.parts.items():
            side = "charge" if isinstance(spec, WaterCoreSpec | AirCoreSpec) else "cooling"
            key = (name, side)
            if isinstance(spec, WaterCoreSpec | AirCoreSpec | ExchangerSpec) and key in self.forecast.outlet:
                drop = self.forecast.inlet[key] - self.forecast.outlet[key]
                heat = np.abs(self.forecast.flow[key] * self.forecast.heat_capacity[key] * drop)
                largest = max(largest, float(np.nanmax(heat)))
        return largest

    def extremes(self) -> tuple[float, float]:
        """Lowest and highest temperature of any drawn stream over the whole session, K."""
        lows, highs = ([value] for value in self.forecast.demand.ambient_range)
        for table in (self.forecast.inlet, self.forecast.outlet):
            for trace in table.values():
                if np.isfinite(trace).any():
                    lows.append(float(np.nanmin(trace)))
                    highs.append(float(np.nanmax(trace)))
        return min(lows), max(highs)

    # -- words -----------------------------------------------------------------------------------

    def say(self, value: float, kind: str, digits: int = 0) -> str:
        """A quantity in the moment's units."""
        return shown(Quantity(value, kind, digits), self.system)

    def from_to(self, t_in: float, t_out: float) -> str:
        """ "144 to 141 °C", or one temperature when both read the same."""
        first, last = self.say(t_in, "temperature"), self.say(t_out, "temperature")
        return last if first == last else f"{first.rsplit(' ', 1)[0]} to {last}"

    def details(self, entry: str, side: str) -> list[str]:
        """What stands under a part's name, at most three short lines."""
        spec = self.spec(entry)
        stream = self._stream(entry, side)
        if isinstance(spec, SensorSpec):
            return self._sensor_words(side)
        if stream is None:
            return []
        if isinstance(spec, CompressorSpec | SuperchargerSpec):
            return [self.from_to(stream.t_in, stream.t_out), *self._pressure_words(entry)]
        if isinstance(spec, WaterCoreSpec | AirCoreSpec):
            return self._core_words(entry, stream, spec)
        if isinstance(spec, ExchangerSpec):
            return [*self._exchanger_words(entry, spec)]
        if isinstance(spec, OilCoolerSpec):
            return [self.from_to(stream.t_in, stream.t_out), self._oil_cooler_words(entry)]
        if isinstance(spec, PumpSpec):
            return self._pump_words(entry)
        if isinstance(spec, FanSpec):
            return [self._command_words(part_name(entry))]
        if isinstance(spec, ReservoirSpec):
            return self._tank_words(entry, stream, spec)
        return [self.from_to(stream.t_in, stream.t_out)] if stream.known else []

    def _stream(self, entry: str, side: str) -> Stream | None:
        if side == "charge":
            return self.charge.get(entry)
        tables = self.loops if side == "coolant" else self.ducts
        return next((t[entry] for t in tables.values() if entry in t), None)

    def _pressure_words(self, entry: str) -> list[str]:
        """Pressure behind a compressor over ambient's; of one among several stages its own ratio too."""
        forecast, k = self.forecast, self.sample
        stage = next((stage for stage in forecast.stages if stage.name == part_name(entry)), None)
        out = forecast.compressor_out_pressure if stage is None else stage.outlet_pressure
        words = [f"{out[k] / forecast.demand.ambient_pressure:.2f} times ambient pressure"]
        if stage is not None and len(forecast.stages) > 1:
            words.append(f"its own pressure ratio {stage.pressure_ratio[k]:.2f}")
        return words

    def _sensor_words(self, side: str) -> list[str]:
        if side == "charge" and self.forecast.sensor is not None:
            return ["reads " + self.say(float(self.forecast.sensor[self.sample]), "temperature")]
        return []

    def _core_words(self, entry: str, charge: Stream, spec: Any) -> list[str]:
        side = "coolant" if isinstance(spec, WaterCoreSpec) else "cooling"
        heat = self.heat(entry)
        lines = [("takes " if heat >= 0.0 else "gives the charge ") + self.say(abs(heat), "heat")]
        other = self._stream(self._entry_of(entry, side), side)
        if other is not None and charge.t_in - other.t_in > 1.0 and charge.t_out <= charge.t_in:
            drop = self.say(charge.t_in - charge.t_out, "temperature_difference").rsplit(" ", 1)[0]
            lines.append(f"{drop} of the {self.say(charge.t_in - other.t_in, 'temperature_difference')} it could")
        return lines

    def _entry_of(self, name: str, side: str) -> str:
        if side != "coolant":
            return name
        return next((e for e in self.loop_of if part_name(e) == part_name(name)), name)

    def _exchanger_words(self, entry: str, spec: ExchangerSpec) -> list[str]:
        heat = self.heat(entry)
        if heat < -0.5:
            return ["takes " + self.say(-heat, "heat") + " from the air"]
        return ["gives the air " + self.say(heat, "heat")]

    def _oil_cooler_words(self, entry: str) -> str:
        heat = self.heat(entry)  # from oil to coolant
        gives = (heat >= 0.0) == entry.endswith(f".{OIL_END}")
        other = "coolant" if entry.endswith(f".{OIL_END}") else "oil"
        said = self.say(abs(heat), "heat")
        return f"gives the {other} {said}" if gives else f"takes {said} from the {other}"

    def _command_words(self, name: str) -> str:
        trace = self.forecast.command.get(name)
        if trace is None:
            return ""
        share = float(trace[self.sample])
        return "off" if share <= 0.0 else "on" if share >= 0.995 else f"at {100 * share:.0f} %"

    def _pump_words(self, entry: str) -> list[str]:
        words = self._command_words(part_name(entry))
        loop = self.loop_of.get(entry)
        flow = self.forecast.coolant_flow.get(loop) if loop else None
        if flow is None:
            return [words] if words else []
        said = self.say(float(flow[self.sample]), "volume_flow")
        return [said if words in ("", "on") else f"{words}, {said}"]

    def _tank_words(self, entry: str, stream: Stream, spec: ReservoirSpec) -> list[str]:
        first = self.say(stream.t_in, "temperature").rsplit(" ", 1)[0]
        lines = [self.say(spec.volume, "volume"), f"{first} comes in, {self.say(stream.t_out, 'temperature')} goes out"]
        loop = self.loop_of.get(entry)
        flow = self.forecast.coolant_flow.get(loop) if loop else None
        if flow is not None and abs(flow[self.sample]) > 1e-6:
            turn = spec.volume / abs(float(flow[self.sample]))
            if turn < 600.0:
                lines.append("turns over in " + self.say(turn, "time"))
        return lines

    def duct_words(self, name: str, duct: str) -> str:
        """What the cooling air does at the part: which duct, how warm in and out."""
        stream = self.ducts[duct].get(name)
        if stream is None:
            return duct
        if self.is_still(stream.rate):
            return f"{duct}: almost still air"
        return f"{duct}: air {self.from_to(stream.t_in, stream.t_out)}"
