"""Samples that a session brings along: a speed cycle for traffic, the user's own log for replay.

What is here: the CSV readers and their refusals.  What is not: sampling at the demand's own times
(`demand.py`) and logs read to correct a build, which is not built yet.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from coldside.errors import BadInput, nearest
from coldside.units import Pressure, parse, typed

LARGEST_FILE = 50_000_000  # bytes
COLDEST_AIR, HOTTEST_AIR = 223.15, 333.15  # K
CLOSING_RATE = 1.5  # m/s2, how a cycle that does not end at its starting speed is joined to its next round
CYCLE_COLUMNS = ("t_s", "speed_m_s")
REPLAY_KINDS = {
    "time": "time",
    "engine_speed": "engine_speed",
    "plenum": "pressure",
    "road_speed": "speed",
    "ambient": "temperature",
}
REPLAY_NEEDED = ("time", "engine_speed", "plenum")
REPLAY_LABELS = (
    '"time [s]", "engine_speed [rpm]", "plenum [kPa abs]" and, if known, "road_speed [km/h]" and "ambient [degC]"'
)
_LABEL = re.compile(r"\s*(\w+)\s*\[([^\]]+)\]\s*\Z")


@dataclass(frozen=True)
class Replay:
    """The user's own samples: time from 0, s; rev/s; Pa absolute; m/s (zeros where not given); K in the shade."""

    time: np.ndarray
    engine_speed: np.ndarray
    plenum: np.ndarray
    road_speed: np.ndarray
    notes: tuple[str, ...] = ()
    ambient: np.ndarray | None = None


def beside(session_file: str, name: str) -> Path:
    """The file `name` as the session means it: absolute, or relative to the session's own folder."""
    path = Path(name)
    return path if path.is_absolute() else Path(session_file).parent / path


