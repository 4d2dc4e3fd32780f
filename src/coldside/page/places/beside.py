"""Side by side: two to four cars in one session, what differs first; then the proposal made of it.

Here: the place's functions.  Figures and words are those of `coldside compare` and `coldside proposal`; prices are the
shop's own and live in `prices.toml` of the folder, so that the commands read what was typed here.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from coldside.errors import BadInput, ColdsideError
from coldside.explore.compare import MOST, check_number
from coldside.explore.compare_words import comparison_words, headline_of
from coldside.page.comparing import Beside, beside_of, held_at, whole
from coldside.page.project import etag, file_name
from coldside.page.shell import Ask, carried, done, environment, in_look, problems, render, seen, told_as
from coldside.sheet import prices as listed
from coldside.sheet.html import bullets
from coldside.sheet.offer import Option, Proposal, comes_with, proposal
from coldside.sheet.prices import Item, Place, Prices
from coldside.sheet.proposal import day, picture_html, proposal_html, proposal_pdf, side_table

PRICES = "prices.toml"
FORM = "proposal"
SHOP = "shop"  # the one word that is the same in all proposals
LONGEST = {"shop": 200, "customer": 200, "car": 200, "date": 10, "notes": 4000}
TOP = (  # field, what it is called, what it means
    ("currency", "Currency", "as it is to be printed"),
    ("rate", "Work, an hour", "in that currency"),
    ("tax", "Tax, %", "empty: told as before tax"),
    ("markup", "Markup, %", "on every price; not shown"),
    ("rounding", "Rounded to", "every line, half up"),
)
_writing = threading.Lock()


# ---------------------------------------------------------------------------------------------- the place


def show(ask: Ask) -> str:
    """The place: which cars, and room for what is found of them."""
    project = ask.desk.project
    builds, sessions = project.entries("build"), project.entries("session")
    chosen = [*dict.fromkeys(name for name in ask.many("build") if name)]
    session = ask.one("session") or (sessions[0].name if sessions else "")
    faults = _faults(ask, chosen, session)
    return render(
        ask,
        "beside.html",
        title="Side by side",
        builds=builds,
        sessions=sessions,
        chosen=chosen,
        session=session,
        most=MOST,
        faults=faults,
        ready=len(chosen) > 1 and bool(session) and not faults,
    )


def _faults(ask: Ask, chosen: Sequence[str], session: str) -> list[dict[str, Any]]:
    """What is wrong with a choice; one car alone is not wrong yet."""
    found: list[dict[str, Any]] = []
    for name in (*chosen, *([session] if session else [])):
        try:
            ask.desk.project.path(name)
        except ColdsideError as error:
            found += problems(error, ask.system)
    try:
        check_number(max(len(chosen), 2))
    except ColdsideError as error:
        found += problems(error, ask.system)
    return found


def begin(ask: Ask) -> Mapping[str, Any]:
    """Start reckoning cars in a session, or find them reckoned already."""
    names = ask.data.get("builds")
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise BadInput('the request lacks the list "builds"')
    cars = beside_of(ask.desk, names, ask.text("session"))
    return {"job": whole(ask.desk, cars).id, "of": cars.key}


def found(ask: Ask) -> Mapping[str, Any]:
    """What is known of the cars side by side, as HTML in the units chosen."""
    return {"html": _fragment("beside_found.html", **_found(ask, held_at(ask.desk, ask.one("of"))))}


def _found(ask: Ask, cars: Beside) -> dict[str, Any]:
    comparison = cars.comparison()
    words = comparison_words(comparison, ask.system)
    made = proposal(comparison, system=ask.system)
    tried = any(entry.losses for entry in comparison.entries)
    folds = (
        ("Who is ahead where", words.where),
        ("When something dies", words.failures if tried else ()),
        ("What each carries and draws", words.carries),
        ("What comes with each", [f"{one.letter}: {text}" for one in comparison.entries for text in comes_with(one)]),
        ("What was assumed", made.assumptions),
    )
    headline, *sure = (sentence.words(ask.system) for sentence in headline_of(comparison))
    return {
        "headline": headline,
        "sure": " ".join(sure),
        "conditions": made.conditions.removeprefix(f"{comparison.session.name}: "),
        "cars": [
            (one.letter, one.name, carried(Ask(ask.desk, query={"build": (name,), "session": (cars.session_file,)})))
            for one, name in zip(made.options, cars.build_files, strict=True)
        ],
        "summing_up": bullets(words.summing_up),
        "limits": bullets(words.limits),
        "differences": bullets(words.differences) if words.differences else "",
        "picture": picture_html(made.picture),
        "table": side_table(made, [block for block in made.blocks if block.title != "Money"], "ahead"),
        "notes": made.table_notes,
        "folds": [(title, bullets(list(texts))) for title, texts in folds if texts],
        "cautions": bullets(made.cautions),
    }


# ---------------------------------------------------------------------------------------------- the proposal


@dataclass(frozen=True)
class Line:
    """One line of an option as it is shown and typed into; `own`: what is typed counts for this car alone."""

    item: Item
    ident: str
    names: str
    amount: str
    own: bool
    extra: bool


@dataclass(frozen=True)
class OptionView:
    """One option: what it costs line by line, what is kept, what is not counted."""

    option: Option
    lines: list[Line]
    kept: list[Line]


@dataclass(frozen=True)
class Listed:
    """The price list as it is: its text with every part of these cars in it, its mark on the disk, what was added."""

    text: str
    mark: str
    prices: Prices
    added: tuple[str, ...]


def _listed(ask: Ask, cars: Beside) -> Listed:
    project = ask.desk.project
    mark = project.etag(PRICES)
    if not mark:
        text = listed.prices_text(listed.blank_prices(cars.builds))
        return Listed(text, mark, listed.parse_prices(text, PRICES), ())
    text, added = listed.completed(project.read(PRICES), cars.builds, PRICES)
    return Listed(text, mark, listed.parse_prices(text, PRICES), added)


def offer(ask: Ask) -> Mapping[str, Any]:
    """The proposal's forms and tables as HTML, and the mark of the price list that they show."""
    cars = held_at(ask.desk, ask.one("of"))
    return _offer(ask, cars)


