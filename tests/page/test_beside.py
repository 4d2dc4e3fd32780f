"""Side by side and the proposal: two small cars in a short session, prices typed, handed over as HTML and PDF.

Money is reckoned by hand in the tests.  ISO 32000 (a PDF starts with "%PDF-"), from memory.
"""

from __future__ import annotations

import html as entities
import json
import re
import shutil
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from starlette.testclient import TestClient

from coldside.explore.compare import compared
from coldside.page import comparing
from coldside.page.desk import Desk
from coldside.page.guard import cookie_name
from coldside.page.server import create_app
from coldside.plant.forecast import simulate
from coldside.sheet.prices import load_prices

TOKEN, HERE = "the-key-of-this-start", "http://127.0.0.1:8750"
WATER, AIR, DAY = "tern/water.toml", "tern/air.toml", "day.toml"
SHORT = """\
schema = "coldside.session/1"
name = "A short pull"

[ambient]
temperature = "31 degC"

[[phases]]
kind = "idle"
duration = "5 s"

[[phases]]
kind = "pull"
on = "dyno"
from = "4000 rpm"
to = "6000 rpm"
duration = "6 s"

[[limits]]
quantity = "intake"
at_most = "55 degC"
"""


class Page:
    """A page on a folder with two cars, a short session, and a comparison without draws that is there already."""

    def __init__(self, folder: Path, examples: Path) -> None:
        for name in (WATER, AIR):
            (folder / name).parent.mkdir(exist_ok=True)
            shutil.copy(examples / name, folder / name)
        (folder / DAY).write_text(SHORT, encoding="utf-8")
        self.folder, self.desk = folder, Desk(folder)
        self.client = TestClient(create_app(self.desk, token=TOKEN), base_url=HERE)
        self.client.cookies.set(cookie_name("127.0.0.1:8750"), TOKEN)
        self.of = self.etag = self.html = ""

    def get(self, address: str, **query: str) -> Any:
        tail = "&".join(f"{name}={quote(value)}" for name, value in query.items())
        return self.client.get(address + ("?" + tail if tail else ""))

    def post(self, address: str, code: int = 200, **data: Any) -> Any:
        answer = self.client.post(address, json=data)
        assert answer.status_code == code, answer.text
        return answer.json()

    def wait(self, job: str) -> list[dict[str, Any]]:
        """Every state of a job that was told, until it ended."""
        seen: list[dict[str, Any]] = []
        while not seen or seen[-1]["state"] == "running":
            after = str(seen[-1]["version"]) if seen else "-1"
            seen.append(self.get("/do/job", id=job, after=after).json())
        return seen

    def begin(self, forecasts: dict[int, Any]) -> None:
        """Hold the cars with what was reckoned before, so that a test of the forms solves nothing."""
        cars = comparing.beside_of(self.desk, [WATER, AIR], DAY)
        cars.forecasts |= forecasts
        cars.found = compared([forecasts[0], forecasts[1]], [None, None], losses=False)
        self.of = cars.key
        self.take(self.get("/do/beside/offer", of=self.of).json())

    def take(self, answer: dict[str, Any]) -> None:
        self.etag, self.html = answer["etag"], answer["html"]

    def put(self, what: str, code: int = 200, **data: Any) -> Any:
        answer = self.post(f"/do/beside/{what}", code, **({"of": self.of, "etag": self.etag} | data))
        if code == 200 and "html" in answer:
            self.take(answer)
        return answer

    def price(self, letter: str, names: list[str], field: str, value: Any, code: int = 200) -> Any:
        return self.put("price", code, letter=letter, names=names, field=field, value=value)


def rows(html: str, letter: str) -> list[list[str]]:
    """Names of an option's lines that can be typed into."""
    part = html.split(f'data-letter="{letter}"')[1].split("</table>")[0]
    return [json.loads(entities.unescape(names)) for names in re.findall(r'data-names="(.*?)"', part)]


@pytest.fixture(scope="module")
def solved(tmp_path_factory: pytest.TempPathFactory, examples: Path) -> dict[int, Any]:
    """Forecasts of the two cars."""
    page = Page(tmp_path_factory.mktemp("solved"), examples)
    cars = comparing.beside_of(page.desk, [WATER, AIR], DAY)
    page.desk.close()
    return {k: simulate(build, cars.session) for k, build in enumerate(cars.builds)}


@pytest.fixture
def page(tmp_path: Path, examples: Path) -> Iterator[Page]:
    made = Page(tmp_path, examples)
    yield made
    made.desk.close()


