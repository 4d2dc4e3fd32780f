"""The proposal: what it says, that its sums are those of the price list, that no text of a user becomes markup."""

from __future__ import annotations

import contextlib
import datetime
import html
import json
import re
import unicodedata
import zlib
from dataclasses import replace

import pypdfium2
import pytest
from typer.testing import CliRunner

from coldside.cli import app
from coldside.duty.model import LimitSpec
from coldside.errors import BadInput
from coldside.explore.compare import Comparison, compared
from coldside.judge.verdict import judge
from coldside.sheet.prices import Prices, blank_prices, cost, parse_prices, prices_text
from coldside.sheet.proposal import day, proposal, proposal_files, proposal_html, proposal_pdf, write_proposal
from sheet.synthetic import EXAMPLES

WRITTEN = datetime.date(2026, 3, 7)
NASTY = '#read("x") <script>alert(1)</script> *b* _i_ $x$ `c` [z] @a \\ // & "q" \u00e9\u03a9\u0436'


@pytest.fixture(scope="module")
def compared_cars(forecast) -> Comparison:
    """Tern on water and on air over six pulls, without draws and without what dies."""
    cars = [forecast("tern/water", "dyno-pulls"), forecast("tern/air", "dyno-pulls")]
    return compared(cars, [None, None], losses=False)


@pytest.fixture(scope="module")
def priced(compared_cars) -> Prices:
    """Every part and extra of both at 100 and one hour."""
    builds = [entry.forecast.build for entry in compared_cars.entries]
    text = prices_text(blank_prices(builds)).replace('price = ""', 'price = "100"').replace('hours = ""', "hours = 1")
    text = text.replace('currency = ""', 'currency = "crowns"').replace('rate = ""', 'rate = "60"')
    return parse_prices(text.replace('tax = ""', 'tax = "20 %"'))


def words_of(page: str) -> str:
    """The text of a page without tags and style, white space made one."""
    body = re.sub(r"<style>.*?</style>", " ", page, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def pdf_words(pdf: bytes) -> str:
    """The text of a PDF; white space made one, ligatures taken apart."""
    with pypdfium2.PdfDocument(pdf) as document:
        found = []
        for page in document:
            text = page.get_textpage()
            found.append(text.get_text_range())
            text.close()
            page.close()
    return " ".join(unicodedata.normalize("NFKC", " ".join(found)).replace("\u200b", "").split())


def inflated(pdf: bytes) -> bytes:
    """A PDF with every stream that can be unpacked unpacked."""
    found = [pdf]
    for stream in re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL):
        with contextlib.suppress(zlib.error):
            found.append(zlib.decompressobj().decompress(stream))
    return b"".join(found)


def bare(text: str) -> str:
    """Letters and digits alone: what is left when lines are broken elsewhere."""
    return "".join(c for c in unicodedata.normalize("NFKC", text) if c.isalnum())


def every_text(value) -> list[str]:
    """All texts within a proposal, but for what is not printed."""
    if isinstance(value, str):
        return [value]
    if isinstance(value, tuple):
        return [text for inner in value for text in every_text(inner)]
    if hasattr(value, "__dataclass_fields__"):
        skipped = ("paper", "for_the_shop", "ahead")
        return [
            text
            for name in value.__dataclass_fields__
            if name not in skipped
            for text in every_text(getattr(value, name))
        ]
    return []


# ---------------------------------------------------------------- what it says


def test_totals_by_hand(compared_cars, priced):
    """Tern water: 18 parts and 5 of them kept, 4 extras for both and one of its own; air: 9 parts of its own."""
    made = proposal(compared_cars, priced, date=WRITTEN)
    water, air = made.options
    for option, lines in ((water, 13 + 5), (air, 9 + 4)):
        net = lines * (100 + 60)
        assert option.sums[-1].amount == f"crowns\u00a0{net * 1.2:,.2f}".replace(",", "\u00a0")
        assert option.sums[0].amount == f"{100 * lines:,.2f}".replace(",", "\u00a0")
        assert option.missing == ""
        assert option.total == option.sums[-1].amount
    assert made.lead[1] == "B costs crowns\u00a02\u00a0496.00, A crowns\u00a0960.00 more."
    money = next(block for block in made.blocks if block.title == "Money")
    assert money.rows[0].ahead == "B"
    assert money.rows[1].cells == ("18\u00a0h", "13\u00a0h")
    assert "rounded to 0.01, half up" in made.amounts


