"""Compressor: check cases C18 to C22 of the design's charge notes, map files good and bad, inversion and margins."""

from __future__ import annotations

import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.record import failures, load
from coldside.errors import BadInput
from coldside.parts import compressor as c
from coldside.parts.compressor import CompressorSpec, compressor, corrected_flow, family_point, outlet_temperature
from coldside.parts.compressor_map import HEAD_EXPONENT, read_map
from coldside.parts.engine import RPM

FAMILY = CompressorSpec(design_flow=1.0, design_pressure_ratio=2.5, peak_efficiency=0.77)
MACHINE = compressor(FAMILY)
CASES = load("compressor")


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


# ------------------------------------------------------------------------------------------- check cases


@pytest.mark.parametrize(
    ("ambient", "T1", "before", "after", "ratio", "outlet"),
    [
        (101325.0, 303.15, 0.0, 0.0, 1.9738, 390.66),
        (101325.0, 303.15, 3e3, 10e3, 2.1358, 401.89),
        (79501.0, 288.15, 3e3, 10e3, 2.7450, 417.77),
    ],
)
def test_c18_c19_outlet_temperature(ambient, T1, before, after, ratio, outlet):
    """C18, C19 (Cantera): plenum 200 kPa, efficiency 0.74; ratio 5e-4, outlet 0.1 K as in the notes."""
    found = (200e3 + after) / (ambient - before)
    assert found == pytest.approx(ratio, rel=5e-4)
    assert outlet_temperature(T1, found, 0.74) == pytest.approx(outlet, abs=0.1)


def test_windmilling_leaves_the_air_as_it_is():
    assert outlet_temperature(300.0, np.array([1.0, 0.97]), 0.5) == pytest.approx([300.0, 300.0], abs=1e-6)


@pytest.mark.parametrize(
    ("reference", "count", "expected"),
    [((298.15, 1e5), 1, 0.46149), ((288.15, 101325.0), 1, 0.47565), ((298.15, 1e5), 2, 0.23074)],
)
def test_c20_corrected_flow(reference, count, expected):
    """C20 (arithmetic): 0.45 kg/s, 303.15 K, 98.325 kPa; 2e-4 as in the notes."""
    machine = c.Compressor(*reference, count, constant=0.7)
    assert corrected_flow(0.45, 303.15, 98325.0, machine) == pytest.approx(expected, rel=2e-4)


def test_humid_air_is_corrected_by_its_gas_constant():
    """Charge notes D1: sqrt(R/R_a), 0.6 % at W = 0.02 (R of H2O 461.5, of air 287.06)."""
    ratio = corrected_flow(0.45, 303.15, 98325.0, MACHINE, 0.02) / corrected_flow(0.45, 303.15, 98325.0, MACHINE)
    assert ratio == pytest.approx(np.sqrt((287.06 + 0.02 * 461.5) / 1.02 / 287.06), rel=1e-5)


@pytest.mark.parametrize(
    ("n", "beta", "expected"),
    [
        (1.0, 0.4 / 0.7, (1.0000, 2.5000, 0.75839)),  # C21: f = 1 lies at beta (1 - 0.6)/0.7
        (0.8, 0.5, (0.78640, 1.8718, 0.76885)),
        (0.6, 0.3, (0.48888, 1.4677, 0.73401)),
        (1.0, 0.0, (0.6000, 2.8541, 0.71403)),  # C22
        (1.0, 1.0, (1.3000, 1.4436, 0.34182)),
    ],
)
def test_c21_c22_generic_family(n, beta, expected):
    """C21, C22 (the notes' own family, from its printed equations); 1e-4 as in the notes."""
    assert c.design_tip_speed(FAMILY) == pytest.approx(426.44, rel=1e-4)
    assert np.array(family_point(FAMILY, n, beta)) == pytest.approx(expected, rel=1e-4)


def test_c22_pressure_falls_strictly_along_a_line():
    n, beta = np.meshgrid(np.linspace(0.4, 1.2, 33), np.linspace(0.0, 1.0, 101), indexing="ij")
    flow, ratio, efficiency = family_point(FAMILY, n, beta)
    assert np.all(np.diff(ratio, axis=1) < 0)
    assert np.all(np.diff(flow, axis=1) > 0)
    assert np.all((efficiency > 0.2) & (efficiency <= 0.77))


