"""The source tree as data for the tests of shape: modules, their syntax trees, who imports whom."""

from __future__ import annotations

import ast
import functools
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "coldside"

# Each layer may import those before it and itself, never those after it (docs/ARCHITECTURE.md holds the same list).
LAYERS = (
    "errors",
    "resources",
    "sources",
    "units",
    "media",
    "parts",
    "build",
    "duty",
    "plant",
    "judge",
    "explore",
    "evidence",
    "sheet",
    "page",
    "cli",
)


@dataclass(frozen=True)
class Import:
    """One import of a name from inside coldside.

    `name` is "" for a whole module, `line` where it stands, `for_types` whether only the type checker sees it.
    """

    importer: str
    module: str
    name: str
    line: int
    for_types: bool


@functools.cache
def modules() -> dict[str, Path]:
    """Dotted module name -> file, for every module under src/coldside."""
    found = {}
    for file in sorted(PACKAGE.rglob("*.py")):
        dotted = ".".join(file.relative_to(PACKAGE.parent).with_suffix("").parts)
        found[dotted.removesuffix(".__init__")] = file
    return found


@functools.cache
def tree(module: str) -> ast.Module:
    """Syntax tree of a module."""
    return ast.parse(modules()[module].read_text(encoding="utf-8"))


def layer(module: str) -> str:
    """The layer a module belongs to: the first name after the root; "" for the root itself."""
    name = [*module.split("."), ""][1]
    return "cli" if name == "__main__" else name


def imports(module: str) -> Iterator[Import]:
    """Every import from inside coldside, also those inside functions and under TYPE_CHECKING."""
    is_package = modules()[module].name == "__init__.py"
    guarded = {
        id(inner)
        for node in ast.walk(tree(module))
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree(module)):
        for_types = id(node) in guarded
        if isinstance(node, ast.Import):
            for alias in node.names:
                if alias.name.split(".")[0] == "coldside":
                    yield Import(module, alias.name, "", node.lineno, for_types)
        elif isinstance(node, ast.ImportFrom):
            origin = node.module or ""
            if node.level:
                parent = module.split(".")[: len(module.split(".")) - node.level + is_package]
                origin = ".".join([*parent, *filter(None, [node.module])])
            if origin.split(".")[0] != "coldside":
                continue
            for alias in node.names:
                inner = f"{origin}.{alias.name}"
                target, name = (inner, "") if inner in modules() else (origin, alias.name)
                yield Import(module, target, name, node.lineno, for_types)


def public_callables(module: str) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef]]:
    """Public classes and functions of a module and public methods of its public classes, with their dotted names."""
    for node in tree(module).body:
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) and not node.name.startswith("_"):
            yield node.name, node
            for inner in node.body if isinstance(node, ast.ClassDef) else ():
                if isinstance(inner, ast.FunctionDef | ast.AsyncFunctionDef) and not inner.name.startswith("_"):
                    yield f"{node.name}.{inner.name}", inner


@functools.cache
def tracked_text() -> dict[str, str]:
    """Path in the repository -> text, of every text file that is (or is about to be) under version control."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=False,
    )
    if listed.returncode == 0:
        names = [name.decode() for name in listed.stdout.split(b"\0") if name]
    else:  # an unpacked source archive
        skipped = {".venv", "out", "dist", "build", "__pycache__"}
        names = [
            str(file.relative_to(ROOT))
            for file in sorted(ROOT.rglob("*"))
            if file.is_file() and not skipped & set(file.relative_to(ROOT).parts)
        ]
    found = {}
    for name in names:
        file = ROOT / name
        if file.is_file():
            try:
                found[name] = file.read_text(encoding="utf-8")
            except UnicodeDecodeError:
                continue  # a picture or another binary
    return found
