"""A forecast and what was said of it as bytes and back, equal in every bit: never code, only data.

What is here: `encode`, `decode`, `digest`.  What is not: where the bytes are kept (`kept.py`).

The bytes are a tree in JSON and the arrays behind it.  Of classes only those are read that this program itself
defines as dataclasses, enumerations or named tuples: a file that somebody hands over can make no other object, and
runs nothing (hence no pickle).  An object that is met again is told once, so that what was one stays one.
"""

from __future__ import annotations

import dataclasses
import hashlib
import importlib
import json
import math
import struct
import sys
import zlib
from collections.abc import Callable
from decimal import Decimal
from enum import Enum
from pathlib import PurePath
from types import MappingProxyType
from typing import Any

import numpy as np

from coldside.errors import BadInput, Internal

MAGIC = b"coldside\x01"
HOME = "coldside."  # modules whose classes are read
LARGEST = 400_000_000  # bytes of all arrays unpacked
LARGEST_TREE = 8_000_000  # of the JSON, unpacked; a forecast of an hour has 0.15 MB of it
DEEPEST = 200  # objects within objects
_HEAD = struct.Struct("<I")
_KINDS = "biuf"  # of numpy arrays: flags, whole numbers, floats
_SPECIAL = {"nan": math.nan, "inf": math.inf, "-inf": -math.inf}


def encode(value: Any) -> bytes:
    """The bytes of a value made of our own dataclasses, enumerations and named tuples, plain containers and arrays."""
    writer = _Writer()
    tree = writer.tree(value)
    head = zlib.compress(json.dumps([tree, writer.shapes], allow_nan=False, separators=(",", ":")).encode(), 6)
    return b"".join(
        [MAGIC, _HEAD.pack(len(head)), head, *(part for blob in writer.blobs for part in (_HEAD.pack(len(blob)), blob))]
    )


def decode(raw: bytes) -> Any:
    """The value of bytes that `encode` made.  BadInput for anything else, and for classes that have changed since."""
    try:
        if not raw.startswith(MAGIC):
            raise ValueError("another beginning")
        at = len(MAGIC)
        parts = []
        while at < len(raw):
            (size,) = _HEAD.unpack_from(raw, at)
            at += _HEAD.size
            if at + size > len(raw):
                raise ValueError("cut short")
            parts.append(raw[at : at + size])
            at += size
        tree, shapes = json.loads(_unpacked(parts[0], LARGEST_TREE))
        arrays, left = [], LARGEST
        for blob, shape in zip(parts[1:], shapes, strict=True):
            arrays.append(_array(blob, *shape, most=left))
            left -= arrays[-1].nbytes
        return _Reader(arrays).value(tree)
    except BadInput:
        raise
    except (
        ValueError,
        TypeError,
        KeyError,
        IndexError,
        AttributeError,
        ArithmeticError,
        RecursionError,
        struct.error,
        zlib.error,
    ) as error:
        raise BadInput(f"what was kept is damaged and cannot be opened ({error})") from None


def digest(*values: Any) -> str:
    """A mark of values: equal for equal ones."""
    mark = hashlib.sha256()
    for value in values:
        writer = _Writer(for_digest=True)
        mark.update(json.dumps([writer.tree(value), writer.shapes], allow_nan=False).encode())
        for blob in writer.blobs:
            mark.update(blob)
    return mark.hexdigest()


