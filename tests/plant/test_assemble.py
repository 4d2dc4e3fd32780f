"""What a build becomes: fields, passes, places of sensors, command combinations, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import Build, Parallel
from coldside.duty.demand import sample
from coldside.errors import BadInput
from coldside.parts import lines
from coldside.parts.airflow import FanSpec
from coldside.parts.exchanger import CELLS
from coldside.parts.lines import PipeSpec
from coldside.parts.pump import Control, PumpSpec
from coldside.parts.sensor import SensorSpec
from coldside.plant import layout
from coldside.plant.assemble import Plant, _unique_rows, assemble
from coldside.plant.tables import FULL
from coldside.plant.threads import CP_METAL
from generators import (
    AIR_CORE,
    BUNDLED,
    EXCHANGER,
    HOSE,
    PUMP,
    TANK,
    TURBO,
    WATER_CORE,
    build_of,
    demand_of,
    march,
    short_session,
)

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
WET = {"turbo": TURBO, "core": WATER_CORE, "tank": TANK, "pump": PUMP, "hose": HOSE, "remote": EXCHANGER}
LOOP = ("tank", "pump", "hose", "core", "remote")


def wet(charge=("turbo", "core"), loop=LOOP, duct=("remote",), coolant: str = "water", **parts: object) -> Build:
    """A water core, a hose and an exchanger on a loop."""
    return build_of({**WET, **parts}, charge, loop, duct, coolant=coolant)


def of(build: Build, seconds: float = 0.1, **conditions) -> Plant:
    return assemble(build, demand_of(build, seconds, **conditions))


def capacity(plant: Plant, field: str) -> float:
    f = plant.fields.index(field)
    return float(plant.arrays.field_capacity[f] * plant.arrays.field_count[f])


def test_fields_hold_what_the_parts_weigh():
    """Metal by mass times 896 J/(kg K), coolant by volume times rho cp (heat note C3); nothing twice, nothing lost."""
    plant = of(wet(tank=replace(TANK, metal_mass=2.0, nodes=3)))
    rho_cp = float(plant.arrays.loop_capacity[0])
    coolant = plant.loops[0].coolant
    assert rho_cp == pytest.approx(float(coolant.density(303.15) * coolant.cp(303.15)), rel=1e-12)
    assert capacity(plant, "core metal") == pytest.approx(WATER_CORE.metal_mass * CP_METAL)
    assert capacity(plant, "core coolant") == pytest.approx(WATER_CORE.coolant_volume * rho_cp)
    assert capacity(plant, "remote metal") == pytest.approx(EXCHANGER.metal_mass * CP_METAL)
    assert capacity(plant, "tank coolant") == pytest.approx(TANK.volume * rho_cp + 2.0 * CP_METAL)
    assert capacity(plant, "hose coolant") == pytest.approx(lines.hose_volume(HOSE) * rho_cp)
    assert capacity(plant, "hose wall") == pytest.approx(lines.hose_wall_capacity(HOSE))
    assert plant.arrays.field_count[plant.fields.index("tank coolant")] == 3
    assert plant.arrays.field_count.sum() == plant.arrays.i_feed
    assert sorted(plant.fields) == sorted(set(plant.fields))


@pytest.mark.parametrize(("length", "cells"), [(0.1, FULL.fewest_cells), (1.2, 4), (1.21, 5), (3.0, 10)])
def test_lines_have_a_cell_every_30_cm_and_never_under_four(length, cells):
    plant = of(
        wet(("turbo", "pipe", "core"), hose=replace(HOSE, length=length), pipe=PipeSpec(length=length, bore=0.06))
    )
    assert FULL.cell_length == 0.3
    for field in ("hose coolant", "hose wall", "pipe metal"):
        assert plant.arrays.field_count[plant.fields.index(field)] == cells


def test_cells_may_be_set_by_kind_and_by_part():
    build = wet()
    demand = demand_of(build, 0.1)
    counts = []
    for cells in ({}, {"water_core": (3, 2)}, {"water_core": (3, 2), "core": (4, 4)}):
        plant = assemble(build, demand, cells)
        counts.append(int(plant.arrays.field_count[plant.fields.index("core metal")]))
    assert counts == [CELLS["water_core"][0] * CELLS["water_core"][1], 6, 16]


@pytest.mark.parametrize("name", BUNDLED)
def test_every_side_of_every_part_is_one_pass(name):
    build = load_build(EXAMPLES / f"{name}.toml")
    plant = assemble(build, sample(short_session(build), build))
    named = [(p.part, p.side) for p in plant.passes if p.part in build.parts]
    assert len(named) == len(set(named))
    before = {"filter", "turbo"}
    for part, spec in build.parts.items():
        for side in spec.sides:
            if part in before or isinstance(spec, SensorSpec) or (side == "coolant" and getattr(spec, "heat", None)):
                continue
            assert (part, side) in named
    rows = plant.arrays.passes
    assert np.all(np.diff(rows[:, layout.P_SORT]) >= 0)  # charge, then coolant, then cooling
    reached = {0}  # gas is walked once, so what enters a part must have been mixed before it
    for row in rows[rows[:, layout.P_SORT] == layout.CHARGE]:
        assert row[layout.P_IN] in reached
        reached.add(int(row[layout.P_OUT]))


def test_sensors_read_what_stands_before_them():
    """Behind a group a sensor reads the mixed stream, inside a branch its own; at the start what arrives."""
    sensors = {name: SensorSpec(time_constant=0.05, soak=0.0) for name in ("first", "inner", "mixed")}
    weak = replace(WATER_CORE, bench_effectiveness=0.4)
    build = build_of(
        {"turbo": TURBO, "good": WATER_CORE, "weak": weak, "tank": TANK, "pump": PUMP, **sensors},
        ("turbo", "first", Parallel((("good", "inner"), ("weak",))), "mixed"),
        ("tank", "pump", "good", "weak"),
    )
    plant = of(build, 60.0)
    solution = march(plant)
    read = dict(zip(plant.sensors, solution.scalars[-1, 4:], strict=False))
    hot, good, weak_out = (
        solution.scalars[-1, 1],
        *(solution.streams[-1, plant.index(n, "charge"), 1] for n in ("good", "weak")),
    )
    assert plant.sensors == ("first", "inner", "mixed")
    m = [solution.streams[-1, plant.index(n, "charge"), 2] for n in ("good", "weak")]
    assert read["first"] == pytest.approx(hot, abs=0.05)
    assert read["inner"] == pytest.approx(good, abs=0.05)
    assert read["mixed"] == pytest.approx((m[0] * good + m[1] * weak_out) / sum(m), abs=0.05)
    assert read["first"] > read["mixed"] > read["inner"]


def test_combinations_count_every_device_s_levels():
    """Two pumps on one loop, one switched, one at three speeds: six flows, each command finds its own."""
    build = wet(loop=("tank", Parallel((("pump",), ("second",))), "hose", "core", "remote"), second=PumpSpec())
    demand = demand_of(build, 0.5)
    demand.command["pump"][:] = [0.0, 1.0, 0.0, 1.0, 0.0, 1.0]
    demand.command["second"][:] = [0.0, 0.0, 0.5, 0.5, 1.0, 1.0]
    plant = assemble(build, demand)
    combos = plant.combos(plant.arrays.level)
    assert sorted(combos[:, 0]) == [0, 1, 2, 3, 4, 5]
    solution = march(plant)
    flow = solution.streams[:, plant.index("hose", "coolant"), 2]
    for k in range(6):
        q, _ = plant.loops[0].flow(
            build,
            np.array([303.15]),
            {"pump": demand.command["pump"][k : k + 1], "second": demand.command["second"][k : k + 1]},
        )
        assert flow[k] == pytest.approx(
            q[0, plant.loops[0].network.names.index("hose")] * plant.arrays.loop_density[0], rel=2e-3, abs=1e-9
        )


def test_a_tank_may_start_colder_than_the_rest():
    plant = of(wet(tank=replace(TANK, start_temperature=278.15)), ambient=303.15)
    A = plant.arrays
    assert plant.start[A.field_first[plant.fields.index("tank coolant")]] == 278.15
    assert plant.start[A.field_first[plant.fields.index("core coolant")]] == 303.15


@pytest.mark.parametrize(
    ("build", "conditions", "said"),
    [
        (wet(), {"ambient": 263.15}, "water starts at -10 degC and freezes at 0 degC"),
        (wet(("sensor", "turbo", "core"), sensor=SensorSpec()), {}, "stands before the compressor"),
        (
            build_of(
                {
                    "turbo": TURBO,
                    "core": AIR_CORE,
                    "fan": FanSpec(curve=((0.0, 200.0), (0.5, 0.0)), control=Control("above", 310.0, 3.0, "coolant")),
                },
                ("turbo", "core"),
                duct=("core", "fan"),
            ),
            {"command": {"fan": float("nan")}},
            "no coolant runs through its duct",
        ),
        (wet(remote=replace(EXCHANGER, bench_heat=90e3)), {}, "times the most heat its flows could carry"),
    ],
)
def test_what_cannot_be_is_refused(build, conditions, said):
    with pytest.raises(BadInput, match=said) as caught:
        of(build, **conditions)
    assert caught.value.key


def test_unlike_rows_are_found_once_and_again():
    """Against `numpy.unique` of whole rows; -0 and 0 are one number."""
    rows = np.random.default_rng(3).integers(0, 4, (500, 3)) * np.array([0.1, 1e5, -1.0])
    unlike, back = _unique_rows(rows)
    assert (unlike[back] == rows).all()
    assert len(unlike) == len(np.unique(rows, axis=0))
