"""What is typed on the page, as a file says it.  Inch and US gallon: exact definitions (NIST SP 811, from memory)."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from coldside.errors import BadInput
from coldside.page.typing import as_meant
from coldside.units import KINDS, parse


@pytest.mark.parametrize(
    ("text", "kind", "system", "said"),
    [
        ("3 gal", "volume", "us", "3 US gal"),
        ("3gal", "volume", "us", "3 US gal"),
        ("2 Gallons", "volume", "us", "2 US gallon"),
        ("3 gal +- 0.5 gal", "volume", "us", "3 US gal +- 0.5 US gal"),
        ("6 qt", "volume", "us", "6 US qt"),
        ("8 gpm", "volume_flow", "us", "8 US gal/min"),
        ("8 GPM", "volume_flow", "us", "8 US gal/min"),
        ("480 gph", "volume_flow", "us", "480 US gal/h"),
        ("8 gal/min", "volume_flow", "us", "8 US gal/min"),
        ("8 gal per min", "volume_flow", "us", "8 US gal/min"),
        ('13"', "length", "us", "13 in"),
        ("13''", "length", "us", "13 in"),
        ("13″", "length", "si", "13 in"),
        ('3/4"', "length", "us", "0.75 in"),
        ('2 ½"', "length", "us", "2.5 in"),
        ("2½ in", "length", "us", "2.5 in"),
        ("3/4 in", "length", "si", "0.75 in"),
        ("1 1/4 in", "length", "us", "1.25 in"),
        ("1-1/4 in", "length", "us", "1.25 in"),
        ("6'", "length", "us", "6 ft"),
        ("5' 6\"", "length", "us", "66 in"),
        ("1/2 gal", "volume", "us", "0.5 US gal"),
        ("1,200 rpm", "engine_speed", "us", "1200 rpm"),
        ("7,200", "engine_speed", "si", "7200 rpm"),
        ("2,900 lb", "mass", "us", "2900 lb"),
        ("2,900 lb", "mass", "si", "2900 lb"),
        ("7200", "engine_speed", "us", "7200 rpm"),
        ("7200 +- 100", "engine_speed", "si", "7200 rpm +- 100"),
        ("95", "temperature", "us", "95 degF"),
        ("-10", "temperature", "si", "-10 degC"),
        ("24", "boost", "us", "24 psi"),
        ("1.5", "boost", "si", "1.5 bar"),
    ],
)
def test_what_the_units_chosen_leave_in_no_doubt_is_put_into_words_that_a_file_can_hold(text, kind, system, said):
    assert as_meant(text, kind, system) == said
    parse(said, kind)


@pytest.mark.parametrize(
    ("text", "kind", "system"),
    [
        ("3 gal", "volume", "si"),
        ("8 gpm", "volume_flow", "si"),
        ("3 imp gal", "volume", "us"),
        ("3 US gal", "volume", "us"),
        ("1,200 kg", "mass", "us"),
        ("1,200 kg", "mass", "si"),
        ("1,5 bar", "engine_speed", "us"),
        ("1,5 bar", "boost", "si"),
        ("13", "length", "us"),
        ("620", "power", "us"),
        ("$1,200", "number", "us"),
        ("$1,200", "text", "us"),
        ("1/2", "share", "us"),
        ("1000 cc/min", "mass_flow", "us"),
        ("0.5 1/min", "engine_speed", "si"),
        ("100 m3/h", "volume_flow", "us"),
        ("3/4/5 in", "length", "us"),
        ("", "length", "us"),
        ("don't know", "length", "us"),
    ],
)
def test_what_is_in_doubt_or_already_plain_stays_as_typed(text, kind, system):
    assert as_meant(text, kind, system) == text


def test_a_bare_number_takes_the_usual_unit_of_its_field():
    assert as_meant("620", "power", "us", usual="hp") == "620 hp"
    assert as_meant("2,900", "mass", "us", usual="lb") == "2900 lb"
    assert as_meant("13 1/2", "length", "us", usual="in") == "13.5 in"
    assert as_meant("13 cm", "length", "us", usual="in") == "13 cm"


def test_an_injectors_cubic_centimetres_are_of_its_own_fuel():
    """1000 cm3/min of 785 kg/m3: 785 g/min, by definition of the units."""
    said = as_meant("1000 cc/min", "mass_flow", "us", density=785.0)
    assert said.endswith(" lb/h")
    assert parse(said, "mass_flow").value == pytest.approx(0.785 / 60.0, rel=1e-3)
    assert as_meant("1000 cc", "mass_flow", "si", density=785.0) == "13.08 g/s"


TYPED = st.text(max_size=140) | st.text(alphabet="0123 .,/-+%'\"½ galqtinrpm", max_size=16)


@given(text=TYPED, kind=st.sampled_from(sorted(KINDS)), system=st.sampled_from(("si", "us")))
@example(text=":  ¼", kind="angle", system="si")  # found so: three blanks in a row became two, and one the next time
def test_it_takes_any_text_and_never_changes_what_already_reads(text, kind, system):
    said = as_meant(text, kind, system)
    assert as_meant(said, kind, system) == said
    try:
        before = parse(text, kind)
    except BadInput:
        return
    after = parse(said, kind)
    assert (after.value, after.sd) == (before.value, before.sd)
