"""Whether compiled code is to do a piece of arithmetic: where it is at hand already, or where there is much of it.

Importing Numba costs half a second, which a whole run pays once and a single point, a check or `--help` never
should.  So the few inner loops that have a compiled twin ask here; both forms agree to round-off (tests).
"""

from __future__ import annotations

import sys

MANY = 256  # points, from which loading compiled code pays; a table has thousands, a check of bench points a few


def worth_compiling(points: int) -> bool:
    """Whether `points` elements are worth compiled code."""
    return points >= MANY or "numba" in sys.modules
