"""Which way a core is rated: what each way needs, what contradicts it, and what is then not listed as a default."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldside.build.check import describe
from coldside.build.files import load_build
from coldside.build.model import Build
from coldside.errors import BadInput
from words.files import BUILD, spoiled

CORE = BUILD[BUILD.index("[parts.left_core]") : BUILD.index("[parts.right_core]")]
REMOTE = BUILD[BUILD.index("[parts.nose_hx]") : BUILD.index("[parts.nose_fan]")]
SIZES = """\
charge_length = "110 mm"
coolant_length = "150 mm"
stack_height = "160 mm"
charge_bore = "57 mm"
"""
SIZED_CORE = f'[parts.left_core]\nkind = "water_core"\n{SIZES}\n'
SIZED_REMOTE = """\
[parts.nose_hx]
kind = "exchanger"
coolant_length = "400 mm"
cooling_length = "40 mm"
stack_height = "300 mm"

"""


def read(tmp_path: Path, *edits: tuple[str, str]) -> Build:
    file = tmp_path / "hill.toml"
    file.write_text(spoiled(BUILD, *edits))
    return load_build(file)


def refused(tmp_path: Path, *edits: tuple[str, str]) -> list[str]:
    """Messages without the file's name and line."""
    with pytest.raises(BadInput) as error:
        read(tmp_path, *edits)
    return [line.split(": ", 1)[1] for line in str(error.value).split("\n")]


def core(*more: str, without: tuple[str, ...] = ()) -> tuple[str, str]:
    """The left core with these lines more and those keys less."""
    lines = [line for line in CORE.rstrip().split("\n") if line.split(" = ")[0] not in without]
    return CORE, "\n".join([*lines, *more]) + "\n\n"


# --- accepted -----------------------------------------------------------------------------------------------------


def test_a_core_may_be_known_by_its_sizes_alone(tmp_path):
    build = read(tmp_path, (CORE, SIZED_CORE), (REMOTE, SIZED_REMOTE))
    left, remote = build.parts["left_core"], build.parts["nose_hx"]
    assert left.bench_charge_flow is None
    assert left.metal_mass > 0.5
    assert left.coolant_volume > 1e-4
    assert remote.metal_mass != 3.0  # not the default of an exchanger whose sizes are unknown
    givens = build.givens
    assert "parts.left_core.bench_charge_flow" not in givens
    assert "parts.left_core.charge_film_exponent" not in givens
    assert givens["parts.left_core.charge_fin_pitch"].origin == "default"
    assert givens["parts.left_core.metal_mass"].origin == "default"
    assert givens["parts.left_core.metal_mass"].value == left.metal_mass
    assert "parts.nose_hx.tube_pitch" in givens
    assert "parts.nose_hx.cooling_fin_pitch" not in givens  # those of plates
    text = "\n".join(describe(build))
    assert "from its sizes and fins" in " ".join(text.split())


def test_what_the_file_names_stays_beside_its_sizes(tmp_path):
    named = SIZED_CORE.rstrip() + '\nmetal_mass = "2.2 kg"\n\n'
    assert read(tmp_path, (CORE, named)).parts["left_core"].metal_mass == pytest.approx(2.2)


def test_plates_have_fins_and_no_tubes(tmp_path):
    plates = SIZED_REMOTE.rstrip() + '\nconstruction = "bar and plate"\n\n'
    givens = read(tmp_path, (REMOTE, plates)).givens
    assert "parts.nose_hx.tube_pitch" not in givens
    assert "parts.nose_hx.cooling_fin_pitch" in givens


def test_a_bench_beside_sizes_and_a_second_point_are_read(tmp_path):
    both = core(*SIZES.strip().split("\n"))
    assert read(tmp_path, both).parts["left_core"].bench_effectiveness == pytest.approx(0.8)
    second = core('bench2_charge_flow = "0.08 kg/s"', 'bench2_effectiveness = "88 %"')
    assert read(tmp_path, second).parts["left_core"].bench2_effectiveness == pytest.approx(0.88)