# --------------------------------------------------------------------------------------------- inversion


def scattered(spec: CompressorSpec, count: int) -> tuple[np.ndarray, ...]:
    """Points all over the family: n, beta, flow, pressure ratio, efficiency."""
    rng = np.random.default_rng(7)
    n, beta = rng.uniform(0.4, 1.2, count), rng.uniform(0.0, 1.0, count)
    return n, beta, *family_point(spec, n, beta)


@pytest.mark.parametrize("design_ratio", [1.6, 2.5, 4.5])
def test_inverse_of_the_family(design_ratio):
    """Speed and efficiency back from flow and pressure ratio; 1e-3 is what tables of a plant need."""
    spec = CompressorSpec(design_flow=0.3, design_pressure_ratio=design_ratio)
    n, beta, flow, ratio, efficiency = scattered(spec, 5000)
    machine = compressor(spec)
    found = machine.evaluate(flow, ratio)
    np.testing.assert_allclose(found.efficiency, efficiency, atol=1e-3)
    np.testing.assert_allclose(found.corrected_speed, n, rtol=1e-3)
    again = machine.at(np.clip(found.corrected_speed, 0.4, 1.2), beta)
    np.testing.assert_allclose(again[1], ratio, rtol=1e-3)
    assert not found.off_map.any()
    assert found.idle.sum() == (ratio <= c.IDLE_RATIO).sum()


def test_margins_at_constant_speed():
    """Definitions: surge 1 - m_surge/m, choke 1 - m/m_choke on the same speed line, speed 1 - n/limit."""
    n, _, flow, ratio, _ = scattered(FAMILY, 500)
    found = MACHINE.evaluate(flow, ratio)
    np.testing.assert_allclose(found.surge_margin, 1 - family_point(FAMILY, n, 0.0)[0] / flow, atol=2e-3)
    np.testing.assert_allclose(found.choke_margin, 1 - flow / family_point(FAMILY, n, 1.0)[0], atol=2e-3)
    np.testing.assert_allclose(found.speed_margin, 1 - n / 1.2, atol=1e-3)


def test_shaft_speed_and_its_limit():
    """Shaft speed N = N_c sqrt(T1/T_ref) (charge notes D1), against the user's limit."""
    spec = CompressorSpec(
        design_flow=1.0, design_pressure_ratio=2.5, design_speed=100000 * RPM, speed_limit=110000 * RPM
    )
    found = compressor(spec).evaluate(1.0, 2.5, inlet_temperature=318.15)
    reference = CompressorSpec(design_flow=1.0, design_pressure_ratio=2.5)
    assert compressor(reference).evaluate(1.0, 2.5).corrected_speed == pytest.approx(1.0, rel=2e-4)
    assert found.corrected_speed == pytest.approx(100000 * RPM, rel=2e-4)
    assert found.shaft_speed == pytest.approx(100000 * RPM * np.sqrt(318.15 / 298.15), rel=2e-4)
    assert found.speed_margin == pytest.approx(1 - 10 / 11 * np.sqrt(318.15 / 298.15), abs=1e-3)


def test_over_the_edges():
    """Each edge by itself: flag, sign of its margin, and the edge's efficiency."""
    surge, choke = family_point(FAMILY, 1.0, 0.0), family_point(FAMILY, 1.0, 1.0)
    left = MACHINE.evaluate(0.9 * surge[0], surge[1])
    assert left.beyond_surge
    assert left.surge_margin == pytest.approx(1 - 1 / 0.9, abs=2e-3)
    assert left.efficiency == pytest.approx(surge[2], abs=1e-3)
    right = MACHINE.evaluate(choke[0], 1.2)
    assert right.beyond_choke
    assert right.choke_margin < -0.05
    assert right.efficiency == pytest.approx(choke[2], abs=2e-3)
    assert right.corrected_speed == pytest.approx(1.0, rel=1e-3)  # the least speed that passes this flow
    top = family_point(FAMILY, 1.2, 0.5)
    above = MACHINE.evaluate(top[0] * 1.05, (1 + (top[1] ** HEAD_EXPONENT - 1) * 1.05**2) ** (1 / HEAD_EXPONENT))
    assert above.above_speed
    assert above.speed_margin == pytest.approx(-0.05, abs=2e-3)  # same phi and psi: the fan law
    assert above.efficiency == pytest.approx(top[2], abs=1e-3)
    low = family_point(FAMILY, 0.4, 0.5)
    below = MACHINE.evaluate(low[0] * 0.8, (1 + (low[1] ** HEAD_EXPONENT - 1) * 0.8**2) ** (1 / HEAD_EXPONENT))
    assert below.below_speed
    assert below.corrected_speed == pytest.approx(0.32, rel=1e-3)
    assert below.efficiency == pytest.approx(low[2], abs=1e-3)
    for point in (left, right, above, below):
        assert point.off_map
        assert not point.idle


