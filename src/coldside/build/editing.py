"""Changes to a file's text that keep comments, order and every other line byte for byte.

What is here: setting and taking out one value, paths, tables and items of lists of tables added, moved, copied,
renamed, taken out; text in, text out.  What is not: what keys mean (`build/schema.py`), files on disk
(`build/files.py`), who edits when (`page/drafts.py`).

A table's block runs from the comment lines right above its header to its last line; comments set off by a blank
line belong to nobody and stay.  Every change is proved before it is returned: the new text is read again, and
must hold what it held before but for what was asked.
"""

from __future__ import annotations

import copy
import math
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coldside.build.document import Document, Key, dotted, names_in_header, pieces, scan
from coldside.errors import BadInput, Internal, nearest
from coldside.units import typed

LARGEST_WHOLE = 2**63 - 1  # as the TOML standard has it
WIDTH = 100  # characters to which a path is written before it is broken over lines
PATH_ENDS = ("oil", "water")  # sides of a part with two coolant sides, NAME.oil and NAME.water on a path
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_PIECE = re.compile(r'"(?:[^"\\]|\\.)*"|[^.]+')
_PART_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,59}")


# -- single values -----------------------------------------------------------------------------------
def set_value(text: str, key: str, new: Any) -> str:
    """The text of a file with one value set; a new key goes behind the last line of its table.

    Parameters
    ----------
    text : a TOML file of ours.
    key : dotted, "parts.tank.volume"; tables of a list are counted from 0, "phases.0.duration".
    new : text, finite number, flag, or list of these; the value that stands there already changes nothing.

    Comments inside a list that is replaced are kept, above the key.  Raises BadInput when the text is no TOML, the
    table is not in it, or `new` cannot be a value.
    """
    document = scan(text, "text")
    path = _path(document, key)
    _writable(new, key)
    found = _found(document.data, path)
    if isinstance(found, Mapping) or _is_tables(found):
        raise BadInput("is a table, not a value", key=key)
    if path in document.spans:
        if same(found, new):
            return text
        changed = _replaced(text, document.spans[path], new)
    else:
        table = path[:-1]
        if table not in document.ends:
            raise BadInput(_no_table(document, table), key=key)
        end = document.ends[table]
        changed = _spliced(text, end, f"{_name(str(path[-1]))} = {literal(new)}{_newline(text)}")
    return _proved(changed, document, lambda data: _put(data, path, new))


def unset_value(text: str, key: str) -> str:
    """The text without one key: its line or lines go, with the comment behind it.  BadInput where it is not."""
    document = scan(text, "text")
    path = _path(document, key)
    if path not in document.spans:
        close = nearest(dotted(path), [dotted(name) for name in document.spans])
        raise BadInput("there is no such key" + (f'; nearest: "{close}"' if close else ""), key=key)
    start, end = document.spans[path]
    changed = text[: _line_start(text, start)] + text[_line_end(text, end) :]
    return _proved(changed, document, lambda data: _take(data, path))


def value_at(text: str, key: str) -> tuple[Any, str | None]:
    """The value of a key and the characters that spell it; (None, None) where the key is not in the text.

    BadInput when the text is no TOML.
    """
    document = scan(text, "text")
    path = _path(document, key)
    span = document.spans.get(path)
    return (None, None) if span is None else (_found(document.data, path), text[span[0] : span[1]])


def has_table(text: str, key: str) -> bool:
    """Whether a table stands in the text with a header of its own; "" is the file itself.  BadInput for no TOML."""
    document = scan(text, "text")
    return not key or _path(document, key) in document.headers


def set_path(text: str, key: str, names: Sequence[Any]) -> str:
    """The text with one path ("charge.path", "loops.NAME.path", "ducts.NAME.path") set to a nested list of names.

    A path too long for one line is broken, a group in parallel on lines of its own.
    """
    document = scan(text, "text")
    path = _path(document, key)
    if path in document.spans and not same(_found(document.data, path), names):
        _writable(names, key)
        changed = _replaced(text, document.spans[path], names, broken=True)
        return _proved(changed, document, lambda data: _put(data, path, names))
    return set_value(text, key, names)