def test_a_core_of_one_bench_point_lists_nothing_of_the_other_ways(tmp_path):
    givens = read(tmp_path).givens
    names = {key.rpartition(".")[2] for key in givens if key.startswith("parts.left_core.")}
    assert not [name for name in names if "fin_" in name or name.startswith("bench2_") or name == "maldistribution"]


# --- refused ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("edit", "said"),
    [
        (
            core(without=("bench_charge_in",)),
            'bench_charge_in is missing: charge temperature in, at the bench point, such as "31 degC" or "88 degF"',
        ),
        (core(without=("metal_mass",)), 'metal_mass is missing: dry mass of the core, such as "2.6 kg" or "5.7 lb"'),
        (
            core('charge_fin_pitch = "2 mm"'),
            "charge_fin_pitch: means nothing without the sizes of the core: give charge_length, coolant_length",
        ),
        (
            (CORE, SIZED_CORE.replace('stack_height = "160 mm"\n', "")),
            "stack_height is missing: height of its stack of plates or tubes",
        ),
        (
            (CORE, SIZED_CORE.replace('charge_bore = "57 mm"\n', "")),
            "charge_bore is missing: bore of its charge connections",
        ),
        (
            (CORE, SIZED_CORE.rstrip() + "\ncharge_film_exponent = 0.5\n\n"),
            "charge_film_exponent: follows from its sizes and fins; take it out, or the sizes",
        ),
        (
            (CORE, SIZED_CORE.rstrip() + '\nbench_charge_loss = "4 kPa"\n\n'),
            "are missing: a bench point beside the sizes must be whole (or take bench_charge_loss out)",
        ),
        (
            (CORE, SIZED_CORE.replace('"150 mm"', '"50 mm"').rstrip() + '\nend_bar = "30 mm"\n\n'),
            "end bars leave no width for the flow",
        ),
        (core('bench2_effectiveness = "88 %"'), "bench2_effectiveness: says nothing without a flow of its own"),
        (core('bench2_charge_flow = "0.08 kg/s"'), "bench2_charge_flow: says nothing alone: give bench2_effectiveness"),
        (
            core('bench2_charge_flow = "0.08 kg/s"', 'bench2_coolant_loss = "3 kPa"'),
            "bench2_coolant_loss: needs bench2_coolant_flow: it tells how the loss grows with flow",
        ),
        (
            core('bench2_charge_flow = "0.08 kg/s"', 'bench2_charge_loss = "1.4 kPa"', "charge_loss_exponent = 1.7"),
            "charge_loss_exponent: is given beside bench2_charge_loss, which tells it; keep one of them",
        ),
        (
            (REMOTE, SIZED_REMOTE.rstrip() + '\nlouver_length = "12 mm"\n\n'),
            "tubes must be thinner than their pitch, and louvers no longer than the fin between them",
        ),
        (
            (CORE, SIZED_CORE.rstrip() + '\nbench_coolant = "water"\n\n'),
            "bench_coolant: says nothing without a bench point",
        ),
        (
            (CORE, SIZED_CORE.rstrip() + '\ncharge_fin = "plain"\ncharge_fin_strip = "3 mm"\n\n'),
            "charge_fin_strip: a plain fin has no strips",
        ),
        (
            (REMOTE, SIZED_REMOTE.rstrip() + '\nplate = "0.6 mm"\n\n'),
            'plate: is of plates, but construction is "tube and fin"',
        ),
        (
            (REMOTE, SIZED_REMOTE.rstrip() + '\nconstruction = "bar and plate"\ntube_pitch = "9 mm"\n\n'),
            'tube_pitch: is of flat tubes, but construction is "bar and plate"',
        ),
        (
            (REMOTE, REMOTE.rstrip() + '\nconstruction = "bar and plate"\n\n'),
            "construction: says nothing of a part of one pass without its sizes",
        ),
        (
            (REMOTE, REMOTE.rstrip() + '\nheat = "3 kW"\n\n'),
            "heat: makes it a face in a duct alone",
        ),
    ],
)
def test_what_a_way_of_rating_lacks_or_contradicts_is_told(tmp_path, edit, said):
    messages = refused(tmp_path, edit)
    assert len(messages) == 1, messages
    where = "parts.nose_hx" if edit[0] is REMOTE else "parts.left_core"
    assert messages[0].startswith(where), messages
    assert said in messages[0], messages


