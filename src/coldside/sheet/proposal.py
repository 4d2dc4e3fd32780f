"""The proposal as one HTML file and as a PDF: nothing fetched, no script, every text that a user wrote stays text.

Here: `proposal_html`, `proposal_pdf`, `write_proposal`; `picture_html` and `side_table`, which the page shows too.
What is said is made in `offer.py`; looks are `proposal.css` and `templates/proposal.typ`.
"""

from __future__ import annotations

import dataclasses
import datetime
import json
import re
import tempfile
from collections.abc import Iterable, Sequence
from importlib import resources
from pathlib import Path
from typing import Any

from coldside.errors import BadInput, Internal
from coldside.sheet.offer import TO_FILL, Block, MoneyLine, Option, Picture, Proposal, Row
from coldside.sheet.offer import proposal as proposal
from coldside.sheet.scale import FONT, escape, text_width
from coldside.sheet.writing import write_whole

ENDINGS = (".html", ".htm", ".pdf")
HEADS = ("Part or work", "Count", "Each", "Amount", "Hours")
WHO = ("For", "Car", "From", "Date")
SECTIONS = (  # heading, field of the proposal
    ("Not included", "left_out"),
    ("What was assumed", "assumptions"),
)


def write_proposal(made: Proposal, path: str | Path) -> Path:
    """Write a proposal in one go, as HTML or PDF by the ending.  Returns the path; BadInput for another ending."""
    target = Path(path)
    ending = target.suffix.lower()
    if ending not in ENDINGS:
        raise BadInput(f'a proposal is an HTML file or a PDF; "{path}" must end in .html or .pdf')
    return write_whole(target, proposal_pdf(made) if ending == ".pdf" else proposal_html(made).encode())


def proposal_files(out: str | Path) -> tuple[Path, ...]:
    """The files that a name asks for: itself if it ends in .html or .pdf, both endings if it has none.

    `BadInput` for another ending, and for a folder that is not there.
    """
    path = Path(out)
    if path.suffix and path.suffix.lower() not in ENDINGS:
        raise BadInput(f'a proposal is an HTML file or a PDF; "{out}" must end in .html or .pdf, or have no ending')
    if not path.parent.is_dir():
        raise BadInput(f'there is no folder "{path.parent}" to write the proposal to')
    return (path,) if path.suffix else (path.with_name(path.name + ".html"), path.with_name(path.name + ".pdf"))


def day(text: str, where: str = "--date") -> datetime.date:
    """A date from "2026-03-07"; today for an empty text.  `BadInput` for anything else, which stood at `where`."""
    if not text.strip():
        return datetime.date.today()
    try:
        return datetime.date.fromisoformat(text.strip())
    except ValueError:
        raise BadInput(f'"{text}" is no date; write it as year, month, day, such as 2026-03-07', where=where) from None


# ---------------------------------------------------------------- HTML


def proposal_html(made: Proposal) -> str:
    """The whole proposal as one self-contained HTML document."""
    css = resources.files("coldside.sheet").joinpath("proposal.css").read_text(encoding="utf-8")
    body = [
        f"<header><h1>{escape(made.title)}</h1>{_who(made)}</header>",
        _key(made),
        "".join(f'<p class="lead">{escape(text)}</p>' for text in made.lead if text),
        f'<p class="soft">{escape(made.conditions)}</p>',
        picture_html(made.picture),
        f"<section><h2>What differs</h2>{_list(made.differences)}</section>",
        f"<section><h2>Side by side</h2>{side_table(made)}{_notes(made)}</section>",
        "".join(_option(option, made) for option in made.options),
        f"<section><h2>Notes of the shop</h2>{_paragraphs(made.offer_notes)}</section>" if made.offer_notes else "",
        "".join(f"<section><h2>{title}</h2>{_list(getattr(made, name))}</section>" for title, name in SECTIONS),
        f'<section class="caution"><h2>Cautions</h2>{_list(made.cautions)}</section>',
        _sign(made),
        f"<footer>{escape(made.made_from)} Nothing in this file loads anything from elsewhere.</footer>",
    ]
    title = ": ".join(text for text in ("Proposal", made.car or made.customer) if text)
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"/>'
        '<meta name="viewport" content="width=device-width, initial-scale=1"/>'
        '<meta name="color-scheme" content="light dark"/>'
        f"<title>{escape(title[:200])}</title><style>{css}</style></head><body><main>"
        + "".join(body)
        + "</main></body></html>\n"
    )