@pytest.fixture
def offer(page: Page, solved: dict[int, Any]) -> Page:
    page.begin(solved)
    return page


# ---------------------------------------------------------------- choosing and comparing


@pytest.mark.parametrize(
    ("names", "says"),
    [
        ([], "Take two to four above"),
        ([WATER], "One car is chosen"),
        ([WATER, "tern/wter.toml"], "nearest: &quot;tern/water.toml&quot;"),
        ([WATER, "../secret.toml"], "is no file name for this folder"),
        ([f"car{k}.toml" for k in range(5)], "5 builds given; 2 to 4 can be compared"),
    ],
)
def test_a_choice_that_cannot_be_is_told_at_the_place(page, names, says):
    for k in range(5):
        shutil.copy(page.folder / AIR, page.folder / f"car{k}.toml")
    answer = page.client.get("/beside", params={"build": names, "session": DAY})
    assert answer.status_code == 200
    assert says in answer.text
    assert 'id="beside"' not in answer.text
    assert answer.text.count("<h1") == 1


def test_the_same_is_refused_when_asked_past_the_form(page):
    for builds in (
        [WATER],
        [WATER, WATER],
        [WATER, AIR, "a.toml", "b.toml", "c.toml"],
        [WATER, "no.toml"],
        "x",
        [1, 2],
    ):
        problems = page.post("/do/beside/start", 400, builds=builds, session=DAY)["problems"]
        assert problems[0]["message"]
    assert page.get("/do/beside/found", of="nothing").status_code == 400
    assert page.get("/do/beside/offer", of="nothing").status_code == 400


def test_a_build_that_does_not_read_is_named_with_its_line(page):
    text = (page.folder / AIR).read_text(encoding="utf-8")
    draft = page.desk.drafts.open(AIR)
    page.desk.drafts.set_text(AIR, text.replace('kind = "throttle"', 'kind = "throtle"'), draft.rev)
    problem = page.post("/do/beside/start", 400, builds=[WATER, AIR], session=DAY)["problems"][0]
    assert "throtle" in problem["message"]
    assert problem["line"]


def test_two_cars_are_compared_step_by_step(page, monkeypatch):
    """The whole job, with few draws; what is said is what the comparison says."""
    many = comparing.simulate_many
    monkeypatch.setattr(comparing, "simulate_many", lambda *args, **given: many(*args, n=4, **given))
    begun = page.post("/do/beside/start", builds=[WATER, AIR], session=DAY)
    seen = page.wait(begun["job"])
    assert seen[-1]["state"] == "done", seen[-1]
    assert set(seen[-1]["pieces"]) == {"forecast", "dead", "bands"}
    assert [state["fraction"] for state in seen] == sorted(state["fraction"] for state in seen)
    html = page.get("/do/beside/found", of=begun["of"]).json()["html"]
    comparison = comparing.held_at(page.desk, begun["of"]).comparison()
    assert comparison.draws == 4
    assert html.count("<h1") == 1
    assert "degC" not in html
    ahead = comparison.contrast("intake_max")
    assert f"{ahead.ahead} keeps the charge cooler" in html
    assert '<i class="ahead">ahead</i>' in html
    assert "from the start" in html  # a dead pump
    assert "likely" in html
    page.client.cookies.set("units", "us")
    other = page.get("/do/beside/found", of=begun["of"]).json()["html"]
    assert "°C" not in other
    assert "°F" in other
    monkeypatch.setattr(comparing, "simulate", None)  # asked again, nothing is solved again
    monkeypatch.setattr(comparing, "simulate_many", None)
    again = page.post("/do/beside/start", builds=[WATER, AIR], session=DAY)
    assert again["of"] == begun["of"]
    assert page.wait(again["job"])[-1]["state"] == "done"


def test_what_is_typed_but_not_saved_counts(page):
    first = comparing.beside_of(page.desk, [WATER, AIR], DAY)
    assert comparing.beside_of(page.desk, [WATER, AIR], DAY) is first
    draft = page.desk.drafts.open(DAY)
    page.desk.drafts.set_text(DAY, SHORT.replace("31 degC", "35 degC"), draft.rev)
    second = comparing.beside_of(page.desk, [WATER, AIR], DAY)
    assert second.key != first.key
    assert second.session.ambient.temperature == pytest.approx(308.15)


# ---------------------------------------------------------------- prices


