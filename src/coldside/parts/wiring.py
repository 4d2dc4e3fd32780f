"""Wiring of pumps and fans: resistance of a wire, voltage left at the load, what the alternator must give.

What is here: cross-section from a gauge number, resistance, voltage at a load at its running and its
starting current.  What is not: what a pump draws at a point (`pump.py`), and fuses: fuse a wire for the
wire, at the battery's end, and never above what the wire can carry.
"""

from __future__ import annotations

import numpy as np

from coldside.errors import require

COPPER_20C, COPPER_RISE = 1.724e-8, 3.93e-3  # ohm m at 20 degC and its rise per kelvin (annealed copper, from memory)
WARM = 333.15  # K, a wire in an engine bay
INRUSH = 4.0  # starting over running current of a brushed motor (common practice, no source: 3 to 6)


def awg_area(gauge: int) -> float:
    """Cross-section of a solid wire of the American wire gauge [m2]: number 0 is 1/0, -1 is 2/0.

    Diameter 0.127 mm * 92^((36 - n)/39) (ASTM B258, from memory).  Stranded wire is sold by the same number.
    """
    diameter = 0.127e-3 * 92.0 ** ((36 - gauge) / 39.0)
    return float(np.pi * diameter**2 / 4)


def wire_resistance(length: float, area: float, T: float = WARM) -> float:
    """Resistance [ohm] of a copper wire of `length` [m], there and back, and cross-section `area` [m2] at `T` [K].

    Raises `BadInput` for a length below 0 or an area not above 0.
    """
    require("wire length", length, low=0.0)
    require("wire area", area, low=0.0, open_low=True)
    return COPPER_20C * (1 + COPPER_RISE * (T - 293.15)) * length / area


def voltage_left(supply: float, current: float, resistance: float) -> float:
    """Voltage at a load [V]: `supply` [V] less `current` [A] times `resistance` [ohm]; never below 0."""
    return max(supply - current * resistance, 0.0)
