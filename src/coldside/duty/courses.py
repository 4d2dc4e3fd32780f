"""Tracks: curvature and grade along a line, bundled (invented) or the user's own.

What is here: reading of a track file, its checks, equal steps of distance.  What is not: how fast a car goes
round it (`laps.py`).  The folder `tracks` holds the bundled ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from coldside.duty.samples import beside, read_columns
from coldside.errors import BadInput, nearest
from coldside.units import typed

BUNDLED = {"fast loop": "fast_loop.csv", "tight loop": "tight_loop.csv", "hill": "hill.csv"}
STEP = 1.0  # m between the rows that a lap is driven on
SHORTEST, LONGEST = 100.0, 60_000.0  # m
TIGHTEST = 0.5  # 1/m: a bend of 2 m radius
STEEPEST = 0.4
TURN_ERROR = math.radians(10.0)  # of a closed track's whole turning from full circles, above which it is noted


@dataclass(frozen=True)
class Track:
    """A line on the road on equal steps of distance from its start.

    `curvature` 1/m (its sign says left or right and does not matter), `grade` rise over run, rows `step` m apart
    from 0 on; a closed one has no row at `length`, where it begins again.
    """

    name: str
    length: float
    step: float
    closed: bool
    curvature: np.ndarray
    grade: np.ndarray
    notes: tuple[str, ...] = ()


def find_track(session_file: str, name: str) -> Track:
    """A bundled track by its name, else the file `name` beside the session.

    Raises `BadInput` where there is neither, or the file is none (`read_track`).
    """
    if name.strip().lower() in BUNDLED:
        return _bundled(name.strip().lower())
    path = beside(session_file, name)
    if not path.is_file():
        close = nearest(name.strip().lower(), BUNDLED)
        hint = f'; nearest: "{close}"' if close else ""
        bundled = ", ".join(f'"{one}"' for one in BUNDLED)
        raise BadInput(f"{typed(name)} is neither a file beside this one nor one of {bundled}{hint}")
    return read_track(path)


@lru_cache(maxsize=8)
def _bundled(name: str) -> Track:
    return read_track(Path(__file__).parent / "tracks" / BUNDLED[name], name)


def read_track(path: Path, name: str | None = None) -> Track:
    """A track from CSV: `s_m` from 0 and rising, `curvature_1_m`, optionally `grade`; straight lines between.

    A line `# closed: yes` (or no; yes where it is absent) says whether the end is the start again; a closed
    track's last row is that end.  Raises `BadInput` with file and line: missing column, no number, distance
    that does not rise or start at 0, a bend or a slope that no road has, a length out of range.
    """
    data, where = read_columns(path, ("s_m", "curvature_1_m"), ("grade",), rising="s_m")
    s, bend = data["s_m"], data["curvature_1_m"]
    slope = data.get("grade", np.zeros_like(s))
    if s[0] != 0.0:
        raise BadInput("distance must begin at 0", where=where(0), key="s_m")
    for values, most, key, words in (
        (bend, TIGHTEST, "curvature_1_m", "a bend of less than 2 m radius; curvature is 1 over the radius in m"),
        (slope, STEEPEST, "grade", "steeper than 40 %; grade is rise over run"),
    ):
        if (np.abs(values) > most).any():
            raise BadInput(words, where=where(int(np.argmax(np.abs(values) > most))), key=key)
    length = float(s[-1])
    if not SHORTEST <= length <= LONGEST:
        raise BadInput(
            f"the track is {length:.0f} m long; {SHORTEST:.0f} m to {LONGEST / 1000.0:.0f} km can be driven",
            where=str(path),
        )
    closed = _closed(path)
    n = math.ceil(length / STEP)
    grid = np.arange(n if closed else n + 1) * (length / n)
    notes: tuple[str, ...] = ()
    if closed:
        turned = float(np.sum(0.5 * (bend[1:] + bend[:-1]) * np.diff(s)))
        off = abs(turned - 2.0 * math.pi * round(turned / (2.0 * math.pi)))
        if off > TURN_ERROR and abs(bend).max() > 0.0 and (bend < 0.0).any():
            words = f"{path.name}: its bends turn by {math.degrees(turned):.0f} degrees in all, no whole circle, "
            notes = (words + "though it is closed: are left and right bends of opposite sign, and none left out?",)
    return Track(
        name or path.stem, length, length / n, closed, np.interp(grid, s, bend), np.interp(grid, s, slope), notes
    )


def _closed(path: Path) -> bool:
    """What the line `# closed: ...` says; yes without one."""
    for number, line in enumerate(path.read_text(encoding="utf-8-sig").splitlines(), start=1):
        if line.lstrip().startswith("#"):
            key, _, value = line.lstrip("# \t").partition(":")
            if key.strip().lower() == "closed":
                word = value.strip().lower()
                if word not in ("yes", "no"):
                    raise BadInput(f"closed is yes or no, not {typed(value.strip())}", where=f"{path}:{number}")
                return word == "yes"
    return True
