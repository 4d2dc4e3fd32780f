"""Text <-> SI at the edge.  (Contract; being filled in.)"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Pressure:
    """A pressure level as the user wrote it: `value` in Pa and whether it is gauge.

    Stays so until the surroundings are known; `absolute(ambient)` needs the local air pressure.
    """

    value: float
    gauge: bool

    def absolute(self, ambient: float) -> float:
        """Absolute pressure, Pa; `ambient` is the local absolute air pressure, Pa."""
        return self.value + ambient if self.gauge else self.value
