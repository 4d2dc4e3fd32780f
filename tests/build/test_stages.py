"""Compressors of a build: two in series, superchargers, keys that belong to one of two stages."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldside.build.files import load_build
from coldside.errors import BadInput
from coldside.parts.compressor import CompressorSpec
from coldside.parts.supercharger import SuperchargerSpec

TWO = "heron/two_stage.toml"
ONE = "tern/water.toml"
TURBO = 'kind = "compressor"\ndesign_flow = "0.32 kg/s"           # corrected; generic map, no map of our own yet\n'
POINT = 'design_pressure_ratio = 2.7\npeak_efficiency = "0.76 +- 0.02"\n'


def spoiled(examples: Path, tmp_path: Path, name: str, *changes: tuple[str, str]) -> str:
    text = (examples / name).read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = tmp_path / "car.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def fault(path: str) -> str:
    with pytest.raises(BadInput) as found:
        load_build(path)
    return str(found.value)


def blown(keys: str) -> tuple[tuple[str, str], ...]:
    return ((TURBO + POINT, 'kind = "supercharger"\n' + keys),)


def test_two_stages_are_read(examples):
    build = load_build(examples / TWO)
    assert isinstance(build.parts["low_turbo"], CompressorSpec)
    assert build.parts["low_turbo"].ratio_share == 0.5
    assert build.parts["high_turbo"].turbine_in == pytest.approx(1123.15)


def test_defaults_of_a_stage_are_listed_where_they_have_an_effect(examples):
    """`ratio_share` is the first stage's, the gas before the turbine the last's, the pressure behind it the first's."""
    one, two = load_build(examples / ONE), load_build(examples / TWO)
    assert "parts.turbo.ratio_share" not in one.givens
    assert {"parts.turbo.turbine_in", "parts.turbo.turbine_back_pressure"} <= set(one.givens)
    assert "parts.low_turbo.turbine_in" not in two.givens
    assert {"parts.high_turbo.ratio_share", "parts.high_turbo.turbine_back_pressure"}.isdisjoint(two.givens)


@pytest.mark.parametrize(
    ("name", "changes", "words"),
    [
        (ONE, ((POINT, POINT + 'ratio_share = "40 %"\n'),), "ratio_share: belongs to the first of two"),
        (
            TWO,
            (('turbine_in = "850 degC"', 'turbine_back_pressure = "10 kPa"'),),
            "turbine_back_pressure: belongs to the first compressor",
        ),
        (
            TWO,
            (('ratio_share = "50 %"', 'turbine_in = "900 degC"'),),
            "turbine_in: belongs to the last compressor",
        ),
        (
            TWO,
            (('"mid_core", "high_turbo"', '["mid_core", "high_turbo"]'),),
            "is a compressor inside a group",
        ),
        (ONE, blown("drive_ratio = 2.0\n"), "needs one of: displacement; map; design_flow"),
        (ONE, blown('displacement = "1.4 L"\n'), "drive_ratio is missing"),
        (
            ONE,
            blown('drive_ratio = 2.0\ndisplacement = "1.4 L"\nmap = "a.csv"\n'),
            "has displacement and map; keep one",
        ),
        (
            ONE,
            blown('drive_ratio = 9.0\ndesign_flow = "0.3 kg/s"\ndesign_pressure_ratio = 2.0\n'),
            "design_speed missing",
        ),
        (
            ONE,
            blown('drive_ratio = 2.0\ndisplacement = "1.4 L"\npeak_efficiency = "70 %"\n'),
            'peak_efficiency: is not used with "displacement"',
        ),
        (ONE, blown('drive_ratio = 9.0\nmap = "none.csv"\n'), "does not exist"),
    ],
)
def test_what_is_refused(examples, tmp_path, name, changes, words):
    assert words in fault(spoiled(examples, tmp_path, name, *changes))


def test_a_supercharger_stands_alone(examples, tmp_path):
    text = (examples / TWO).read_text(encoding="utf-8")
    start, end = text.index("[parts.high_turbo]"), text.index("[parts.hot_pipe]")
    path = tmp_path / "car.toml"
    part = '[parts.high_turbo]\nkind = "supercharger"\ndrive_ratio = 2.0\ndisplacement = "1.4 L"\n\n'
    path.write_text(text[:start] + part + text[end:], encoding="utf-8")
    assert "is a supercharger beside another compressor" in fault(str(path))


def test_a_supercharger_is_read_with_the_defaults_that_it_uses(examples, tmp_path):
    path = spoiled(examples, tmp_path, ONE, *blown('drive_ratio = 2.0\ndisplacement = "1.4 L"\n'))
    build = load_build(path)
    assert isinstance(build.parts["turbo"], SuperchargerSpec)
    listed = {key.removeprefix("parts.turbo.") for key in build.givens if key.startswith("parts.turbo.")}
    assert listed == {
        "drive_ratio", "displacement", "volumetric_efficiency", "efficiency", "mechanical_efficiency", "speed_limit"
    }  # fmt: skip


def test_a_belt_has_no_lag_unless_one_is_given(examples, tmp_path):
    keys = blown('drive_ratio = 2.0\ndisplacement = "1.4 L"\n')
    lag = ('boost_lag = "0.6 s"\n', "")
    build = load_build(spoiled(examples, tmp_path, ONE, *keys, lag))
    assert build.engine.boost_lag == build.givens["engine.boost_lag"].value == 0.1
    assert build.givens["engine.boost_lag"].origin == "default"
    assert load_build(spoiled(examples, tmp_path, ONE, *keys)).engine.boost_lag == 0.6
    assert load_build(spoiled(examples, tmp_path, ONE, lag)).engine.boost_lag == 0.6