def test_prices_are_written_where_the_commands_read_them(offer):
    file = offer.folder / "prices.toml"
    assert not file.exists()
    assert "is made with the first figure" in offer.html
    for field, value in (("currency", "EUR"), ("rate", "80"), ("tax", "19"), ("markup", "10 %")):
        offer.put("top", field=field, value=value)
    letter_rows = rows(offer.html, "B")
    for names in letter_rows:
        offer.price("B", names, "price", "100")
        offer.price("B", names, "hours", "0.5")
    found = load_prices(file)
    assert (found.currency, found.rate, found.tax, found.markup) == ("EUR", 80, Decimal("0.19"), Decimal("0.1"))
    count = sum(len(names) for names in letter_rows)
    # by hand: each 100 and 10 %, half an hour at 80, then 19 % tax
    net = Decimal(110 * count + 40 * count)
    total = (net * Decimal("1.19")).quantize(Decimal("0.01"))
    said = f"{total:,.2f}".replace(",", "\u00a0")
    assert f"EUR\u00a0{said}" in offer.html


def test_the_rest_of_a_price_list_stays(offer):
    text = '# mine\nschema = "coldside.prices/1"\ncurrency = "kr"  # crowns\n\n[prices.any.turbo]\nkept = true\n'
    (offer.folder / "prices.toml").write_text(text, encoding="utf-8")
    offer.take(offer.get("/do/beside/offer", of=offer.of).json())
    assert "Not in it yet" in offer.html
    assert (offer.folder / "prices.toml").read_text(encoding="utf-8") == text  # to look writes nothing
    names = rows(offer.html, "A")[0]
    offer.price("A", names, "price", "55")
    after = (offer.folder / "prices.toml").read_text(encoding="utf-8")
    assert after.startswith(text)
    assert (offer.folder / "prices.toml.bak").read_text(encoding="utf-8") == text
    assert "Not in it yet" not in offer.html


def test_a_list_that_changed_meanwhile_is_not_overwritten(offer):
    offer.put("top", field="rate", value="80")
    old = offer.etag
    offer.put("top", field="rate", value="90")
    before = (offer.folder / "prices.toml").read_bytes()
    problem = offer.put("top", 400, field="rate", value="70", etag=old)["problems"][0]
    assert "was changed meanwhile" in problem["message"]
    assert problem["where"] == "prices.toml"
    assert (offer.folder / "prices.toml").read_bytes() == before


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("price", "1,4500", '"1,4500" has a comma'),
        ("price", "-5", "out of range"),
        ("price", "cheap", "is no number"),
        ("hours", "1e9", "is no number"),
        ("note", "x" * 201, "200 at most"),
        ("price", True, "is no field"),
        ("kept", "yes", "is no field"),
        ("price", 5, "lacks the text"),
        ("schema", "x", "is no field"),
    ],
)
def test_a_wrong_entry_is_refused_and_nothing_written(offer, field, value, says):
    problem = offer.price("A", rows(offer.html, "A")[0], field, value, 400)["problems"][0]
    assert says in problem["message"]
    assert not problem["message"].startswith("prices.")
    assert not (offer.folder / "prices.toml").exists()


def test_wrong_lines_and_heads_are_refused(offer):
    offer.price("Z", ["tank"], "price", "1", 400)
    offer.price("A", ["no such part"], "price", "1", 400)
    offer.put("top", 400, field="rounding", value="0")
    offer.put("top", 400, field="tax", value="much")
    offer.put("top", 400, field="prices", value="1")
    offer.put("line", 400, do="add", letter="A", name="  ")
    offer.put("line", 400, do="remove", letter="A", names=rows(offer.html, "A")[0])
    offer.put("line", 400, do="burn", letter="A", names=rows(offer.html, "A")[0])
    assert not (offer.folder / "prices.toml").exists()


def test_a_broken_price_list_is_named_with_its_line(offer):
    (offer.folder / "prices.toml").write_text('schema = "coldside.prices/1"\nrate = "ten"\n', encoding="utf-8")
    answer = offer.get("/do/beside/offer", of=offer.of)
    assert answer.status_code == 400
    problem = answer.json()["problems"][0]
    assert (problem["where"], problem["line"]) == ("prices.toml:2", 2)


def test_lines_are_added_kept_and_taken_out(offer):
    offer.put("line", do="add", letter="A", name="dyno day 2.0")
    assert ["dyno day 2.0"] in rows(offer.html, "A")
    assert ["dyno day 2.0"] not in rows(offer.html, "B")
    offer.price("A", ["dyno day 2.0"], "hours", "8")
    assert load_prices(offer.folder / "prices.toml").extras["water"]["dyno day 2.0"].hours == 8
    offer.put("line", do="remove", letter="A", names=["dyno day 2.0"])
    assert ["dyno day 2.0"] not in rows(offer.html, "A")
    names = rows(offer.html, "A")[0]
    offer.price("A", names, "kept", True)
    assert names not in rows(offer.html, "A")
    offer.price("A", names, "kept", False)
    assert names in rows(offer.html, "A")


