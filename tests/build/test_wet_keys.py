"""Keys of ice, insulation, injection and spray: what a build may say, and what is refused, with file and line."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldside.build.files import load_build
from coldside.errors import BadInput
from coldside.parts.injection import InjectionSpec
from words.files import BUILD, spoiled

TANK = 'volume = "9 L"                      # behind the driver'
PATH = '["left_core", "right_core"], "throttle", "plenum", "intake_sensor"]'

THROTTLE = '[parts.throttle]\nkind = "throttle"'
MIST = THROTTLE + '\n\n[parts.mist]\nkind = "injection"\nfluid = "FLUID"\nflow = "300 mL/min"'


def read(folder: Path, *edits: tuple[str, str]):
    file = folder / "hill.toml"
    file.write_text(spoiled(BUILD, *edits), encoding="utf-8")
    return load_build(file)


def test_a_tank_with_ice_under_insulation(tmp_path):
    build = read(
        tmp_path,
        (
            TANK,
            (
                'volume = "8 L"\nice = "11 lb"\nice_form = "crushed"\nbrim_volume = "16 L"\ninsulation = "20 mm"\n'
                "mixing = 0.5"
            ),
        ),
    )
    tank = build.parts["tank"]
    assert tank.ice == pytest.approx(4.98952, rel=1e-5)
    assert (tank.ice_form, tank.insulation, tank.mixing) == ("crushed", 0.02, 0.5)
    assert "parts.tank.pickup" not in build.givens  # follows from the insulation
    assert build.givens["parts.tank.ice_conductance"].text.startswith("180 W/K per kg")
    assert any("never close it tightly" in note for note in build.notes)  # the loop has a cap
    assert any("dilutes ethylene glycol" in note for note in build.notes)


def test_a_tank_without_ice_has_no_keys_of_ice(tmp_path):
    build = read(tmp_path)
    assert not [key for key in build.givens if key.startswith("parts.tank.ice_")]
    assert "parts.tank.ice" in build.givens


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ('volume = "8 L"\nice = "5 kg"\nbrim_volume = "12 L"', "brim_volume: is too small: 8 L of coolant and 5 kg of"),
        ('volume = "8 L"\nbrim_volume = "7 L"', "brim_volume: is too small: 8 L of coolant need 8 L"),
        ('volume = "8 L"\nice_form = "cubes"', "ice_form: means nothing without ice"),
        (
            'volume = "8 L"\nice = "5 kg"\nice_form = "block"',
            'ice_form = "block" is not one of "cubes", "crushed", "bagged"',
        ),
        ('volume = "8 L"\ninsulation = "2 cm"\npickup = "2 W/K"', "pickup: follows from insulation; keep one of them"),
        ('volume = "8 L"\ninsulation_conductivity = 0.03', "insulation_conductivity: means nothing without insulation"),
        ('volume = "8 L"\nice = "5 kg"\nice_temperature = "4 degC"', "ice_temperature"),
    ],
)
def test_what_a_tank_may_not_say(tmp_path, keys, message):
    with pytest.raises(BadInput) as refused:
        read(tmp_path, (TANK, keys))
    assert message in str(refused.value)
    assert "hill.toml:" in str(refused.value)
    assert "\n" not in str(refused.value)  # one fault, told once


def test_ice_does_not_melt_in_oil(tmp_path):
    with pytest.raises(BadInput, match="ice: cannot melt in engine oil"):
        read(
            tmp_path,
            (TANK, 'volume = "8 L"\nice = "5 kg"'),
            ('coolant = "ethylene glycol 30 % by volume"', 'coolant = "engine oil"'),
        )


def test_injection_stands_behind_the_compressor(tmp_path):
    table = MIST.replace("FLUID", "methanol 50 %")
    part = (THROTTLE, table)
    build = read(tmp_path, part, (PATH, PATH.replace('"throttle"', '"mist", "throttle"')))
    mist = build.parts["mist"]
    assert isinstance(mist, InjectionSpec)
    assert mist.flow == pytest.approx(5e-6)
    with pytest.raises(BadInput, match='"mist" is an injection; it belongs behind the compressor'):
        read(tmp_path, part, ('path = ["filter", "turbo"', 'path = ["filter", "mist", "turbo"'))


def test_an_unknown_fluid_is_refused(tmp_path):
    table = MIST.replace("FLUID", "ethanol")
    with pytest.raises(BadInput, match=r"parts\.mist\.fluid: fluid 'ethanol' is not known; write \"water\""):
        read(
            tmp_path,
            (THROTTLE, table),
            (PATH, PATH.replace('"throttle"', '"mist", "throttle"')),
        )


def test_spray_keys(tmp_path):
    loss = (
        'bench_cooling_loss = "170 Pa"',
        'bench_cooling_loss = "170 Pa"\nspray = "0.3 L/min"\nspray_when = "always"',
    )
    spec = read(tmp_path, loss).parts["nose_hx"]
    assert spec.spray == pytest.approx(5e-6)
    assert (spec.spray_when, spec.spray_evaporated) == ("always", 0.5)
    assert "parts.nose_hx.spray_when" not in read(tmp_path).givens
    with pytest.raises(BadInput, match="spray_when: means nothing without spray"):
        read(tmp_path, ('bench_cooling_loss = "170 Pa"', 'bench_cooling_loss = "170 Pa"\nspray_when = "always"'))
