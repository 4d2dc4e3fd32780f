"""How many wall cells are enough: the default grids against 24 x 24, on a load step and on the sessions.

For every bundled build: `step` is the largest difference of any charge core's outlet and of the intake at
any moment after a step from idle to full load; `session` the largest difference of highest and of end
temperature (intake, tank, coolant into the cores) over the bundled sessions.  Run: python bench/cells.py
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.duty.model import PhaseSpec, Session
from coldside.duty.phases import load_session
from coldside.parts.exchanger import CELLS, WaterCoreSpec
from coldside.parts.reservoir import ReservoirSpec
from coldside.plant.assemble import assemble
from coldside.plant.forecast import solve

EXAMPLES = Path(__file__).parent.parent / "examples"
BUILDS = ("tern/water", "tern/air", "plover/build", "dunlin/build")
SESSIONS = ("dyno-pulls", "traffic-then-pull", "steady", "track")
FINE = dict.fromkeys(CELLS, (24, 24))


def step_session(build, like: Session) -> Session:
    """40 s of idle, then full load at 80 % of top speed for 40 s, all ducts at 25 m/s."""
    n = 0.8 * build.engine.top_speed
    idle = PhaseSpec(kind="idle", duration=40.0)
    pull = PhaseSpec(kind="pull", on="road", from_speed=n, to_speed=n * 1.0001, duration=40.0)
    return Session("step", like.file, "ambient", like.ambient, (idle, pull), {}, ())


def is_core(build, name: str) -> bool:
    """True for a water core."""
    return isinstance(build.parts.get(name), WaterCoreSpec)


def differences(build, session, cells) -> tuple[dict[str, float], int]:
    """Largest differences between `cells` and the fine grid, and the states with `cells`."""
    demand = sample(session, build)
    coarse = assemble(build, demand, cells)
    fine = assemble(build, demand, FINE)
    a = solve(coarse)
    b = solve(fine, levels=a.levels)
    found = {"intake": a.intake, "intake_fine": b.intake}
    outlets = {}
    for p, name in enumerate(coarse.passes):
        difference = np.abs(a.streams[:, p, 1] - b.streams[:, p, 1])
        outlets[f"{name.part} {name.side}"] = float(difference.max())
    # what a forecast reports of the coolant: into the cores and out of the tank
    told = [(p, 0) for p, n in enumerate(coarse.passes) if n.side == "coolant" and is_core(build, n.part)]
    told += [(p, 1) for p, n in enumerate(coarse.passes) if isinstance(build.parts.get(n.part), ReservoirSpec)]
    peaks = [abs(a.streams[:, p, c].max() - b.streams[:, p, c].max()) for p, c in told]
    ends = [abs(a.streams[-1, p, c] - b.streams[-1, p, c]) for p, c in told]
    outlets["intake"] = float(np.abs(found["intake"] - found["intake_fine"]).max())
    outlets["coolant max"], outlets["coolant end"] = float(max(peaks, default=0.0)), float(max(ends, default=0.0))
    outlets["intake max"] = abs(float(a.intake.max() - b.intake.max()))
    outlets["intake end"] = abs(float(a.intake[-1] - b.intake[-1]))
    return outlets, coarse.arrays.n_states


def main() -> None:
    """Print the table."""
    cells = CELLS if len(sys.argv) < 2 else eval(sys.argv[1])
    for name in BUILDS if "water" not in sys.argv else ("tern/water", "dunlin/build"):
        build = load_build(EXAMPLES / f"{name}.toml")
        sessions = [load_session(EXAMPLES / "sessions" / f"{s}.toml") for s in SESSIONS]
        found, states = differences(build, step_session(build, sessions[0]), cells)
        sides = {k: v for k, v in found.items() if k.endswith(("charge", "coolant"))}
        worst = sorted(sides, key=lambda k: -sides[k])[:4]
        print(f"{name}: {states} states; step: " + ", ".join(f"{k} {found[k]:.3f}" for k in (*worst, "intake")) + " K")
        for title, session in zip(SESSIONS, sessions, strict=True):
            if "quick" in sys.argv and title in ("steady",):
                continue
            f, _ = differences(build, session, cells)
            print(
                f"    {title}: intake max {f['intake max']:.4f}, end {f['intake end']:.4f}; "
                f"coolant max {f['coolant max']:.4f}, end {f['coolant end']:.4f} K",
                flush=True,
            )


if __name__ == "__main__":
    main()
