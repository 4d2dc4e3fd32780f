"""A TOML file of ours as data with line numbers: reading, overrides, and the collected faults.

What is here: `read_document` (bytes -> `Document`), `Document.override` (one `--set`), `Faults` (all faults
of a file, in file order, each with file, line and key).  What is not: what the keys mean
(`build/schema.py`) and writing (`build/files.py`).

The standard library reads the TOML; it gives no line numbers for values, so `_Scanner` walks the same
text once more and notes where each table, key and list element starts and ends.  To keep that walk (and
a reader's eye) simple, our files have no inline tables, no dotted keys and no multi-line texts.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from coldside.errors import BadInput, Internal, ManyBadInputs, nearest
from coldside.units import CURLY, decimal_point, typed

LARGEST_FILE = 1_000_000  # bytes
DEEPEST_LIST = 50  # lists within lists
SET = "--set"  # `where` of a fault in an override
Key = tuple["str | int", ...]  # ("parts", "tank", "volume"), ("phases", 0, "kind"), ("parts", "pump", "curve", 2)


def dotted(key: Key) -> str:
    """A key in the words of a message; tables of a list are counted from 1."""
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in key)


@dataclass
class Document:
    """One file: `data` as plain Python values, where each key stands, and what `--set` changed."""

    file: str
    data: dict[str, Any]
    lines: dict[Key, int] = field(default_factory=dict)
    spans: dict[Key, tuple[int, int]] = field(default_factory=dict)  # of values, in characters of the text
    ends: dict[Key, int] = field(default_factory=dict)  # table -> end of its last line, where a new key goes
    headers: dict[Key, tuple[int, int]] = field(default_factory=dict)  # table -> its [header], in characters
    misuse: list[tuple[Key, str]] = field(default_factory=list)  # forms that our files do not use
    changed: set[Key] = field(default_factory=set)

    def line(self, key: Key) -> int:
        """Line of the key, or of the nearest table above it that stands in the file."""
        while key and key not in self.lines:
            key = key[:-1]
        return self.lines.get(key, 1)

    def origin(self, key: Key) -> str:
        """ "set" for a value that an override gave, else "given"."""
        return "set" if any(key[:n] in self.changed for n in range(1, len(key) + 1)) else "given"

    def where(self, key: Key) -> str:
        """ "file:line", or "--set"."""
        return SET if self.origin(key) == "set" else f"{self.file}:{self.line(key)}"

    def override(self, text: str, optional: tuple[str, ...] = ()) -> None:
        """Apply one `--set`: "parts.tank.volume=40 L".

        The value is what would stand behind the = in the file; quotes round a text may be left out.
        `optional` names the top tables that may be absent from the file.  Raises BadInput.
        """
        name, equals, value_text = text.partition("=")
        parts = [part.strip() for part in name.split(".")]
        if not equals or not all(parts) or not value_text.strip():
            raise BadInput(f'{typed(text)} is not of the form "parts.tank.volume=40 L"', where=SET)
        table = self.data
        for depth, part in enumerate(parts[:-1]):
            inner = table.setdefault(part, {}) if depth == 0 and part in optional else table.get(part)
            if not isinstance(inner, dict):
                names = [".".join([*parts[:depth], k]) for k, v in table.items() if isinstance(v, dict)]
                missing = ".".join(parts[: depth + 1])
                close = nearest(missing, names)
                hint = f'; nearest: "{close}"' if close else ""
                raise BadInput(f"{typed(text)}: {self.file} has no table [{missing}]{hint}", where=SET)
            table = inner
        table[parts[-1]] = _override_value(value_text.strip())
        self.changed.add(tuple(parts))


def _override_value(text: str) -> Any:
    """The value of an override: TOML where it is TOML, else text."""
    try:
        read = tomllib.loads(f"value = {text}")
    except (ValueError, RecursionError):
        return text
    value = read.get("value")
    return value if len(read) == 1 and isinstance(value, (bool, int, float, str, list)) else text


class Faults:
    """Collects the faults of one document and raises them together, in file order."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self._found: list[tuple[int, BadInput]] = []
        self._misused = {document.line(key) for key, _ in document.misuse}  # lines whose form is wrong
        for key, message in document.misuse:
            name = dotted(key)
            fault = BadInput(f"{name} {message}", where=document.where(key), key=name)
            self._found.append((self._order(key), fault))

    def __bool__(self) -> bool:
        return bool(self._found)

    def add(self, key: Key, message: str, *, at: Key | None = None, joint: str = ": ") -> None:
        """A fault of `key`; `at` is the key whose line is named, where that is another one.

        `joint` stands between key and message; with " = " the message starts with the value as read.
        """
        place = key if at is None else at
        if self.document.line(place) in self._misused and self.document.origin(place) == "given":
            return  # the form of that line is refused already; what it holds may not be what is meant
        name = dotted(key)
        fault = BadInput(f"{name}{joint}{message}" if name else message, where=self.document.where(place), key=name)
        self._found.append((self._order(place), fault))

    def add_error(self, key: Key, error: BadInput) -> None:
        """A fault worded elsewhere; one that knows its own place (another file) keeps it."""
        if error.where:
            self._found.append((self._order(key), error))
        else:
            self.add(key, error.message)

    def raise_any(self) -> None:
        """Raise what was collected: the fault itself if there is one, ManyBadInputs if more."""
        if not self._found:
            return
        faults = [fault for _, fault in sorted(self._found, key=lambda item: item[0])]
        raise faults[0] if len(faults) == 1 else ManyBadInputs(faults)

    def _order(self, key: Key) -> int:
        # overrides come after the file's own lines
        return self.document.line(key) + (LARGEST_FILE if self.document.origin(key) == "set" else 0)


