"""Does more coolant flow always cool the charge better?  A core and a remote exchanger joined by a loop, at rest.

The rule (common practice, no source) says that larger lines and a stronger pump lower the charge temperature.  With
conductances that do not depend on the flow there is an optimum, past which more flow makes the charge hotter; with
films that grow with the flow there is none, but less and less is gained.  This script draws both, and the same for two
exchangers computed from their fins and tubes, and writes `coolant-flow.svg` and `coolant-flow.md`.

Run it with `python coolant_flow.py [folder]`; without a folder it writes into `docs` of the project, or here.
"""

from __future__ import annotations

import functools
import math
import sys
import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import quarter_volume
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize_scalar

from coldside.parts.correlations import (
    effectiveness_counterflow,
    effectiveness_cross_counter,
    effectiveness_crossflow,
    liquid_coupled_conductance,
)
from coldside.sheet.drawing import spread

Array = NDArray[np.float64]
Relation = Callable[[ArrayLike, ArrayLike], Array]

C_CHARGE = 583.0  # W/K, charge of an invented 597 kW (800 hp) engine
RISE = 138.0  # K, charge into the core over ambient
HEAT_CAPACITY = 3535.0  # J/(L K) of 50/50 coolant
CORE, EXCHANGER, C_OUTSIDE = 1500.0, 3000.0, 2300.0  # W/K, where conductances do not depend on the flow
C_OUTSIDE_GROWING = 1811.0  # W/K, outside air where they do
FLOWS = (8.0, 12.0, 16.0, 20.0, 30.0, 40.0, 60.0, 100.0)  # L/min, rows of the table
REFERENCE = 20.0  # L/min


def capacity(flow: ArrayLike) -> Array:
    """Heat capacity flow of the coolant, W/K, at a flow in L/min."""
    return np.asarray(flow, dtype=float) / 60.0 * HEAT_CAPACITY


def coupled(
    C_loop: ArrayLike,
    C_out: float,
    UA: tuple[ArrayLike, ArrayLike],
    core: Relation,
    exchanger: Relation | None = None,
    C_charge: float = C_CHARGE,
) -> Array:
    """Heat over what the charge would give if it left at ambient: overall effectiveness of both exchangers.

    Heat capacity flows in W/K of the loop, the outside air and the charge; UA of core and exchanger, W/K; each
    one's relation (NTU, C_r) -> effectiveness, the core's for both unless another is given.
    """

    def moved(conductance: ArrayLike, a: ArrayLike, b: ArrayLike, relation: Relation) -> Array:
        low, high = np.minimum(a, b), np.maximum(a, b)
        return np.asarray(relation(np.asarray(conductance) / low, low / high)) * low

    first = moved(UA[0], C_charge, C_loop, core)
    second = moved(UA[1], C_loop, C_out, exchanger or core)
    return np.asarray(liquid_coupled_conductance(first, second, C_loop)) / C_charge


def fixed(flow: ArrayLike, relation: Relation) -> Array:
    """Charge over ambient, K, with conductances that do not depend on the flow, L/min."""
    return RISE * (1.0 - coupled(capacity(flow), C_OUTSIDE, (CORE, EXCHANGER), relation))


def growing(flow: ArrayLike) -> Array:
    """Charge over ambient, K, with coolant films that grow as flow^0.8, crossflow."""
    s = (np.asarray(flow, dtype=float) / REFERENCE) ** 0.8
    UA = 1.0 / (1.0 / 1500.0 + 1.0 / (3000.0 * s)), 1.0 / (1.0 / 2200.0 + 1.0 / (2600.0 * s))
    return RISE * (1.0 - coupled(capacity(flow), C_OUTSIDE_GROWING, UA, effectiveness_crossflow))


