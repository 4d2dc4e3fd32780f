"""Forecasts as bytes and back: every bit the same, and bytes from elsewhere make nothing but data."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import math
import struct
import zlib
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from coldside.build.files import load_build
from coldside.build.model import Build, Given, Parallel
from coldside.duty.model import LimitSpec, Session
from coldside.duty.phases import load_session, read_session
from coldside.errors import BadInput, Internal
from coldside.page.codec import MAGIC, decode, digest, encode
from coldside.sheet.answer import Wanted, answer
from coldside.sheet.render import sheet_html
from coldside.units import Pressure
from page.short import TWO_PULLS

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
BUILDS = [file for file in sorted(EXAMPLES.rglob("*.toml")) if "coldside.build/1" in file.read_text("utf-8")]


def alike(a: Any, b: Any) -> bool:
    """Equal in type and value, bit for bit."""
    if type(a) is not type(b):
        return False
    if isinstance(a, np.ndarray):
        return a.dtype == b.dtype and a.shape == b.shape and a.tobytes() == b.tobytes()
    if isinstance(a, float):
        return struct.pack("<d", a) == struct.pack("<d", b) or (math.isnan(a) and math.isnan(b))
    if isinstance(a, list | tuple):
        return len(a) == len(b) and all(map(alike, a, b))
    if isinstance(a, dict | MappingProxyType):
        return list(a) == list(b) and all(alike(a[key], b[key]) for key in a)
    return bool(a == b)


PLAIN = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(), st.decimals(allow_nan=False))
TREES = st.recursive(
    PLAIN,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.lists(inner, max_size=4).map(tuple),
        st.dictionaries(
            st.one_of(st.text(max_size=5), st.tuples(st.text(max_size=3), st.integers())), inner, max_size=4
        ),
        st.dictionaries(st.text(max_size=5), inner, max_size=3).map(MappingProxyType),
    ),
    max_leaves=15,
)
NUMBERS = st.one_of(
    *(
        arrays.arrays(kind, arrays.array_shapes(min_dims=0, max_dims=3, min_side=0, max_side=7))
        for kind in ("f8", "f4", "i8", "i4", "u1", "?", ">f8")
    )
)


@settings(deadline=None, max_examples=60)
@given(value=TREES)
def test_plain_values_come_back(value: Any) -> None:
    assert alike(decode(encode(value)), value)


@settings(deadline=None, max_examples=60)
@given(value=NUMBERS)
def test_arrays_come_back_in_every_bit(value: np.ndarray) -> None:
    assert alike(decode(encode(value)), value)


def test_objects_of_ours_come_back() -> None:
    value = {
        ("core", "charge"): Given(Pressure(1e5, True), "1 bar", None, "given"),
        "path": (Parallel((("a",), ("b", Parallel((("c",),))))), Path("x/y.toml")),
        "limit": LimitSpec(quantity="intake", at_most=math.inf),
        "sets": [frozenset({1, 2}), {"a"}],
        "scalar": np.float64(1.5),
        "money": Decimal("12.50"),
    }
    back = decode(encode(value))
    assert back == value
    assert type(back["scalar"]) is np.float64
    assert type(back["limit"]) is LimitSpec


def test_what_was_one_object_stays_one() -> None:
    shared, trace = Pressure(1.0, False), np.arange(5.0)
    back = decode(encode([shared, shared, trace, trace]))
    assert back[0] is back[1]
    assert back[2] is back[3]


def check_reopened(build: Build, session: Session, wanted: Wanted) -> None:
    forecast, verdict, asked = answer(build, session, wanted)
    again = decode(encode((forecast, verdict, asked)))
    for system in ("si", "us"):
        assert sheet_html(again[0], again[1], system, again[2]) == sheet_html(forecast, verdict, system, asked)
        assert again[2].json(system) == asked.json(system)
    for item in dataclasses.fields(forecast):
        if isinstance(getattr(forecast, item.name), np.ndarray):
            assert alike(getattr(again[0], item.name), getattr(forecast, item.name))


@pytest.mark.parametrize("file", BUILDS, ids=lambda file: f"{file.parent.name}-{file.stem}")
def test_a_reopened_forecast_gives_the_same_sheet(file: Path) -> None:
    check_reopened(load_build(file), read_session(TWO_PULLS, EXAMPLES / "sessions" / "short.toml"), Wanted())


@pytest.mark.slow
def test_a_reopened_forecast_keeps_all_that_was_asked() -> None:
    session = load_session(EXAMPLES / "sessions" / "standing-passes.toml")
    check_reopened(load_build(EXAMPLES / "tern" / "water.toml"), session, Wanted(8, True, True))


def test_a_digest_tells_builds_apart() -> None:
    build = load_build(EXAMPLES / "tern" / "water.toml")
    other = load_build(EXAMPLES / "tern" / "water.toml", ["parts.tank.volume=40 L"])
    assert digest(build) == digest(load_build(EXAMPLES / "tern" / "water.toml"))
    assert digest(build) != digest(other)
    assert digest(np.arange(3.0)) != digest(np.arange(3))


# -- bytes from elsewhere ----------------------------------------------------------------------------
def forged(tree: Any, shapes: list[Any] | None = None, *blobs: bytes) -> bytes:
    head = zlib.compress(json.dumps([tree, shapes or []]).encode())
    return MAGIC + b"".join(struct.pack("<I", len(part)) + part for part in (head, *blobs))


@pytest.mark.parametrize(
    "tree",
    [
        ["c", "os:system", [["command", "true"]]],
        ["c", "pathlib:Path", []],
        ["c", "coldside.cli:os", []],
        ["c", "coldside.cli:main", []],
        ["c", "coldside.page.store:Store", [["path", "x"]]],
        ["c", "coldside.build.model:Build.__init__", []],
        ["c", "coldsideevil:Thing", []],
        ["c", "coldside..os:system", []],
        ["n", "coldside.page.store:Store", ["x"]],
        ["e", "coldside.errors:BadInput", "x"],
        ["x", 1],
        ["r", 7],
        ["a", 0],
        ["p"],
        {"a": 1},
        [],
        ["t", 1],
        ["c", "coldside.build.model:Given", [["value", 1], ["evil", 2]]],
        ["c", "coldside.build.model:Given", [["value", 1]]],
        ["c", "coldside.build.model:Gone", []],
    ],
    ids=str,
)
def test_forged_trees_make_nothing(tree: Any) -> None:
    with pytest.raises(BadInput):
        decode(forged(tree))


def test_forged_arrays_make_nothing() -> None:
    eight = zlib.compress(bytes(8))
    for shape, blob in (
        (["O", [1]], eight),
        (["<f8", [2]], eight),
        (["<f8", [10**12]], eight),
        (["<f8", [-1]], eight),
        (["<f8", [1]], zlib.compress(bytes(10_000_000))),
        (["<f8", [1]], b"no"),
        (["V8", [1]], eight),
        (["nonsense", [1]], eight),
    ):
        with pytest.raises(BadInput):
            decode(forged(["a", 0], [shape], blob))
    deep: Any = 1
    for _ in range(250):
        deep = ["t", [deep]]
    with pytest.raises(BadInput):
        decode(forged(deep))


@settings(deadline=None, max_examples=60)
@given(data=st.data())
def test_spoiled_bytes_are_refused_or_harmless(data: st.DataObject) -> None:
    raw = bytearray(encode({"a": [1, 2.5, "x"], "b": np.arange(20.0), "c": Pressure(1.0, False)}))
    for _ in range(data.draw(st.integers(1, 4))):
        raw[data.draw(st.integers(0, len(raw) - 1))] = data.draw(st.integers(0, 255))
    raw = raw[: data.draw(st.integers(0, len(raw)))]
    with contextlib.suppress(BadInput):  # anything else is a fault
        decode(bytes(raw))


def test_what_cannot_be_kept_is_our_fault_and_said() -> None:
    for value in (object(), lambda: None, np.array([object()]), 1j, Local()):
        with pytest.raises(Internal, match="cannot be kept"):
            encode([value])


@dataclasses.dataclass
class Local:
    """No class of the program."""
