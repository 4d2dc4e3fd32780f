"""What flows: humid air (`air`), coolants (`coolants`), fuels (`fuels`).  Pure property functions, SI, NumPy only."""

from coldside.media.coolants import Coolant, parse_coolant, require_liquid
from coldside.media.fuels import FUELS, Fuel, fuel

__all__ = ["FUELS", "Coolant", "Fuel", "fuel", "parse_coolant", "require_liquid"]