# -- writing -----------------------------------------------------------------------------------------
class _Writer:
    """Turns objects into a tree of JSON and a list of blobs."""

    def __init__(self, *, for_digest: bool = False) -> None:
        self.blobs: list[bytes] = []
        self.shapes: list[list[Any]] = []
        self.for_digest = for_digest  # equal values must give equal bytes, whether parts of them are one object or not
        self.seen: dict[int, int] = {}  # id -> number of an object that is told already
        self.held: list[Any] = []  # so that no id is used again
        self.same: dict[tuple[str, bytes], int] = {}  # traces that are equal are told once

    def tree(self, value: Any) -> Any:
        """One value; what is not plain is a list that starts with its sort."""
        if value is None or type(value) in (bool, str, int):
            return value
        if type(value) is float:
            return value if math.isfinite(value) else ["f", str(value)]
        if isinstance(value, Enum):
            return ["e", _name(type(value)), value.name]
        if id(value) in self.seen:
            return ["r", self.seen[id(value)]]
        told = self._object(value)
        if not isinstance(value, np.generic) and not self.for_digest:
            self.seen[id(value)] = len(self.held)
            self.held.append(value)
        return told

    def _object(self, value: Any) -> list[Any]:
        if isinstance(value, np.ndarray):
            return ["a", self._blob(value)]
        if isinstance(value, np.generic):
            return ["s", self._blob(np.asarray(value))]
        if dataclasses.is_dataclass(value) and not isinstance(value, type):
            fields = [[item.name, self.tree(getattr(value, item.name))] for item in dataclasses.fields(value)]
            return ["c", _name(type(value)), fields]
        if isinstance(value, tuple) and hasattr(value, "_fields"):
            return ["n", _name(type(value)), [self.tree(item) for item in value]]
        for sort, kind in (("t", tuple), ("l", list), ("S", frozenset), ("u", set)):
            if type(value) is kind:
                items = sorted(value, key=repr) if kind in (set, frozenset) else value
                return [sort, [self.tree(item) for item in items]]
        if type(value) in (dict, MappingProxyType):
            sort = "d" if type(value) is dict else "m"
            return [sort, [[self.tree(key), self.tree(item)] for key, item in value.items()]]
        if isinstance(value, PurePath):
            return ["p", str(value)]
        if type(value) is Decimal:
            return ["D", str(value)]
        raise Internal(f"{type(value).__module__}.{type(value).__qualname__} cannot be kept")

    def _blob(self, array: np.ndarray) -> int:
        if array.dtype.kind not in _KINDS:
            raise Internal(f"an array of {array.dtype} cannot be kept")
        plain = np.ascontiguousarray(array)
        raw = plain.tobytes()
        shape = [plain.dtype.str, list(array.shape)]
        same = self.same.setdefault((str(shape), hashlib.sha256(raw).digest()), len(self.blobs))
        if same == len(self.blobs):
            self.shapes.append(shape)
            self.blobs.append(_packed(raw, plain.dtype) if not self.for_digest else raw)
        return same


def _name(kind: type) -> str:
    if not kind.__module__.startswith(HOME) or "." in kind.__qualname__:
        raise Internal(f"{kind.__module__}.{kind.__qualname__} cannot be kept: it is no class of ours")
    return f"{kind.__module__}:{kind.__qualname__}"


def _packed(raw: bytes, dtype: np.dtype) -> bytes:
    """Traces are smooth: the second difference of their bits is small.  Bytes of equal rank lie side by side."""
    if dtype.itemsize == 8:
        bits = np.frombuffer(raw, np.uint64).copy()
        for _ in range(2):
            bits[1:] = bits[1:] - bits[:-1]  # wraps round, and back again when it is summed
        raw = bits.tobytes()
    return zlib.compress(np.frombuffer(raw, np.uint8).reshape(-1, dtype.itemsize).T.tobytes(), 1)


# -- reading -----------------------------------------------------------------------------------------
def _unpacked(blob: bytes, most: int) -> bytes:
    unpack = zlib.decompressobj()
    raw = unpack.decompress(blob, most)
    if unpack.unconsumed_tail or not unpack.eof:
        raise ValueError("longer than it says")
    return raw


