"""What a session does to its pumps beyond standing still: coolant so thick that a curve taken with water misleads.

Here: sentences.  Not here: suction head (`pressures.py`), pumps that stand still (`reasons.py`).
"""

from __future__ import annotations

from coldside.build.model import names_on
from coldside.judge.wording import Quantity, Sentence
from coldside.media.coolants import parse_coolant
from coldside.parts.pump import PumpSpec
from coldside.plant.results import Forecast

THICK = 10e-6  # m2/s, kinematic viscosity over which a pump's head and efficiency fall off (loop notes a4, from memory)
WARM = 313.15  # K, to say how much thicker than this it is


def thick_coolant(forecast: Forecast) -> list[Sentence]:
    """Pumps that run in coolant thicker than 10 mm2/s; oil pumps are made for it and left out."""
    found = []
    for loop in forecast.build.loops.values():
        coolant = parse_coolant(loop.coolant)
        for name in names_on(loop.path):
            entering = forecast.inlet.get((name, "coolant"))
            running = forecast.command.get(name)
            if coolant.is_oil or entering is None or running is None:
                continue
            if not isinstance(forecast.build.parts[name], PumpSpec) or not (running > 0.0).any():
                continue
            coldest = float(entering[running > 0.0].min())
            thickness = float(coolant.viscosity(coldest) / coolant.density(coldest))
            if thickness < THICK:
                continue
            values: dict[str, Quantity | str] = {
                "pump": name,
                "cold": Quantity(coldest, "temperature"),
                "times": f"{thickness * float(coolant.density(WARM) / coolant.viscosity(WARM)):.0f}",
                "warm": Quantity(WARM, "temperature"),
            }
            text = (
                "{pump} runs in coolant of {cold}, {times} times as thick as at {warm}: it moves less than its curve, "
                "taken with water, says, and draws more."
            )
            found.append(Sentence(text, values))
    return found