def picture_html(picture: Picture) -> str:
    """The picture of the strips, for a wide screen and paper, and for a narrow screen."""
    drawn = "".join(
        f'<div class="{looks}">{strips_svg(picture, width)}</div>' for looks, width in (("wide", 860), ("narrow", 345))
    )
    return f"<figure><figcaption>{escape(picture.title)}</figcaption>{drawn}</figure>"


def _list(items: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(item)}</li>" for item in items) + "</ul>"


def _paragraphs(items: Iterable[str]) -> str:
    return "".join(f"<p>{escape(item)}</p>" for item in items)


def _who(made: Proposal) -> str:
    """To whom, for which car, from whom, when; a line to write on where it was left open."""
    cells = ""
    for name, text in zip(WHO, (made.customer, made.car, made.shop, made.date), strict=True):
        cells += f"<div><dt>{name}</dt><dd>{escape(text) if text else LINE}</dd></div>"
    return f"<dl>{cells}</dl>"


LINE = '<span class="line"></span>'


def _key(made: Proposal) -> str:
    """The options with their names and totals."""
    rows = "".join(
        f"<li><b>{option.letter}</b><span>{escape(option.name)}</span><span>{escape(option.total)}</span></li>"
        for option in made.options
    )
    return f'<ul class="key">{rows}</ul>'


def side_table(made: Proposal, blocks: Sequence[Block] | None = None, ahead: str = "") -> str:
    """The table side by side, of all `blocks` or those given; the one that is ahead is bold, with `ahead` behind it."""
    heads = "".join(f'<th scope="col"><b>{option.letter}</b> {escape(option.name)}</th>' for option in made.options)
    lines = []
    for block in made.blocks if blocks is None else blocks:
        lines.append(
            f'<tr class="block"><th colspan="{len(made.options) + 1}" scope="rowgroup">{escape(block.title)}</th></tr>'
        )
        lines += [_side_row(row, made.letters, ahead) for row in block.rows]
    return f'<table class="side"><thead><tr><td></td>{heads}</tr></thead><tbody>{"".join(lines)}</tbody></table>'


def _notes(made: Proposal) -> str:
    return "".join(f'<p class="soft">{escape(note)}</p>' for note in made.table_notes)


def _side_row(row: Row, letters: Sequence[str], ahead: str) -> str:
    cells = ""
    for letter, cell in zip(letters, row.cells, strict=True):
        main, _, small = cell.partition("\n")
        said = f"<b>{escape(main)}</b>" if row.ahead == letter else f"<span>{escape(main)}</span>"
        if row.ahead == letter and ahead:
            said = f'<span>{said} <i class="ahead">{escape(ahead)}</i></span>'
        cells += f'<td data-l="{letter}">{said}' + (f"<small>{escape(small)}</small>" if small else "") + "</td>"
    return f'<tr><th scope="row">{escape(row.label)}</th>{cells}</tr>'


def _option(option: Option, made: Proposal) -> str:
    lines = "".join(_money_row(line) for line in option.lines)
    sums = "".join(
        f'<tr{" class=last" if one.last else ""}><th scope="row" colspan="3">{escape(one.label)}</th>'
        f'<td colspan="2">{escape(one.amount)}</td></tr>'
        for one in option.sums
    )
    heads = "".join(f'<th scope="col"{" class=n" if k else ""}>{head}</th>' for k, head in enumerate(HEADS))
    missing = f'<p class="missing">{escape(option.missing)}</p>' if option.missing else ""
    kept = f"<p>{escape(option.kept)}</p>" if option.kept else ""
    return (
        f'<section class="option"><h2>{option.letter}: {escape(option.name)}</h2><div class="two">'
        f"<div><h3>What it buys</h3>{_list(option.buys)}</div>"
        f"<div><h3>What it lacks or risks</h3>{_list(option.risks)}</div></div>"
        f'<h3>Parts and work</h3>{kept}<table class="money"><thead><tr>{heads}</tr></thead><tbody>{lines}</tbody>'
        f'<tfoot>{sums}</tfoot></table>{missing}<p class="soft">{escape(made.amounts)}</p></section>'
    )