def test_money_agrees_with_the_price_list(compared_cars, priced):
    made = proposal(compared_cars, priced, system="us")
    for entry, option in zip(compared_cars.entries, made.options, strict=True):
        found = cost(entry.forecast, priced)
        assert option.total == priced.money(found.total, "us")
        assert sum(int(line.count) for line in option.lines) == sum(line.count for line in found.lines)


def test_the_figures_are_those_of_the_comparison(compared_cars):
    made = proposal(compared_cars)
    rows = {row.label: row for block in made.blocks for row in block.rows}
    for k, entry in enumerate(compared_cars.entries):
        celsius = entry.figures["intake_max"] - 273.15
        assert rows["Intake at its hottest in boost"].cells[k] == f"{celsius:.0f}\u00a0°C"
        assert (
            rows["Power, average of all time in boost (part throttle counts too)"].cells[k]
            == f"{entry.figures['power_mean'] / 1e3:.0f}\u00a0kW"
        )
        assert rows["Lag of the boost itself, as the build gives it"].cells[k] == "0.6\u00a0s"
    assert rows["Moving parts"].cells == ("one pump and two fans", "two fans")
    assert rows["Coolant in it"].cells[1] == "none"
    assert rows["Openings for cooling air"].cells == ("rear 360 cm², roof 240 cm²", "side 800 cm²")
    assert [block.title for block in made.blocks] == [
        "How hot", "Power kept", "Response", "Repeats", "Room and mass", "What can stop", "Money"
    ]  # fmt: skip


def test_what_warm_charge_takes_is_of_the_work_in_boost_as_in_the_verdict(compared_cars):
    """A customer and the shop read one figure: share of the work done in boost, not of the session's at part load."""
    made = proposal(compared_cars)
    (row,) = (row for block in made.blocks for row in block.rows if row.label.startswith("Taken by warm charge"))
    assert row.label.endswith("of the work done in boost")
    for entry, cell in zip(compared_cars.entries, row.cells, strict=True):
        (told,) = (note for note in entry.verdict.words("si").notes if note.startswith("A charge warmer than ambient"))
        share = re.search(r"costs ([\d.]+) % of the work done in boost", told)[1]
        assert cell == f"{share}\u00a0%"


def test_ahead_is_what_the_comparison_says(compared_cars):
    made = proposal(compared_cars)
    rows = {row.label: row for block in made.blocks for row in block.rows}
    for label, figure in (
        ("Intake at its hottest in boost", "intake_max"),
        ("Mass", "mass"),
        ("Charge air between compressor and engine", "charge_volume"),
    ):
        contrast = compared_cars.contrast(figure)
        assert contrast is not None
        assert rows[label].ahead == ("" if contrast.settled == "open" else contrast.ahead)


def test_blanks_are_told_and_no_price_is_made_up(compared_cars):
    made = proposal(compared_cars)
    assert made.lead[1] == "The prices of A and B are not complete, so the money cannot be compared yet."
    for option in made.options:
        assert option.total == "price to be filled in"
        assert option.missing == "Not counted, still to be filled in: every price and all hours."
        assert [one.amount for one in option.sums] == ["to be filled in"] * 3
        assert all(line.each == line.amount == line.hours == "" for line in option.lines)
    for said in (words_of(proposal_html(made)), pdf_words(proposal_pdf(made))):
        assert "to be filled in" in said
    partly = parse_prices('schema = "coldside.prices/1"\ncurrency = "EUR"\n[prices.any.pump]\nprice = 250\n')
    option = proposal(compared_cars, partly).options[0]
    assert option.total == "EUR\u00a0250.00 so far; not complete"
    assert option.sums[-1].label == "Total of what is filled in, before tax"


def test_it_says_what_is_missing_assumed_and_dangerous(compared_cars):
    made = proposal(compared_cars, offer_notes="Stands for 30 days.\n\nHalf on order.")
    assert made.offer_notes == ("Stands for 30 days.", "Half on order.")
    assert any("calibration" in text for text in made.left_out)
    assert any("values were not measured on the car" in text for text in made.assumptions)
    cautions = " ".join(made.cautions)
    assert all(word in cautions for word in ("Boost", "coolant", "dyno", "road", "Local codes"))
    assert any("coolant into the engine" in text for text in made.options[0].risks)
    assert not any("coolant into the engine" in text for text in made.options[1].risks)