# -- tables ------------------------------------------------------------------------------------------
def add_table(text: str, key: str, values: Mapping[str, Any], after: str | None = None) -> str:
    """The text with a new table [key]; tables inside `values` become tables of their own behind it.

    It goes behind the table `after`, else behind the last table of its sort ("parts" of "parts.tank"), else to the
    end.  BadInput where there is such a table already, or no table `after`.
    """
    document = scan(text, "text")
    path = _path(document, key)
    if _found(document.data, path) is not None:
        raise BadInput(f"there is already a table [{key}]", key=key)
    blocks = _blocks(text, document)
    if after is not None:
        at = _last_of(blocks, _path(document, after))
        if at is None:
            raise BadInput(_no_table(document, _path(document, after)), key=key)
    elif len(path) > 1:
        at = next((found for n in range(len(path) - 1, 0, -1) if (found := _last_of(blocks, path[:n]))), None)
    else:
        at = None
    end = len(text) if at is None else at.end
    header = [str(part) for part in path if not isinstance(part, int)]
    changed = _inserted(text, end, _written(header, values, _newline(text)))
    return _proved(changed, document, lambda data: _put(data, path, _plain(values)))


def remove_table(text: str, key: str) -> str:
    """The text without a table, those inside it, and the comment lines right above them.  BadInput where it is not."""
    document = scan(text, "text")
    path = _path(document, key)
    if _last_of(_blocks(text, document), path) is None:
        raise BadInput(_no_table(document, path), key=key)
    return _proved(_without(text, document, path), document, lambda data: _take(data, path))


def rename_table(text: str, key: str, new: str) -> str:
    """The text with the last name of a table changed, in its own header and in those of tables inside it."""
    document = scan(text, "text")
    path = _path(document, key)
    return _renamed(text, document, path, new, [])


def rename_part(text: str, old: str, new: str) -> str:
    """The text of a build with a part under another name: its table, and every mention on a path.

    NAME.oil and NAME.water of a part with two coolant sides follow.  BadInput for a name that is taken or cannot be
    one.
    """
    document = scan(text, "text")
    if not _PART_NAME.fullmatch(new) or new == "engine":
        raise BadInput(f"{typed(new)} cannot be a name; use letters, digits and _, starting with a letter", key=old)
    names = {old: new} | {f"{old}.{end}": f"{new}.{end}" for end in PATH_ENDS}
    mentions = []
    for path in _paths_of(document):
        for sort, start, end in pieces(text, *document.spans[path]):
            said = _read_text(text[start:end]) if sort == "text" else None
            if said in names:
                mentions.append((start, end, literal(names[said])))
    return _renamed(text, document, ("parts", old), new, mentions)


# -- lists of tables ---------------------------------------------------------------------------------
def add_item(text: str, name: str, after: int | None, values: Mapping[str, Any]) -> str:
    """The text with a new [[name]] behind item `after` (from 0; -1: before the first; None: behind the last)."""
    document = scan(text, "text")
    count = _count(document, name)
    place = count if after is None else after + 1
    written = _written(name.split("."), values, _newline(text), of_list=True)
    return _with_item(text, document, name, place, written, _plain(values))


def duplicate_item(text: str, name: str, index: int) -> str:
    """The text with a copy of item `index`, comments too, right behind it."""
    document = scan(text, "text")
    _check_item(document, name, index)
    copied = _item_text(text, document, name, index)
    return _with_item(text, document, name, index + 1, copied, _items(document.data, name)[index])


def move_item(text: str, name: str, index: int, to: int) -> str:
    """The text with item `index` taken out and put where it becomes item `to`; both count from 0."""
    document = scan(text, "text")
    _check_item(document, name, index)
    _check_item(document, name, to)
    if index == to:
        return text
    moved = _item_text(text, document, name, index)
    rest = _without(text, document, (*_list(name), index))
    data = _items(document.data, name)[index]
    changed = _with_item(rest, scan(rest, "text"), name, to, moved, data)

    def reorder(before: dict[str, Any]) -> None:
        items = _items(before, name)
        items.insert(to, items.pop(index))

    return _proved(changed, document, reorder)


def remove_item(text: str, name: str, index: int) -> str:
    """The text without item `index` of a list of tables, and without the comment lines right above it."""
    document = scan(text, "text")
    _check_item(document, name, index)

    def shorten(data: dict[str, Any]) -> None:
        items = _items(data, name)
        del items[index]
        if not items:
            *above, last = _list(name)
            del _found(data, tuple(above))[last]

    return _proved(_without(text, document, (*_list(name), index)), document, shorten)


