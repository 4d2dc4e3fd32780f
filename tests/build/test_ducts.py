"""Keys of a duct: an inlet with its openings, or a bare face in the stream; what is in doubt is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldside.build.check import concerns
from coldside.build.files import load_build
from coldside.build.model import Build
from coldside.errors import BadInput
from words.files import BUILD, spoiled

PLACE = 'place = "nose"\ninlet_area = "400 cm2"\n'


def loaded(folder: Path, keys: str) -> Build:
    file = folder / "hill.toml"
    file.write_text(spoiled(BUILD, (PLACE, keys)))
    return load_build(file)


def test_a_duct_with_its_gaps_and_its_recirculation(tmp_path: Path) -> None:
    more = 'inlet = "scoop"\nleak_area = "3 in2"\nrecirculation = "15 % +- 5 %"\n'
    build = loaded(tmp_path, PLACE + more)
    spec = build.ducts["nose"].spec
    assert spec.inlet == "scoop"
    assert spec.leak_area == pytest.approx(3 * 0.0254**2)
    assert spec.recirculation == pytest.approx(0.15)
    assert "ducts.nose.face_area" not in build.givens  # of a bare face only
    assert build.givens["ducts.nose.recirculation"].sd == pytest.approx(0.05)


def test_a_bare_face_has_none_of_a_ducts_openings(tmp_path: Path) -> None:
    build = loaded(tmp_path, 'place = "nose"\ninlet = "open"\nface_area = "0.12 m2"\n')
    assert build.ducts["nose"].spec.face_area == pytest.approx(0.12)
    kept = {key.rpartition(".")[2] for key in build.givens if key.startswith("ducts.nose.")}
    assert kept == {"place", "inlet", "face_area", "recovery", "recirculation"}
    assert any("undisturbed stream" in words for words in concerns(build))


def test_a_flush_inlet_that_does_not_say_its_recovery_is_worth_a_look(tmp_path: Path) -> None:
    assert any("duct nose: a flush inlet" in w for w in concerns(loaded(tmp_path, PLACE + 'inlet = "flush"\n')))
    told = loaded(tmp_path, PLACE + 'inlet = "flush"\nrecovery = "40 %"\n')
    assert not any("flush" in words for words in concerns(told))


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ('place = "nose"\n', "inlet_area is missing: smallest area of the inlet"),
        ('place = "nose"\ninlet = "open"\n', "face_area is missing: area of the face that stands in the stream"),
        (PLACE + 'face_area = "0.1 m2"\n', 'is only used where inlet = "open"'),
        (
            'place = "nose"\ninlet = "open"\nface_area = "0.1 m2"\nleak_area = "4 cm2"\n',
            "is of a duct, but inlet is open; take it out, or change inlet",
        ),
        (PLACE + 'inlet = "flsh"\n', '"flsh" is not one of "nose", "scoop", "flush", "open"; nearest: "flush"'),
        (PLACE + 'recirculation = "90 %"\n', "is out of range; it must be from 0 % to 80 %"),
    ],
)
def test_refusals(keys: str, message: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput) as refused:
        loaded(tmp_path, keys)
    assert message in str(refused.value)