def test_idle_is_no_alarm():
    found = MACHINE.evaluate(np.array([0.01, 0.3, 0.9, 0.0]), np.array([1.0, 1.01, 0.98, 1.4]))
    assert found.idle.all()
    assert not found.off_map.any()
    assert np.isnan(found.surge_margin).all()
    assert np.all((found.efficiency > 0.2) & (found.efficiency < 0.77))


@given(st.floats(0.0, 3.0), st.floats(0.5, 8.0))
def test_always_an_answer(flow, ratio):
    found = MACHINE.evaluate(flow, ratio)
    assert 0.2 < found.efficiency <= 0.77
    assert np.isfinite(found.corrected_speed)


def test_edges_are_continuous():
    """Walking at one pressure ratio from beyond surge to beyond choke: the steepest stretch of the family moves
    efficiency by 0.005 a step of 2 g/s; a jump at an edge would be larger.
    """
    flow = np.linspace(0.35, 1.6, 620)
    efficiency = MACHINE.evaluate(flow, 2.2).efficiency
    assert np.abs(np.diff(efficiency)).max() < 6e-3


def test_many_points_at_once_and_pickled():
    flow, ratio = np.random.default_rng(3).uniform(0.1, 1.4, (2, 300, 200))
    copy = pickle.loads(pickle.dumps(MACHINE))
    found = copy.evaluate(flow, 1 + ratio)
    assert found.efficiency.shape == (300, 200)
    np.testing.assert_array_equal(found.efficiency, MACHINE.evaluate(flow, 1 + ratio).efficiency)


def test_constant_efficiency():
    machine = compressor(CompressorSpec(efficiency=0.72, count=2))
    found = machine.evaluate(np.array([0.1, 0.2]), np.array([1.0, 2.0]))
    assert found.efficiency == pytest.approx([0.72, 0.72])
    assert found.surge_margin is None
    assert found.corrected_speed is None
    assert not found.off_map.any()
    assert machine.count == 2


# --------------------------------------------------------------------------------------------- map files

HEADER = "# a map made for a test\n# reference_temperature: 298.15 K\n# reference_pressure: 100 kPa\n"
COLUMNS = "speed_rpm,corrected_flow_kg_s,pressure_ratio,efficiency\n"


def table_of(speeds: list[float], points: int = 12) -> str:
    """Map rows of the generic family, design speed 100,000 rpm."""
    rows = []
    for n in speeds:
        for flow, ratio, efficiency in zip(*family_point(FAMILY, n, np.linspace(0, 1, points)), strict=True):
            rows.append(f"{n * 1e5:.1f},{flow:.6f},{ratio:.6f},{efficiency:.6f}\n")
    return "".join(rows)


def written(folder, text: str, name: str = "map.csv") -> str:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_map_gives_back_the_family(tmp_path):
    """A map of the family, 9 lines of 12 points, against the family itself: 2e-3 is what the cubics leave between
    points (without the last tenth before choke, where efficiency falls by 0.2 between two points).
    """
    written(tmp_path, HEADER + COLUMNS + table_of([0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2]))
    machine = compressor(CompressorSpec(map="map.csv"), str(tmp_path))
    n, beta, flow, ratio, efficiency = scattered(FAMILY, 3000)
    inside = (beta < 0.9) & (n > 0.41) & (n < 1.19)
    found = machine.evaluate(flow[inside], ratio[inside])
    assert not found.off_map.any()
    np.testing.assert_allclose(found.corrected_speed, n[inside] * 1e5 * RPM, rtol=2e-3)
    np.testing.assert_allclose(found.efficiency, efficiency[inside], atol=2e-3)


