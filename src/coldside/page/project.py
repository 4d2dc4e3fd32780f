"""The folder that the page works in: which files it holds, and reading and writing them without stepping outside.

Here: `Project`.  Names are paths relative to the folder with forward slashes ("tern/water.toml"), at most two folders
deep.  What a file is (build, session, ...) is told by its `schema` line, as everywhere.
"""

from __future__ import annotations

import hashlib
import os
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

from coldside.build.document import read_text
from coldside.build.files import save
from coldside.errors import BadInput, nearest

KINDS = {  # what stands in a schema line -> what the page calls it
    "coldside.build": "build",
    "coldside.session": "session",
    "coldside.brief": "brief",
    "coldside.limits": "limits",
    "coldside.prices": "prices",
}
DEEPEST = 2  # folders
REMOVED = "removed"  # folder of what was taken out of the lists
MOST_FILES = 500
_SCHEMA = re.compile(r'^\s*schema\s*=\s*"(coldside\.[a-z]+)/\d+"', re.MULTILINE)
_NAME = re.compile(r'^\s*name\s*=\s*"((?:[^"\\\n]|\\.)*)"', re.MULTILINE)
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))}  # Windows
_PART = re.compile(r"[\w][\w .,()+-]*", re.UNICODE)  # of a file's name: letters, digits and plain signs


@dataclass(frozen=True)
class Entry:
    """One file: its name in the project, what it is, and the name written in it."""

    name: str
    kind: str
    title: str


class Project:
    """A folder of builds, sessions and the like.  Raises BadInput when it is no folder."""

    def __init__(self, folder: str | Path) -> None:
        self.folder = Path(folder).resolve()
        if not self.folder.is_dir():
            raise BadInput("is no folder", where=str(folder))

    def entries(self, kind: str | None = None) -> list[Entry]:
        """Every file of ours in name order, or those of one kind.  Files that cannot be read are left out."""
        found = []
        for path in self._files():
            try:
                text = read_text(path)
            except BadInput:
                continue
            schema = _SCHEMA.search(text)
            what = KINDS.get(schema[1]) if schema else None
            if what is not None and kind in (None, what):
                title = _NAME.search(text)
                name = path.relative_to(self.folder).as_posix()
                found.append(Entry(name, what, _unquoted(title[1]) if title else path.stem))
        return found

    def crowded(self) -> bool:
        """Whether there are more files than are listed: the first `MOST_FILES` of the walk are."""
        return len(self._walk()) > MOST_FILES

    def path(self, name: str, *, new: bool = False, ending: str = ".toml") -> Path:
        """Where a file lies.  BadInput for a name that leads outside, is no TOML file, or (but `new`) is not there."""
        parts = name.split("/")
        plain = all(_PART.fullmatch(part) and not part.endswith((".", " ")) for part in parts)
        if not plain or len(parts) > DEEPEST + 1 or not name.endswith(ending) or len(name) > 200:
            allowed = f"letters, digits, spaces and - _ . ( ), at most two folders deep, ending in {ending}"
            raise BadInput(f"is no file name for this folder; allowed are {allowed}", where=name)
        if any(part.partition(".")[0].lower() in _DEVICES for part in parts):
            raise BadInput("is the name of a device on Windows; choose another", where=name)
        path = self.folder.joinpath(*parts)
        if not self._inside(path):
            raise BadInput("lies outside this project's folder", where=name)
        if not new and not path.is_file():
            close = nearest(name, [entry.name for entry in self.entries()])
            raise BadInput("there is no such file here" + (f'; nearest: "{close}"' if close else ""), where=name)
        return path

    def read(self, name: str) -> str:
        """The text of a file."""
        return read_text(self.path(name))

    def etag(self, name: str) -> str:
        """A mark of what the file holds now; "" where there is none."""
        path = self.path(name, new=True)
        return etag(path.read_bytes().decode("utf-8", "surrogateescape")) if path.is_file() else ""

    def write(self, name: str, text: str) -> None:
        """Write a file whole; what was there before is kept as `NAME.bak`."""
        path = self.path(name, new=True)
        _make_folder(path, name)
        save(path, text)

    def create(self, name: str, text: str) -> str:
        """Write a new file, TOML or CSV; where the name is taken a number is put behind it.  Returns the name used."""
        stem, dot, ending = name.rpartition(".")
        if dot + ending not in (".toml", ".csv"):
            raise BadInput("is neither a TOML nor a CSV file", where=name)
        for count in range(1, 1000):
            tried = name if count == 1 else f"{stem}-{count}.{ending}"
            path = self.path(tried, new=True, ending=dot + ending)
            _make_folder(path, tried)
            try:
                with open(path, "xb") as stream:
                    stream.write(text.encode("utf-8"))
            except FileExistsError:
                continue
            except OSError as error:
                raise BadInput(f"cannot be written: {error.strerror or error}", where=tried) from None
            return tried
        raise BadInput("every name like this is taken", where=name)

    def set_aside(self, name: str) -> str:
        """Move a file into the folder of removed ones, where it is no longer listed.  Returns its name there."""
        path = self.path(name)
        stem = name.removesuffix(".toml").replace("/", "-")
        for count in range(1, 1000):
            target = f"{REMOVED}/{stem}{'' if count == 1 else f'-{count}'}.toml"
            there = self.path(target, new=True)
            if there.exists():
                continue
            _make_folder(there, target)
            try:
                path.rename(there)
            except OSError as error:
                raise BadInput(f"cannot be moved: {error.strerror or error}", where=name) from None
            return target
        raise BadInput("every name like this is taken among the removed ones", where=name)

    def _files(self) -> list[Path]:
        """The TOML files that are listed."""
        return [path for path in self._walk()[:MOST_FILES] if path.is_file() and self._inside(path)]

    def _walk(self) -> list[Path]:
        """TOML files at most two folders deep, in order; hidden folders and links out of the folder are not entered.

        The walk ends once there are more than are listed.
        """
        found: list[Path] = []
        for top, folders, files in os.walk(self.folder):
            depth = len(Path(top).relative_to(self.folder).parts)
            shut = (REMOVED,) if depth == 0 else ()
            open_ = sorted(f for f in folders if not f.startswith((".", "_")) and f not in shut)
            folders[:] = open_ if depth < DEEPEST else []
            found += [Path(top, file) for file in sorted(files) if file.endswith(".toml")]
            if len(found) > MOST_FILES:
                break
        return found

    def _inside(self, path: Path) -> bool:
        """Whether a path leads to a place in the folder, links followed."""
        try:
            return path.resolve().is_relative_to(self.folder)
        except (OSError, RuntimeError):  # links that lead to each other
            return False


def _unquoted(text: str) -> str:
    """What stands between the quotes of a TOML text, as it is meant."""
    try:
        return str(tomllib.loads(f'text = "{text}"')["text"])
    except ValueError:
        return text


def _make_folder(path: Path, name: str) -> None:
    """Make the folder that a file is to lie in."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(f"its folder cannot be made: {error.strerror or error}", where=name) from None


def etag(text: str) -> str:
    """A mark of a text."""
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()[:20]


def file_name(title: str) -> str:
    """A plain file name made from a title: "Tern, two cores" -> "tern-two-cores.toml"."""
    stem = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:60] or "car"
    return f"{stem}.toml"