def _with_item(text: str, document: Document, name: str, place: int, written: str, data: Any) -> str:
    """The text with the lines of a new item as number `place` of a list."""
    count, above = _count(document, name), _found(document.data, _list(name)[:-1])
    if not isinstance(above, dict | None):
        raise BadInput(f"is no table, so [[{name}]] cannot be in it", key=dotted(_list(name)[:-1]))
    if not 0 <= place <= count:
        raise BadInput(f"there is no place {place}: [[{name}]] stands {count} times", key=name)
    blocks = _blocks(text, document)
    key = _list(name)
    if place > 0:
        last = _last_of(blocks, (*key, place - 1))
        changed = _inserted(text, len(text) if last is None else last.end, written)
    elif count:
        first = next(block for block in blocks if block.key[: len(key) + 1] == (*key, 0))
        newline = _newline(text)
        changed = text[: first.start] + written + newline + text[first.start :]
    else:
        home = _last_of(blocks, key[:-1]) if len(key) > 1 else None
        changed = _inserted(text, len(text) if home is None else home.end, written)

    def put(before: dict[str, Any]) -> None:
        *tables, last = name.split(".")
        for table in tables:
            before = before.setdefault(table, {})
        before.setdefault(last, []).insert(place, data)

    return _proved(changed, document, put)


def _item_text(text: str, document: Document, name: str, index: int) -> str:
    """The lines of an item with the tables inside it; comments that belong to no table are not of it."""
    newline = _newline(text)
    lines, before = "", None
    for block in _of(_blocks(text, document), (*_list(name), index)):
        if before is not None:
            lines += newline if text[before : block.start].strip(" \t\r\n") else text[before : block.start]
        lines += text[block.start : block.end]
        lines += "" if lines.endswith("\n") else newline
        before = block.end
    return lines


def _list(name: str) -> Key:
    """The key of a list of tables: "phases", or "ambient.readings" inside another table."""
    return tuple(name.split("."))


def _items(data: Any, name: str) -> Any:
    """The items of a list of tables; an empty list where there is none."""
    for part in _list(name):
        data = data.get(part, []) if isinstance(data, dict) else []
    return data


def _count(document: Document, name: str) -> int:
    found = _items(document.data, name)
    if not _is_tables(found) and found != []:
        raise BadInput(f"is no list of tables [[{name}]]", key=name)
    if found and (*_list(name), 0) not in document.headers:
        raise BadInput(f"is a list on one line; write tables [[{name}]]", key=name)
    return len(found)


def _check_item(document: Document, name: str, index: int) -> None:
    count = _count(document, name)
    if not 0 <= index < count:
        raise BadInput(f"there is no item {index + 1}: [[{name}]] stands {count} times", key=name)


# -- blocks ------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class _Block:
    """The lines of one table: `start` of the comments right above its header, `end` behind its last line."""

    key: Key
    start: int
    end: int


def _blocks(text: str, document: Document) -> list[_Block]:
    """Every table that has a header, in file order."""
    order = sorted(document.headers, key=lambda key: document.headers[key][0])
    before = document.ends[()]
    starts, ends = [], []
    for key in order:
        head = _line_start(text, document.headers[key][0])
        start = head
        while start > before and text[_line_start(text, start - 1) : start].lstrip().startswith("#"):
            start = _line_start(text, start - 1)
        starts.append(start)
        before = document.ends[key]
    for key, limit in zip(order, [*starts[1:], len(text)][: len(order)], strict=True):
        end = document.ends[key]
        while end < limit and text[end : _line_end(text, end)].lstrip().startswith("#"):
            end = _line_end(text, end)
        ends.append(end)
    return [_Block(key, start, end) for key, start, end in zip(order, starts, ends, strict=True)]


def _of(blocks: Sequence[_Block], key: Key) -> Iterator[_Block]:
    """A table's block and those of the tables inside it."""
    return (block for block in blocks if block.key[: len(key)] == key)


def _last_of(blocks: Sequence[_Block], key: Key) -> _Block | None:
    found = list(_of(blocks, key))
    return found[-1] if found else None


def _without(text: str, document: Document, key: Key) -> str:
    """The text without a table's blocks and the blank lines that would be left doubled."""
    for block in reversed(list(_of(_blocks(text, document), key))):
        start, end = block.start, block.end
        while end < len(text) and not text[end : _line_end(text, end)].strip():
            end = _line_end(text, end)
        if end == len(text):
            while start and not text[_line_start(text, start - 1) : start].strip():
                start = _line_start(text, start - 1)
        text = text[:start] + text[end:]
    return text


def _inserted(text: str, at: int, lines: str) -> str:
    """The text with a block's lines at the start of a line, blank lines round them."""
    newline = _newline(text)
    head = text[:at] + (newline if at and not text[:at].endswith("\n") else "")
    above = newline if head and head.rstrip(" \t\r\n") and not re.search(r"\n[ \t]*\r?\n\Z", head) else ""
    below = newline if at < len(text) and text[at : _line_end(text, at)].strip() else ""
    return head + above + lines + below + text[at:]