def read_document(path: str | Path) -> Document:
    """Read one TOML file into a `Document`.

    Raises BadInput with "file:line" when the file is missing, too large, not UTF-8, or not TOML.
    """
    return scan(read_text(path), str(path))


def scan(text: str, name: str) -> Document:
    """A `Document` from text that is already in memory; `name` stands for the file in messages."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _syntax_fault(name, text, str(error)) from None
    except (ValueError, RecursionError):
        # numbers of thousands of digits, lists thousands deep
        raise BadInput("holds a number or a list that is absurdly long", where=name) from None
    document = Document(file=name, data=data)
    _Scanner(text, document).walk()
    return document


def read_text(path: str | Path) -> str:
    """The text of a file, UTF-8 with or without a byte-order mark; line ends are kept as they are."""
    name = str(path)
    try:
        with open(path, "rb") as stream:
            raw = stream.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise BadInput("there is no such file" + _near_file(Path(path)), where=name) from None
    except IsADirectoryError:
        raise BadInput("is a folder; name a file in it" + _near_file(Path(path) / "x"), where=name) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a file name"
        raise BadInput(f"cannot be read: {reason}", where=name) from None
    if len(raw) > LARGEST_FILE:
        raise BadInput(f"is larger than {LARGEST_FILE // 1_000_000} MB; a file of ours is a few kB", where=name)
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise BadInput("is UTF-16 text; save it as UTF-8", where=f"{name}:1")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        bad = raw[error.start]
        raise BadInput(f"is not UTF-8 text (byte 0x{bad:02x}); save it as UTF-8", where=f"{name}:{line}") from None


def _near_file(path: Path) -> str:
    """A hint at a TOML file of nearly that name in the same folder."""
    try:
        names = sorted(item.name for item in path.parent.iterdir() if item.suffix == ".toml")
    except OSError:
        return ""
    close = nearest(path.name, names)
    if close is None:
        return f"; in that folder: {', '.join(names[:4])}" if names else ""
    return f'; nearest: "{close}"'


# -- syntax faults in words --------------------------------------------------------------------------
_AT = re.compile(r"\(at line ([0-9]+), column ([0-9]+)\)")
_NO_QUOTES = re.compile(r"\s*([A-Za-z0-9_-]+)\s*=\s*([^\"'\[{#\s][^#\"']*?)\s*(?:#.*)?\Z")
_COMMA_VALUE = re.compile(r"\s*(?P<key>[A-Za-z0-9_-]+)\s*=\s*(?P<value>[-+]?[0-9]+,[0-9][^\"'\[{#]*?)\s*(?:#.*)?\Z")
_NO_VALUE = re.compile(r"\s*([A-Za-z0-9_-]+)\s*=\s*(?:#.*)?\Z")


def _syntax_fault(file: str, text: str, words: str) -> BadInput:
    """Turn the parser's complaint into what a user can act on."""
    rows = text.replace("\r\n", "\n").split("\n")
    at = _AT.search(words)
    line = int(at.group(1)) if at else len(rows)
    if not at:
        while line > 1 and not rows[line - 1].strip():
            line -= 1
    row = rows[line - 1]
    where = f"{file}:{line}"
    shown = typed(re.sub(r"\s+", " ", row.strip()))[1:-1]
    control = re.search(r"[\x00-\x08\x0b-\x1f\x7f]", row)
    if control:
        return BadInput(f"holds a control character (0x{ord(control.group()):02x}); take it out: {shown}", where=where)
    if "Cannot overwrite" in words or "Cannot declare" in words or "twice" in words or "Cannot mutate" in words:
        return BadInput(f"this key or table stands twice in the file: {shown}", where=where)
    unvalued, unquoted = _NO_VALUE.match(row), _NO_QUOTES.match(row)
    if unvalued:
        return BadInput(f'{unvalued.group(1)} has no value behind the "="', where=where)
    slip = _curly(row) or _comma(row)
    if slip:
        return BadInput(slip, where=where)
    if unquoted:
        key, value = unquoted.groups()
        return BadInput(f'{key} = {value}: a text needs quotes: {key} = "{value}"', where=where)
    if "nclosed array" in words:
        return BadInput(f"a list opened with [ above is not closed before: {shown}", where=where)
    bare = re.sub(r"#.*", "", row)
    if bare.count('"') % 2 or bare.count("'") % 2:
        return BadInput(f"a quote is not closed: {shown}", where=where)
    if bare.strip().startswith("[") and "=" not in bare:
        return BadInput(f"a table is written [name] or [[name]], but here stands: {shown}", where=where)
    if "=" not in bare:
        return BadInput(f"no [table], no key = value and no # comment: {shown}", where=where)
    column = f" at column {at.group(2)}" if at else ""
    return BadInput(f"not valid TOML{column}: {shown}", where=where)


