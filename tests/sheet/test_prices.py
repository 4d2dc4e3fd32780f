"""A shop's prices: sums by hand, blanks told, what is refused and how, text and back."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from coldside.build.files import load_build
from coldside.errors import BadInput
from coldside.parts.exchanger import ExchangerSpec
from coldside.parts.injection import InjectionSpec
from coldside.sheet.prices import (
    INJECTION_KIT,
    SPRAY_KIT,
    Place,
    Price,
    Prices,
    blank_prices,
    completed,
    cost,
    decimal_of,
    kits,
    load_prices,
    own_place,
    parse_prices,
    place_of,
    prices_text,
    unused,
    with_entry,
    with_new,
    with_top,
    without_entry,
    write_blank_prices,
)
from sheet.synthetic import CASES, EXAMPLES, forecast_of

HEAD = 'schema = "coldside.prices/1"\n'
FULL = (
    HEAD
    + """
currency = "crowns"
rate = "85.50"
tax = "8.25 %"
markup = "12.5 %"
rounding = "0.01"

[prices.any.pipe]
price = "31.37"
hours = "0.75"

[prices.any.air_core]
price = 412.05
hours = "3.5"
note = "bar and plate"

[prices.any.turbo]
kept = true

[extras.any.test_day]
price = ""
hours = "4"