def test_d4_a_removed_line_is_found_again(tmp_path):
    """Charge notes D4: similarity interpolation over a removed line: <= 0.3 % flow, 0.6 % ratio, 0.005 efficiency."""
    speeds = [0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2]
    for n in (0.7, 0.9, 1.0):
        rest = [speed for speed in speeds if speed != n]
        path = written(tmp_path, HEADER + COLUMNS + table_of(rest, 40), f"without-{n}.csv")
        beta = np.linspace(0.0, 1.0, 30)
        got = compressor(CompressorSpec(map=path)).at(n * 1e5 * RPM, beta)
        true = family_point(FAMILY, n, beta)
        np.testing.assert_allclose(got[0], true[0], rtol=3e-3)
        np.testing.assert_allclose(got[1], true[1], rtol=6e-3)
        np.testing.assert_allclose(got[2], true[2], atol=5e-3)


def test_reading_takes_any_order_and_the_units_of_the_trade(tmp_path):
    lines = ["efficiency, speed_rpm, pressure_ratio, corrected_flow_kg_s"]
    for n in (0.8, 1.0):
        rows = list(zip(*family_point(FAMILY, n, np.linspace(0, 1, 5)), strict=True))
        lines += [f"{e},{n * 1e5},{r},{m}" for m, r, e in reversed(rows)]
    top = "# reference_temperature: 77 degF\r\n# reference_pressure: 14.7 psi abs\r\n# inducer_diameter: 54 mm\r\n\r\n"
    data = read_map(written(tmp_path, "\ufeff" + top + "\r\n".join(lines)))
    assert data.reference_temperature == pytest.approx(298.15)
    assert data.reference_pressure == pytest.approx(101353, rel=1e-4)  # NIST SP 811: 1 psi = 6894.757 Pa
    assert data.inducer_diameter == pytest.approx(0.054)
    assert [line.speed / RPM for line in data.lines] == pytest.approx([8e4, 1e5])
    for line in data.lines:
        assert np.all(np.diff(line.flow) > 0)


def test_tip_speed_and_pounds_a_minute(tmp_path):
    """The same map in m/s of a 62 mm wheel and lb/min: 1 lb = 0.45359237 kg exactly (NIST SP 811); U = pi D n."""
    plain = read_map(written(tmp_path, HEADER + COLUMNS + table_of([0.8, 1.0], 5)))
    rows = ["tip_speed_m_s,corrected_flow_lb_min,pressure_ratio,efficiency"]
    for line in plain.lines:
        tip = f"{np.pi * 0.062 * line.speed:.6f}"
        points = zip(line.flow, line.pressure_ratio, line.efficiency, strict=True)
        rows += [f"{tip},{m / 0.45359237 * 60:.6f},{r:.6f},{e:.6f}" for m, r, e in points]
    other = read_map(written(tmp_path, HEADER + "# wheel_diameter: 62 mm\n" + "\n".join(rows), "tips.csv"))
    for one, two in zip(plain.lines, other.lines, strict=True):
        assert two.speed == pytest.approx(one.speed, rel=1e-6)
        np.testing.assert_allclose(two.flow, one.flow, rtol=1e-5)  # six decimals written
        np.testing.assert_allclose(two.pressure_ratio, one.pressure_ratio, rtol=1e-6)


