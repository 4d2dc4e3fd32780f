"""Every check case that the three design notes list, and those that are not met yet, each with its reason.

The notes number their cases heat-T01 to heat-T42, charge-C01 to charge-C46 and loop-C1 to loop-C43; ids beside these
are cases of our own.  `tests/cases/test_catalogue.py` holds the list against the records: a case of the notes is
either a record or in `NOT_YET`, never in neither.  `LAWS` names the test that shows each law of the notes.
"""

from __future__ import annotations

from typing import NamedTuple

NOTES: dict[str, tuple[str, tuple[str, ...]]] = {  # note -> heading of its part of the page, its ids
    "charge": ("Charge side, fuels and engine", tuple(f"charge-C{number:02d}" for number in range(1, 47))),
    "heat": ("Heat exchange, coolants, ice, condensation", tuple(f"heat-T{number:02d}" for number in range(1, 43))),
    "loop": ("Coolant loop, cooling air, duty, sensors", tuple(f"loop-C{number}" for number in range(1, 44))),
}


class Later(NamedTuple):
    """A case that no code of ours can meet yet: what it is, why not, and where it belongs."""

    what: str
    why: str
    belongs: str  # the issue, or "nowhere"


_KNOCK = "issue 4, knock and power"
_CAR = "issue 4, what the car does"

NOT_YET: dict[str, Later] = {
    "charge-C07": Later(
        "power correction of compression-ignition engines",
        "the engines here are spark-ignited; nothing would use the factor",
        "nowhere",
    ),
    "charge-C32": Later("shape of the burn", "no burn is modelled", _KNOCK),
    "charge-C33": Later("cylinder volume against crank angle", "no cylinder is modelled", _KNOCK),
    "charge-C34": Later("rotary chamber volume against shaft angle", "no chamber is modelled", _KNOCK),
    "charge-C35": Later("ignition delay of gasoline", "no knock is modelled", _KNOCK),
    "charge-C36": Later("ignition delay of ethanol", "no knock is modelled", _KNOCK),
    "charge-C37": Later("delay integral, motored", "no knock is modelled", _KNOCK),
    "charge-C38": Later("delay integral, fired", "no knock is modelled", _KNOCK),
    "charge-C39": Later("the same with later spark", "no knock is modelled", _KNOCK),
    "charge-C40": Later("end gas compressed by pressure", "no end gas is modelled", _KNOCK),
    "charge-C41": Later("end gas compressed by volume", "no end gas is modelled", _KNOCK),
    "charge-C42": Later("octane number that a delay integral asks for", "no knock is modelled", _KNOCK),
    "charge-C43": Later("slopes of octane need against a published engine's", "no knock is modelled", _KNOCK),
    "charge-C44": Later("high-ethanol fuel and knock", "no knock is modelled", _KNOCK),
    "charge-C45": Later("delay that rises with temperature", "no knock is modelled", _KNOCK),
    "loop-C30": Later("launch at the tyres' grip", "no standing start is modelled", _CAR),
    "loop-C31": Later("speed in a corner", "no lap is modelled", _CAR),
    "loop-C32": Later("a straight between two corners", "no lap is modelled", _CAR),
    "loop-C33": Later("standing start at constant power", "no standing start is modelled", _CAR),
    "loop-C35": Later("distances of regulated driving cycles", "no cycle is bundled", _CAR),
    "loop-C37": Later("divider and self-heating of a thermistor", "no raw voltages are read", "issue 4, sensors"),
    "loop-C40": Later("straight line fitted to a log, with its error", "no logs are fitted", "evidence, after issue 5"),
}

# law of the notes (heat, under its table; loop, its last line) -> "file::test" that shows it
LAWS: dict[str, tuple[str, str]] = {}