def _offer(ask: Ask, cars: Beside) -> Mapping[str, Any]:
    comparison, now = cars.comparison(), _listed(ask, cars)
    made = _made(ask, cars, now.prices)
    views = [_view(ask, cars, now.prices, k, option) for k, option in enumerate(made.options)]
    html = _fragment(
        "beside_offer.html",
        of=cars.key,
        words=_typed(ask, cars),
        longest=LONGEST,
        top=[(field, name, hint, _top(now.prices, field)) for field, name, hint in TOP],
        views=views,
        made=made,
        money=made.lead[1],
        letters=[entry.letter for entry in comparison.entries],
        added=[listed.spoken(name) for name in now.added],
        file=PRICES,
        new=not now.mark,
    )
    return {"html": html, "etag": now.mark}


def _made(ask: Ask, cars: Beside, prices: Prices) -> Proposal:
    words = _typed(ask, cars)
    return proposal(
        cars.comparison(),
        prices,
        shop=words["shop"],
        customer=words["customer"],
        car=words["car"],
        system=ask.system,
        date=day(words["date"], where="date"),
        offer_notes=words["notes"],
    )


def _view(ask: Ask, cars: Beside, prices: Prices, k: int, option: Option) -> OptionView:
    amounts = iter(option.lines)
    lines: list[Line] = []
    kept: list[Line] = []
    for n, item in enumerate(listed.items(cars.comparison().entries[k].forecast, prices, ask.system)):
        line = Line(
            item=item,
            ident=f"{option.letter}{n}",
            names=", ".join(listed.spoken(name) for name in item.names),
            amount="" if item.entry.kept else next(amounts).amount,
            own=all(place.build != listed.ANY for place in item.places),
            extra=not item.what,
        )
        (kept if item.entry.kept else lines).append(line)
    return OptionView(option, lines, kept)


def _top(prices: Prices, field: str) -> str:
    """A figure of the head of the list as it is typed."""
    value = getattr(prices, field)
    if value is None or isinstance(value, str):
        return value or ""
    if field in ("tax", "markup"):
        text = f"{value * 100:f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    return f"{value:f}"


# ---------------------------------------------------------------------------------------------- typing into it


def put_top(ask: Ask) -> Mapping[str, Any]:
    """Set the currency, the rate, the tax, the markup or the rounding."""
    field, value = ask.text("field"), ask.text("value")
    return _change(ask, lambda cars, now: listed.with_top(now.text, field, value))


def put_price(ask: Ask) -> Mapping[str, Any]:
    """Set one field of a line: what all its entries say."""
    field, value = ask.text("field"), ask.data.get("value")
    if not isinstance(value, str | bool):
        raise BadInput('the request lacks the text "value"')

    def change(cars: Beside, now: Listed) -> str:
        text = now.text
        for place in _item(ask, cars, now.prices)[1].places:
            text = listed.with_entry(text, place, field, value)
        return text

    return _change(ask, change)


def put_line(ask: Ask) -> Mapping[str, Any]:
    """Add a line that is no part, take one out, or give a car prices of its own for a line."""
    what = ask.text("do")

    def change(cars: Beside, now: Listed) -> str:
        if what == "add":
            name = " ".join(ask.text("name").split())
            if not name:
                raise BadInput("say what the line is for")
            letter = ask.text("letter", "")
            build = listed.own_place(_build(cars, letter), cars.builds) if letter else listed.ANY
            return listed.with_new(now.text, Place(listed.EXTRAS, build, name))
        build_, item = _item(ask, cars, now.prices)
        if what == "remove" and not item.what:
            return listed.without_entry(now.text, item.places[0])
        if what == "own":
            text, own = now.text, listed.own_place(build_, cars.builds)
            for name in item.names:
                top = listed.PARTS if item.what else listed.EXTRAS
                if Place(top, own, name) not in item.places:
                    text = listed.with_new(text, Place(top, own, name), item.entry)
            return text
        raise BadInput(f'"{what}" cannot be done with a line')

    return _change(ask, change)