@pytest.mark.parametrize(
    ("edit", "said"),
    [
        (
            core('bench_coolant_flow = "1 L/min"', without=("bench_coolant_flow",)),
            "times the most heat its flows could",
        ),
        (
            core('bench2_charge_flow = "0.08 kg/s"', 'bench2_charge_loss = "0.2 kPa"'),
            "the two losses grow with flow to the power 4.",
        ),
    ],
)
def test_a_bench_point_that_no_core_can_give_is_told_where_it_stands(tmp_path, edit, said):
    """At reading, so that `check` tells it too, with the line of the part."""
    file = tmp_path / "hill.toml"
    file.write_text(spoiled(BUILD, edit))
    with pytest.raises(BadInput) as error:
        load_build(file)
    line = BUILD[: BUILD.index("[parts.left_core]")].count("\n") + 1
    assert str(error.value).startswith(f"{file}:{line}: parts.left_core: ")
    assert said in str(error.value)


def test_a_face_with_a_heat_of_its_own_is_not_rated(tmp_path):
    """Nor asked for anything of a coolant side, even with a heat of 0."""
    face = '[parts.spare]\nkind = "exchanger"\nheat = "0 kW"\n'
    face += 'bench_cooling_flow = "0.9 kg/s"\nbench_cooling_loss = "150 Pa"\n'
    edits = (
        ('path = ["nose_hx", "nose_fan"]', 'path = ["nose_hx", "spare", "nose_fan"]'),
        ("[parts.nose_fan]", face + "\n[parts.nose_fan]"),
    )
    assert read(tmp_path, *edits).parts["spare"].heat == 0.0


@pytest.mark.parametrize(
    "line", ['metal_mass = "2 kg"', 'pickup = "2 W/K"', 'surroundings = "bay"', 'height = "0.4 m"']
)
def test_keys_that_a_face_with_a_heat_of_its_own_has_no_use_for_are_refused(tmp_path, line):
    """They would move nothing: neither metal nor coolant of such a face is followed."""
    face = f'[parts.spare]\nkind = "exchanger"\nheat = "2 kW"\n{line}\n'
    face += 'bench_cooling_flow = "0.9 kg/s"\nbench_cooling_loss = "150 Pa"\n'
    edits = (
        ('path = ["nose_hx", "nose_fan"]', 'path = ["nose_hx", "spare", "nose_fan"]'),
        ("[parts.nose_fan]", face + "\n[parts.nose_fan]"),
    )
    with pytest.raises(BadInput, match=f"parts.spare.{line.split()[0]}: means nothing of a face in a duct alone"):
        read(tmp_path, *edits)


def test_mass_from_sizes_says_how_far_to_trust_it(tmp_path):
    """Bar and plate of usual sizes: 0.6 kg/L of core, finished parts 0.9 to 1.3 (common practice, no source)."""
    build = read(tmp_path, (CORE, SIZED_CORE))
    mass, held = (build.givens[f"parts.left_core.{name}"] for name in ("metal_mass", "coolant_volume"))
    assert "weigh it" in mass.help
    assert 0.5e3 < mass.value / (0.110 * 0.150 * 0.160) < 0.8e3
    assert mass.sd == pytest.approx(0.4 * mass.value)
    assert held.sd == pytest.approx(0.2 * held.value)
