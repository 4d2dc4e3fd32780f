"""Heat: the ledger counted a second time from the stored traces, and what ledger and ladder say.

Here: `recompute_ledger`, `heat_shares`, `largest_rung`; which loops and cores serve the charge.  The ledger
itself comes from the kernel with the states' own weights (`plant/forecast.py`); this module sees traces only,
so that an error there shows here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.build.model import names_on
from coldside.parts.compressor import CompressorSpec
from coldside.parts.exchanger import AirCoreSpec, ExchangerSpec, WaterCoreSpec
from coldside.parts.injection import InjectionSpec
from coldside.parts.jacket import COOLANT_SIDE, OIL_SIDE
from coldside.parts.supercharger import SuperchargerSpec
from coldside.plant.results import Forecast, Rung, Temperatures

ENGINE = "engine"


@dataclass(frozen=True)
class LedgerCheck:
    """The ledger's heat_in, to_air and stored counted again, J, and how far they are from the kernel's.

    A difference is relative to the heat that crosses that boundary either way (the time integral of the
    sum of |q| over its parts), so that a session which gives back what it took does not divide by zero.
    The difference of `stored` is relative to the heat that nodes took up or gave off.  `closure` is the
    kernel's closure with all three terms replaced, relative to the ledger's `handled`.
    """

    heat_in: float
    to_air: float
    stored: float
    heat_in_difference: float
    to_air_difference: float
    stored_difference: float
    closure: float
    parts: dict[tuple[str, str], float]  # (part, side) -> J, charge to wall or wall to cooling air

    @property
    def worst(self) -> float:
        """The largest of the relative differences, sign dropped."""
        return max(abs(self.heat_in_difference), abs(self.to_air_difference), abs(self.stored_difference), self.closure)


def recompute_ledger(forecast: Forecast) -> LedgerCheck:
    """heat_in and to_air from flow x cp x (inlet - outlet) of every stored stream; stored from nodes' start and end.

    Flow and temperature difference are linear between samples (definitions, "Demand"), so an interval's
    integral is that of their product; where a command changes, the cooling air's flow jumps at that sample
    and the interval before keeps its left values (commands are held).

    Charge side: every part but compressors (their rise is work) and the engine.  Cooling side: every part
    but faces with a fixed heat of their own, which hold no state and lie outside the control volume.
    """
    held = _command_jumps(forecast)
    sums = {"charge": 0.0, "cooling": 0.0}
    crossed = {"charge": 0.0, "cooling": 0.0}
    parts: dict[tuple[str, str], float] = {}
    for key in forecast.outlet:
        part, side = key
        if side not in sums or not _in_control_volume(forecast, part, side):
            continue
        given = forecast.inlet[key] - forecast.outlet[key]
        drop = given if side == "charge" else -given
        heats = forecast.heat_capacity[key] * _interval_integrals(
            forecast.flow[key], drop, forecast.time, held if side == "cooling" else None
        )
        if side == "charge" and part in forecast.latent:  # what condensed gave its heat to the wall
            latent = forecast.latent[part]
            heats = heats + 0.5 * (latent[:-1] + latent[1:]) * np.diff(forecast.time)
        parts[key] = float(heats.sum())
        sums[side] += parts[key]
        crossed[side] += float(np.abs(heats).sum())
    ledger = forecast.ledger
    heat_in, to_air = sums["charge"], sums["cooling"]
    taken_up = [capacity * float(np.sum(end - start)) for start, end, capacity in forecast.nodes.values()]
    stored = sum(taken_up)
    return LedgerCheck(
        heat_in=heat_in,
        to_air=to_air,
        stored=stored,
        heat_in_difference=(heat_in - ledger.heat_in) / max(crossed["charge"], 1.0),
        to_air_difference=(to_air - ledger.to_air) / max(crossed["cooling"], 1.0),
        stored_difference=(stored - ledger.stored) / max(sum(abs(heat) for heat in taken_up), 1.0),
        closure=abs(heat_in + ledger.pickup - to_air - stored) / max(ledger.handled, 1.0),
        parts=parts,
    )


def _command_jumps(forecast: Forecast) -> np.ndarray:
    """True for each interval at whose end a pump's or fan's command changes.

    A pump that the engine drives follows it in small steps at nearly every sample of a pull: the air does not jump.
    """
    jumps = np.zeros(len(forecast.time) - 1, dtype=bool)
    for name, command in forecast.command.items():
        if getattr(forecast.build.parts.get(name), "drive", None) != ENGINE:
            jumps |= np.diff(command) != 0.0
    return jumps


def _interval_integrals(a: np.ndarray, b: np.ndarray, time: np.ndarray, held: np.ndarray | None) -> np.ndarray:
    """Integral of a x b over each interval, both linear in it; constant at the left where `held`."""
    a0, a1, b0, b1 = a[:-1], a[1:], b[:-1], b[1:]
    means = (2.0 * a0 * b0 + a0 * b1 + a1 * b0 + 2.0 * a1 * b1) / 6.0
    if held is not None:
        means = np.where(held, a0 * b0, means)
    return means * np.diff(time)


def _in_control_volume(forecast: Forecast, part: str, side: str) -> bool:
    if part == ENGINE:
        return False
    spec = forecast.build.parts.get(part)
    if side == "charge":
        return not isinstance(spec, CompressorSpec | SuperchargerSpec | InjectionSpec)  # vapour takes that heat along
    return not (isinstance(spec, ExchangerSpec) and spec.heat is not None)


@dataclass(frozen=True)
class HeatShares:
    """Where the session's heat came from and went, as shares of all heat taken in (charge + pick-up).

    `taken` is that heat, J; shares are None when nothing was taken in.  `from_engine` came out of an engine whose
    own liquids are in loops; `from_pickup` is of all but that, since it says what warms the charge's side beside
    the charge.  `largest_pickup` names the part that picked up most, with its heat in J.
    """

    taken: float
    from_engine: float | None
    from_pickup: float | None
    to_air: float | None
    stored: float | None
    largest_pickup: tuple[str, float] | None


def heat_shares(forecast: Forecast) -> HeatShares:
    """Shares of the ledger, for the words; see `HeatShares`."""
    ledger = forecast.ledger
    taken = ledger.heat_in + ledger.pickup
    picked: dict[str, float] = {}
    for flow in ledger.flows:
        if flow.side == "pickup" and flow.part not in (COOLANT_SIDE, OIL_SIDE):
            picked[flow.part] = picked.get(flow.part, 0.0) + flow.heat
    largest = max(picked.items(), key=lambda item: item[1]) if picked else None
    if largest is not None and largest[1] <= 0.0:
        largest = None
    engine = sum(flow.heat for flow in ledger.flows if flow.part in (COOLANT_SIDE, OIL_SIDE) and flow.side == "pump")
    if taken <= 1.0:
        return HeatShares(taken, None, None, None, None, largest)
    rest = taken - engine
    picked_up = (ledger.pickup - engine) / rest if rest > 1.0 else None
    return HeatShares(taken, engine / taken, picked_up, ledger.to_air / taken, ledger.stored / taken, largest)


def moment_words(forecast: Forecast) -> str:
    """What to call the moment of the ladder: that of the hottest intake, or the worst one for the limit told."""
    return "the hottest moment" if forecast.worst == forecast.peak else "the worst moment"


def largest_rung(forecast: Forecast) -> Rung | None:
    """The rung of the ladder with the largest drop; None for a build without a charge core."""
    return max(forecast.ladder, key=lambda rung: rung.drop) if forecast.ladder else None


STEP_WORDS = {  # a step of the ladder -> where heat is held back, in a workshop's words
    "charge film": "inside the core, charge side: air to metal",
    "wall and fouling": "through the metal and what clogs it",
    "storage in the metal": "taken up by the metal itself",
    "coolant film": "inside the core, coolant side: metal to coolant",
    "coolant rise and storage": "coolant warming up on its way",
    "remote coolant film": "inside the radiator: coolant to metal",
    "remote air film": "radiator fins to the air",
    "cooling-air film": "fins to the cooling air",
    "cooling-air rise": "cooling air warming up on its way",
    "preheat of cooling air": "cooling air that arrives warm",
}


def step_words(name: str) -> str:
    """A step of the ladder in words: "air cores: charge film" is "air cores: inside the core, charge side: ..."."""
    chain, _, own = name.rpartition(": ")
    return (f"{chain}: " if chain else "") + STEP_WORDS.get(own, own)


def preheat_rung(forecast: Forecast) -> Rung | None:
    """The rung that says how much warmer than ambient the cooling air arrives; None when there is none."""
    for rung in forecast.ladder:
        if "preheat" in rung.name:
            return rung
    return None


def core_loops(forecast: Temperatures) -> dict[str, np.ndarray]:
    """Coolant temperature into the charge cores of each loop that has one: the engine's own loop is left out."""
    cores = set(charge_cores(forecast))
    return {
        name: trace
        for name, trace in forecast.coolant_in_cores.items()
        if cores & set(names_on(forecast.build.loops[name].path))
    }


def charge_cores(forecast: Temperatures) -> list[str]:
    """Names of the charge cores in path order."""
    return [name for name in names_on(forecast.build.charge) if is_core(forecast, name)]


def is_core(forecast: Temperatures, name: str) -> bool:
    """True for a charge core of either kind."""
    return isinstance(forecast.build.parts.get(name), WaterCoreSpec | AirCoreSpec)
