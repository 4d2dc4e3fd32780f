"""Coolant that would boil or freeze, in a session or at a steady point: neither is modelled, so it must be told.

Here: sentences for the verdict and for `coldside point`.  Not here: boiling at a pump's inlet (`pressures.py`),
filling and caps (`filling.py`).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from coldside.build.model import Build, Loop, names_on
from coldside.judge.wording import Quantity, Sentence
from coldside.media.coolants import Coolant, parse_coolant
from coldside.parts.chiller import ChillerSpec
from coldside.parts.exchanger import ExchangerSpec, WaterCoreSpec
from coldside.parts.oil_cooler import OilCoolerSideSpec, OilCoolerSpec
from coldside.plant.results import Forecast, Point, Temperatures

BOILING_MARGIN = 5.0  # K under boiling from which it is told (common practice, no source)
FREEZING_MARGIN = 1.0  # K over freezing from which it is told, in a loop without ice
FROZEN = 0.5  # K under freezing that tables and rounding do not make (own)
AIR_SIDES = ("charge", "cooling")


def unfit_coolant(forecast: Forecast) -> list[Sentence]:
    """Loops whose coolant boils or freezes somewhere in the session, the part where it is worst."""
    found = []
    for name, loop in forecast.build.loops.items():
        coolant = parse_coolant(loop.coolant)
        hot = _extreme(loop, {key: float(np.max(T)) for key, T in forecast.outlet.items()}, hottest=True)
        cold = _extreme(loop, {key: float(np.min(T)) for key, T in forecast.outlet.items()}, hottest=False)
        if hot is not None:
            found += _boils(name, loop, coolant, hot, forecast.demand.ambient_pressure)
        if cold is not None:
            iced = any(part in forecast.ice for part in names_on(loop.path))
            found += _freezes(name, coolant, cold, 0.0 if iced else FREEZING_MARGIN)
    return found


def spoiled_coolant(forecast: Forecast) -> list[Sentence]:
    """For the headline: loops whose coolant passes its boiling or its freezing point, after which no figure holds."""
    found = []
    for name, loop in forecast.build.loops.items():
        coolant = parse_coolant(loop.coolant)
        hot = _extreme(loop, {key: float(np.max(T)) for key, T in forecast.outlet.items()}, hottest=True)
        cold = _extreme(loop, {key: float(np.min(T)) for key, T in forecast.outlet.items()}, hottest=False)
        boils = coolant.boiling_point(forecast.demand.ambient_pressure + (loop.cap_pressure or 0.0))
        if cold is not None and cold[1] < coolant.freezing_point - FROZEN:
            what = "freeze"
        elif hot is not None and not coolant.is_oil and hot[1] > boils:
            what = "boil"
        else:
            continue
        text = "But the coolant of loop {loop} would {what}: do not trust what comes after."
        found.append(Sentence(text, {"loop": name, "what": what}))
    return found


def hottest_outlet(seen: Temperatures, loop: str) -> np.ndarray | None:
    """Where the coolant of a loop leaves one of its parts hottest, K over the samples; None without figures."""
    names = set(names_on(seen.build.loops[loop].path))
    traces = [T for (part, side), T in seen.outlet.items() if _on_loop(part, side, names)]
    return np.max(np.vstack(traces), axis=0) if traces else None


def point_cautions(point: Point) -> list[Sentence]:
    """What a steady point must say of its loops: nowhere to give heat to, boiling, freezing."""
    found = []
    for name, loop in point.build.loops.items():
        coolant = parse_coolant(loop.coolant)
        if not gives_heat(point, loop):
            text = (
                "Loop {loop} has nowhere to give its heat to, so held for ever it ends as hot as the charge: "
                "what its tank and ice are good for, a forecast of a session tells."
            )
            found.append(Sentence(text, {"loop": name}))
            continue
        hot = _extreme(loop, point.outlet, hottest=True)
        if hot is not None:
            found += _boils(name, loop, coolant, hot, point.ambient_pressure)
    return found


def gives_heat(point: Point, loop: Loop) -> bool:
    """True if something on a loop can take its heat away: an exchanger, a chiller, an oil cooler."""
    specs = [point.build.parts.get(name) for name in names_on(loop.path)]
    return any(isinstance(spec, ExchangerSpec | ChillerSpec | OilCoolerSpec | OilCoolerSideSpec) for spec in specs)


def serves_core(build: Build, loop: str) -> bool:
    """True if a charge core lies on the loop: the engine's own loops have none."""
    return any(isinstance(build.parts.get(name), WaterCoreSpec) for name in names_on(build.loops[loop].path))


def _extreme(loop: Loop, outlets: Mapping[tuple[str, str], float], *, hottest: bool) -> tuple[str, float] | None:
    """The part of a loop that its coolant leaves hottest or coldest, and that temperature; None without figures."""
    names = set(names_on(loop.path))
    mine = {part: T for (part, side), T in outlets.items() if _on_loop(part, side, names)}
    if not mine:
        return None
    part = (max if hottest else min)(mine, key=lambda name: mine[name])
    return part, mine[part]


def _on_loop(part: str, side: str, names: set[str]) -> bool:
    """True for the liquid side of a part on a loop's path; one with two liquids stands there as part.side."""
    return side not in AIR_SIDES and (part in names or f"{part}.{side}" in names)


def _boils(name: str, loop: Loop, coolant: Coolant, hot: tuple[str, float], ambient: float) -> list[Sentence]:
    """Coolant that gets within `BOILING_MARGIN` of boiling at the pressure its cap holds."""
    if coolant.is_oil:
        return []
    boils = coolant.boiling_point(ambient + (loop.cap_pressure or 0.0))
    if hot[1] < boils - BOILING_MARGIN:
        return []
    values: dict[str, Quantity | str] = {
        "loop": name,
        "hot": Quantity(hot[1], "temperature"),
        "part": hot[0],
        "boils": Quantity(boils, "temperature"),
        "held": "with no cap pressure given" if loop.cap_pressure is None else "at its cap's pressure",
    }
    text = (
        "The coolant of loop {loop} reaches {hot} in {part} and boils near {boils} {held}: boiling is not modelled; "
        "it would throw coolant out and scald."
    )
    return [Sentence(text, values)]


def _freezes(name: str, coolant: Coolant, cold: tuple[str, float], margin: float) -> list[Sentence]:
    """Coolant that falls to where it freezes, or comes within `margin` of it."""
    freezes = coolant.freezing_point
    if cold[1] > freezes + (margin or -FROZEN):
        return []
    values: dict[str, Quantity | str] = {
        "loop": name,
        "cold": Quantity(cold[1], "temperature"),
        "part": cold[0],
        "freezes": Quantity(freezes, "temperature"),
    }
    if cold[1] > freezes:
        return [Sentence("The coolant of loop {loop} falls to {cold}, close to where it freezes, {freezes}.", values)]
    text = (
        "The coolant of loop {loop} would freeze: it falls to {cold} in {part}, and it freezes at {freezes}. Freezing "
        "is not modelled; it blocks a loop and bursts cores. Take a stronger mix, or another coolant."
    )
    return [Sentence(text, values)]