def from_geometry(flow: ArrayLike) -> Array:
    """Charge over ambient, K, with the core and the two-pass exchanger of `quarter_volume.py`, 50/50 by mass."""
    core, remote = quarter_volume.system(quarter_volume.GLYCOL, 2, 10.0)
    coolant, T = quarter_volume.GLYCOL, 330.0
    m = np.asarray(flow, dtype=float) / 6e4 * coolant.density(T)
    C_charge = quarter_volume.CHARGE_FLOW * quarter_volume.CP_CHARGE
    UA = (
        core.core.resistances((quarter_volume.CHARGE_FLOW, 378.0, None), (m, T, coolant)).conductance,
        remote.core.resistances((m, T, coolant), (remote.flow2, 315.0, None)).conductance,
    )
    two_pass = functools.partial(effectiveness_cross_counter, passes=remote.core.passes)
    return RISE * (
        1.0 - coupled(m * coolant.cp(T), remote.flow2 * 1006.5, UA, effectiveness_crossflow, two_pass, C_charge)
    )


def optimum(relation: Relation) -> tuple[float, float]:
    """Flow, L/min, at which the charge is coldest while conductances do not depend on it, and its K over ambient."""
    run = minimize_scalar(lambda x: float(fixed(x, relation)), bounds=(10.0, 100.0), method="bounded")
    return float(run.x), float(run.fun)


# --- the figure --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Curve:
    """One line: what it is called at its end, its style, and charge over ambient, K, by flow, L/min."""

    name: str
    style: str
    over_ambient: Callable[[ArrayLike], Array]
    relation: Relation | None = None  # where it has an optimum


CURVES = (
    Curve("films grow with the flow", "grow", growing),
    Curve(
        "fixed, crossflow",
        "cross",
        functools.partial(fixed, relation=effectiveness_crossflow),
        effectiveness_crossflow,
    ),
    Curve(
        "fixed, counterflow",
        "counter",
        functools.partial(fixed, relation=effectiveness_counterflow),
        effectiveness_counterflow,
    ),
    Curve("from fins and tubes", "made", from_geometry),
)
WIDE, HIGH = 760.0, 470.0
LEFT, RIGHT, TOP, BOTTOM = 92.0, 584.0, 56.0, 396.0
LOW_FLOW, HIGH_FLOW, LOW, HIGH_K = 8.0, 100.0, 20.0, 90.0
STYLE = (
    "text{font:13px 'Source Sans 3','Segoe UI','Helvetica Neue',Helvetica,Arial,sans-serif;fill:#20262b}"
    ".p{fill:#fbfaf6}.k{fill:#5c666e}.g{stroke:#d8d4c8;stroke-width:1}.a{stroke:#5c666e;stroke-width:1}"
    ".h{font-size:15px;font-weight:600}path{fill:none;stroke-width:2.4;stroke-linejoin:round}"
    ".grow{stroke:#9a3412}.cross{stroke:#1f6a70;stroke-dasharray:8 4}.counter{stroke:#1f6a70}"
    ".made{stroke:#6f7a80;stroke-dasharray:2 4}.dot{fill:#fbfaf6;stroke:#1f6a70;stroke-width:2}"
    "@media (prefers-color-scheme:dark){text{fill:#e9e4d8}.p{fill:#191c1e}.k{fill:#a7abaa}.g{stroke:#3a3f41}"
    ".a{stroke:#a7abaa}.grow{stroke:#f2a65a}.cross,.counter{stroke:#6cc3c9}.made{stroke:#93a0a6}"
    ".dot{fill:#191c1e;stroke:#6cc3c9}}"
)


def _x(flow: float) -> float:
    return LEFT + (RIGHT - LEFT) * math.log(flow / LOW_FLOW) / math.log(HIGH_FLOW / LOW_FLOW)


def _y(kelvin: float) -> float:
    return BOTTOM - (BOTTOM - TOP) * (kelvin - LOW) / (HIGH_K - LOW)


def _text(x: float, y: float, words: str, anchor: str = "start", style: str = "") -> str:
    mark = f' class="{style}"' if style else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{mark}>{words}</text>'


