"""The charge tract in figures and words, of builds that have not run and of made forecasts."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from coldside.judge import pressures
from coldside.judge.pressures import couplers, exhaust, largest_pull, leak
from coldside.judge.summary import build_json, forecast_json, point_json
from coldside.judge.tract import charge_tract, tract_sentences
from coldside.judge.verdict import judge
from coldside.judge.workshop import workshop
from coldside.parts.charge_tract import decay_leak_area
from coldside.parts.lines import PipeSpec, PlenumSpec
from coldside.parts.pump import PumpSpec
from coldside.parts.supercharger import SuperchargerSpec
from coldside.plant.charge import StageState
from coldside.sheet import tables
from coldside.sheet.streams import Moment
from coldside.sheet.terminal import point_text
from coldside.units import Pressure
from generators import AIR_CORE, TURBO, build_of
from judge import made

PIPE = PipeSpec(length=1.0, bore=0.06, wall=0.002)
AREA = np.pi / 4.0 * 0.06**2
SEALED = np.pi / 4.0 * 0.064**2
TESTED = PlenumSpec(
    volume=0.005, leak_test_from=Pressure(1.0e5, True), leak_test_to=Pressure(0.8e5, True), leak_test_time=20.0
)


def tract_build(charge=("turbo", "hot", "core", "plenum"), **parts):
    """A build with a pipe and a plenum of 5 L; boost is 1 bar from 3000 rpm up."""
    made_parts = {"turbo": TURBO, "hot": PIPE, "core": AIR_CORE, "plenum": PlenumSpec(volume=0.005), **parts}
    return build_of(made_parts, charge, duct=("core",))


def words(build, system="si"):
    return [sentence.words(system) for sentence in tract_sentences(build)]


def with_pipe(pipe=PIPE, plenum=None, **changes):
    """A made forecast whose charge path has a pipe behind the turbo; 260 kPa there, 100 kPa outside."""
    base = made.forecast()
    parts = {**base.build.parts, "hot": pipe, "plenum": plenum or PlenumSpec()}
    build = replace(base.build, charge=("turbo", "hot", *base.build.charge[1:]), parts=parts)
    out = base.compressor_out
    return made.forecast(
        build=build,
        inlet={**base.inlet, ("hot", "charge"): out},
        flow={**base.flow, ("hot", "charge"): base.charge_flow},
        **changes,
    )


# ---------------------------------------------------------------- a build that has not run


def test_volume_and_air():
    tract = charge_tract(tract_build())
    sizes = dict(tract.held)
    assert sizes["hot"] == pytest.approx(AREA)  # 1 m of it
    assert sizes["plenum"] == 0.005
    assert tract.gauge == pytest.approx(1.0e5)
    held = tract.volume * 1.0e5 / (287.055 * (298.15 + 30.0))  # ideal gas at the tract's temperature
    assert tract.air == pytest.approx(held, rel=1e-4)  # five digits of the gas constant
    assert tract.fill_time == pytest.approx(tract.air / tract.flow)


def test_pull_at_couplers():
    """p A on the outside and m^2/(rho A) of the flow inside (a bend's momentum)."""
    tract = charge_tract(tract_build())
    rho = (101325.0 + 1.0e5) / (287.055 * 328.15)
    # the flow at the first of equal targets, so the least of them
    assert tract.couplers[0].force == pytest.approx(1.0e5 * SEALED + tract.flow**2 / (rho * AREA), rel=1e-4)


def test_branches_share_the_flow():
    from coldside.build.model import Parallel

    both = Parallel((("a",), ("b",)))
    build = tract_build(("turbo", both, "core", "plenum"), a=PIPE, b=PIPE)
    one = charge_tract(tract_build()).couplers[0].force - 1.0e5 * SEALED
    halves = [found.force - 1.0e5 * SEALED for found in charge_tract(build).couplers]
    assert halves == pytest.approx([one / 4.0, one / 4.0], rel=1e-9)  # momentum goes with the square


def test_between_two_stages_the_pressure_is_the_first_ones():
    build = tract_build(("turbo", "hot", "second", "core", "plenum"), second=TURBO)
    ratio = (101325.0 + 1.0e5) / 101325.0
    assert charge_tract(build).couplers[0].gauge == pytest.approx(101325.0 * (ratio**0.5 - 1.0))  # equal ratios


def test_a_leak_by_its_test():
    tract = charge_tract(tract_build(plenum=TESTED))
    by_hand = decay_leak_area(tract.volume, 201325.0, 181325.0, 20.0)
    assert tract.leak_area == pytest.approx(by_hand, rel=1e-12)
    assert charge_tract(tract_build()).leak_area is None
    told = words(tract_build(plenum=TESTED))
    assert any(text.startswith("By its pressure-decay test it leaks like an ideal hole of 0.") for text in told)
    assert any(text.startswith("No pressure-decay test is given: the tract is") for text in words(tract_build()))


def test_words_of_ratings():
    high = replace(PIPE, coupler_rating=Pressure(2.0e5, True))
    low = replace(PIPE, coupler_rating=Pressure(0.8e5, True))
    assert any("hot: 1 bar gauge pulls at each coupler with 3" in text for text in words(tract_build(hot=high)))
    assert any(text.endswith("50 % under the 2 bar gauge it is rated for.") for text in words(tract_build(hot=high)))
    over = next(text for text in words(tract_build(hot=low)) if text.startswith("Over its rating"))
    assert over.endswith("25 % over the 0.8 bar gauge it is rated for.")
    assert "What the couplers of hot are rated for was not given (coupler_rating): not checked." in words(tract_build())
    assert any(
        "14.5 psi gauge pulls at each coupler with" in text and "lbf" in text for text in words(tract_build(), "us")
    )


def test_words_of_shields():
    shielded = tract_build(hot=replace(PIPE, shield="wrap"), plenum=PlenumSpec(spacer=0.01))
    told = [text for text in words(shielded) if "pick-up" in text]
    assert told[0].startswith("hot: shield and spacer leave")
    assert told[1] == "plenum: shield and spacer leave 1.94 W/K of its pick-up of 5 W/K."
    idle = tract_build(plenum=PlenumSpec(spacer=0.01, surroundings="bay"))
    assert any("keeps no heat away" in text for text in words(idle))


def test_check_has_the_section():
    assert dict(workshop(tract_build(), "us"))["Charge tract"] == words(tract_build(), "us")
    block = json.loads(json.dumps(build_json(tract_build()), allow_nan=False))["charge_tract"]
    assert block["volume_m3"] == pytest.approx(charge_tract(tract_build()).volume)
    assert block["couplers"][0]["rating_margin"] is None


# ---------------------------------------------------------------- a forecast


def test_couplers_at_the_highest_pressure():
    found = couplers(with_pipe())
    rho = 260e3 / (287.055 * 420.0)
    assert found[0].gauge == pytest.approx(160e3)
    assert found[0].force == pytest.approx(160e3 * SEALED + 0.2**2 / (rho * AREA), rel=1e-4)  # gas constant
    assert largest_pull(found) == found[0]
    assert couplers(made.forecast()) == ()


def test_over_the_rating_is_a_reason():
    weak = with_pipe(replace(PIPE, coupler_rating=Pressure(1.0e5, True)))
    assert judge(weak).words("si").reasons[0].startswith("Over its rating: hot: 1.6 bar gauge pulls")
    strong = with_pipe(replace(PIPE, coupler_rating=Pressure(3.0e5, True)))
    assert not any("rating" in text for text in judge(strong).words("si").reasons)
    rows = {row[0]: row for row in tables.before_full_load(weak, "si")}
    told = rows["largest pull at a coupler"][2]
    assert told == "at hot, from 1.6 bar gauge; its couplers are rated for 1 bar gauge; the most of this session"


def test_exhaust_pressure():
    base = made.forecast()
    quiet = np.where(base.boost, 300e3, 110e3)
    assert exhaust(base) is None
    assert exhaust(made.forecast(exhaust_pressure=np.full_like(base.time, np.nan))) is None  # a belt
    found = exhaust(made.forecast(exhaust_pressure=quiet))
    assert (found.pressure, found.over_plenum) == (300e3, pytest.approx(1.2))
    assert pressures.back_pressure(made.forecast(exhaust_pressure=quiet)) == []
    beyond = np.where((base.time > 59.95) & (base.time < 64.95), np.inf, quiet)  # 50 samples of boost
    late = made.forecast(exhaust_pressure=beyond)
    assert exhaust(late).out_of_reach == pytest.approx(5.0, abs=0.11)  # half an interval at each end
    assert pressures.back_pressure(late)[0].words("si").startswith("For 5 s of boost no exhaust pressure is enough")
    choked = pressures.back_pressure(made.forecast(exhaust_pressure=2.0 * quiet))
    assert choked[0].words("si").startswith("Before the turbine the exhaust reaches 6 bar abs, 2.4 times")


def test_leak_of_a_forecast():
    assert leak(with_pipe()) is None
    found = leak(with_pipe(plenum=TESTED))
    assert found.share == pytest.approx(found.flow / 0.2)
    rows = [row[0] for row in tables.before_full_load(with_pipe(plenum=TESTED), "si")]
    assert "leak of the charge tract, highest" in rows


def test_lanes():
    calm = made.forecast(face_spread={"core": (322.0, 320.0, 318.0)})
    uneven = made.forecast(face_spread={"core": (333.15, 323.15, 313.15)})
    assert pressures.uneven_lanes(calm) == []
    told = pressures.uneven_lanes(uneven)[0].words("si")
    assert told.startswith("At the hottest moment the charge leaves core at 60 degC where it is hottest, 50 degC on")
    spreads = {"left": (333.15, 323.15, 313.15), "right": (333.15, 323.15, 313.15), "rear": (330.15, 323.15, 313.15)}
    both = [one.words() for one in pressures.uneven_lanes(made.forecast(face_spread=spreads))]
    assert ["leaves left and right at 60 degC" in both[0], "leaves rear at 57 degC" in both[1]] == [True, True]
    rows = {row[0]: row[1:] for row in tables.before_full_load(uneven, "us")}
    assert rows["hottest charge out of core"] == (
        "140 degF",
        "122 degF on average, 104 degF where coldest, at the hottest moment",
    )
    said = forecast_json(uneven, judge(uneven))["parts"]["core"]
    assert (said["lane_hottest_K"], said["lane_mean_K"], said["lane_coldest_K"]) == (333.15, 323.15, 313.15)


def stage(name, margins):
    """A stage over the made session with these least margins to surge in pulls and twice less at rest."""
    base = made.forecast()
    boost = base.boost
    operating = made.operating(np.where(boost, margins, -0.5))
    shape = np.ones_like(base.time)
    return StageState(name, 300 * shape, 1e5 * shape, 400 * shape, 2e5 * shape, 2 * shape, 0.7 * shape, 0.2 * shape,
                      operating, 0.2 * shape, 2e4 * shape)  # fmt: skip


@pytest.mark.parametrize(("ratio", "told"), [(1.2, ""), (1.6, "left of its surge line for 61 s of boost")])
def test_only_surge_worth_the_name_is_in_the_headline(ratio, told):
    """Cruising left of the line at a ratio of 1.06 to 1.25 is none (our own rule, no source); strong words never."""
    one = stage("turbo", 0.3)
    beyond = replace(one.operating, beyond_surge=np.ones_like(one.flow, dtype=bool))
    one = replace(one, pressure_ratio=ratio * np.ones_like(one.flow), operating=beyond)
    said = judge(made.forecast(stages=(one,))).words("si").headline
    assert told in said
    assert ("surge" in said) is bool(told)
    assert "cannot make this air" not in said


def test_margins_of_every_stage():
    both = made.forecast(stages=(stage("first", 0.3), stage("second", 0.1)))
    margins = {margin.name: margin.left for margin in tables.compressor_margins(both)}
    assert margins == {"first to surge": 0.3, "second to surge": 0.1}  # rest, below the surge line, does not count
    alone = made.forecast(stages=(stage("first", 0.3),))
    assert [margin.name for margin in tables.compressor_margins(alone)] == ["to surge"]
    block = forecast_json(both, judge(both))["stages"]
    assert [(one["part"], one["surge_margin_min"]) for one in block] == [("first", 0.3), ("second", 0.1)]
    assert block[0]["choke_margin_min"] is None


def test_belt_power():
    """20 kW to the air at a mechanical efficiency of 0.8 are 25 kW off the crank."""
    base = with_pipe()
    blower = SuperchargerSpec(drive_ratio=2.0, displacement=1e-3, mechanical_efficiency=0.8)
    build = replace(base.build, parts={**base.build.parts, "turbo": blower})
    driven = made.forecast(build=build, stages=(stage("turbo", 0.3),))
    assert pressures.belts(driven)[0].power == pytest.approx(25e3)
    assert ("belt of turbo, highest", "25 kW", "off the crank, at 0:00") in tables.before_full_load(driven, "si")
    assert forecast_json(driven, judge(driven))["charge_tract"]["belts"] == [{"part": "turbo", "power_max_W": 25e3}]
    assert pressures.belts(made.forecast(stages=(stage("turbo", 0.3),))) == ()


def test_every_stage_tells_its_own_pressure():
    """A stage of made arrays leaves 2 bar at a ratio of 2; alone, the drawing tells only what it leaves."""
    both = made.forecast(stages=(stage("turbo", 0.3), stage("second", 0.1)))
    assert Moment(both, 50, "si").details("turbo", "charge")[1:] == [
        "2.00 times ambient pressure",
        "its own pressure ratio 2.00",
    ]
    alone = made.forecast(stages=(stage("turbo", 0.3),))
    assert Moment(alone, 50, "si").details("turbo", "charge")[1:] == ["2.00 times ambient pressure"]


# ---------------------------------------------------------------- a point


def test_a_point_tells_stages_lanes_water_and_speeds():
    point = replace(
        made.point(),
        road_speed=30.0,
        exhaust_pressure=300e3,
        stages=(stage("first", 0.3), stage("second", 0.1)),
        face_spread={"core": (333.15, 323.15, 313.15)},
        condensate=5e-4,
    )
    text = point_text(point, "si", 100, colour=False)
    for name, words in POINT_ROWS.items():
        line = next(line for line in text.splitlines() if line.startswith(name))
        assert line[len(name) :].strip() == words
    assert "outside, at 108 km/h on the road" in " ".join(text.split())
    said = json.loads(json.dumps(point_json(point), allow_nan=False))
    assert (said["road_speed_m_s"], said["exhaust_Pa"], said["condensate_kg_s"]) == (30.0, 300e3, 5e-4)
    assert [(one["part"], one["pressure_ratio"]) for one in said["stages"]] == [("first", 2.0), ("second", 2.0)]
    assert said["parts"]["core"]["lane_hottest_K"] == 333.15


POINT_ROWS = {
    "before the turbine": "3 bar abs, 1.20 times the plenum's",
    "first  ": "pressure ratio 2.00 at 70 %, 127 degC out",
    "second to surge": "10 % left",
    "core over its face": "40 degC to 60 degC, 50 degC on average",
    "water condensing": "0.5 g/s, into the intake",
}


def test_a_point_with_a_belt():
    blower = SuperchargerSpec(drive_ratio=2.0, displacement=1e-3, mechanical_efficiency=0.8)
    base = made.point()
    build = replace(base.build, parts={**base.build.parts, "turbo": blower})
    point = replace(base, build=build, stages=(stage("turbo", 0.3),), exhaust_pressure=float("nan"))
    text = point_text(point, "si", 100, colour=False)
    assert "25 kW off the crank" in text
    assert "before the turbine" not in text
    assert point_json(point)["belts"] == [{"part": "turbo", "power_W": 25e3}]
    assert point_json(point)["exhaust_Pa"] is None


# ---------------------------------------------------------------- pumps


def with_pump(pump, hottest=330.0):
    """A made forecast whose pump sees coolant at `hottest` [K] at most."""
    base = made.forecast()
    parts = {**base.build.parts, "pump": pump}
    inlet = {**base.inlet, ("pump", "coolant"): np.linspace(300.0, hottest, len(base.time))}
    return made.forecast(build=replace(base.build, parts=parts), inlet=inlet)


def test_suction_head_at_the_hottest_coolant():
    """The open surface leaves (p - p_v)/(rho g) at rest: water at 330 K, CoolProp 17.2 kPa, 984.8 kg/m3."""
    plenty = with_pump(PumpSpec(npsh_required=1.0))
    (found,) = pressures.suction(plenty)
    assert found.hottest == 330.0
    standing = (100e3 - PropsSI("P", "T", 330.0, "Q", 0, "Water")) / (
        PropsSI("D", "T", 330.0, "P", 1e5, "Water") * 9.80665
    )
    assert 0.3 * standing < found.inlets[0].available <= standing  # less what core and exchanger lose on the way
    assert pressures.short_of_suction(plenty) == []
    hot = with_pump(PumpSpec(npsh_required=6.0), hottest=365.0)
    told = pressures.short_of_suction(hot)[0].words("si")
    assert told.startswith("pump runs short of suction head with the coolant at 92 degC: ")
    assert told.endswith("it needs 6 m and some to spare; it then pumps less, and vapour wears it.")
    assert any(text == told for text in judge(hot).words("si").reasons)
    rows = {row[0]: row[2] for row in tables.before_full_load(hot, "si")}
    assert rows["suction head of pump, least"] == "needs 6 m; coolant at 92 degC"
    assert forecast_json(hot, judge(hot))["pumps"]["pump"]["npsh_required_m"] == 6.0


def test_a_fault_is_told_first():
    broken = with_pump(PumpSpec(fault="airlock"))
    assert judge(broken).words("si").reasons[0] == "Tried out here: pump turns without moving coolant (fault)."