def _curly(row: str) -> str:
    """The complaint about a text processor's quotes round a value, with the line as it is meant; "" without any."""
    bare = re.sub(_BASIC, "", row).partition("#")[0]
    found = sorted(set(bare) & set(CURLY))
    if not found:
        return ""
    said = row if '"' in row else row.partition("#")[0]
    meant = re.sub(f"[{CURLY}]", '"', said).strip()
    return f"has the quotes of a text processor ({' '.join(found)}), straight ones are needed: {meant}"


def _comma(row: str) -> str:
    """The complaint about a decimal comma in a value without quotes, with the value as it is meant; "" without one."""
    listed = re.search(r"[0-9],0[0-9]", row)  # a number in a list cannot start with 0
    if listed and "[" in row and '"' not in row:
        pointed = re.sub(r"([0-9]),([0-9])", r"\1.\2", row.partition("#")[0].strip())
        return f"has decimal commas; write points: {pointed}"
    found = _COMMA_VALUE.match(row)
    if not found:
        return ""
    key, value = found["key"], found["value"].strip()
    written = decimal_point(value)
    if re.fullmatch(r"[-+0-9.,]+", value):
        written = written.replace('"', "")  # a bare number needs no quotes
    return f"{key} = {value} has a comma; {written}"


# -- the walk ----------------------------------------------------------------------------------------
_BASIC = r'"(?:\\.|[^"\\\n])*"'
_LITERAL = r"'[^'\n]*'"
_PART = rf"(?:[A-Za-z0-9_-]+|{_BASIC}|{_LITERAL})"
_NAME = rf"{_PART}(?:[ \t]*\.[ \t]*{_PART})*"
_SKIP = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_HEADER = re.compile(rf"\[(\[?)[ \t]*({_NAME})[ \t]*\]\]?")
_ASSIGN = re.compile(rf"({_NAME})[ \t]*=[ \t]*")
_PARTS = re.compile(_PART)
_TOKEN = re.compile(
    r'(?P<long>"""(?:\\[\s\S]|[^\\])*?"{3,5}|\'\'\'[\s\S]*?\'{3,5})'
    rf"|(?P<text>{_BASIC}|{_LITERAL})"
    r"|(?P<comment>#[^\n]*)|(?P<mark>[\[\]{},])|(?P<newline>\n)|(?P<blank>[ \t\r]+)|(?P<word>[^\s\[\]{},#\"']+)"
)


def pieces(text: str, start: int, end: int) -> Iterator[tuple[str, int, int]]:
    """Tokens of a value that the parser has accepted: their sort ("text", "comment", "mark", "word" ...) and span."""
    while start < end:
        token = _TOKEN.match(text, start)
        if not token:
            raise Internal(f"cannot follow {typed(text[start:end])}; please send us this file")
        yield str(token.lastgroup), *token.span()
        start = token.end()


