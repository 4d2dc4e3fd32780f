"""Names of parts and keys, as a file has them, in plain words: "nose_hx" is "nose exchanger".

Here: `plain_names` (of the words of a piece of HTML), `spoken` again for templates.  The name of the file stays in the
title of the words, where a pointer and a screen reader find it.
"""

from __future__ import annotations

import functools
import re

from coldside.build.model import Build
from coldside.build.schema import PART_KINDS, LoopKeys, fields_of
from coldside.parts.airflow import DuctSpec
from coldside.parts.engine import BaySpec, CarSpec, EngineSpec
from coldside.sheet.prices import spoken
from coldside.sheet.scale import escape

_TAG = re.compile(r"(<[^>]*>)")
_KEPT = ("svg", "code", "textarea", "select", "style")  # what is drawn, quoted or typed stays as it is
_NAME = re.compile(
    r"(?<![\w./-])(?:(?P<top>parts|loops|ducts)\.(?P<part>[a-z][a-z0-9_]*)\.(?P<key>[a-z][a-z0-9_]*)"
    r"|(?P<table>engine|car|bay|ambient)\.(?P<of>[a-z][a-z0-9_]*)|(?P<bare>[a-z][a-z0-9]*(?:_[a-z0-9]+)+))(?![\w/-])"
)


@functools.cache
def _keys() -> frozenset[str]:
    """Every key of a build that has more than one word."""
    specs = (*PART_KINDS.values(), LoopKeys, DuctSpec, EngineSpec, CarSpec, BaySpec)
    return frozenset(item.key for spec in specs for item in fields_of(spec) if "_" in item.key)


def plain_names(html: str, build: Build) -> str:
    """HTML with the names of this build's parts and the keys of files in plain words; drawings stay as they are."""
    known = {*build.parts, *build.loops, *build.ducts} | _keys()

    def words(found: re.Match[str]) -> str:
        if found["bare"]:
            return _titled(found[0], spoken(found[0])) if found["bare"] in known else found[0]
        if found["table"]:
            return _titled(found[0], f"{spoken(found['of'])} of the {found['table']}")
        kind = {"parts": "", "loops": "loop ", "ducts": "duct "}[found["top"]]
        return _titled(found[0], f"{spoken(found['key'])} of {kind}{spoken(found['part'])}")

    pieces, inside = _TAG.split(html), ""
    for k, piece in enumerate(pieces):
        if k % 2:
            name = piece.strip("</>").partition(" ")[0].lower()
            if inside:
                inside = "" if piece.startswith(f"</{inside}") else inside
            elif name in _KEPT and not piece.startswith("</") and not piece.endswith("/>"):
                inside = name
        elif not inside and piece:
            pieces[k] = _NAME.sub(words, piece)
    return "".join(pieces)


def _titled(name: str, words: str) -> str:
    return f'<span title="{escape(name)} in the file">{escape(words)}</span>'
