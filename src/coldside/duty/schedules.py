"""Regulated driving cycles that come with the program, by their names.

What is here: `SCHEDULES`, and reading one of them.  What is not: a cycle of the user's own
(`samples.read_cycle`), and what the car needs to follow one (`driver.py`).
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

from coldside.duty.samples import read_cycle
from coldside.errors import BadInput, nearest
from coldside.units import typed

SCHEDULES = {"UDDS": "udds.csv", "HWFET": "hwfet.csv", "US06": "us06.csv", "WLTC": "wltc_3b.csv"}
_ALSO = {
    **dict.fromkeys(("FTP-72", "LA4", "CITY", "URBAN"), "UDDS"),
    **dict.fromkeys(("HIGHWAY", "HFET"), "HWFET"),
    **dict.fromkeys(("WLTC 3B", "WLTC CLASS 3B", "WLTP", "WLTP CLASS 3B"), "WLTC"),
}
_OWN = 'your own goes in as kind = "traffic" with cycle = "yours.csv" (columns t_s and speed_m_s)'
_NOT_HERE = ("WLTC", "WLTP", "NEDC", "JC08", "RDE")  # of the first two the classes of weak and slow cars


def schedule_name(text: str) -> str:
    """The name in `SCHEDULES` that a text means, in any case of letters.

    Raises `BadInput` for a cycle that is not bundled, with what to do instead.
    """
    name = text.strip().upper()
    if name in SCHEDULES:
        return name
    if name in _ALSO:
        return _ALSO[name]
    bundled = ", ".join(f'"{one}"' for one in SCHEDULES)
    for other in _NOT_HERE:
        if name.startswith(other):
            raise BadInput(f"{typed(text)} is not bundled; {_OWN}. Bundled: {bundled}")
    close = nearest(name, SCHEDULES)
    hint = f'; nearest: "{close}"' if close else ""
    raise BadInput(f"{typed(text)} is not one of {bundled}{hint}; {_OWN}")


@lru_cache(maxsize=8)
def schedule(name: str) -> tuple[np.ndarray, np.ndarray]:
    """A bundled cycle as (time s from 0, speed m/s), one sample a second, straight lines between; starts at rest.

    `name` as for `schedule_name`.  The arrays are shared and cannot be written to.
    """
    time, speed = read_cycle(Path(__file__).parent / "cycles" / SCHEDULES[schedule_name(name)])
    time.flags.writeable = speed.flags.writeable = False
    return time, speed
