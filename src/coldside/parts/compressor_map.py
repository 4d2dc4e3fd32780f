"""Compressor map files: the reader of the CSV form, with every refusal naming file and line.

What is here: `read_map` and what it returns.  What is not: interpolation (`compressor.py`).
"""

from __future__ import annotations

import csv
import math
import os
from dataclasses import dataclass

import numpy as np

from coldside import units
from coldside.errors import BadInput, nearest, require
from coldside.parts.engine import RPM

HEAD_EXPONENT = 287.05 / 1004.5  # k of the similarity variable PR^k - 1; only a coordinate, not the outlet state
MAP_SIZE = 5_000_000  # bytes; a map file larger than that is none
COLUMNS = ("speed_rpm", "corrected_flow_kg_s", "pressure_ratio", "efficiency")
INSTEAD = {"tip_speed_m_s": "speed_rpm", "corrected_flow_lb_min": "corrected_flow_kg_s"}  # another unit of a column
HEADERS = ("reference_temperature", "reference_pressure", "inducer_diameter", "wheel_diameter")
LB_MIN = 0.45359237 / 60  # kg/s
CUBIC_FOOT_MINUTE = 0.3048**3 / 60  # m3/s
LIMITS = {  # smallest and largest value that can be meant
    "speed_rpm": (1000.0, 500000.0),
    "tip_speed_m_s": (10.0, 800.0),
    "corrected_flow_kg_s": (1e-4, 20.0),
    "corrected_flow_lb_min": (0.0133, 2640.0),
    "pressure_ratio": (1.0005, 10.0),
    "efficiency": (0.02, 0.95),
}


@dataclass(frozen=True, eq=False)
class SpeedLine:
    """One speed line of a map: `speed` [rev/s, corrected]; arrays rise in flow, from surge to choke."""

    speed: float
    flow: np.ndarray  # kg/s, corrected
    pressure_ratio: np.ndarray
    efficiency: np.ndarray


@dataclass(frozen=True, eq=False)
class MapData:
    """A compressor map as read; lines rise in speed."""

    reference_temperature: float
    reference_pressure: float
    inducer_diameter: float | None
    lines: tuple[SpeedLine, ...]


def read_map(path: str) -> MapData:
    """Read a compressor map from CSV.

    On top `# name: value unit` for `reference_temperature` and `reference_pressure` (both required,
    since maps differ in them) and `inducer_diameter` (optional); then the columns `speed_rpm`,
    `corrected_flow_kg_s`, `pressure_ratio`, `efficiency` (total to total, 0 to 1), one point a row.  A
    speed line is the rows of one speed; its smallest flow is surge, its largest choke.  In their place may
    stand `tip_speed_m_s`, of the wheel whose `wheel_diameter` (at its outlet) the header then gives, and
    `corrected_flow_lb_min`.

    Raises `BadInput` with file and line: header missing or unreadable, a wrong column or number, flow as
    a volume, fewer than two lines or three points a line, one flow twice on a line, lines on which flow
    and pressure ratio do not fix the speed.
    """
    header, rows = _rows_of(path)
    for name in HEADERS[:2]:
        if name not in header:
            example = "298.15 K" if name.endswith("temperature") else "100 kPa"
            raise BadInput(
                f'the map does not say its {name}; maps differ in it, so put a line like "# {name}: {example}" on top',
                where=f"{path}:1",
            )
    groups: dict[float, list[tuple[float, float, float, int]]] = {}
    for line, (speed, *point) in rows:
        groups.setdefault(speed, []).append((point[0], point[1], point[2], line))
    if len(groups) < 2:
        raise BadInput(f"the map has {len(groups)} speed line(s); it needs at least two", where=f"{path}:{rows[-1][0]}")
    lines = tuple(_speed_line(path, speed, groups[speed]) for speed in sorted(groups))
    return MapData(header[HEADERS[0]], header[HEADERS[1]], header.get(HEADERS[2]), lines)


