"""Every check case that the three design notes list, and those that are not met yet, each with its reason.

The notes number their cases heat-T01 to heat-T42, charge-C01 to charge-C46 and loop-C1 to loop-C43; ids beside these
are cases of our own.  `tests/cases/test_validation.py` holds the list against the records: a case of the notes is
either a record or in `NOT_YET`, never in neither.  `LAWS` names the test that shows each law of the notes.
"""

from __future__ import annotations

from typing import NamedTuple

NOTES: dict[str, tuple[str, tuple[str, ...]]] = {  # note -> heading of its part of the page, its ids
    "charge": ("Charge side, fuels and engine", tuple(f"charge-C{number:02d}" for number in range(1, 47))),
    "heat": ("Heat exchange, coolants, ice, condensation", tuple(f"heat-T{number:02d}" for number in range(1, 43))),
    "loop": ("Coolant loop, cooling air, duty, sensors", tuple(f"loop-C{number}" for number in range(1, 44))),
}


class Later(NamedTuple):
    """A case that no code of ours can meet yet: what it is, why not, and where it belongs."""

    what: str
    why: str
    belongs: str  # the issue, or "nowhere"


NOT_YET: dict[str, Later] = {}

# law of the notes (heat: under its table; loop: its last lines) -> "file::test" that shows it
LAWS: dict[str, str] = {
    "heat (1): both sides of an exchanger tell the same heat": (
        "tests/parts/test_correlations.py::test_law_1_both_sides_tell_the_same_heat"
    ),
    "heat (2): effectiveness rises with transfer units, falls with the capacity ratio": (
        "tests/parts/test_correlations.py::test_law_2_rises_with_transfer_units_and_falls_with_the_ratio"
    ),
    "heat (2): one stream mixed, none mixed, counterflow, in rising order": (
        "tests/parts/test_correlations.py::test_law_2_order_of_arrangements"
    ),
    "heat (3): small exchangers are alike in every arrangement": (
        "tests/parts/test_correlations.py::test_law_3_small_exchangers_are_all_alike"
    ),
    "heat (4): counterflow is UA times the logarithmic mean difference": (
        "tests/parts/test_correlations.py::test_law_4_counterflow_is_the_logarithmic_mean_difference"
    ),
    "heat (5): two half cores in parallel are one": "tests/parts/test_geometry.py::test_two_half_cores_are_one",
    "heat (5), through a whole forecast": "tests/laws/test_symmetry.py::test_parallel_parts_of_a_whole_are_the_whole",
    "heat (6): many passes tend to counterflow": (
        "tests/parts/test_correlations.py::test_law_6_many_passes_tend_to_counterflow"
    ),
    "heat (7): a march with constant inputs ends at the steady answer": (
        "tests/laws/test_steady.py::test_forecast_and_point_meet_under_constant_demand"
    ),
    "heat (8): charge heat is wall, stored and carried away": "tests/laws/test_heat.py::test_the_ledger_closes",
    "heat (9): no temperature leaves the range of its sources": (
        "tests/laws/test_heat.py::test_no_temperature_leaves_the_range_of_its_sources"
    ),
    "heat (10): ice and water keep their energy and mass": (
        "tests/parts/test_reservoir.py::test_settling_keeps_the_energy"
    ),
    "heat (11): a wall warmer than the dew point is dry": (
        "tests/parts/test_moisture.py::test_a_cell_never_leaves_air_drier_than_its_wall_and_dry_is_dry"
    ),
    "loop: no flow is finite everywhere": "tests/plant/test_network.py::test_zero_flow_is_finite_whatever_the_part",
    "loop: every node's flows balance": "tests/plant/test_network.py::test_random_trees_of_quadratic_losses",
    "loop: heat of every span balances": "tests/laws/test_heat.py::test_the_ledger_counted_from_the_traces_agrees",
    "loop: a steady state knows no mass": (
        "tests/laws/test_steady.py::test_the_steady_point_knows_neither_tank_nor_metal"
    ),
    "loop: twice the step changes less than 0.05 K": (
        "tests/laws/test_heat.py::test_twice_the_step_changes_less_than_the_limit"
    ),
    "loop: one node is mixed, many are plug flow": (
        "tests/plant/test_liquid.py::test_one_node_is_mixed_and_many_are_plug_flow"
    ),
    "loop: no leak is sealed": "tests/plant/test_flows.py::test_no_gap_and_a_gap_of_nothing_are_alike",
    "loop: full voltage is the curve itself": "tests/laws/test_scaling.py::test_full_voltage_is_the_curve_itself",
    "loop: what is shown in a unit reads back": "tests/test_units.py::test_what_is_shown_reads_back",
}
