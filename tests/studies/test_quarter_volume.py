"""The study of the quarter-volume rule: the design note's table within 0.05, and that what is found is the smallest."""

from __future__ import annotations

import importlib.util
import sys

import numpy as np
import pytest

from coldside.parts.geometry import CoreGeometry, CoreSide


@pytest.fixture(scope="module")
def study(examples):
    """The script as a module."""
    spec = importlib.util.spec_from_file_location("quarter_volume", examples / "studies" / "quarter_volume.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # its dataclasses look their module up
    spec.loader.exec_module(module)
    yield module
    del sys.modules[spec.name]


SLOW = [2, 3, 4, 5, 6, 7, 8, 10, 11, 12]  # a second each; the others run always
ROWS = [pytest.param(row, marks=pytest.mark.slow if row in SLOW else ()) for row in range(14)]


@pytest.mark.parametrize("row", ROWS)
def test_ratio_is_the_notes(study, row):
    """Heat note A5 [calc], another search with another code: ratio within 0.05, volumes within 7 %.

    Its K_c is 0.42 (1 - sigma^2) against 0.40 here (under 2 %), and it does not say at which temperature the
    coolant's properties stand; here at the mean of in and out.
    """
    case = study.CASES[row]
    dry, wet = study.air_core(case), study.water_core(case)
    assert wet.litres / dry.litres == pytest.approx(case.expected, abs=0.05)
    assert dry.litres == pytest.approx(case.volumes[0], rel=0.02)
    assert wet.litres == pytest.approx(case.volumes[1], rel=0.07)
    for found in (dry, wet):
        assert found.margins.min() > -1e-5
        assert found.margins[0] < 1e-5  # a core that cools more than asked could be smaller


def test_every_row_of_the_note_is_there(study):
    assert len(study.CASES) == len(ROWS)


@pytest.mark.slow
def test_no_smaller_water_core_does_it(study):
    """600 cores of 0.98 of the volume, anywhere within the bounds: each misses at least one demand."""
    case = study.CASES[1]
    best = study.water_core(case)
    cold = study.AMBIENT + case.sink
    heat = 505.0 * 90.0
    C_2 = 0.6 * float(study.GLYCOL.cp(cold + 11.0))  # the rise is 22 K
    random = np.random.default_rng(3)
    tried = 0
    while tried < 600:
        way, across = random.uniform(0.05, 0.4, 2)
        stack = 0.98 * best.core.core_volume / (way * across)
        if not 0.05 <= stack <= 0.4:
            continue
        tried += 1
        core = CoreGeometry(
            side1=CoreSide(surface=study.CHARGE_FIN, length=way),
            side2=CoreSide(surface=study.COOLANT_FIN, length=across),
            stack_height=stack,
            wall_thickness=study.PLATE,
        )
        stream = (0.6, cold + 0.5 * heat / C_2, study.GLYCOL)
        UA = core.resistances((0.5, 378.15, None), stream).conductance
        if study.effectiveness(core, UA, 505.0, C_2) < 90.0 / (study.CHARGE_IN - cold):
            continue
        assert core.loss1(0.5, 423.15, 333.15, 2.5e5).core > 7e3


def test_what_makes_it_small(study):
    """Heat note A5: coolant film 2300 to 5500 against cooling air 120 to 270 W/(m2 K); the charge's about the same.

    The same is the coefficient; conductance in W/K, which the note's word would mean, is half in the water core.
    """
    dry, wet = study.air_core(study.CASES[0]), study.water_core(study.CASES[0])
    coolant = wet.core.coefficient2(0.6, 320.0, study.GLYCOL)
    assert 2300.0 < coolant < 5500.0
    assert 120.0 < dry.core.coefficient2(dry.flow2, 320.0) < 270.0
    assert wet.core.coefficient1(0.5, 378.0) == pytest.approx(dry.core.coefficient1(0.5, 378.0), rel=0.25)
    assert wet.core.film1(0.5, 378.0) == pytest.approx(0.5 * dry.core.film1(0.5, 378.0), rel=0.05)


@pytest.mark.parametrize(
    ("remote", "litres"), [(0, 23.0), (1, 14.7), (3, 18.0), (4, 8.3)], ids=["glycol 10 K", "15 K", "water 1", "water 2"]
)
def test_remote_exchanger_is_about_the_notes(study, remote, litres):
    """Heat note A5 gives litres without its fins or its laminar film; with the fin of T12 and a film that develops
    along 1 m of tube ours are up to 17 % smaller with glycol and 4 % with water."""
    _, coolant, passes, approach = study.REMOTES[remote]
    found = study.remote_exchanger(coolant, passes, approach)
    assert found.margins.min() > -1e-5
    assert found.litres == pytest.approx(litres, rel=0.18)


def test_the_system_with_glycol_is_the_larger_one(study):
    core, remote = study.system(study.GLYCOL, 2, 10.0)
    assert core.litres + remote.litres > 1.5 * study.dry_litres()
    core, remote = study.system(study.WATER, 2, 10.0)
    assert core.litres + remote.litres == pytest.approx(study.dry_litres(), rel=0.2)


@pytest.mark.slow
def test_the_report_tells_where_the_rule_fails(study):
    text = study.report()
    assert all(case.words in text for case in study.CASES)
    assert text.count("far from a quarter") == 4
    assert text.count("smaller still") == 1
