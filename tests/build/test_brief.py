"""The brief: read, spoiled, written, said again; "don't know" in every place."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldside import units
from coldside.build.brief import (
    BRIEF_FIELDS,
    POWER_PER_LITRE,
    SCHEMA,
    BriefSpec,
    assumptions,
    brief_text,
    load_brief,
    paragraph,
    parse_brief,
)
from coldside.build.schema import fields_of
from coldside.errors import BadInput, ManyBadInputs

EXAMPLES = Path(__file__).parents[2] / "examples" / "briefs"
HEAD = f'schema = "{SCHEMA}"\nname = "Wren"\n'
KEYS = [field.key for field in BRIEF_FIELDS]


def brief(text: str = ""):
    return parse_brief(HEAD + text)


def test_fields_are_those_of_the_specification_each_with_its_blank():
    assert KEYS == [item.key for item in fields_of(BriefSpec)]
    for field in BRIEF_FIELDS:
        assert field.blank, field.key
        assert field.help, field.key
        assert field.default_text, field.key
        assert field.kind != "choice" or field.choices, field.key


@pytest.mark.parametrize("word", ["don't know", "Don't know", "dont know", "don’t know", "unknown", "?", " "])
def test_dont_know_is_as_good_as_silence(word):
    answered = brief("".join(f'{key} = "{word}"\n' for key in KEYS))
    assert answered.spec == brief().spec
    assert answered.unknown == brief().unknown
    assert answered.known == {}


def test_what_is_not_known_takes_its_default_with_a_spread():
    found = brief('power = "300 kW"\n')
    assert found.spec.displacement == pytest.approx(300e3 / POWER_PER_LITRE)  # 2.0 L, common practice, no source
    assert found.spread["displacement"] == pytest.approx(0.2 * 2.0e-3)
    assert found.spec.hottest_day == pytest.approx(308.15)
    assert found.spread["hottest_day"] == 4.0
    assert "power" not in found.spread
    assert "power" not in found.unknown


def test_a_spread_of_ones_own_counts():
    assert brief('power = "300 kW +- 20 kW"\n').spread["power"] == pytest.approx(20e3)


def test_rotors_make_a_rotary_and_its_keys_are_asked():
    rotary = brief("rotors = 2\n")
    assert rotary.rotary
    assert rotary.spec.displacement is None
    assert "cylinders" not in rotary.unknown
    assert "chamber_volume" in rotary.unknown
    assert "engine" not in rotary.unknown


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('displacment = "2 L"', 'brief.toml:3: displacment: is not a key of a brief; nearest: "displacement"'),
        ('power = "500"', 'brief.toml:3: power = "500" has no unit'),
        ('power = "9 hp"', "is out of range"),
        ('use = "race"', 'nearest: "track"'),
        ('fuel = "diesel"', "brief.toml:3: fuel"),
        ('boost = "24"', 'brief.toml:3: boost = "24" has no unit'),
        ('core = "a core as it is"\ncore_length = "13 in"', "core_width: is not given"),
        (
            'exchanger = "an exchanger as it is"\nnose_width = "22 in"\nnose_height = "10 in"',
            "nose_depth: is not given",
        ),
        ('tank = "a tank as it is"', "tank_room: is not given"),
        ('nose_depth = "0.9 in"', "is less than any face takes"),
        ('glycol = "forbidden"\nglycol_share = "30 %"', "the rule book forbids glycol"),
        ('glycol_share = "80 %"', "is out of range"),
        ('session_length = "20"', "has no unit"),
        ("rotors = 2\ncylinders = 4", "cylinders: is of a piston engine"),
        ('engine = "piston"\nrotors = 2', "rotors: is of a rotary"),
        ('side_pods = 0\nside_width = "0.3 m"', "means nothing without side pods"),
        ('hottest_day = "95 degF rise"', "brief.toml:3: hottest_day"),
        ("nose_width = 0.6", "brief.toml:3: nose_width"),
        ('glycol = "no"', '"allowed", "forbidden"'),
        ("[engine]\ndisplacement = 2", "brief.toml"),
        ('power = "500 hp', "brief.toml:3"),
    ],
)
def test_a_spoiled_brief_says_where_and_what_would_be_right(text, said):
    with pytest.raises(BadInput) as caught:
        brief(text + "\n")
    assert said in str(caught.value)
    assert "Traceback" not in str(caught.value)


def test_every_fault_at_once_in_file_order():
    with pytest.raises(ManyBadInputs) as caught:
        brief('power = "500"\nuse = "race"\nredlin = "7000 rpm"\n')
    assert [str(fault).split(":")[1] for fault in caught.value.faults] == ["3", "4", "5"]


def test_a_build_is_not_a_brief():
    with pytest.raises(BadInput, match="is a build, but a brief is needed"):
        parse_brief('schema = "coldside.build/1"\nname = "x"\n')
    with pytest.raises(BadInput, match="there is no such file"):
        load_brief("absent.toml")


def test_written_from_texts_it_reads_back():
    values = {
        "name": 'The "Wren"',
        "power": "450 hp",
        "cylinders": "6",
        "use": "drag",
        "winter": "don't know",
        "fuel": "",
    }
    read = parse_brief(brief_text(values))
    assert read.spec.cylinders == 6
    assert read.spec.power == pytest.approx(450 * units.kinds.HP)
    assert {"winter", "fuel"} <= set(read.unknown)
    assert read.spec.use == "drag"
    with pytest.raises(BadInput, match='nearest: "power"'):
        parse_brief(brief_text({"powr": "450 hp"}))


def test_answers_can_be_overridden(tmp_path):
    file = tmp_path / "b.toml"
    file.write_text(HEAD + 'power = "300 kW"\n', encoding="utf-8")
    assert load_brief(file, ["power=400 kW", "use=drag"]).spec.power == pytest.approx(400e3)
    assert "power" in load_brief(file, ["power=don't know"]).unknown
    with pytest.raises(BadInput, match="--set: power"):
        load_brief(file, ["power=400"])


def test_the_paragraph_marks_what_was_assumed_and_follows_the_units():
    read = brief('displacement = "2.4 L"\npower = "550 hp"\n')
    text, us = paragraph(read), paragraph(read, "us")
    assert "2.4 L" in text
    assert "2.4 L (assumed)" not in text
    assert "35 degC (assumed)" in text
    assert "550 hp" in us
    assert "95 degF (assumed)" in us
    assert "146 in3" in us
    assert not {"degC", "kW", "mm", " L "} & set(us.replace(",", " ").split())


def test_boost_core_glycol_and_length_are_read_back():
    read = brief(
        'boost = "24 psi"\npower = "620 hp"\ncore = "a core as it is"\ncore_length = "13 in"\ncore_width = "8 in"\n'
        'core_height = "6 in"\nglycol_share = "50 %"\nhose_run = "9 ft"\nsession_length = "25 min"\n'
    )
    us = paragraph(read, "us")
    for words in (
        "runs 24 psi of boost where 620 hp is asked",
        "It has a charge core as it is, its fins 13 in x 8 in x 6 in.",
        "Glycol 50 % by volume.",
        "9 ft of hose from the front",
        "in sessions of 25 min",
    ):
        assert words in us


def test_power_is_not_asked_where_boost_tells_it():
    assert "power" not in brief('boost = "24 psi"\n').unknown
    assert "asked" not in paragraph(brief('boost = "24 psi"\n'))


def test_assumptions_tell_each_unknown_with_its_spread():
    lines = assumptions(brief())
    assert any(line.startswith("hottest_day = 35 degC +- 4 K:") for line in lines)
    assert all("None" not in line for line in lines)


@pytest.mark.parametrize("field", BRIEF_FIELDS, ids=KEYS)
def test_defaults_can_be_typed(field):
    """A default as it reads, typed back, is the default."""
    if not isinstance(field.default, int | float) or field.kind not in units.KINDS or field.kind == "count":
        return
    for system in ("si", "us"):
        text = field.default_words(system)
        read = units.parse(text, field.kind)
        assert read.value == pytest.approx(field.default, rel=6e-3)


@pytest.mark.parametrize("file", sorted(EXAMPLES.glob("*.toml")), ids=lambda file: file.stem)
def test_bundled_briefs_are_invented_and_read(file):
    assert "INVENTED" in file.read_text(encoding="utf-8").splitlines()[0]
    assert load_brief(file).known


def test_what_stands_as_it_is_is_read_back_apart_from_room():
    read = brief(
        'exchanger = "an exchanger as it is"\nnose_width = "22 in"\nnose_height = "10 in"\nnose_depth = "0.9 in"\n'
        'tank = "a tank as it is"\ntank_room = "2.5 US gal"\n'
    )
    words = paragraph(read, "us")
    assert "It has an exchanger at the nose as it is, its tubes and fins 22 in x 10 in x 0.9 in" in words
    assert ", and a tank as it is of 2.5 US gal. Room for a charge core of" in words
    room = paragraph(brief("side_pods = 2\n"))
    assert "It has" not in room
    assert "faces at the nose of 600 mm x 320 mm x 100 mm (assumed), in 2 side pods of" in room