def _money_row(line: MoneyLine) -> str:
    small = "; ".join(text for text in (line.kind, line.note) if text)
    what = escape(line.what) + (f"<small>{escape(small)}</small>" if small else "")
    each = escape(line.each) if line.each else f'<span class="fill">{TO_FILL}</span>'
    cells = (line.count, each, escape(line.amount) if line.amount else LINE, line.hours or LINE)
    tds = "".join(f'<td class="n" data-l="{head}">{cell}</td>' for head, cell in zip(HEADS[1:], cells, strict=True))
    return f'<tr><th scope="row">{what}</th>{tds}</tr>'


def _sign(made: Proposal) -> str:
    picks = "".join(f'<span class="pick"><span class="box"></span>{letter}</span>' for letter in made.letters)
    sides = "".join(
        f"<div><b>{who}</b>" + "".join(f"<div>{LINE}<small>{what}</small></div>" for what in SIGNED) + "</div>"
        for who in ("Customer", "Shop")
    )
    head = "<h2>Chosen and agreed</h2>"
    return f'<section class="sign">{head}<p>Option: {picks}</p><div class="two">{sides}</div></section>'


SIGNED = ("name", "signature", "date")


# ---------------------------------------------------------------- the picture

TOP, EACH, FOOT, SIDE = 40.0, 46.0, 26.0, 24.0  # px: above the strips, a strip, below them, left of the axis


def strips_svg(picture: Picture, width: float) -> str:
    """The picture `width` px wide: how hot each option gets in boost, from the air outside on."""
    left, right = SIDE, width - 42.0
    height = TOP + EACH * len(picture.strips) + FOOT
    foot = height - FOOT

    def x(share: float) -> float:
        return left + (right - left) * share

    drawn, words = [], []

    def text(at: float, y: float, said: str, looks: str, anchor: str = "start") -> None:
        wide = text_width(said, 13.0)
        low, high = (0.0, width - wide) if anchor == "start" else (wide / 2, width - wide / 2)
        place = min(max(at, low), max(high, low))
        words.append(f'<text x="{place:.1f}" y="{y:.1f}" class="{looks}" text-anchor="{anchor}">{escape(said)}</text>')

    for share, said in picture.ticks:
        drawn.append(f'<path d="M{x(share):.1f} {TOP:.1f}V{foot:.1f}" class="tick"/>')
        text(x(share), foot + 17.0, said, "d", "middle")
    drawn.append(f'<path d="M{x(picture.ambient[0]):.1f} {TOP - 4:.1f}V{foot:.1f}" class="air"/>')
    text(x(picture.ambient[0]), 31.0, picture.ambient[1], "d", "middle")
    if picture.limit is not None:
        drawn.append(f'<path d="M{x(picture.limit[0]):.1f} {TOP - 22:.1f}V{foot:.1f}" class="limit"/>')
        text(x(picture.limit[0]), 13.0, picture.limit[1], "over", "middle")
    for k, strip in enumerate(picture.strips):
        y = TOP + EACH * k + 34.0
        if strip.span is not None:
            a, b = x(strip.span[0]), x(strip.span[1])
            drawn.append(f'<rect x="{a:.1f}" y="{y - 6:.1f}" width="{max(b - a, 1.0):.1f}" height="12" class="span"/>')
        drawn.append(f'<path d="M{x(picture.ambient[0]):.1f} {y:.1f}H{x(strip.at):.1f}" class="run"/>')
        drawn.append(f'<circle cx="{x(strip.at):.1f}" cy="{y:.1f}" r="5" class="dot"/>')
        text(0.0, y + 5.0, strip.letter, "n")
        text(x(picture.ambient[0]) + 6.0, y - 13.0, strip.words, "v")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="strips" viewBox="0 0 {width:.0f} {height:.0f}" role="img">'
        f"<title>{escape(picture.title)}</title><style>{STRIPS_CSS}</style>{''.join(drawn)}{''.join(words)}</svg>"
    )


