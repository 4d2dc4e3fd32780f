"""Words on a build's loops and wiring before anything runs: filling, bleeding, pump inlets, supply.

Here: `filling_sentences` and `electric_sentences`, for `coldside check`.  Not here: the figures
(`plant/filling.py`, `plant/electrics.py`).
"""

from __future__ import annotations

from typing import Any

from coldside.build.model import Build, names_on
from coldside.judge.wording import Quantity, Sentence, listed
from coldside.parts.jacket import OIL_SIDE
from coldside.plant.electrics import Electrics, Load, electrics
from coldside.plant.filling import Filling, Inlet, fillings

_Values = dict[str, Quantity | str]
SLOW = 0.97  # share of its curve's speed under which a pump's supply is worth a sentence
CAUTION = (
    "A hot loop is under pressure: let it cool before you open its cap or a bleed. Glycol and methanol are poisonous, "
    "and methanol burns with a flame you cannot see."
)
FUSE = "Fuse every supply at the battery, for the wire and not for the load; disconnect the battery before you wire."


def filling_sentences(build: Build) -> list[Sentence]:
    """What filling and bleeding each loop asks, and what stands at its pumps' inlets."""
    said: list[Sentence] = []
    for found in fillings(build):
        said += _volumes(found, sump=OIL_SIDE in names_on(build.loops[found.loop].path))
        said += _air(found)
        for inlet in found.inlets:
            said += _inlet(inlet, found)
    return [*said, Sentence(CAUTION)] if said else []


def _volumes(found: Filling, *, sump: bool) -> list[Sentence]:
    kept: _Values = {
        "loop": found.loop,
        "coolant": found.coolant,
        "volume": Quantity(found.volume, "volume"),
        "cold": Quantity(found.filled_at, "temperature"),
        "growth": Quantity(found.expansion, "volume"),
        "hot": Quantity(found.hottest, "temperature"),
        "tank": found.reservoir or "",
    }
    said = [
        Sentence("Loop {loop} takes {volume} of {coolant} at {cold} and grows by {growth} up to {hot}.", kept),
    ]
    if found.reservoir is None and sump:
        return [*said, Sentence("The sump is the reservoir of loop {loop}: leave its {growth} of growth room.", kept)]
    if found.reservoir is None:
        text = "Loop {loop} has no reservoir: {growth} of growth need somewhere to go, and its pressure is not known."
        return [*said, Sentence(text, kept)]
    if found.air_space is None:
        return [*said, Sentence("{tank}: brim_volume is not given, so its room for that growth is not checked.", kept)]
    kept["room"] = Quantity(found.air_space, "volume")
    if found.overflows:
        return [*said, Sentence("{tank} has {room} of air over the coolant, less than the growth: it overflows.", kept)]
    said.append(Sentence("{tank} has {room} of air over the coolant, enough for that growth.", kept))
    if found.sealed_pressure is not None and found.cap is not None:
        kept |= {
            "reached": Quantity(found.sealed_pressure, "pressure_gauge"),
            "cap": Quantity(found.cap, "pressure_gauge"),
            "boils": Quantity(found.boiling, "temperature"),
        }
        opens = "the cap ({cap}) opens and must let it out safely" if found.cap_opens else "the cap holds up to {cap}"
        said.append(
            Sentence("Shut, it would reach {reached}: " + opens + "; the coolant boils at {boils} there.", kept)
        )
    return said


def _air(found: Filling) -> list[Sentence]:
    said = [
        Sentence(
            "{parts} {stands} over what is next to {it} and {has} no bleed: air stays there. Fit one and write "
            "bleed = true, or lead the line so that it falls.",
            {
                "parts": listed(group),
                "stands": "stand" if len(group) > 1 else "stands",
                "it": "them" if len(group) > 1 else "it",
                "has": "have" if len(group) > 1 else "has",
            },
        )
        for group in found.traps
    ]
    if found.bleeds:
        text = "Loop {loop}: fill slowly at {tank}, the pump off; open the bleeds from the lowest up: {bleeds}."
        tank = found.reservoir or "its highest point"
        said.append(Sentence(text, {"loop": found.loop, "tank": tank, "bleeds": listed(found.bleeds)}))
    if found.unplaced:
        text = "Loop {loop}: no height is given for {parts}, so air traps there are not looked for."
        said.append(Sentence(text, {"loop": found.loop, "parts": listed(found.unplaced)}))
    return said