def test_a_price_of_all_cars_can_become_one_car_s_own(offer):
    text = 'schema = "coldside.prices/1"\n\n[prices.any.fan]\nprice = 30\nhours = 1\n'
    (offer.folder / "prices.toml").write_text(text, encoding="utf-8")
    offer.take(offer.get("/do/beside/offer", of=offer.of).json())
    fans = {letter: next(one for one in rows(offer.html, letter) if "fan" in one[0]) for letter in "AB"}
    offer.put("line", do="own", letter="A", names=fans["A"])
    offer.price("A", fans["A"], "price", "99")
    found = load_prices(offer.folder / "prices.toml")
    assert all(found.parts["water"][name].price == 99 for name in fans["A"])
    assert found.parts["any"]["fan"].price == 30
    common = ["ducts_and_sealing"]
    offer.put("line", do="own", letter="B", names=common)
    offer.price("B", common, "price", "12")
    extras = load_prices(offer.folder / "prices.toml").extras
    assert extras["air"][common[0]].price == 12
    assert extras["any"][common[0]].price is None


# ---------------------------------------------------------------- words and handing over


def test_words_are_kept_and_stay_words(offer):
    rude = '<script>alert("x")</script>'
    for field in ("shop", "customer", "car", "notes"):
        offer.put("words", field=field, value=f"{field} {rude}")
    offer.put("words", field="date", value="2026-03-07")
    offer.price("A", rows(offer.html, "A")[0], "note", rude)
    offer.put("line", do="add", letter="A", name=rude)
    shown = offer.get("/do/beside/offer", of=offer.of).json()["html"]
    paper = offer.get("/beside/proposal", of=offer.of).text
    for html in (shown, paper):
        assert "<script" not in html
        assert "customer &lt;script&gt;" in html
        assert "alert(" in html
    assert "7 March 2026" in paper
    anew = Desk(offer.folder)  # a page started anew on the same folder has the words still
    with anew.store.transaction() as db:
        assert (f"shop {rude}",) in db.execute("SELECT words FROM typed").fetchall()
    anew.close()


@pytest.mark.parametrize(("field", "value"), [("date", "tomorrow"), ("colour", "red"), ("car", "x" * 201)])
def test_wrong_words_are_refused(offer, field, value):
    offer.put("words", 400, field=field, value=value)


def test_names_in_builds_stay_text(page, solved):
    """A build's own name with markup in it is text in the list to choose from."""
    text = (page.folder / AIR).read_text(encoding="utf-8")
    name = re.search(r'^name = "(.*)"$', text, re.MULTILINE)[1]
    (page.folder / AIR).write_text(text.replace(f'name = "{name}"', 'name = "<i>x</i>"'), encoding="utf-8")
    answer = page.client.get("/beside", params={"build": [WATER, AIR], "session": DAY})
    assert "<i>x</i>" not in answer.text
    assert "&lt;i&gt;x&lt;/i&gt;" in answer.text


def test_it_is_handed_over_as_html_and_pdf(offer):
    offer.put("words", field="car", value="The green Tern / 2")
    offer.put("words", field="date", value="2026-03-07")
    html = offer.get("/beside/proposal", of=offer.of, take="html")
    assert html.headers["content-type"].startswith("text/html")
    assert html.headers["content-disposition"] == 'attachment; filename="proposal-the-green-tern-2-7-march-2026.html"'
    assert "to be filled in" in html.text
    pdf = offer.get("/beside/proposal", of=offer.of, take="pdf")
    assert pdf.headers["content-type"] == "application/pdf"
    assert pdf.headers["content-disposition"].endswith('.pdf"')
    assert pdf.content.startswith(b"%PDF-")
    assert offer.get("/beside/proposal", of=offer.of, take="doc").status_code == 400
    assert offer.get("/beside/proposal", of="gone").status_code == 400


def test_every_field_has_a_label(offer):
    labelled = set(re.findall(r'<label[^>]* for="([^"]+)"', offer.html))
    wrapped = set(re.findall(r'<label class="tick"><input type="checkbox" id="([^"]+)"', offer.html))
    fields = re.findall(r'<(?:input|textarea|select)[^>]* id="([^"]+)"', offer.html)
    assert fields
    assert len(fields) == len(set(fields))
    assert set(fields) <= labelled | wrapped