def read_cycle(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """A speed cycle as (time s from 0, speed m/s), closed so that rounds may follow each other.

    CSV with the columns `t_s` and `speed_m_s`; lines that start with # are skipped.  A cycle that
    does not end at its starting speed gets a straight line there, at 1.5 m/s2.  Raises `BadInput`
    with file and line: missing file or column, no number, time that does not rise, negative speed.
    """
    header, where, rows = _table(path)
    columns = [header.index(_present(name, header, path, where, CYCLE_COLUMNS)) for name in CYCLE_COLUMNS]
    time, speed = _numbers(path, rows, header, columns)
    _check_rising(path, rows, time)
    _check_low(path, rows, speed, "speed_m_s", "a speed cannot be below 0")
    time = time - time[0]
    gap = abs(speed[-1] - speed[0])
    if gap > 0.0:
        time, speed = np.append(time, time[-1] + gap / CLOSING_RATE), np.append(speed, speed[0])
    return time, speed


def read_columns(
    path: Path, needed: tuple[str, ...], also: tuple[str, ...], *, rising: str
) -> tuple[dict[str, np.ndarray], Callable[[int], str]]:
    """Columns of a CSV by their names, and where ("file:line") a row stands; lines that start with # are skipped.

    `needed` must be there, `also` may be; `rising` is the column that must rise from row to row.  Raises
    `BadInput` with file and line.
    """
    header, where, rows = _table(path)
    names = [_present(name, header, path, where, needed) for name in needed] + [n for n in also if n in header]
    data = dict(zip(names, _numbers(path, rows, header, [header.index(n) for n in names]), strict=True))
    steps = np.diff(data[rising])
    if (steps <= 0.0).any():
        line = rows[int(np.argmax(steps <= 0.0)) + 1][0]
        raise BadInput("does not rise from the line above", where=f"{path}:{line}", key=rising)
    return data, lambda row: f"{path}:{rows[row][0]}"


def read_replay(path: Path, ambient_pressure: float) -> Replay:
    """The user's own samples for `replay`: CSV, units in the column names.

    Columns `time`, `engine_speed`, `plenum` and optionally `road_speed` and `ambient`, each with its unit in
    square brackets, in any order; `plenum` says gauge or abs, gauge is over `ambient_pressure`
    (Pa absolute).  Raises `BadInput` with file and line: unknown or doubled column, unit missing or
    unknown, no number, time that does not rise, a speed below 0, a plenum not above 0, an ambient of no weather.
    """
    header, where, rows = _table(path)
    found: dict[str, int] = {}
    units: dict[str, float | Pressure | tuple[float, float]] = {}
    for index, label in enumerate(header):
        name, unit = _labelled(label, where)
        if name in found:
            raise BadInput(f'column "{name}" stands twice; keep one of them', where=where)
        found[name] = index
        units[name] = unit
    for name in REPLAY_NEEDED:
        if name not in found:
            raise BadInput(f'column "{name}" is missing; a replay needs {REPLAY_LABELS}', where=where)
    names = list(found)
    data = dict(zip(names, _numbers(path, rows, header, [found[name] for name in names]), strict=True))
    si = {name: _in_si(values, units[name], ambient_pressure) for name, values in data.items()}
    _check_rising(path, rows, si["time"])
    _check_low(path, rows, si["engine_speed"], header[found["engine_speed"]], "an engine speed cannot be below 0")
    _check_low(path, rows, si["plenum"] - 1.0, header[found["plenum"]], "an absolute pressure must be above 0")
    notes: tuple[str, ...] = ()
    if "road_speed" in si:
        _check_low(path, rows, si["road_speed"], header[found["road_speed"]], "a speed cannot be below 0")
    else:
        notes = (f'{path.name} has no column "road_speed [km/h]": the car is taken to stand still',)
    road, ambient = si.get("road_speed", np.zeros_like(si["time"])), si.get("ambient")
    if ambient is not None:
        label, words = header[found["ambient"]], "no air in the shade is outside -50 to 60 degC"
        _check_low(path, rows, np.minimum(ambient - COLDEST_AIR, HOTTEST_AIR - ambient), label, words)
    return Replay(si["time"] - si["time"][0], si["engine_speed"], si["plenum"], road, notes, ambient)


def _table(path: Path) -> tuple[list[str], str, list[tuple[int, list[str]]]]:
    """Header, where it stands, and (line number, cells) of every row below it."""
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise BadInput(
                f"the file is larger than {LARGEST_FILE // 1_000_000} MB; thin the samples out", where=str(path)
            )
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as fault:
        raise BadInput(f"the file cannot be read: {fault.strerror or fault}", where=str(path)) from None
    except UnicodeDecodeError:
        raise BadInput("the file is not UTF-8 text; save it as CSV, UTF-8", where=str(path)) from None
    rows = [
        (number, next(csv.reader([line], skipinitialspace=True)))
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not rows:
        raise BadInput("the file is empty; a line of column names and samples below it are needed", where=str(path))
    (number, header), body = rows[0], rows[1:]
    where = f"{path}:{number}"
    if len(header) == 1 and ";" in header[0]:
        raise BadInput(
            "the columns are parted by semicolons; part them by commas, with a point as decimal sign", where=where
        )
    if len(body) < 2:
        raise BadInput("at least two samples are needed below the column names", where=where)
    return [cell.strip() for cell in header], where, body


def _present(name: str, header: list[str], path: Path, where: str, wanted: tuple[str, ...]) -> str:
    if name not in header:
        close = nearest(name, header)
        hint = f'; did you mean that by "{close}"?' if close else ""
        raise BadInput(f'column "{name}" is missing; the columns needed are {", ".join(wanted)}{hint}', where=where)
    return name


def _labelled(label: str, where: str) -> tuple[str, float | Pressure | tuple[float, float]]:
    """Name and one unit in SI of a replay column such as "plenum [kPa abs]"; of a temperature zero and degree."""
    match = _LABEL.match(label)
    if match is None:
        raise BadInput(
            f"column {typed(label)} has no unit in square brackets; the columns are {REPLAY_LABELS}", where=where
        )
    name, unit = match.group(1), match.group(2).strip()
    if name not in REPLAY_KINDS:
        close = nearest(name, REPLAY_KINDS)
        hint = f'; did you mean "{close}"?' if close else ""
        raise BadInput(f'column "{name}" is not known; the columns are {REPLAY_LABELS}{hint}', where=where)
    try:
        one = parse(f"1 {unit}", REPLAY_KINDS[name]).value
        if REPLAY_KINDS[name] == "temperature":
            degree = parse(f"2 {unit}", "temperature").value - one
            return name, (one - degree, degree)
        return name, one
    except BadInput as fault:
        raise BadInput(f"column {typed(label)}: {fault.message}", where=where) from None


def _in_si(values: np.ndarray, unit: float | Pressure | tuple[float, float], ambient_pressure: float) -> np.ndarray:
    if isinstance(unit, tuple):
        return unit[0] + values * unit[1]
    if isinstance(unit, Pressure):
        return values * unit.value + (ambient_pressure if unit.gauge else 0.0)
    return values * unit


def _numbers(path: Path, rows: list[tuple[int, list[str]]], header: list[str], columns: list[int]) -> list[np.ndarray]:
    """The wanted columns as floats, every cell a finite number."""
    out = np.empty((len(columns), len(rows)))
    for row, (number, cells) in enumerate(rows):
        if len(cells) != len(header):
            raise BadInput(f"{len(cells)} values stand under {len(header)} column names", where=f"{path}:{number}")
        for place, column in enumerate(columns):
            try:
                value = float(cells[column])
            except ValueError:
                value = math.nan
            if not math.isfinite(value):
                raise BadInput(
                    f"{typed(cells[column].strip())} is not a number; every sample needs one",
                    where=f"{path}:{number}",
                    key=header[column],
                )
            out[place, row] = value
    return list(out)


def _check_rising(path: Path, rows: list[tuple[int, list[str]]], time: np.ndarray) -> None:
    steps = np.diff(time)
    if (steps <= 0.0).any():
        number = rows[int(np.argmax(steps <= 0.0)) + 1][0]
        raise BadInput(
            "time does not rise from the line above; sort the samples and keep one a time", where=f"{path}:{number}"
        )


def _check_low(path: Path, rows: list[tuple[int, list[str]]], values: np.ndarray, label: str, words: str) -> None:
    if (values < 0.0).any():
        raise BadInput(words, where=f"{path}:{rows[int(np.argmax(values < 0.0))][0]}", key=label)