def figure() -> str:
    """The drawing as SVG: charge over ambient against coolant flow, four lines, the optima marked."""
    pieces = [_text(LEFT - 66.0, 26.0, "Charge over ambient at full load held for good", style="h")]
    for kelvin in range(int(LOW), int(HIGH_K) + 1, 10):
        y = _y(kelvin)
        pieces.append(f'<line x1="{LEFT}" x2="{RIGHT}" y1="{y:.1f}" y2="{y:.1f}" class="g"/>')
        pieces.append(_text(LEFT - 8.0, y + 4.5, f"{kelvin} K · {kelvin * 1.8:.0f} °F", "end", "k"))
    pieces.append(f'<line x1="{LEFT}" x2="{RIGHT}" y1="{BOTTOM}" y2="{BOTTOM}" class="a"/>')
    for flow in FLOWS:
        x = _x(flow)
        pieces.append(f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{BOTTOM}" y2="{BOTTOM + 5}" class="a"/>')
        pieces.append(_text(x, BOTTOM + 20.0, f"{flow:.0f}", "middle", "k"))
        pieces.append(_text(x, BOTTOM + 37.0, f"{flow / 3.785412:.1f}", "middle", "k"))
    pieces.append(_text(LEFT - 20.0, BOTTOM + 20.0, "L/min", "end", "k"))
    pieces.append(_text(LEFT - 20.0, BOTTOM + 37.0, "US gal/min", "end", "k"))
    pieces.append(_text(0.5 * (LEFT + RIGHT), BOTTOM + 60.0, "coolant flow", "middle", "k"))
    flows = np.geomspace(LOW_FLOW, HIGH_FLOW, 101)
    lines = [curve.over_ambient(flows) for curve in CURVES]
    ends = spread([_y(float(line[-1])) + 4.5 for line in lines], [15.0] * len(lines), TOP, BOTTOM, 4.0)
    for curve, line, end in zip(CURVES, lines, ends, strict=True):
        way = "L".join(f"{_x(flow):.1f} {_y(kelvin):.1f}" for flow, kelvin in zip(flows, line, strict=True))
        pieces.append(f'<path d="M{way}" class="{curve.style}"/>')
        pieces.append(_text(RIGHT + 10.0, end, curve.name))
        if curve.relation is not None:
            flow, lowest = optimum(curve.relation)
            pieces.append(f'<circle cx="{_x(flow):.1f}" cy="{_y(lowest):.1f}" r="4.5" class="dot"/>')
            above = -12.0 if curve.style == "cross" else 21.0
            pieces.append(_text(_x(flow), _y(lowest) + above, f"coldest at {flow:.0f} L/min", "middle"))
    told = "With fixed conductances the charge is coldest at one coolant flow; with films that grow it only flattens."
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:.0f} {HIGH:.0f}" role="img" aria-labelledby="t d">'
        f'<title id="t">Charge over ambient against coolant flow</title><desc id="d">{told}</desc>'
        f'<style>{STYLE}</style><rect width="{WIDE:.0f}" height="{HIGH:.0f}" class="p"/>' + "".join(pieces) + "</svg>\n"
    )


# --- the page ----------------------------------------------------------------------------------------------------


HEAD = (
    "L/min (gal/min)",
    "coolant W/K",
    "fixed, counterflow K (°F)",
    "fixed, crossflow K (°F)",
    "films grow K (°F)",
    "fins and tubes K (°F)",
    "pump power over that at 20 L/min",
)


def _row(flow: float) -> str:
    cells = [f"{flow:.0f} ({flow / 3.785412:.1f})", f"{float(capacity(flow)):.0f}"]
    for curve in (CURVES[2], CURVES[1], CURVES[0], CURVES[3]):
        kelvin = float(curve.over_ambient(flow))
        cells.append(f"{kelvin:.1f} ({kelvin * 1.8:.0f})")
    cells.append(f"{(flow / REFERENCE) ** 3:.3g}")
    return "| " + " | ".join(cells) + " |"


def _wrapped(*paragraphs: str) -> str:
    """Paragraphs of a page, each on lines of at most 118 characters; points of a list keep together."""
    made = [
        textwrap.fill(
            " ".join(text.split()), 118, subsequent_indent="  " * text.startswith("- "), break_on_hyphens=False
        )
        for text in paragraphs
    ]
    return "\n\n".join(made).replace("\n\n- ", "\n- ")


