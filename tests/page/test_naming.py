"""Names of files in plain words, in HTML."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldside.build.files import load_build
from coldside.page.naming import plain_names

BUILD = load_build(Path(__file__).parents[2] / "examples" / "tern" / "water.toml")


def said(words: str, name: str) -> str:
    return f'<span title="{name} in the file">{words}</span>'


@pytest.mark.parametrize(
    ("html", "made"),
    [
        ("<p>lid_hx warms</p>", f"<p>{said('lid exchanger', 'lid_hx')} warms</p>"),
        (
            "<b>parts.left_core.charge_fin_pitch</b>",
            f"<b>{said('charge fin pitch of left core', 'parts.left_core.charge_fin_pitch')}</b>",
        ),
        ("parts.tank.volume, then", f"{said('volume of tank', 'parts.tank.volume')}, then"),
        ("ducts.lid.inlet_area", said("inlet area of duct lid", "ducts.lid.inlet_area")),
        ("engine.boost_lag", said("boost lag of the engine", "engine.boost_lag")),
        ("(boost_lag).", f"({said('boost lag', 'boost_lag')})."),
    ],
)
def test_names_of_this_build_and_keys_are_words(html, made):
    assert plain_names(html, BUILD) == made


@pytest.mark.parametrize(
    "html",
    [
        "<svg><text>lid_hx</text></svg>",
        "<code>lid_hx</code>",
        "<p data-origin='parts/lid_hx'>tank</p>",
        "<p>my_file.toml, nasa_gas.yaml and other_thing</p>",
        "<textarea>left_hx</textarea>",
        "cars/lid_hx",
        "lid_hx-2",
    ],
)
def test_what_is_drawn_quoted_typed_or_unknown_stays(html):
    assert plain_names(html, BUILD) == html


def test_what_comes_after_a_drawing_is_words_again():
    assert plain_names("<svg><g><text>lid_hx</text></g></svg>lid_hx", BUILD).endswith(said("lid exchanger", "lid_hx"))