STRIPS_CSS = (
    f".strips text{{font-family:{FONT};font-size:13px;fill:var(--ink);paint-order:stroke;stroke:var(--paper);"
    "stroke-width:4px}.strips .n{font-weight:700;font-size:15px}.strips .d{fill:var(--soft);font-size:12px}"
    ".strips .over{fill:var(--hot);font-weight:600}.strips path{fill:none}.strips .tick{stroke:var(--rule)}"
    ".strips .air{stroke:var(--soft)}.strips .limit{stroke:var(--hot);stroke-width:1.6;stroke-dasharray:6 4}"
    ".strips .run{stroke:var(--ink);stroke-width:2.4}.strips .span{fill:var(--span)}"
    ".strips .dot{fill:var(--ink);stroke:var(--paper);stroke-width:1.6}"
)


# ---------------------------------------------------------------- PDF

LONG, BREAK_AFTER = 25, 12  # a word of so many characters may be broken after so many, lest it runs off the paper
# Signs that the fonts of the typst package have: Latin, Greek, Cyrillic, Hebrew, Arabic, punctuation, simple symbols
_OWN_SIGNS = re.compile(r"[\x00-\u06ff\u1e00-\u2bff\ufb00-\ufb4f]*")


def proposal_pdf(made: Proposal) -> bytes:
    """The proposal as a PDF on A4 or Letter, with its fonts inside and the same bytes for the same proposal.

    Set by typst in a folder of its own, with the fonts that its package brings and no other, so that it looks the
    same on every machine; only for signs that those lack does it look for fonts of this machine
    (docs/decisions/0008-pdf.md).  `Internal` if it warns of anything.
    """
    import typst

    words = json.dumps(_data(made), ensure_ascii=False)

    with tempfile.TemporaryDirectory(prefix="coldside-") as folder:
        source = Path(folder, "proposal.typ")
        template = resources.files("coldside.sheet").joinpath("templates", source.name)
        source.write_bytes(template.read_bytes())
        Path(folder, "data.json").write_text(words, encoding="utf-8")
        try:
            pdf, warnings = typst.compile_with_warnings(
                str(source),
                root=folder,
                font_paths=[],
                ignore_system_fonts=bool(_OWN_SIGNS.fullmatch(words)),
                format="pdf",
            )
        except typst.TypstError as error:
            raise Internal(f"the PDF could not be set: {error.message}") from None
    if warnings:
        raise Internal("the PDF was set with warnings: " + "; ".join(warning.message for warning in warnings))
    return bytes(pdf)


def _data(made: Proposal) -> dict[str, Any]:
    """Everything that the template asks for."""
    said = dataclasses.asdict(made)
    said["who"] = list(zip(WHO, (made.customer, made.car, made.shop, made.date), strict=True))
    said["sections"] = [(title, getattr(made, name)) for title, name in SECTIONS]
    said |= {"heads": HEADS, "signed": SIGNED, "to_fill": TO_FILL}
    return _breakable(said)


def _breakable(value: Any) -> Any:
    """The same with every text fit for paper: no control characters, and places to break in a word without end."""
    if isinstance(value, str):
        clean = re.sub(r"[^\S\n\u00a0\u202f]|[\x00-\x08\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]", " ", value)
        return re.sub(rf"[^\s\u00a0\u200b]{{{LONG},}}", _with_breaks, clean)
    if isinstance(value, dict):
        return {name: _breakable(inner) for name, inner in value.items()}
    return [_breakable(inner) for inner in value] if isinstance(value, list | tuple) else value


def _with_breaks(word: re.Match[str]) -> str:
    text = word.group()
    return "\u200b".join(text[k : k + BREAK_AFTER] for k in range(0, len(text), BREAK_AFTER))