def _build(cars: Beside, letter: str) -> Any:
    letters = [entry.letter for entry in cars.comparison().entries]
    if letter not in letters:
        raise BadInput(f'there is no car "{letter}" here')
    return cars.builds[letters.index(letter)]


def _item(ask: Ask, cars: Beside, prices: Prices) -> tuple[Any, Item]:
    """The car and line that a request means, by its letter and the names of its parts."""
    build = _build(cars, ask.text("letter"))
    names = ask.data.get("names")
    forecast = cars.comparison().entries[cars.builds.index(build)].forecast
    for item in listed.items(forecast, prices, ask.system):
        if list(item.names) == names:
            return build, item
    raise BadInput("there is no such line here any more; reload the page")


def _change(ask: Ask, change: Callable[[Beside, Listed], str]) -> Mapping[str, Any]:
    """Change the price list, where it is still the one that the tab saw, and write it whole."""
    cars, seen_mark = held_at(ask.desk, ask.text("of")), ask.text("etag")
    project = ask.desk.project
    with _writing:
        now = _listed(ask, cars)
        if now.mark != seen_mark:
            raise BadInput(
                "was changed meanwhile, in another tab or by another program; this was not written. All other figures "
                "are shown as they are now. If yours still holds, press Enter in its field",
                where=PRICES,
            )
        try:
            text = change(cars, now)
        except BadInput as error:  # stands beside the field, which needs neither a line nor a key
            words = error.message.removeprefix(error.key).removeprefix(":").removeprefix(" = ").strip()
            raise BadInput(words, key=error.key) from None
        if text != now.text:
            project.write(PRICES, text)
    return _offer(ask, cars)


# ---------------------------------------------------------------------------------------------- words of the form


def _form(cars: Beside) -> str:
    return f"{FORM} {etag(chr(0).join(cars.build_files))}"


def _typed(ask: Ask, cars: Beside) -> dict[str, str]:
    """What was typed into the form for these cars; the shop is the same for all."""
    with ask.desk.store.transaction() as db:
        rows = db.execute("SELECT field, words FROM typed WHERE form IN (?, ?)", (FORM, _form(cars))).fetchall()
    return dict.fromkeys(LONGEST, "") | dict(rows)


def put_words(ask: Ask) -> Mapping[str, Any]:
    """Keep what was typed for whom, which car, when, and the notes."""
    cars = held_at(ask.desk, ask.text("of"))
    field, value = ask.text("field"), ask.text("value")
    if field not in LONGEST:
        raise BadInput(f'"{field}" is no field of a proposal')
    if len(value) > LONGEST[field]:
        raise BadInput(f"{len(value)} characters are too many; {LONGEST[field]} at most")
    if field == "date":
        day(value, where="date")
    form = FORM if field == SHOP else _form(cars)
    with ask.desk.store.transaction() as db:
        db.execute("INSERT OR REPLACE INTO typed (form, field, words) VALUES (?, ?, ?)", (form, field, value))
    return {"field": field, "value": value}


# ---------------------------------------------------------------------------------------------- handing it over


def paper(ask: Ask) -> Response:
    """The proposal itself, to look at; with `take` as a file, HTML or PDF."""
    cars = held_at(ask.desk, ask.one("of"))
    made = _made(ask, cars, _listed(ask, cars).prices)
    take = ask.one("take")
    if take not in ("", "html", "pdf"):
        raise BadInput(f'a proposal is an HTML file or a PDF, not "{take}"')
    if take == "pdf":
        answer = Response(proposal_pdf(made), media_type="application/pdf")
    else:
        answer = HTMLResponse(proposal_html(made) if take else in_look(proposal_html(made), ask.look))
    if take:
        name = file_name(f"proposal {made.car or cars.session.name} {made.date}").removesuffix(".toml")
        answer.headers["Content-Disposition"] = f'attachment; filename="{name}.{take}"'
    return answer


def _fragment(template: str, **context: Any) -> str:
    return environment().get_template(template).render(**context)


ROUTES: list[Route] = [
    seen("/beside", show),
    done("/do/beside/start", begin),
    told_as("/do/beside/found", found),
    told_as("/do/beside/offer", offer),
    done("/do/beside/top", put_top),
    done("/do/beside/price", put_price),
    done("/do/beside/line", put_line),
    done("/do/beside/words", put_words),
    seen("/beside/proposal", paper),
]