GOOD = table_of([0.8, 1.0], 4)
ROWS = GOOD.splitlines(keepends=True)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (
            HEADER.replace("# reference_pressure: 100 kPa\n", "") + COLUMNS + GOOD,
            1,
            "does not say its reference_pressure",
        ),
        (COLUMNS + GOOD, 1, "does not say its reference_temperature"),
        (HEADER.replace("100 kPa", "0 bar gauge") + COLUMNS + GOOD, 3, "is gauge"),
        (HEADER.replace("298.15 K", "298.15") + COLUMNS + GOOD, 2, "no unit"),
        (HEADER.replace("100 kPa", "100 Pa") + COLUMNS + GOOD, 3, "out of range"),
        (HEADER + "# reference_presure: 1 bar\n" + COLUMNS + GOOD, 4, "did you mean reference_pressure"),
        (HEADER + "# reference_pressure: 1 bar abs\n" + COLUMNS + GOOD, 4, "given twice"),
        (HEADER + COLUMNS.replace("speed_rpm", "speed_rmp") + GOOD, 4, "did you mean speed_rpm"),
        (HEADER + COLUMNS.replace(",efficiency", "") + GOOD, 4, "column efficiency is missing"),
        (HEADER + COLUMNS.replace("speed_rpm", "tip_speed_m_s") + GOOD, 4, "wheel_diameter: 62 mm"),
        (HEADER + COLUMNS.replace("flow_kg_s", "flow_cfm") + GOOD, 4, r"is a volume; .*1 cfm is 0.07294 lb/min"),
        (COLUMNS.replace("flow_kg_s", "flow_m3_s") + GOOD, 1, r"is a volume; a map needs mass flow"),
        (HEADER + COLUMNS.replace("speed_rpm", "speed_rpm,tip_speed_m_s") + GOOD, 4, "is there twice"),
        (HEADER + COLUMNS + ROWS[0] + "80000,0.5,x,0.7\n", 6, "not a number"),
        (HEADER + COLUMNS + ROWS[0] + "80000,0.5,2.0,74\n", 6, "write 0.74, not 74"),
        (HEADER + COLUMNS + ROWS[0] + "80000,nan,2.0,0.7\n", 6, "out of range"),
        (HEADER + COLUMNS + ROWS[0] + "80000,0.5,2.0\n", 6, "has 3 cells"),
        (HEADER + COLUMNS + "".join(ROWS[:4]), 8, "needs at least two"),
        (HEADER + COLUMNS + "".join(ROWS[:6]), 10, "at least three"),
        (HEADER + COLUMNS + GOOD + ROWS[-1], 13, "two points at one flow"),
        (HEADER + COLUMNS + GOOD + "100000,1.31,4.0,0.4\n", 13, "rises too steeply"),
        (HEADER + COLUMNS, 1, "no points"),
        ("", 1, "no points"),
    ],
)
def test_bad_maps_name_file_and_line(tmp_path, text, line, words):
    path = written(tmp_path, text)
    with pytest.raises(BadInput, match=words) as fault:
        read_map(path)
    assert fault.value.where == f"{path}:{line}"


def test_files_that_are_no_maps(tmp_path):
    with pytest.raises(BadInput, match="no such map file"):
        compressor(CompressorSpec(map="none.csv"), str(tmp_path))
    (tmp_path / "latin.csv").write_bytes(HEADER.encode() + b"# note: d\xe9bit\n")
    with pytest.raises(BadInput, match="not UTF-8"):
        read_map(str(tmp_path / "latin.csv"))
    with pytest.raises(BadInput, match="cannot be read"):
        read_map(str(tmp_path))
    (tmp_path / "large.csv").write_bytes(b"#" * 5_000_001)
    with pytest.raises(BadInput, match="larger than 5 MB"):
        read_map(str(tmp_path / "large.csv"))


def test_lines_that_cross_are_refused(tmp_path):
    rows = "".join(
        f"{speed},{m},{ratio},0.7\n"
        for speed, ratios in ((80000, (2.4, 2.2, 1.8)), (100000, (2.3, 2.1, 1.4)))
        for m, ratio in zip((0.3, 0.45, 0.6), ratios, strict=True)
    )
    with pytest.raises(BadInput, match="80000 and 100000 rpm cross"):
        compressor(CompressorSpec(map=written(tmp_path, HEADER + COLUMNS + rows)))


@pytest.mark.parametrize(
    ("spec", "words"),
    [
        (CompressorSpec(), "none of them"),
        (CompressorSpec(efficiency=0.7, map="a.csv"), "more than one"),
        (CompressorSpec(design_flow=0.3), "needs design_pressure_ratio"),
        (CompressorSpec(design_flow=0.3, design_pressure_ratio=2.0, speed_limit=2000.0), "speed limit"),
        (CompressorSpec(efficiency=0.7, speed_limit=2000.0), "speed limit"),
    ],
)
def test_one_form_and_only_one(spec, words):
    with pytest.raises(BadInput, match=words):
        compressor(spec)


def test_refusals():
    for flow, ratio in ((-0.1, 2.0), (float("nan"), 2.0), (0.5, 0.0)):
        with pytest.raises(BadInput):
            MACHINE.evaluate(flow, ratio)
    with pytest.raises(BadInput, match="speed share"):
        family_point(FAMILY, 0.2, 0.5)
    with pytest.raises(BadInput, match="no speed lines"):
        compressor(CompressorSpec(efficiency=0.7)).at(1.0, 0.5)