def test_units_and_paper(compared_cars):
    us = proposal(compared_cars, system="us", date=WRITTEN)
    assert us.paper == "us-letter"
    assert us.date == "7 March 2026"
    assert "°F" in us.blocks[0].rows[0].cells[0]
    assert proposal(compared_cars).paper == "a4"
    with pytest.raises(BadInput, match="no unit system"):
        proposal(compared_cars, system="metric")


def test_one_build_and_two_sessions_are_refused(compared_cars):
    first, second = compared_cars.entries
    with pytest.raises(BadInput, match="one build given; 2 to 4"):
        proposal(replace(compared_cars, entries=(first,)))
    other = replace(second.forecast, session=replace(second.forecast.session, name="another day"))
    with pytest.raises(BadInput, match="one and the same session"):
        proposal(replace(compared_cars, entries=(first, replace(second, forecast=other))))


# ---------------------------------------------------------------- as files


def test_the_pdf_says_what_the_page_says(compared_cars, priced):
    made = proposal(compared_cars, priced, customer="Ines", shop="Saltmarsh", car="Tern", date=WRITTEN, system="us")
    page, paper = bare(words_of(proposal_html(made))), bare(pdf_words(proposal_pdf(made)))
    for text in every_text(made):
        for line in text.split("\n"):
            assert bare(line) in page, line
            # a cell that runs over two lines has its neighbours' words between them
            assert bare(line) in paper or all(bare(word) in paper for word in line.split()), line
    for text in (*made.lead, *made.differences, *made.cautions, *(option.total for option in made.options)):
        assert bare(text) in paper


def test_the_pdf_is_the_same_twice_has_its_fonts_inside_and_the_papers_size(compared_cars):
    for system, size in (("si", (595.3, 841.9)), ("us", (612.0, 792.0))):
        made = proposal(compared_cars, system=system, date=WRITTEN)
        pdf = proposal_pdf(made)
        assert pdf == proposal_pdf(made)
        assert inflated(pdf).count(b"/FontFile") == inflated(pdf).count(b"/Type/FontDescriptor") > 1
        with pypdfium2.PdfDocument(pdf) as document:
            assert document[0].get_size() == pytest.approx(size, abs=0.2)
            assert 2 <= len(document) <= 8


def test_no_text_of_a_user_becomes_markup(compared_cars, priced):
    notes = replace(priced, currency=NASTY[:12])
    made = proposal(compared_cars, notes, customer=NASTY, shop=NASTY, car=NASTY, offer_notes=[NASTY, NASTY], date=NASTY)
    page = proposal_html(made)
    assert "<script" not in page
    assert page.count("&lt;script&gt;") >= 5
    paper = pdf_words(proposal_pdf(made))
    assert paper.count("<script>alert(1)</script>") >= 5
    assert paper.count('#read("x")') >= 5
    assert bare(paper).count(bare(NASTY)) >= 3
    assert "*b* _i_ $x$ `c` [z]" in paper


@pytest.mark.parametrize(
    "text",
    ["W" * 5000, "long words " * 450, "\u5c71\u7530 \U0001f600 \u05e9\u05dc\u05d5\u05dd", "a\x00b\u202ec\ud800d"],
)
def test_odd_texts_are_set(compared_cars, text):
    made = proposal(compared_cars, customer=text, offer_notes=text)
    assert not re.search("[\x00-\x08\u202a-\u202e\ud800-\udfff]", made.customer)
    proposal_html(made).encode()
    with pypdfium2.PdfDocument(proposal_pdf(made)) as document:
        page = document[0].get_textpage()
        assert page.count_chars() > 500
        wide = document[0].get_width()
        boxes = [page.get_charbox(k) for k in range(page.count_chars())]
        assert all(0.0 <= box[0] <= box[2] <= wide for box in boxes)


def test_the_page_fetches_nothing_and_runs_nothing(compared_cars, priced):
    page = proposal_html(proposal(compared_cars, priced, customer="x"))
    assert "<script" not in page
    assert not re.search(r"(?:src|href)=|url\(|@import|http(?!://www\.w3\.org/2000/svg)", page)


