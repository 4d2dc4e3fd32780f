"""Pieces of HTML that the sheet and the page share: a sentence, a list, a section, a table.

Every text goes through `told`: degree signs put in, escaped, a number kept on one line with its unit.
"""

from __future__ import annotations

from collections.abc import Sequence

from coldside.sheet.scale import escape, keep_units, pretty


def told(text: str) -> str:
    """One of our own sentences, with degree signs, escaped; a number keeps its unit on its line."""
    words = pretty(text).replace(" +- ", " ± ")
    return escape(keep_units(words))


def bullets(items: Sequence[str]) -> str:
    """A list of sentences of ours."""
    return "<ul>" + "".join(f"<li>{told(item)}</li>" for item in items) + "</ul>"


def titled(title: str, inner: str, *, small: bool = False) -> str:
    """A section with its heading; `small` for small print."""
    cls = ' class="small"' if small else ""
    return f"<section><h2>{escape(title)}</h2><div{cls}>{inner}</div></section>"


def grid(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    caption: str = "",
    looks: str = "",
    names: Sequence[str] | None = None,
) -> str:
    """A table whose first column names its rows; of its `looks`, "stack" lays rows out as blocks on a narrow screen.

    `names` is HTML for the rows' names in place of their first cells.
    """
    top = "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)

    def said_head(head: str) -> str:  # a block needs no head where there is but one column
        return f' data-l="{escape(head)}"' if len(heads) > 2 else ""

    lines = []
    for k, row in enumerate(rows):
        name = told(row[0]) if names is None else names[k]
        cells = "".join(
            f"<td{said_head(head)}>{told(cell)}</td>" for head, cell in zip(heads[1:], row[1:], strict=True)
        )
        lines.append(f'<tr><th scope="row">{name}</th>{cells}</tr>')
    said = f"<caption>{escape(caption)}</caption>" if caption else ""
    cls = f' class="{looks}"' if looks else ""
    return f"<table{cls}>{said}<thead><tr>{top}</tr></thead><tbody>{''.join(lines)}</tbody></table>"