def names_in_header(text: str, start: int, end: int) -> list[tuple[int, int]]:
    """Spans of the names in a table's header ("parts" and "tank" of [parts.tank]), quotes included."""
    return [found.span() for found in _PARTS.finditer(text, start, end)]


class _Scanner:
    """Walks a text that the parser has accepted and fills the document's lines, spans and ends."""

    def __init__(self, text: str, document: Document) -> None:
        self.text = text
        self.document = document
        self.counts: dict[Key, int] = {}  # tables of a list so far
        self.line = 1
        self.counted = 0  # characters whose line ends are in `line`

    def walk(self) -> None:
        """The whole text, statement by statement."""
        table: Key = ()
        position = 0
        self.document.ends[()] = 0
        while (position := self._skip(position)) < len(self.text):
            line = self._line_at(position)
            header = _HEADER.match(self.text, position)
            if header:
                table = self._table(self._names(header.group(2)), bool(header.group(1)))
                self.document.lines.setdefault(table, line)
                self.document.headers[table] = header.span()
                position = header.end()
                self.document.ends[table] = self._line_end(position)
                continue
            assign = _ASSIGN.match(self.text, position)
            if not assign:
                raise Internal(f"cannot follow {self.document.file}:{line}; please send us this file")
            names = self._names(assign.group(1))
            key = (*table, *names)
            for depth in range(len(table) + 1, len(key) + 1):
                self.document.lines.setdefault(key[:depth], line)
            if len(names) > 1:
                home = dotted((*table, *names[:-1]))
                self.document.misuse.append((key, f"is a dotted key; write {names[-1]} = ... in a table [{home}]"))
            position = self._value(key, assign.end())
            self.document.ends[table] = self._line_end(position)

    def _skip(self, position: int) -> int:
        found = _SKIP.match(self.text, position)
        return found.end() if found else position

    def _line_at(self, position: int) -> int:
        self.line += self.text.count("\n", self.counted, position)
        self.counted = position
        return self.line

    def _line_end(self, position: int) -> int:
        end = self.text.find("\n", position)
        return len(self.text) if end < 0 else end + 1

    def _names(self, text: str) -> tuple[str, ...]:
        return tuple(
            next(iter(tomllib.loads(f"{part} = 0"))) if part[0] in "\"'" else part for part in _PARTS.findall(text)
        )

    def _table(self, names: tuple[str, ...], of_list: bool) -> Key:
        """The key of a header; a name that is a list of tables means its latest one."""
        key: Key = ()
        for name in names[:-1]:
            self.document.lines.setdefault((*key, name), self.line)
            key = self._latest((*key, name))
        key = (*key, names[-1])
        if of_list:
            self.counts[key] = self.counts.get(key, 0) + 1
            self.document.lines.setdefault(key, self.line)
        return self._latest(key)

    def _latest(self, key: Key) -> Key:
        return (*key, self.counts[key] - 1) if key in self.counts else key

    def _value(self, key: Key, start: int) -> int:
        """Walk one value from `start`; notes its span, its lines and those of the elements of lists."""
        elements: list[int] = []  # index in each open list
        braces = 0
        position = end = start
        for token in self._tokens(start):
            kind, text = token.lastgroup, token.group()
            if kind == "newline" and not elements and not braces:
                break
            position = token.end()
            if kind in ("newline", "blank", "comment"):
                continue
            end = position
            if kind == "long":
                self.document.misuse.append((key, "is a text over several lines; write it on one line"))
            elif text == "{":
                if not braces:
                    self.document.misuse.append((key, f"is an inline table; write it as a table [{dotted(key)}]"))
                braces += 1
            elif text == "}":
                braces -= 1
            elif braces:
                continue
            elif text == "]":
                elements.pop()
                continue
            elif text == ",":
                elements[-1] += 1
                continue
            if elements and not braces:
                self.document.lines.setdefault((*key, *elements), self._line_at(token.start()))
            if text == "[":
                elements.append(0)
                if len(elements) > DEEPEST_LIST:
                    where = f"{self.document.file}:{self._line_at(token.start())}"
                    raise BadInput(f"holds lists more than {DEEPEST_LIST} deep", where=where, key=dotted(key))
        self.document.spans[key] = (start, end)
        return position

    def _tokens(self, start: int) -> Iterator[re.Match[str]]:
        position = start
        while position < len(self.text):
            token = _TOKEN.match(self.text, position)
            if not token:
                raise Internal(
                    f"cannot follow {self.document.file}:{self._line_at(position)}; please send us this file"
                )
            yield token
            position = token.end()
