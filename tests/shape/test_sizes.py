"""Sizes: long modules and functions read worst. Limits are those of docs/ARCHITECTURE.md."""

from __future__ import annotations

import ast
from collections.abc import Iterator

from shape.source import layer, modules, public_callables, tree

MODULE_LINES = 900
FUNCTION_LINES = 60  # without its docstring
TWIN_LINES = 150  # the kernel's readable twin, which runs straight down in the kernel's order
KERNEL_LINES = 300  # and the kernel itself: taken apart, its array look-ups made it 2.6 times slower (measured)
ARGUMENTS = 8  # that a caller of a public function may give by position; aim at 6, else pass the specification


def functions(module: str) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    """Every function and method of a module, private and nested ones too, with "module:line name"."""
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield f"{module}:{node.lineno} {node.name}", node


def body_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function without its docstring and decorators."""
    first = node.body[0]
    has_doc = (
        isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant) and isinstance(first.value.value, str)
    )
    doc = (first.end_lineno or first.lineno) - first.lineno + 1 if has_doc else 0
    return (node.end_lineno or node.lineno) - node.lineno + 1 - doc


def function_limit(module: str) -> int:
    """Longest function of a module, in lines."""
    return {"coldside.plant.kernel": KERNEL_LINES, "coldside.plant.reference": TWIN_LINES}.get(module, FUNCTION_LINES)


def test_modules_are_not_too_long():
    long = {
        module: lines
        for module, file in modules().items()
        if (lines := len(file.read_text(encoding="utf-8").splitlines())) > MODULE_LINES
    }
    assert not long, long


def test_functions_are_not_too_long():
    long = {}
    for module in modules():
        limit = function_limit(module)
        long |= {name: lines for name, node in functions(module) if (lines := body_lines(node)) > limit}
    assert not long, long


def test_public_functions_take_few_arguments():
    """But for commands, whose arguments are the options that a user types, and what is compiled, which takes arrays."""
    many = {}
    for module in (name for name in modules() if name != "coldside.plant.kernel" and layer(name) != "cli"):
        for name, node in public_callables(module):
            if isinstance(node, ast.ClassDef) or any("njit" in ast.unparse(mark) for mark in node.decorator_list):
                continue
            args = [arg for arg in (*node.args.posonlyargs, *node.args.args) if arg.arg not in ("self", "cls")]
            if len(args) > ARGUMENTS:
                many[f"{module}:{node.lineno} {name}"] = len(args)
    assert not many, many


def test_everything_public_says_what_it_is():
    silent = [module for module in modules() if not ast.get_docstring(tree(module))]
    silent += [
        f"{module}:{node.lineno} {name}"
        for module in modules()
        for name, node in public_callables(module)
        if not ast.get_docstring(node)
    ]
    assert not silent, silent


def test_no_module_has_a_name_that_says_nothing():
    empty = {"utils", "util", "helpers", "common", "core", "base", "manager", "misc"}
    assert not [module for module in modules() if module.rsplit(".", 1)[-1] in empty]