[extras.any.discount]
price = "-50"
"""
)


@pytest.fixture(scope="module")
def case():
    """A build with an air core and two pipes, and nothing solved."""
    name = next(name for name, case in CASES.items() if "air" in name)
    return forecast_of(CASES[name])


def priced(text: str, forecast):
    return cost(forecast, parse_prices(text))


def test_sums_by_hand(forecast):
    """Tern on air: five pipes, two cores; the rest of its parts are left out of the sums by being kept."""
    tern = forecast("tern/air", "dyno-pulls")
    others = [n for n in tern.build.parts if "pipe" not in n and "core" not in n and n != "turbo"]
    text = FULL + "".join(f"[prices.any.{name}]\nkept = true\n" for name in others)
    found = priced(text, tern)
    # 31.37 x 1.125 = 35.29125 -> 35.29 each, five of them; 412.05 x 1.125 = 463.55625 -> 463.56 each, two of them
    assert found.parts == Decimal("5") * Decimal("35.29") + Decimal("2") * Decimal("463.56") - 50
    assert found.parts == Decimal("1053.57")
    assert found.hours == Decimal("5") * Decimal("0.75") + Decimal("2") * Decimal("3.5") + 4
    assert found.labour == Decimal("1261.13")  # 14.75 x 85.50 = 1261.125, half up
    assert found.net == Decimal("2314.70")
    assert found.tax == Decimal("190.96")  # 190.96275
    assert found.total == Decimal("2505.66")
    assert found.blanks == ("the price of test day",)
    assert not found.whole
    assert set(found.kept) == {*others, "turbo"}
    assert sum(line.amount for line in found.lines if line.amount is not None) == found.parts


def test_rounding_to_a_step_is_half_up():
    coarse = Prices(rounding=Decimal("0.05"))
    assert coarse.round(Decimal("1.025")) == Decimal("1.05")
    assert coarse.round(Decimal("1.024")) == Decimal("1.00")
    whole = Prices(rounding=Decimal(1), currency="EUR")
    assert whole.money(whole.round(Decimal("1234.5"))) == "EUR\u00a01\u00a0235"
    assert Prices().money(Decimal("1234.5"), "us") == "1,234.50"
    ten = Prices(rounding=Decimal(10))
    assert ten.said(ten.round(Decimal(1235))) == "1\u00a0240"


def test_nothing_priced_is_all_blank(case):
    found = cost(case, Prices())
    assert found.total == 0
    assert not found.whole
    names = {name for line in found.lines for name in line.names}
    assert names == set(case.build.parts)
    assert all(line.amount is None and line.hours is None for line in found.lines)
    assert found.blanks == ("every price and all hours",)


def test_blanks_are_named(case):
    names = [*case.build.parts]
    rest = "".join(f"[prices.any.{name}]\nprice = 1\n" for name in names[3:])
    text = (
        HEAD
        + f'rate = 5\n[prices.any.{names[0]}]\nprice = ""\nhours = 2\n[prices.any.{names[1]}]\nhours = ""\nprice = 1\n'
    )
    told = [name.replace("_", " ") for name in names]
    assert priced(text + rest, case).blanks == (
        f"the price and the hours of {told[2]}", f"the price of {told[0]}", f"the hours of {told[1]}"
    )  # fmt: skip


def test_hours_without_a_rate_are_told(case):
    text = HEAD + "".join(f"[prices.any.{name}]\nprice = 1\nhours = 2\n" for name in case.build.parts)
    found = priced(text, case)
    assert found.labour is None
    assert found.blanks == ("the hours listed, because no rate is given",)


def test_the_builds_own_goes_before_any_and_a_part_before_its_kind(forecast):
    tern = forecast("tern/air", "dyno-pulls")
    text = HEAD + (
        "[prices.any.left_cold_pipe]\nprice = 1\n[prices.any.pipe]\nprice = 2\n"
        "[prices.air.right_cold_pipe]\nprice = 3\n[prices.air.air_core]\nprice = 4\n[prices.any.left_core]\nprice = 5\n"
        f'[prices."{tern.build.name}".hot_pipe]\nprice = 6\n[prices.water.left_fan]\nprice = 7\n'
    )
    each = {name: line.each for line in priced(text, tern).lines for name in line.names}
    wanted = {"left_cold_pipe": 1, "left_hot_pipe": 2, "right_cold_pipe": 3, "left_core": 4, "right_core": 4}
    assert {name: each[name] for name in wanted} == wanted
    assert each["hot_pipe"] == 6
    assert each["left_fan"] is None  # that of another build


def test_a_line_that_is_not_there_charges_nothing_an_empty_one_is_blank():
    made = parse_prices(
        HEAD + '[prices.any.a]\nprice = 5\n[prices.any.b]\nprice = 5\nhours = ""\n[extras.any.c]\nhours = 2\n'
    )
    assert made.parts["any"]["a"] == Price(Decimal(5), Decimal(0))
    assert made.parts["any"]["b"] == Price(Decimal(5), None)
    assert made.extras["any"]["c"] == Price(Decimal(0), Decimal(2))


def test_text_and_back():
    odd = replace(
        parse_prices(FULL),
        currency='"€" \\',
        extras={'ünd "so" [x]': {"a.b # c": Price(Decimal("-1.5"), None, "tab\there".replace("\t", " "))}},
    )
    for made in (Prices(), parse_prices(FULL), odd):
        assert parse_prices(prices_text(made)) == made


def test_a_blank_list_holds_every_part_once_and_no_price():
    builds = [load_build(EXAMPLES / "tern" / f"{name}.toml") for name in ("water", "air")]
    made = blank_prices(builds)
    assert parse_prices(prices_text(made)) == made
    for build, own in zip(builds, ("water", "air"), strict=True):
        assert {*made.parts["any"], *made.parts[own]} == set(build.parts)
        assert not {*made.parts["any"]} & {*made.parts[own]}
    entries = [entry for table in (made.parts, made.extras) for names in table.values() for entry in names.values()]
    assert all(entry.price is None and entry.hours is None for entry in entries)
    assert made.rate is None
    assert {name for name, entry in made.parts["any"].items() if entry.kept} == {
        "filter", "turbo", "throttle", "plenum", "intake_sensor"
    }  # fmt: skip
    assert "coolant_filling_and_bleeding" in made.extras["water"]
    assert "air" not in made.extras
    assert unused(made, builds) == ()


def test_builds_of_one_file_name_are_told_apart_by_their_own():
    builds = [load_build(EXAMPLES / name / "build.toml") for name in ("plover", "dunlin")]
    made = blank_prices(builds)
    assert {build.name for build in builds} <= set(made.parts)
    assert parse_prices(prices_text(made)) == made


def test_what_meets_no_part_is_told():
    builds = [load_build(EXAMPLES / "tern" / "air.toml")]
    made = parse_prices(
        HEAD + "[prices.any.pmup]\nprice = 1\n[prices.any.fan]\nprice = 1\n[prices.air.left_core]\nprice = 1\n"
        "[prices.ari.left_core]\nprice = 1\n[extras.ari.x]\nprice = 1\n"
    )
    assert unused(made, builds) == ("prices.any.pmup", "prices.ari.left_core", "extras.ari")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "schema: is missing"),
        ('schema = "coldside.prices/9"', '"coldside.prices/9" is not known'),
        (HEAD + 'rate = "ninety"', "no number"),
        (HEAD + 'rate = "1,4500"', "comma"),
        (HEAD + "rate = -1", "out of range"),
        (HEAD + "rate = nan", "no amount"),
        (HEAD + "rate = true", "no number"),
        (HEAD + "tax = 8", 'no unit; write tax = "8.25 %"'),
        (HEAD + 'tax = "-1 %"', "out of range"),
        (HEAD + "rounding = 0", "out of range"),
        (HEAD + "currency = 5", "quotes"),
        (HEAD + "curency = 'x'", 'nearest: "currency"'),
        (HEAD + "[prices.any.pump]\nprize = 3", 'nearest: "price"'),
        (HEAD + "[prices.any.pump]\nprice = -3", "out of range"),
        (HEAD + '[prices.any.pump]\nkept = "yes"', "neither true nor false"),
        (HEAD + "[prices.pump]\nprice = 3", "stands where a table belongs"),
        (HEAD + "prices = 3", "is no table"),
    ],
)
def test_what_is_refused_says_where(text, words):
    with pytest.raises(BadInput) as caught:
        parse_prices(text, "my prices.toml")
    assert words in str(caught.value)
    assert str(caught.value).startswith("my prices.toml:")


def test_all_faults_at_once():
    with pytest.raises(BadInput) as caught:
        parse_prices(HEAD + "rate = -1\ntax = 5\n[prices.any.x]\nprice = 'a'\n", "p.toml")
    assert [line.split(": ")[0] for line in str(caught.value).splitlines()] == ["p.toml:2", "p.toml:3", "p.toml:5"]


def test_numbers_are_taken_as_typed():
    assert decimal_of("1 450.10") == Decimal("1450.10")
    assert decimal_of(0.1) == Decimal("0.1")
    for wrong in ("1e9", "", "1.2.3", "٣", "inf", "9" * 30, None):
        with pytest.raises(BadInput):
            decimal_of(wrong)


def test_a_list_to_fill_in_never_replaces_one(tmp_path):
    builds = [load_build(EXAMPLES / "tern" / "air.toml")]
    file = write_blank_prices(builds, tmp_path / "prices.toml")
    assert load_prices(file) == blank_prices(builds)
    with pytest.raises(BadInput, match="is there already"):
        write_blank_prices(builds, file)


# ---------------------------------------------------------------- changing the text


TYPED = '# prices of the bench\n\nschema = "coldside.prices/1"\ncurrency = "crowns"  # ours\n\n'


def test_a_change_leaves_every_other_line():
    place = Place("prices", "any", "pump")
    text = TYPED + '# the small one\n[prices.any.pump]\nprice = 120\nhours = "1"\n'
    changed = with_entry(text, place, "price", "131.50")
    assert changed == text.replace("price = 120\n", 'price = "131.50"\n')
    assert with_entry(changed, place, "note", "with plug").endswith('hours = "1"\nnote = "with plug"\n')
    assert with_entry(with_entry(text, place, "kept", True), place, "kept", False) == text
    assert with_entry(with_entry(text, place, "note", "x"), place, "note", " ") == text
    assert with_top(text, "currency", "EUR") == text.replace('"crowns"', '"EUR"')
    assert parse_prices(with_top(text, "tax", "19")).tax == Decimal("0.19")
    assert without_entry(with_new(text, Place("extras", "any", "test day")), Place("extras", "any", "test day")) == text


def test_the_first_figure_of_an_entry_leaves_the_other_to_be_filled_in():
    text = TYPED + "[prices.any.pump]\nkept = true\n"
    found = parse_prices(with_entry(text, Place("prices", "any", "pump"), "price", "9")).parts["any"]["pump"]
    assert (found.price, found.hours) == (Decimal(9), None)


def test_names_with_points_and_quotes_are_one_name():
    place = Place("prices", 'Tern 2.0 "red"', "hot_pipe")
    text = with_entry(with_new(TYPED, place), place, "price", "5")
    assert parse_prices(text).parts['Tern 2.0 "red"']["hot_pipe"].price == Decimal(5)


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("price", "1,4500", "has a comma"),
        ("price", "-3", "out of range"),
        ("hours", "two", "is no number"),
        ("note", "n" * 201, "200 at most"),
        ("colour", "red", "is no field"),
        ("kept", "true", "is no field"),
    ],
)
def test_what_cannot_be_is_refused(field, value, words):
    text = TYPED + '[prices.any.pump]\nprice = ""\nhours = ""\n'
    with pytest.raises(BadInput, match=words):
        with_entry(text, Place("prices", "any", "pump"), field, value)


def test_an_entry_that_is_not_there_is_refused():
    for change in (
        lambda: with_entry(TYPED, Place("prices", "any", "pump"), "price", "1"),
        lambda: without_entry(TYPED, Place("prices", "any", "pump")),
        lambda: with_top(TYPED, "schema", "x"),
        lambda: with_top(TYPED, "tax", "much"),
        lambda: with_new(TYPED, Place("extras", "any", "")),
    ):
        with pytest.raises(BadInput):
            change()


def test_a_list_is_completed_without_touching_what_is_priced():
    builds = [load_build(EXAMPLES / "tern" / f"{name}.toml") for name in ("water", "air")]
    text = TYPED + "[prices.any.pipe]\nprice = 30\nhours = 1\n\n[extras.any.test_day]\nhours = 4\n"
    whole, added = completed(text, builds)
    assert whole.startswith(text)
    prices = parse_prices(whole)
    for build in builds:
        assert all(place_of(build, name, prices) is not None for name in build.parts)
        pipes = [name for name, spec in build.parts.items() if type(spec).__name__ == "PipeSpec"]
        assert pipes
        assert all(place_of(build, name, prices) == Place("prices", "any", "pipe") for name in pipes)
        assert not set(pipes) & set(added)
    assert completed(whole, builds) == (whole, ())
    assert set(prices.extras["any"]) == {"test_day"}
    assert completed(TYPED, builds)[1] == tuple(sorted({name for build in builds for name in build.parts}))
    assert parse_prices(completed(TYPED, builds)[0]).extras == blank_prices(builds).extras


def test_what_feeds_a_spray_is_asked_for_in_every_list_and_total():
    water = load_build(EXAMPLES / "tern" / "water.toml")
    face = next(name for name, spec in water.parts.items() if isinstance(spec, ExchangerSpec) and spec.heat is None)
    parts = {**water.parts, face: replace(water.parts[face], spray=1e-5), "mist": InjectionSpec(flow=5e-6)}
    wet = replace(water, parts=parts)
    assert kits(water) == ()
    assert kits(wet) == (SPRAY_KIT, INJECTION_KIT)
    assert {SPRAY_KIT, INJECTION_KIT} <= set(blank_prices([wet, water]).extras[own_place(wet, [wet, water])])
    text = TYPED + "[extras.any.test_day]\nhours = 4\n"
    whole, added = completed(text, [wet])
    assert {SPRAY_KIT, INJECTION_KIT} <= set(added)
    assert set(parse_prices(whole).extras["water"]) == {SPRAY_KIT, INJECTION_KIT}
    assert completed(whole, [wet]) == (whole, ())
    assert SPRAY_KIT not in completed(text, [water])[0]


def test_completing_does_not_hide_a_price_of_a_kind():
    """A part priced through its kind in one build, and lacking in another, keeps that price."""
    builds = [load_build(EXAMPLES / "tern" / f"{name}.toml") for name in ("water", "air")]
    text = TYPED + "[prices.water.pipe]\nprice = 30\nhours = 1\n"
    prices = parse_prices(completed(text, builds)[0])
    for name, spec in builds[0].parts.items():
        if type(spec).__name__ == "PipeSpec":
            assert place_of(builds[0], name, prices) == Place("prices", "water", "pipe")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("$1,200", "1200"),
        ("1 200", "1200"),
        ("1,200.50", "1200.50"),
        ("1.200,50", "1200.50"),
        ("1,234,567", "1234567"),
        ("1.234.567", "1234567"),
        ("12,5", "12.5"),
        ("EUR 80", "80"),
        ("950 €", "950"),
        ("1200.00", "1200.00"),
    ],
)
def test_money_as_shops_type_it(text, value):
    assert decimal_of(text, money=True) == Decimal(value)


@pytest.mark.parametrize("text", ["1.200", "1,20,00", "12,3456", "1.20.0", "$", "12 to 15", "1,5000"])
def test_money_that_reads_in_two_ways_is_refused(text):
    with pytest.raises(BadInput):
        decimal_of(text, money=True)


def test_hours_with_three_places_behind_a_comma_are_refused_with_both_forms():
    with pytest.raises(BadInput, match=r"write 1500 or 1\.50"):
        decimal_of("1,500")
    assert decimal_of("1,5") == Decimal("1.5")
    assert decimal_of("1.125") == Decimal("1.125")
    kept = parse_prices(prices_text(Prices(rate=Decimal("1.125"))))
    assert kept.rate == Decimal("1.125")
