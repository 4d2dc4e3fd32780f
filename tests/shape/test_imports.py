"""Who may import whom: the layers, no cycles, nothing private borrowed, nothing heavy at start."""

from __future__ import annotations

import ast
import json
import subprocess
import sys

import pytest

from shape.source import LAYERS, imports, layer, modules, tree

# Names that need numba or scipy at import; a start must not pay for them.
HEAVY = ("numba", "scipy", "rich", "typer", "pydantic", "tomlkit")


def test_every_module_belongs_to_a_layer():
    strangers = [module for module in modules() if layer(module) and layer(module) not in LAYERS]
    assert not strangers, f"not in LAYERS (tests/shape/source.py) nor in docs/ARCHITECTURE.md: {strangers}"


def test_layers_import_upwards_only():
    wrong = [
        f"{use.importer}:{use.line} imports {use.module}"
        for module in modules()
        for use in imports(module)
        if layer(module) and layer(use.module) and LAYERS.index(layer(use.module)) > LAYERS.index(layer(module))
    ]
    assert not wrong, wrong


def test_nobody_imports_the_root_but_for_its_version():
    wrong = [
        f"{use.importer}:{use.line}"
        for module in modules()
        for use in imports(module)
        if use.module == "coldside" and use.name != "__version__"
    ]
    assert not wrong, wrong


def test_no_import_cycle():
    """Imports inside functions count too: they hide a cycle, they do not undo it."""
    edges = {
        module: {use.module for use in imports(module) if not use.for_types} - {"coldside"} for module in modules()
    }
    done: set[str] = set()

    def walk(module: str, trail: tuple[str, ...]) -> None:
        assert module not in trail, "cycle: " + " -> ".join([*trail[trail.index(module) :], module])
        if module not in done:
            for target in sorted(edges.get(module, ())):
                walk(target, (*trail, module))
            done.add(module)

    for module in edges:
        walk(module, ())


def test_no_private_name_crosses_modules():
    wrong = [
        f"{use.importer}:{use.line} takes {use.module}.{use.name}"
        for module in modules()
        for use in imports(module)
        if (use.name.startswith("_") and not use.name.startswith("__")) or "._" in use.module
    ]
    assert not wrong, wrong


def test_the_kernel_sees_arrays_only():
    """No units, names or objects: numpy, numba, and the numbering of tables, which is as bare as itself."""
    bare = {"__future__", "math", "collections", "collections.abc", "typing", "numpy"}
    for module, allowed in (
        ("coldside.plant.layout", bare),
        ("coldside.plant.kernel", bare | {"coldside.plant.compiling", "coldside.plant.layout"}),
    ):
        taken = set()
        for node in ast.walk(tree(module)):
            if isinstance(node, ast.Import):
                taken |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                taken.add(node.module or "")
        assert taken <= allowed, f"{module} imports {sorted(taken - allowed)}"


def loaded_after(statement: str) -> set[str]:
    """Top-level packages present in a fresh interpreter after `statement`."""
    code = f"{statement}\nimport json, sys\nprint(json.dumps(sorted({{m.split('.')[0] for m in sys.modules}})))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(json.loads(run.stdout.splitlines()[-1]))


def test_importing_coldside_loads_nothing_heavy():
    assert not loaded_after("import coldside") & {*HEAVY, "numpy"}


@pytest.mark.parametrize("command", [["--help"], ["forecast", "--help"], ["--version"]])
def test_help_loads_no_solver(command):
    statement = (
        "import sys, contextlib, io\n"
        f"sys.argv = ['coldside', *{command!r}]\n"
        "from coldside.cli import main\n"
        "with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n    main()"
    )
    assert not loaded_after(statement) & {"numba", "scipy"}


def test_help_starts_quickly():
    """Under 0.4 s (`architecture` goal), best of five, in processor time so that a busy machine does not decide."""
    resource = pytest.importorskip("resource", reason="processor time of a child process: not on Windows")

    def spent() -> float:
        usage = resource.getrusage(resource.RUSAGE_CHILDREN)
        return usage.ru_utime + usage.ru_stime

    times = []
    for _ in range(5):
        before = spent()
        statement = "import sys; sys.argv = ['coldside', '--help']; from coldside.cli import main; main()"
        subprocess.run([sys.executable, "-c", statement], capture_output=True, check=True)
        times.append(spent() - before)
    assert min(times) < 0.4, f"processor seconds of `coldside --help`: {times}"