def _rows_of(path: str) -> tuple[dict[str, float], list[tuple[int, list[float]]]]:
    """Header values and the numbered rows (line, numbers in the order of COLUMNS) of a map file."""
    header: dict[str, float] = {}
    rows: list[tuple[int, list[float]]] = []
    order: dict[str, int] | None = None
    for number, text in enumerate(_text_of(path).splitlines(), start=1):
        where = f"{path}:{number}"
        if not text.strip():
            continue
        if text.lstrip().startswith("#"):
            _read_header(text.lstrip(" #").strip(), where, header)
            continue
        cells = [cell.strip() for cell in next(csv.reader([text]))]
        if order is None:
            order = _column_order(cells, where, header)
        else:
            rows.append((number, _si(_numbers(cells, order, where), header)))
    if order is None or not rows:
        raise BadInput(
            f"the map has no points; below the header come the columns {', '.join(COLUMNS)}", where=f"{path}:1"
        )
    return header, rows


def _text_of(path: str) -> str:
    """The file's text, or a refusal in words."""
    try:
        if os.path.getsize(path) > MAP_SIZE:
            raise BadInput(f"the file is larger than {MAP_SIZE // 1_000_000} MB; that is no compressor map", where=path)
        with open(path, encoding="utf-8-sig") as file:
            return file.read()
    except FileNotFoundError:
        raise BadInput("there is no such map file; its path counts from the build's folder", where=path) from None
    except UnicodeDecodeError as fault:
        raise BadInput(f"byte {fault.start} is not UTF-8 text; save the map as CSV in UTF-8", where=path) from None
    except OSError as fault:
        raise BadInput(f"the map file cannot be read: {fault.strerror}", where=path) from None


def _read_header(text: str, where: str, header: dict[str, float]) -> None:
    """Take one `name: value unit` line into `header`; lines without a colon are the user's own notes."""
    name, colon, value = (part.strip() for part in text.partition(":"))
    if not colon or " " in name:
        return
    if name not in HEADERS:
        close = nearest(name, HEADERS)
        hint = f"; did you mean {close}?" if close else f"; known are {', '.join(HEADERS)}"
        raise BadInput(f'"{name}" is not a header of a map{hint}', where=where)
    if name in header:
        raise BadInput(f"{name} is given twice", where=where)
    kind = {"reference_temperature": "temperature", "reference_pressure": None}.get(name, "length")
    try:
        header[name] = _absolute(value) if kind is None else float(units.parse(value, kind).value)
        low, high = {"reference_temperature": (223.15, 333.15), "reference_pressure": (5e4, 1.2e5)}.get(
            name, (0.005, 1.0)
        )
        require(name, header[name], low=low, high=high)
    except BadInput as fault:
        raise BadInput(fault.message, where=where, key=name) from None


def _absolute(text: str) -> float:
    """A reference pressure [Pa]: absolute by its nature, so the word may be left out, but not gauge."""
    try:
        return float(units.parse(text, "pressure_difference").value)
    except BadInput:
        level = units.parse(text, "pressure").value
    if level.gauge:
        raise BadInput(f'"{text}" is gauge; a map\'s reference pressure is absolute, e.g. "100 kPa abs"')
    return float(level.value)


def _column_order(cells: list[str], where: str, header: dict[str, float]) -> dict[str, int]:
    """Where each column stands in the row of their names, in the order of COLUMNS."""
    order = {}
    for column in COLUMNS:
        names = (column, *(name for name, meant in INSTEAD.items() if meant == column))
        found = [index for index, cell in enumerate(cells) if cell in names]
        if len(found) == 1:
            order[cells[found[0]]] = found[0]
            continue
        _refuse_unknown(cells, where, header)
        state = "missing" if not found else "there twice"
        what = " or ".join(names)
        raise BadInput(f"the column {what} is {state} (columns: {', '.join(COLUMNS)})", where=where)
    _refuse_unknown(cells, where, header)
    if "tip_speed_m_s" in order and "wheel_diameter" not in header:
        raise BadInput(
            'tip_speed_m_s needs the diameter of the wheel at its outlet: put a line like "# wheel_diameter: 62 mm" '
            "on top",
            where=where,
        )
    return order


