"""First sizes against the design notes' worked examples and by hand; the notes' own figures are named beside each."""

from __future__ import annotations

import math

import pytest

from coldside.build import sizing
from coldside.build.brief import brief_text, parse_brief
from coldside.errors import BadInput
from coldside.media.coolants import parse_coolant
from coldside.media.fuels import fuel
from coldside.parts.compressor import CompressorSpec, compressor
from coldside.sources import SOURCES
from coldside.units.kinds import HP, POUND

MIX = parse_coolant("ethylene glycol 50 % by volume")


def brief(**values: str):
    return parse_brief(brief_text({"displacement": "2.4 L", "power": "450 hp", "fuel": "E85", **values}))


def test_air_of_the_notes_800_hp_car():
    """Loop note g: 800 hp at 0.50 lb/hp h and AFR 11.5 take 0.580 kg/s (76.7 lb/min)."""
    petrol = fuel("gasoline 98")
    specific = 0.50 * POUND / (HP * 3600)  # kg/J
    air = sizing.air_for_power(800 * HP, 1.0 / (specific * petrol.heating_value), petrol, 11.5 / petrol.stoichiometric)
    assert air == pytest.approx(0.580, rel=2e-3)
    assert air * 60 / POUND == pytest.approx(76.7, rel=2e-3)


def test_ten_horsepower_for_a_pound_a_minute_needs_its_own_figures():
    """Charge note B3: 0.50 lb/hp h times AFR 12.0 gives exactly 10.0 hp for each lb/min."""
    petrol = fuel("gasoline 98")
    efficiency = HP * 3600 / (0.50 * POUND * petrol.heating_value)
    air = sizing.air_for_power(100 * HP, efficiency, petrol, 12.0 / petrol.stoichiometric)
    assert air * 60 / POUND == pytest.approx(10.0, rel=1e-9)


def test_hot_charge_of_the_same_car():
    """Loop note g: PR 2.7, efficiency 0.72, 30 degC in gives 168 degC."""
    assert sizing.hot_charge(303.15, 2.7, 0.72) == pytest.approx(441.15, abs=1.0)


def test_plenum_pressure_by_hand():
    """p = m R T/(VE V n): 0.3 kg/s, 330 K, 1.2 L a turn, 100 turns a second, VE 0.9."""
    assert sizing.plenum_for_air(0.3, 330.0, 1.2e-3, 100.0, 0.9) == pytest.approx(0.3 * 287.05 * 330 / 0.108, rel=1e-3)


def test_filling_runs_through_its_points_and_stays_between():
    for share, value in sizing.FILLING:
        assert sizing.filling_at(share) == pytest.approx(value)
    assert sizing.filling_at(0.1) == sizing.FILLING[0][1]
    assert 0.85 <= sizing.filling_at(0.5) <= 1.05


def test_pump_flow_is_the_notes_optimum_at_twice_the_charge():
    """Loop note g5: the optimum of 1154 W/K is 19.6 L/min of 50/50 beside 583 W/K of charge."""
    assert 6e4 * sizing.pump_flow(0.580, MIX, ratio=1154 / 583) == pytest.approx(19.6, rel=0.02)


def test_tank_of_the_notes_800_hp_car():
    """Loop note g1: 66 kW, 12 s at mean 60 % load warm 7.6 L by 18 K: so 8 K take 17.1 L."""
    assert sizing.tank_volume(66e3, 12.0, MIX) == pytest.approx(7.6e-3 * 18 / 8, rel=0.03)


def test_core_volumes_of_the_notes():
    """Heat note A5: 0.5 kg/s take 14.6 L of air core, and 5.9 L of water core with coolant 10 K over the air."""
    assert sizing.air_core_volume(0.5) == pytest.approx(14.6e-3, rel=0.02)
    assert sizing.water_core_volume(0.5) == pytest.approx(5.9e-3, rel=0.03)


def test_water_core_face_by_hand():
    assert sizing.water_core_face(0.35) == pytest.approx(0.35 / (35 * 0.58))


def test_a_19_mm_line_carries_30_litres_a_minute():
    """Loop note g6: 19 mm is enough to about 30 L/min, 12.7 mm chokes at 15."""
    assert sizing.line_bore(30 / 6e4) == 0.019
    assert sizing.line_bore(15 / 6e4) > 0.0127


def test_pipe_of_the_notes_is_too_narrow_here():
    """Heat note A4: 0.5 kg/s at 2.5 bar and 150 degC run at 77.9 m/s in 63 mm; at 50 m/s that is 78.6 mm."""
    assert sizing.pipe_bore(0.5, 423.15, 2.5e5) == 0.089
    speed = 0.5 / (2.5e5 / (287.05 * 423.15) * math.pi / 4 * 0.063**2)
    assert speed == pytest.approx(77.9, rel=2e-3)


def test_exchanger_face_by_hand():
    """A = duty Q/(eps rho u cp dT): 0.3 x 40 kW over 0.5 x 1.15 x 7.6 x 1006 x 12."""
    use = sizing.USED["track"]
    assert sizing.exchanger_face(40e3, use) == pytest.approx(0.3 * 40e3 / (0.5 * 1.15 * 7.6 * 1006 * 12), rel=1e-9)


def test_injectors_double_where_one_would_be_too_large():
    assert sizing.injectors_for(0.034, 4) == (4, pytest.approx(0.01))
    count, each = sizing.injectors_for(0.068, 4)
    assert (count, count * each) == (8, pytest.approx(0.068 / 0.85))