def _inlet(inlet: Inlet, found: Filling) -> list[Sentence]:
    kept: _Values = {
        "pump": inlet.pump,
        "tank": found.reservoir or "",
        "running": Quantity(abs(inlet.running), "pressure_difference"),
        "available": Quantity(inlet.available, "head"),
        "hot": Quantity(found.hottest, "temperature"),
    }
    said = []
    if inlet.flooded is False:
        text = "{pump} lies over the coolant's surface in {tank}: it does not fill by itself. Set it lower."
        said.append(Sentence(text, kept))
    if inlet.drawn_flat:
        text = (
            "Running cold, the inlet of {pump} stands {running} under ambient: a soft hose there can be drawn flat, "
            "and clamps draw air. Use a stiff line, a wider one, or set the pump nearer to the tank."
        )
        said.append(Sentence(text, kept))
    if inlet.cavitates and inlet.required is not None:
        kept["required"] = Quantity(inlet.required, "head")
        text = (
            "{pump} has {available} of suction head at {hot} and needs {required} and some to spare: it loses head "
            "there (how much is a guess)."
        )
        said.append(Sentence(text, kept))
    elif inlet.cavitates:
        said.append(Sentence("The coolant boils at the inlet of {pump} when the loop is at {hot}.", kept))
    return said


def electric_sentences(build: Build) -> list[Sentence]:
    """What pumps and fans draw, what their wires lose, and whether the alternator keeps up at hot idle."""
    found = electrics(build)
    said = [sentence for load in found.loads for sentence in _load(load)]
    said += _together(found)
    return [*said, Sentence(FUSE)] if said else []


def _load(load: Load) -> list[Sentence]:
    if load.starting is None:
        return []
    kept: _Values = {"name": load.name, "current": Quantity(load.current, "current")}
    kept["starting"] = Quantity(load.starting, "current")
    said = []
    if load.voltage is not None and load.lost is not None and load.voltage_starting is not None:
        kept |= {
            "lost": Quantity(load.lost, "voltage"),
            "left": Quantity(load.voltage, "voltage"),
            "least": Quantity(load.voltage_starting, "voltage"),
        }
        text = "{name} draws {current}: its wire loses {lost}, so it has {left}; starting, at {starting}, {least}."
        said.append(Sentence(text, kept))
    if load.speed is not None and load.speed < SLOW:
        kept["speed"] = Quantity(load.speed, "share")
        kept["power"] = Quantity(load.speed**3, "share")
        text = "{name} turns at {speed} of its curve's speed for want of voltage, with {power} of its hydraulic power."
        said.append(Sentence(text, kept))
    return said


def _together(found: Electrics) -> list[Sentence]:
    if found.alternator is None or not found.loads:
        return []
    kept: _Values = {
        "total": Quantity(found.total, "current"),
        "spare": Quantity(found.alternator, "current"),
        "short": Quantity(found.short or 0.0, "current"),
    }
    text = "Pumps and fans together draw {total}; at hot idle the alternator has {spare} for them"
    text += ": the battery gives {short}, and the voltage falls." if found.short else ", which is enough."
    return [Sentence(text, kept)]


# -- figures for JSON --------------------------------------------------------------------------------
def filling_json(build: Build) -> dict[str, Any]:
    """The same by loop; keys carry the unit, what is not known is null."""
    return {found.loop: _filling_block(found) for found in fillings(build)}


def _filling_block(found: Filling) -> dict[str, Any]:
    return {
        "volume_m3": found.volume,
        "expansion_m3": found.expansion,
        "filled_at_K": found.filled_at,
        "hottest_K": found.hottest,
        "air_space_m3": found.air_space,
        "sealed_pressure_Pa_gauge": found.sealed_pressure,
        "cap_Pa_gauge": found.cap,
        "overflows": found.overflows,
        "traps": [list(group) for group in found.traps],
        "bleeds": list(found.bleeds),
        "unplaced": list(found.unplaced),
        "pumps": {
            inlet.pump: {
                "flooded": inlet.flooded,
                "standing_Pa_gauge": inlet.standing,
                "running_Pa_gauge": inlet.running,
                "npsh_available_m": inlet.available,
                "npsh_required_m": inlet.required,
            }
            for inlet in found.inlets
        },
    }


def electrics_json(build: Build) -> dict[str, Any]:
    """Currents and voltages by pump and fan."""
    found = electrics(build)
    return {
        "loads": {
            load.name: {
                "current_A": load.current,
                "starting_A": load.starting,
                "voltage_V": load.voltage,
                "voltage_starting_V": load.voltage_starting,
                "speed_share": load.speed,
            }
            for load in found.loads
        },
        "total_A": found.total,
        "alternator_idle_A": found.alternator,
        "short_A": found.short,
    }
