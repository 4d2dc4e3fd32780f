"""Keys of knock on [engine]: angles, blends, sizes that agree, known points that are whole, trims that take."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from coldside.build.files import load_build
from coldside.errors import BadInput
from coldside.explore.draws import uncertain_inputs

ENGINE = """\
schema = "coldside.build/1"
name = "Knot"

[engine]
kind = "piston"
displacement = "2.0 L"
cylinders = 4
boost = [["2500 rpm", "8 psi"], ["7500 rpm", "20 psi"]]
fuel = "gasoline 98"
"""
REST = """
[charge]
path = ["turbo", "core", "plenum"]

[parts.turbo]
kind = "compressor"
efficiency = 0.7

[parts.core]
kind = "air_core"
bench_charge_flow = "0.2 kg/s"
bench_charge_in = "130 degC"
bench_cooling_in = "25 degC"
bench_cooling_flow = "0.9 kg/s"
bench_effectiveness = 0.8
bench_charge_loss = "5 kPa"
bench_cooling_loss = "200 Pa"
metal_mass = "4 kg"

[ducts.nose]
path = ["core"]
place = "nose"
inlet_area = "600 cm2"

[parts.plenum]
kind = "plenum"
"""


def load(folder: Path, extra: str, engine: str = ENGINE):
    file = folder / "knot.toml"
    file.write_text(engine + extra + REST)
    return load_build(file)


def test_what_is_read(tmp_path):
    build = load(
        tmp_path,
        'bore = "86 mm"\nstroke = "86 mm"\nrod = "143.5 mm"\nfuel_injection = "direct"\noctane = 99\n'
        'burn_duration = "50 deg"\nspark = [["3000 rpm", "12 deg"], ["7000 rpm", "20 degrees BTDC"]]\n'
        'trim_spark = [["40 degC", "0 deg"], ["140 degF", "4 deg"]]\n'
        'trim_boost = [["50 degC", "0 %"], ["70 degC", "30 %"]]\n'
        'knock_speed = "5500 rpm"\nknock_boost = "16 psi"\nknock_intake = "45 degC"\nknock_spark = "13.5 deg"\n',
    )
    engine = build.engine
    assert engine.knock_spark == pytest.approx(math.radians(13.5))
    assert engine.spark is not None
    assert engine.spark[1][1] == pytest.approx(math.radians(20.0))
    assert engine.trim_spark is not None
    assert engine.trim_spark[1] == pytest.approx((333.15, math.radians(4.0)))
    assert engine.trim_boost is not None
    assert engine.trim_boost[1][1] == pytest.approx(0.3)
    assert "engine.knock_boost" in build.givens


def test_a_blend_is_read_by_volume(tmp_path):
    engine = ENGINE.replace('"gasoline 98"', '"gasoline 98 with 40 % E85"')
    assert load(tmp_path, "", engine).engine.fuel == "gasoline 98 with 40 % E85"


def test_keys_that_do_nothing_are_not_listed(tmp_path):
    listed = [key for key, _ in load(tmp_path, "").defaults()]
    assert "engine.knock_speed" in listed
    assert not {"engine.knock_boost", "engine.knock_intake", "engine.knock_spark"} & set(listed)


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        ('knock_speed = "5500 rpm"\nknock_boost = "16 psi"\n', "knock_intake and knock_spark is missing"),
        ('trim_boost = [["50 degC", "0 %"], ["70 degC", "130 %"]]\n', "engine.trim_boost"),
        ('trim_spark = [["50 degC", "0 deg"], ["70 degC", "-3 deg"]]\n', "engine.trim_spark"),
        ('bore = "120 mm"\nstroke = "86 mm"\n', "a cylinder, but displacement and cylinders make 500 cm3"),
        ('rod = "50 mm"\n', "at least 0.8 times the stroke"),
        ('knock_spark = "13"\n', "has no unit"),
        ("octane = 20\n", "out of range"),
    ],
)
def test_refusals(tmp_path, extra, said):
    with pytest.raises(BadInput, match=said):
        load(tmp_path, extra)


def test_a_rotary_has_no_bore(tmp_path):
    engine = ENGINE.replace(
        '"piston"\ndisplacement = "2.0 L"\ncylinders = 4', '"rotary"\nchamber_volume = "650 cm3"\nrotors = 2'
    )
    assert "engine.bore" not in dict(load(tmp_path, "", engine).defaults())
    with pytest.raises(BadInput, match="belongs to a piston engine"):
        load(tmp_path, 'bore = "86 mm"\n', engine)


def test_a_wrong_fuel_is_told_with_the_nearest(tmp_path):
    engine = ENGINE.replace('"gasoline 98"', '"gasolin 98"')
    with pytest.raises(BadInput, match="nearest: 'gasoline 98'"):
        load(tmp_path, "", engine)


def test_usual_burn_and_rod_are_drawn(tmp_path):
    """Left out they are what the kind of engine has, with a deviation, and so inputs of the bands; given, as given."""
    build = load(tmp_path, "")
    stroke = (4.0 * 500e-6 / math.pi) ** (1.0 / 3.0)
    assert build.engine.rod == pytest.approx(1.67 * stroke)
    drawn = {item.name: item for item in uncertain_inputs(build)}
    assert (drawn["engine.rod"].value, drawn["engine.rod"].sd) == pytest.approx((1.67 * stroke, 0.08 * 1.67 * stroke))
    burn = drawn["engine.burn_duration"]
    assert (math.degrees(burn.value), math.degrees(burn.sd)) == pytest.approx((55.0, 8.0))
    rotary = ENGINE.replace(
        '"piston"\ndisplacement = "2.0 L"\ncylinders = 4', '"rotary"\nchamber_volume = "650 cm3"\nrotors = 2'
    )
    build = load(tmp_path, "", rotary)
    assert build.engine.rod is None
    assert math.degrees(build.engine.burn_duration) == pytest.approx(90.0)
    build = load(tmp_path, 'rod = "150 mm"\nburn_duration = "50 deg"\n')
    assert not {"engine.rod", "engine.burn_duration"} & {item.name for item in uncertain_inputs(build)}


def test_a_pump_number_is_read_and_said(tmp_path):
    """What a North American pump shows, by name only; the note says which RON and MON it was taken for."""
    build = load(tmp_path, "", ENGINE.replace('"gasoline 98"', '"gasoline 93 (R+M)/2"'))
    assert build.engine.fuel == "gasoline 93 AKI"
    said = (
        'engine.fuel = "gasoline 93 (R+M)/2": 93, the (R+M)/2 of a North American pump, is taken for RON 97.5 and MON '
        "88.5, each known to half a number"
    )
    assert [note for note in build.notes if "engine.fuel" in note] == [said]
    with pytest.raises(BadInput, match=r'knot\.toml:9: engine\.fuel: .*say which 93 is meant: "gasoline 93 AKI" is'):
        load(tmp_path, "", ENGINE.replace('"gasoline 98"', '"gasoline 93"'))