@pytest.mark.parametrize("celsius", [-5.0, -12.0, -20.0, -30.0])
def test_the_leanest_mix_that_stays_liquid(celsius):
    text = sizing.coolant_for(273.15 + celsius, glycol_allowed=True)
    percent = int(text.split()[2])
    assert parse_coolant(text).freezing_point <= 273.15 + celsius - 3.0
    if percent > 20:
        leaner = parse_coolant(f"ethylene glycol {percent - 5} % by volume")
        assert leaner.freezing_point > 273.15 + celsius - 3.0


def test_water_where_it_cannot_freeze_or_glycol_is_barred():
    assert sizing.coolant_for(278.15, glycol_allowed=True) == "water"
    assert sizing.coolant_for(250.0, glycol_allowed=False) == "water"


def test_need_by_hand():
    """450 hp on E85 at 0.28 and lambda 0.82: fuel P/(eta LHV), air lambda AFR times it."""
    need, burnt = sizing.need_of(brief()), fuel("E85")
    assert need.fuel_flow == pytest.approx(450 * HP / (0.28 * burnt.heating_value))
    assert need.air == pytest.approx(need.fuel_flow * 0.82 * burnt.stoichiometric)
    assert need.ratio == pytest.approx((need.plenum + 12e3) / (need.pressure - 2e3))


def test_specific_consumption_is_of_the_trade():
    """Charge note B3: boosted gasoline piston 0.50 to 0.60 lb/hp h, rotary 0.60 to 0.70 (common practice); +- 3 %."""
    heat = fuel("gasoline 98").heating_value
    per_hour = {kind: HP * 3600 / (eta * heat) / POUND for kind, eta in sizing.EFFICIENCY.items()}
    assert 0.97 * 0.50 <= per_hour["piston"] <= 0.60
    assert 0.97 * 0.60 <= per_hour["rotary"] <= 0.70


@pytest.mark.parametrize("power", ["300 hp", "450 hp", "650 hp"])
def test_boost_curve_keeps_clear_of_surge_and_reaches_the_target(power):
    need = sizing.need_of(brief(power=power))
    turbo = CompressorSpec(design_flow=sizing.design_flow(need.corrected), design_pressure_ratio=need.ratio)
    curve = sizing.boost_curve(need, turbo)
    assert max(value for _, value in curve) == pytest.approx(need.boost)
    assert [share for share, _ in curve] == sorted(share for share, _ in curve)
    made = compressor(turbo)
    at_power = made.evaluate(need.corrected, need.ratio)
    assert float(at_power.surge_margin) > 0.1
    assert float(at_power.choke_margin) > 0.1


def test_a_bought_turbo_sets_its_own_middle():
    assert sizing.design_flow(0.4, bought=0.5) == pytest.approx(0.375)


def test_power_without_boost_and_beyond_a_stage_is_refused():
    with pytest.raises(BadInput, match="next to no boost"):
        sizing.need_of(brief(displacement="4 L", power="150 hp"))
    with pytest.raises(BadInput, match="pressure ratio"):
        sizing.need_of(brief(displacement="1.2 L", power="600 hp"))
    with pytest.raises(BadInput, match="2 rotors"):
        sizing.need_of(parse_brief(brief_text({"rotors": "2", "power": "100 hp"})))


def test_every_rule_cites_what_is_in_the_bibliography():
    from coldside.explore.draft_text import KINDS, build_text

    found = brief(side_pods="2")
    need = sizing.need_of(found)
    cited = {rule.source for kind in KINDS for rule in build_text(found, need, kind, {}, "water")[1]}
    assert cited <= set(SOURCES)
    assert {"Own", "Practice", "Heywood1988"} <= cited


def test_boost_given_is_the_boost_and_its_power_goes_with_absolute_pressure():
    """P ~ p of the plenum (Analytic): the boost that a power takes, typed in, makes that power again."""
    by_power = sizing.need_of(brief())
    again = sizing.need_of(
        parse_brief(brief_text({"displacement": "2.4 L", "fuel": "E85", "boost": f"{by_power.boost / 1e5:.6f} bar"}))
    )
    assert again.power == pytest.approx(450 * HP, rel=1e-5)
    assert again.air == pytest.approx(by_power.air, rel=1e-5)
    assert again.asked is None
    half = sizing.need_of(brief(boost=f"{(0.5 * by_power.plenum - by_power.pressure) / 1e5:.6f} bar"))
    assert half.power == pytest.approx(225 * HP, rel=1e-5)
    assert half.asked == pytest.approx(450 * HP)
    level = sizing.need_of(brief(boost=f"{by_power.plenum / 1e5:.6f} bar abs"))
    assert level.boost == pytest.approx(by_power.boost, rel=1e-5)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({}, "of boost is taken for the 450 hp asked."),
        ({"power": ""}, "of boost is taken for the 483 hp assumed."),
        ({"boost": "20 psi", "power": ""}, "At 20 psi of boost it makes about "),
        ({"boost": "12 psi"}, ", not the 450 hp asked; 450 hp takes about "),
        ({"boost": "30 psi", "power": "100 hp"}, ", not the 100 hp asked; 100 hp takes next to no boost."),
        ({"boost": "30 psi", "power": "1500 hp"}, ", more than one turbo stage gives."),
    ],
)
def test_boost_and_power_are_told_in_one_sentence(values, said):
    assert said in sizing.boost_words(sizing.need_of(brief(**values)), "us")


def test_boost_that_leaves_nothing_to_cool_or_is_beyond_a_stage_is_refused_as_boost():
    for text, said in (("1 psi", "leaves no heat to cool"), ("80 psi", "less boost is needed")):
        with pytest.raises(BadInput, match=said) as caught:
            sizing.need_of(brief(boost=text))
        assert caught.value.key == "boost"
