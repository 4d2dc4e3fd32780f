"""Every key that a user may write is described: help in words, a kind that exists, a default within its own range."""

from __future__ import annotations

import dataclasses
import importlib

from coldside.parts.fields import Field
from shape.source import layer, modules


def specifications() -> list[type]:
    """Every dataclass of parts, build and duty that carries field metadata."""
    found = []
    for name in modules():
        if layer(name) not in ("parts", "build", "duty"):
            continue
        module = importlib.import_module(name)
        for item in vars(module).values():
            if not (isinstance(item, type) and dataclasses.is_dataclass(item) and item.__module__ == name):
                continue
            if any("coldside" in part.metadata for part in dataclasses.fields(item)):
                found.append(item)
    return found


def test_there_are_specifications():
    assert len(specifications()) >= 15  # 13 kinds of part, engine and car at the least


def test_every_key_is_described():
    faults = []
    for spec in specifications():
        for item in dataclasses.fields(spec):
            meta = item.metadata.get("coldside")
            where = f"{spec.__name__}.{item.name}"
            if not isinstance(meta, Field):
                if item.name not in ("name", "kind"):
                    faults.append(f"{where} carries no metadata")
                continue
            if len(meta.help.strip()) < 8:
                faults.append(f"{where} has no help worth the name: {meta.help!r}")
            if meta.kind == "choice" and not meta.choices:
                faults.append(f"{where} is a choice without choices")
            if meta.kind == "curve" and not meta.curve:
                faults.append(f"{where} is a curve without kinds of its columns")
    assert not faults, "\n".join(faults)


def test_defaults_keep_to_their_own_range():
    faults = []
    for spec in specifications():
        for item in dataclasses.fields(spec):
            meta = item.metadata.get("coldside")
            if meta is None or not isinstance(item.default, int | float) or isinstance(item.default, bool):
                continue
            low = -float("inf") if meta.low is None else meta.low
            high = float("inf") if meta.high is None else meta.high
            if not low <= item.default <= high:
                faults.append(f"{spec.__name__}.{item.name} = {item.default}, allowed {low} to {high}")
    assert not faults, faults


def test_specifications_are_frozen_and_by_keyword():
    loose = [
        spec.__name__
        for spec in specifications()
        if not (spec.__dataclass_params__.frozen and all(item.kw_only for item in dataclasses.fields(spec)))
    ]
    assert not loose, loose