def _array(blob: bytes, kind: str, shape: list[int], *, most: int) -> np.ndarray:
    dtype = np.dtype(kind)
    if dtype.kind not in _KINDS or any(type(n) is not int or n < 0 for n in shape):
        raise ValueError("no array of numbers")
    count = math.prod(shape)
    if count * dtype.itemsize > most:
        raise ValueError("too large")
    raw = _unpacked(blob, count * dtype.itemsize + 1)
    if len(raw) != count * dtype.itemsize:
        raise ValueError("of another length")
    plain = np.ascontiguousarray(np.frombuffer(raw, np.uint8).reshape(dtype.itemsize, count).T).tobytes()
    if dtype.itemsize == 8:
        plain = np.cumsum(np.cumsum(np.frombuffer(plain, np.uint64), dtype=np.uint64), dtype=np.uint64).tobytes()
    return np.frombuffer(plain, dtype).reshape(shape).copy()


class _Reader:
    """Turns a tree back into objects."""

    def __init__(self, arrays: list[np.ndarray]) -> None:
        self.arrays = arrays
        self.held: list[Any] = []
        self.sorts: dict[str, Callable[..., Any]] = {
            "a": lambda index: self.arrays[index],
            "c": self._dataclass,
            "n": lambda name, items: self._class(name, tuple)(*map(self.value, items)),
            "t": lambda items: tuple(map(self.value, items)),
            "l": lambda items: list(map(self.value, items)),
            "S": lambda items: frozenset(map(self.value, items)),
            "u": lambda items: set(map(self.value, items)),
            "d": self._dict,
            "m": lambda items: MappingProxyType(self._dict(items)),
            "p": lambda text: type(PURE)(text),
            "D": Decimal,
        }
        self.depth = 0

    def value(self, tree: Any) -> Any:
        """One value."""
        if not isinstance(tree, list):
            if isinstance(tree, dict):
                raise ValueError("a table where a value is due")
            return tree
        sort, *rest = tree
        if sort == "f":
            return _SPECIAL[rest[0]]
        if sort == "e":
            return self._class(rest[0], Enum)[rest[1]]
        if sort == "r":
            return self.held[rest[0]]
        if sort == "s":
            return self.arrays[rest[0]][()]
        self.depth += 1
        if self.depth > DEEPEST:
            raise ValueError("too deep")
        made = self.sorts[sort](*rest)
        self.depth -= 1
        self.held.append(made)
        return made

    def _dict(self, items: list[Any]) -> dict[Any, Any]:
        return {self.value(key): self.value(item) for key, item in items}

    def _class(self, name: str, sort: type = object) -> Any:
        """A class of ours that holds data: a dataclass, or of the `sort` Enum or (named) tuple."""
        module, _, kind = name.partition(":")
        if not module.startswith(HOME) or not kind.isidentifier():
            raise ValueError(f"{name} is no class of ours")
        try:
            found = getattr(sys.modules.get(module) or importlib.import_module(module), kind)
        except (ImportError, AttributeError):
            raise _other_version(f"{name} is not known") from None
        ours = isinstance(found, type) and found.__module__ == module
        if not ours or not (dataclasses.is_dataclass(found) if sort is object else issubclass(found, sort)):
            raise ValueError(f"{name} is no class of ours")
        return found

    def _dataclass(self, name: str, items: list[Any]) -> Any:
        kind = self._class(name)
        values = {key: self.value(item) for key, item in items}
        known = {item.name: item for item in dataclasses.fields(kind)}
        if values.keys() - known.keys():
            raise _other_version(f"{name} has no {', '.join(sorted(values.keys() - known.keys()))}")
        made: Any = kind.__new__(kind)
        for key, item in known.items():
            if key in values:
                found = values[key]
            elif item.default is not dataclasses.MISSING:
                found = item.default
            elif item.default_factory is not dataclasses.MISSING:
                found = item.default_factory()
            else:
                raise _other_version(f"{name} lacks {key}")
            object.__setattr__(made, key, found)
        return made


PURE = PurePath()


def _other_version(words: str) -> BadInput:
    return BadInput(
        f"was kept by another version of coldside and cannot be opened by this one ({words}); forecast again"
    )