def _refuse_unknown(cells: list[str], where: str, header: dict[str, float]) -> None:
    known = (*COLUMNS, *INSTEAD)
    for cell in cells:
        if cell in known:
            continue
        if any(unit in cell.lower() for unit in ("cfm", "m3", "m^3", "ft3")):
            raise BadInput(f'"{cell}" is a volume; {_as_mass(header)}', where=where)
        close = nearest(cell, known)
        hint = f"; did you mean {close}?" if close else ""
        raise BadInput(f'"{cell}" is not a column of a map{hint} (columns: {", ".join(COLUMNS)})', where=where)


def _as_mass(header: dict[str, float]) -> str:
    """How to turn a map's volume flow into mass flow at its own reference conditions."""
    words = "a map needs mass flow, as corrected_flow_kg_s or corrected_flow_lb_min"
    if not all(name in header for name in HEADERS[:2]):
        return words
    density = header[HEADERS[1]] / (287.05 * header[HEADERS[0]])
    pound = density * CUBIC_FOOT_MINUTE / LB_MIN
    return f"{words}: at its reference conditions 1 m3/s is {density:.4g} kg/s and 1 cfm is {pound:.4g} lb/min"


def _numbers(cells: list[str], order: dict[str, int], where: str) -> dict[str, float]:
    """One row by column, as written; each in its range."""
    if len(cells) != len(order):
        raise BadInput(f"the row has {len(cells)} cells; it needs {len(order)}: {', '.join(order)}", where=where)
    found = {}
    for column, place in order.items():
        low, high = LIMITS[column]
        try:
            value = float(cells[place])
        except ValueError:
            raise BadInput(f'"{cells[place]}" is not a number', where=where, key=column) from None
        if not low <= value <= high:  # also NaN
            hint = " (write 0.74, not 74)" if column == "efficiency" and 1 < value <= 100 else ""
            raise BadInput(
                f"{value:g} is out of range; it must be from {low:g} to {high:g}{hint}", where=where, key=column
            )
        found[column] = value
    return found


def _si(row: dict[str, float], header: dict[str, float]) -> list[float]:
    """A row as speed [rev/s], corrected flow [kg/s], pressure ratio, efficiency."""
    speed, flow, *rest = row.items()
    n = speed[1] * RPM if speed[0] == "speed_rpm" else speed[1] / (math.pi * header["wheel_diameter"])
    m = flow[1] if flow[0] == "corrected_flow_kg_s" else flow[1] * LB_MIN
    return [n, m, *(value for _, value in rest)]


def _speed_line(path: str, speed: float, points: list[tuple[float, float, float, int]]) -> SpeedLine:
    """One line from its points, in order of flow."""
    points.sort()
    flow, ratio, efficiency = (np.array([point[i] for point in points]) for i in range(3))
    rows = [point[3] for point in points]
    words = f"the speed line of {speed / RPM:g} rpm"
    if len(points) < 3:
        raise BadInput(f"{words} has {len(points)} point(s); it needs at least three", where=f"{path}:{rows[-1]}")
    # The throttle line m ~ (PR^k - 1)^0.5 through a point must meet the speed line nowhere else.
    throttle = flow / np.sqrt(ratio**HEAD_EXPONENT - 1)
    for fault, message in (
        (np.diff(flow) <= 0, "has two points at one flow"),
        (np.diff(throttle) <= 0, "rises too steeply: pressure ratio must fall, or hardly rise, as flow rises"),
    ):
        if fault.any():
            raise BadInput(f"{words} {message}", where=f"{path}:{rows[int(np.argmax(fault)) + 1]}")
    return SpeedLine(speed, flow, ratio, efficiency)