def _renamed(text: str, document: Document, path: Key, new: str, more: list[tuple[int, int, str]]) -> str:
    """The text with a table's last name changed in all headers, and the replacements `more`."""
    if path not in document.headers:
        raise BadInput(_no_table(document, path), key=dotted(path))
    if path[-1] == new:
        return text
    if _found(document.data, (*path[:-1], new)) is not None:
        raise BadInput(f"there is already a table [{dotted((*path[:-1], new))}]", key=dotted(path))
    depth = sum(isinstance(part, str) for part in path) - 1
    changes = [*more]
    for key, span in document.headers.items():
        if key[: len(path)] == path:
            start, end = names_in_header(text, *span)[depth]
            changes.append((start, end, _name(new)))
    changed = text
    for start, end, said in sorted(changes, reverse=True):
        changed = changed[:start] + said + changed[end:]

    def rename(data: dict[str, Any]) -> None:
        home: Any = _found(data, path[:-1])
        home[new] = home.pop(path[-1])
        if more:
            old = str(path[-1])
            names = {old: new} | {f"{old}.{end}": f"{new}.{end}" for end in PATH_ENDS}
            for where in _paths_of(document):
                _put(data, where, _mapped(_found(data, where), names))

    return _proved(changed, document, rename)


def _paths_of(document: Document) -> list[Key]:
    """The keys of the paths that stand in a build."""
    found: list[Key] = [("charge", "path")]
    for sort in ("loops", "ducts"):
        tables = document.data.get(sort)
        found += [(sort, name, "path") for name in tables] if isinstance(tables, dict) else []
    return [key for key in found if key in document.spans]


def _mapped(value: Any, names: Mapping[str, str]) -> Any:
    if isinstance(value, list):
        return [_mapped(item, names) for item in value]
    return names.get(value, value) if isinstance(value, str) else value


# -- lines and literals ------------------------------------------------------------------------------
def _path(document: Document, key: str) -> Key:
    """A dotted key; numbers that count tables of a list become such, a part in double quotes may hold points."""
    path: Key = ()
    for part in _PIECE.findall(key) if '"' in key else key.split("."):
        if part.startswith('"'):
            try:
                path = (*path, _read_text(part))
            except ValueError:
                raise BadInput("is no key", key=key) from None
            continue
        counted = part.isascii() and part.isdigit() and isinstance(_found(document.data, path), list)
        path = (*path, int(part) if counted else part)
    return path


def _found(data: Any, path: Key) -> Any:
    """What stands at a key, None for nothing."""
    for part in path:
        inside = part in data if isinstance(data, dict) else isinstance(part, int) and _reaches(data, part)
        if not inside:
            return None
        data = data[part]
    return data


def _reaches(data: Any, index: int) -> bool:
    return isinstance(data, list) and index < len(data)


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and any(isinstance(item, dict) for item in value)


def _no_table(document: Document, table: Key) -> str:
    close = nearest(dotted(table), [dotted(name) for name in document.ends if name])
    return f"there is no table [{dotted(table)}]" + (f'; nearest: "{close}"' if close else "")