def page() -> str:
    """The page in the documentation, with its table."""
    counter, cross = optimum(effectiveness_counterflow), optimum(effectiveness_crossflow)
    costs = [
        float(fixed(100.0, relation)) - lowest
        for relation, lowest in ((effectiveness_counterflow, counter[1]), (effectiveness_crossflow, cross[1]))
    ]
    first, second = growing(12.0) - growing(20.0), growing(40.0) - growing(60.0)
    before = _wrapped(
        """The trade says that larger lines and a stronger pump lower the charge temperature (common practice, no
        source). For a core and a remote exchanger joined by a coolant loop, at full load held until nothing changes any
        more, that is true of small flows and says less and less of larger ones.""",
        f"""The car is invented: {C_CHARGE:.0f} W/K of charge that comes {RISE:.0f} K ({RISE * 1.8:.0f} °F) over ambient
        into the core, 50/50 coolant of {HEAT_CAPACITY / 1e3:.3f} kJ per litre and kelvin.""",
        f"""- **Fixed conductances** (core {CORE:.0f}, exchanger {EXCHANGER:.0f} W/K, outside air {C_OUTSIDE:.0f} W/K):
        the charge is coldest at {counter[0]:.1f} L/min in counterflow and at {cross[0]:.1f} L/min in crossflow. Past
        that more flow makes the charge hotter: the coolant then hardly changes its temperature on its way round, and
        what both exchangers gained by meeting their streams end to end is lost. At 100 L/min it costs
        {costs[0]:.1f} K in counterflow, {costs[1]:.1f} K in crossflow.""",
        f"""- **Films that grow** (the coolant's as flow^0.8, a third to a half of each resistance at 20 L/min,
        crossflow): no optimum. From 12 to 20 L/min {float(first):.1f} K are gained, from 40 to 60 L/min
        {float(second):.1f} K, while the power into the water grows with the cube of the flow.""",
        """- **From fins and tubes**: the core and the two-pass exchanger that `examples/studies/quarter_volume.py`
        finds, with the films of those very sizes. It flattens too; from about 95 L/min the coolant in the flat tubes
        turns turbulent.""",
    )
    after = _wrapped(
        f"""So: bring the coolant's heat capacity flow (second column) to about twice the charge's, here
        {2 * C_CHARGE:.0f} W/K or {2.0 * C_CHARGE / HEAT_CAPACITY * 60.0:.0f} L/min; beyond that a better exchanger or
        more outside air buys more than a stronger pump does. In a single pull with a cold tank more flow helps for
        longer, since the tank then stands for the exchanger: let `coldside` run the session.""",
        """Relations: exact crossflow and counterflow, and two exchangers joined by a liquid (Kays and London, Compact
        Heat Exchangers, from memory). An optimum of the coupling liquid is published: ASME Journal of Engineering for
        Power 101, 1979, 516 (abstract seen).""",
    )
    picture = (
        "![Charge over ambient against coolant flow: with fixed conductances there is a coldest flow, with films that "
        "grow with the flow the lines flatten](figures/coolant-flow.svg)"
    )
    title = "# How much coolant flow is enough?\n\nMade by `python examples/studies/coolant_flow.py`; do not edit."
    table = "\n".join([" | ".join(HEAD).join(("| ", " |")), "|---" * len(HEAD) + "|", *(_row(flow) for flow in FLOWS)])
    return "\n\n".join((title, picture, before, table, after)) + "\n"


def write(folder: Path) -> None:
    """Write the page, and the figure into `figures` beside it."""
    (folder / "figures").mkdir(parents=True, exist_ok=True)
    (folder / "figures" / "coolant-flow.svg").write_text(figure(), encoding="utf-8")
    (folder / "coolant-flow.md").write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    docs = Path(__file__).resolve().parents[2] / "docs"
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else docs if docs.is_dir() else Path.cwd())