def test_files(compared_cars, tmp_path):
    assert [file.suffix for file in proposal_files(tmp_path / "offer")] == [".html", ".pdf"]
    assert proposal_files(tmp_path / "o.PDF") == (tmp_path / "o.PDF",)
    with pytest.raises(BadInput, match="must end in"):
        proposal_files(tmp_path / "o.docx")
    with pytest.raises(BadInput, match="no folder"):
        proposal_files(tmp_path / "none" / "o.pdf")
    made = proposal(compared_cars)
    assert write_proposal(made, tmp_path / "o.pdf").read_bytes().startswith(b"%PDF-")
    assert write_proposal(made, tmp_path / "o.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert day("2026-03-07") == WRITTEN
    with pytest.raises(BadInput, match="no date"):
        day("7.3.2026")


# ---------------------------------------------------------------- the command

TWO = [str(EXAMPLES / "tern" / "water.toml"), str(EXAMPLES / "tern" / "air.toml")]
SESSION = ["--session", str(EXAMPLES / "sessions" / "dyno-pulls.toml")]


def run(*arguments: str):
    return CliRunner().invoke(app, ["proposal", *map(str, arguments)])


def test_command_writes_a_blank_list_and_takes_it(tmp_path):
    file = tmp_path / "prices.toml"
    assert run(*TWO, "--blank-prices", file).exit_code == 0
    file.write_text(file.read_text().replace("[prices.any.filter]", "[prices.any.fliter]"))
    seen = run(
        *TWO, *SESSION, "--draws", "0", "--prices", file, "--out", tmp_path / "offer", "--json", "--date", "2026-03-07"
    )
    assert seen.exit_code == 0, seen.output
    said = json.loads(seen.stdout)
    assert said["schema"] == "coldside.proposal/1"
    assert said["files"] == [str(tmp_path / "offer.html"), str(tmp_path / "offer.pdf")]
    assert all((tmp_path / name).stat().st_size > 10_000 for name in ("offer.html", "offer.pdf"))
    assert "prices.any.fliter" in seen.stderr
    again = run(*TWO, "--blank-prices", file)
    assert again.exit_code == 2
    assert "is there already" in again.stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([*TWO], "--session: which session?"),
        ([TWO[0], *SESSION], "one build given; 2 to 4 can be compared"),
        ([*TWO, *SESSION, "--out", "o.txt"], "must end in .html or .pdf"),
        ([*TWO, *SESSION, "--prices", "none.toml"], "there is no such file"),
        ([*TWO, *SESSION, "--date", "tomorrow"], "no date"),
    ],
)
def test_command_refuses_before_it_solves(arguments, words):
    seen = run(*arguments)
    assert seen.exit_code == 2
    assert words in seen.stderr
    assert "Traceback" not in seen.output


def test_a_customer_reads_words_not_files_keys_or_a_starter(compared_cars, priced):
    renamed = replace(
        compared_cars,
        entries=tuple(
            replace(
                entry,
                forecast=replace(
                    entry.forecast,
                    build=replace(entry.forecast.build, name=entry.name + ", air to air starter"),
                    health=replace(entry.forecast.health, extrapolated=("left_core: Re = 66.6 is below 120",)),
                ),
            )
            for entry in compared_cars.entries
        ),
    )
    made = proposal(renamed, priced, system="us")
    texts = [text for text in every_text(made) if text != made.car]
    for text in texts:
        assert ".toml" not in text
        assert "starter" not in text
        assert "Re = " not in text
        assert not re.search(r"[a-z]_[a-z]", text), text
    assert all(line.kind != line.what for option in made.options for line in option.lines)
    assert any("Re = 66.6" in text for text in made.for_the_shop)
    rows = {row.label: row for block in made.blocks for row in block.rows}
    assert all(cell.endswith("hp") for cell in rows["Power at its highest"].cells)


def test_a_limit_that_breaks_is_a_risk_and_nothing_that_is_bought(compared_cars):
    hot = tuple(
        replace(
            entry,
            verdict=judge(replace(entry.forecast, session=replace(compared_cars.session, limits=(hopeless,)))),
        )
        for hopeless in (LimitSpec(quantity="intake", at_most=300.0),)
        for entry in compared_cars.entries
    )
    made = proposal(replace(compared_cars, entries=hot))
    for option in made.options:
        assert not any("breaks its limit" in text for text in option.buys)
        assert "breaks its limit on intake" in option.risks[0]
