"""What the repository says of itself: version, commands, no path of a machine, no package source's address."""

from __future__ import annotations

import re
import tomllib

import pytest

import coldside
from shape.source import ROOT, tracked_text

# Written in pieces so that this file does not find itself.
MACHINE_PATH = re.compile(r"(?<![\w.~])/(?:" + "|".join(["work", "home", "Users", "root", "mnt", "opt"]) + r")/[\w.-]")
PACKAGE_SOURCE = re.compile(
    r"https?://[^\s/]*(?:"
    + "|".join(["py" + "pi", "python" + "hosted", "npm" + "js", "conda", "artifact", "nexus"])
    + ")",
    re.IGNORECASE,
)
LEFTOVER = re.compile(r"\b(?:" + "|".join(["TO" + "DO", "FIX" + "ME", "XX" + "X"]) + r")\b")


@pytest.mark.parametrize(
    ("pattern", "what"),
    [(MACHINE_PATH, "path of a machine"), (PACKAGE_SOURCE, "package source"), (LEFTOVER, "leftover mark")],
    ids=["machine-path", "package-source", "leftover"],
)
def test_no_file_names(pattern, what):
    found = [
        f"{name}:{number}: {line.strip()[:100]}"
        for name, text in tracked_text().items()
        for number, line in enumerate(text.splitlines(), 1)
        if pattern.search(line)
    ]
    assert not found, f"{what}: {found}"


def test_readme_says_how_to_start():
    text = tracked_text()["README.md"]
    head = text.split("\n## ")[0]
    assert "make demo" in head
    assert "make test" in head


def test_readme_commands_exist():
    """Every `coldside WORD` that README shows is a command, and every command stands in README."""
    from coldside.cli import app

    names = {command.name or command.callback.__name__.replace("_", "-") for command in app.registered_commands}
    shown = set(re.findall(r"(?m)^\s*(?:\$ )?coldside ([a-z]+)", tracked_text()["README.md"]))
    assert shown == names


def test_version_is_in_one_place_and_in_the_changelog():
    settings = tomllib.loads(tracked_text()["pyproject.toml"])
    assert "version" in settings["project"]["dynamic"]
    assert f"## {coldside.__version__}" in tracked_text()["CHANGELOG.md"]


def test_constraints_pin_everything_once():
    lines = [line for line in tracked_text()["constraints.txt"].splitlines() if line and not line.startswith("#")]
    assert all(re.fullmatch(r"[A-Za-z0-9._-]+==[0-9][\w.]*", line) for line in lines), lines
    names = [re.sub(r"[-_.]+", "-", line.split("==")[0]).lower() for line in lines]
    assert len(names) == len(set(names))
    settings = tomllib.loads(tracked_text()["pyproject.toml"])
    wanted = settings["project"]["dependencies"] + settings["project"]["optional-dependencies"]["test"]
    wanted += settings["build-system"]["requires"]
    missing = {re.split(r"[<>=!~\[ ]", item)[0].lower() for item in wanted} - set(names)
    assert not missing, missing


def test_the_layers_are_those_of_the_architecture_page():
    from shape.source import LAYERS, layer, modules

    text = tracked_text()["docs/ARCHITECTURE.md"]
    rows = re.findall(r"(?m)^\| `(\w+)[/`]", text.split("## Layers")[1].split("\n## ")[0])
    present = {layer(module) for module in modules()} - {""}
    assert rows == [name for name in LAYERS if name in present]


def test_names_in_the_architecture_page_exist():
    """Files and tests that the page points at are there; a renamed one must be renamed on the page too."""
    text = tracked_text()["docs/ARCHITECTURE.md"]
    files = set(re.findall(r"`((?:src|tests|docs|examples|bench)/[\w./-]+)`", text))
    missing = sorted(name for name in files if not (ROOT / name.rstrip("/")).exists())
    every_test = "\n".join(body for name, body in tracked_text().items() if name.startswith("tests/"))
    missing += [name for name in set(re.findall(r"`(test_\w+)`", text)) if f"def {name}(" not in every_test]
    assert not missing, missing