def _newline(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


def _line_start(text: str, position: int) -> int:
    return text.rfind("\n", 0, position) + 1


def _line_end(text: str, position: int) -> int:
    end = text.find("\n", position)
    return len(text) if end < 0 else end + 1


def _spliced(text: str, at: int, line: str) -> str:
    """The text with a line of its own at a line's start, or behind a last line without an end."""
    before = _newline(text) if at and not text[:at].endswith("\n") else ""
    return text[:at] + before + line + text[at:]


def _replaced(text: str, span: tuple[int, int], new: Any, *, broken: bool = False) -> str:
    """The text with another value in `span`; comments inside the old one go above its line."""
    start, end = span
    newline, line = _newline(text), _line_start(text, start)
    indent = text[line : line + len(text[line:]) - len(text[line:].lstrip(" \t"))]
    comments = [text[a:b].rstrip() for sort, a, b in pieces(text, start, end) if sort == "comment"]
    written = literal(new)
    if broken and start - line + len(written) > WIDTH:
        written = _over_lines(new, newline, indent)
    elif "\n" in text[start:end] and isinstance(new, (list, tuple)) and any(isinstance(x, (list, tuple)) for x in new):
        rows = "".join(f"{indent}    {literal(row)},{newline}" for row in new)
        written = f"[{newline}{rows}{indent}]"
    above = "".join(f"{indent}{comment}{newline}" for comment in comments)
    return text[:line] + above + text[line:start] + written + text[end:]


def _over_lines(names: Sequence[Any], newline: str, indent: str) -> str:
    """A nested list of names with names filled into lines and every group on lines of its own."""
    inner, rows, row = indent + "    ", [], ""
    for item in names:
        word = literal(item)
        if isinstance(item, (list, tuple)):
            if row:
                rows.append(row)
            row = ""
            fits = len(inner) + len(word) < WIDTH
            rows.append((word if fits else _over_lines(item, newline, inner)) + ",")
        elif row and len(inner) + len(row) + len(word) + 2 > WIDTH:
            rows.append(row)
            row = word + ","
        else:
            row = f"{row} {word}," if row else word + ","
    if row:
        rows.append(row)
    return f"[{newline}" + "".join(f"{inner}{one}{newline}" for one in rows) + f"{indent}]"


def _written(names: Sequence[str], values: Mapping[str, Any], newline: str, *, of_list: bool = False) -> str:
    """A table's lines: header, values, then the tables inside it."""
    header = ".".join(_name(name) for name in names)
    lines = [f"[[{header}]]" if of_list else f"[{header}]"]
    inside = []
    for key, value in values.items():
        if isinstance(value, Mapping):
            inside.append(_written([*names, key], value, newline))
        else:
            _writable(value, f"{'.'.join(names)}.{key}")
            lines.append(f"{_name(key)} = {literal(value)}")
    return "".join(line + newline for line in lines) + "".join(inside)


def _name(name: str) -> str:
    """A key as TOML spells it: bare where it can be."""
    return name if _BARE.fullmatch(name) else literal(name)


def _writable(value: Any, key: str) -> None:
    """Refuse what no line of ours can hold."""
    if isinstance(value, (list, tuple)):
        for item in value:
            _writable(item, key)
    elif not isinstance(value, (str, bool, int, float)):
        raise BadInput(f"{typed(value)} cannot be a value", key=key)
    elif isinstance(value, float) and not math.isfinite(value):
        raise BadInput(f"{value} cannot be a value; a finite number is needed", key=key)
    elif isinstance(value, int) and abs(value) > LARGEST_WHOLE:
        raise BadInput("is absurdly large for a number", key=key)


def literal(value: Any) -> str:
    """A value as TOML on one line."""
    import tomlkit

    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(literal(item) for item in value) + "]"
    return str(tomlkit.item(value).as_string())


def _read_text(written: str) -> str:
    return str(tomllib.loads(f"text = {written}")["text"])


# -- proof -------------------------------------------------------------------------------------------
def _plain(value: Any) -> Any:
    """Mappings and sequences as the TOML reader gives them."""
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    return [_plain(item) for item in value] if isinstance(value, (list, tuple)) else value


def _put(data: Any, path: Key, value: Any) -> None:
    for part in path[:-1]:
        data = data.setdefault(part, {}) if isinstance(data, dict) else data[part]
    data[path[-1]] = _plain(value)


def _take(data: Any, path: Key) -> None:
    """Take a key or table out."""
    del _found(data, path[:-1])[path[-1]]


def _proved(text: str, document: Document, change: Callable[[dict[str, Any]], Any]) -> str:
    """`text`, once it is seen to hold what `document` holds with `change` made, and nothing else.

    Forms that our files do not use (inline tables, dotted keys) may make that impossible: BadInput names the first.
    """
    wanted = copy.deepcopy(document.data)
    change(wanted)
    try:
        found = scan(text, "text").data
    except BadInput as error:
        found, why = None, str(error)
    else:
        why = "it would have changed more than was asked"
    if found is not None and same(_trimmed(found), _trimmed(wanted)):
        return text
    if document.misuse:
        key, message = document.misuse[0]
        raise BadInput(f"{dotted(key)} {message}", where=document.where(key), key=dotted(key))
    raise Internal(f"a change to the text would have spoiled it ({why}); nothing was changed")


def _trimmed(data: Any) -> Any:
    """Data without empty tables, which stand for a header or for nothing."""
    if isinstance(data, dict):
        kept = {key: _trimmed(value) for key, value in data.items()}
        return {key: value for key, value in kept.items() if value != {}}
    return [_trimmed(item) for item in data] if isinstance(data, (list, tuple)) else data


def same(a: Any, b: Any) -> bool:
    """Equal in value and type; NaN equals itself, a tuple a list."""
    if isinstance(a, dict):
        return isinstance(b, dict) and a.keys() == b.keys() and all(same(a[key], b[key]) for key in a)
    if isinstance(a, (list, tuple)):
        return isinstance(b, (list, tuple)) and len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, float) and isinstance(b, float) and math.isnan(a) and math.isnan(b):
        return True
    return type(a) is type(b) and bool(a == b)
