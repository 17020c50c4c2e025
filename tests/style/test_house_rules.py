"""What linters do not look at: sizes, docstrings, sources of parameters, words that do not belong here."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

FILE_LINES_MAX = 350
FUNCTION_LINES_MAX = 60

# Pure modules may not reach the world even through the standard library; the import contracts name the big ones.
IMPURE = {
    "asyncio", "datetime", "io", "logging", "multiprocessing", "numba", "numpy", "os", "pathlib", "pydantic", "random",
    "secrets", "socket", "sqlite3", "structlog", "subprocess", "sys", "tempfile", "threading", "time", "uuid",
}
# Writes out constructors at import and compiles them, as the dataclasses module does.
WRITES_CONSTRUCTORS = "controller/core/quick.py"
IMPURE_CALLS = {"open", "print", "input", "eval", "exec", "__import__"}

# Absolute paths of one machine, and notes to ourselves. Brackets keep the patterns from finding themselves.
BANNED = re.compile(r"(?<![\w.$}~])/(?:home|root|work|t[m]p)/\w|\b(?:T[O]DO|FIX[M]E|X[X]X)\b")
# Where a number of the chamber model may come from.
SOURCE = re.compile(r"#.*(source|doi|assumed|common practice|from memory|computed|standard|data sheet)", re.IGNORECASE)
# The cache of compiled code is named after its own sources, which it reads.
MAY_READ = {"plantsim/kernel/__init__.py"}
READS = ("open", "read_text", "write_text", "read_bytes", "write_bytes")


def functions(tree: ast.AST, prefix: str = "") -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    """Every function with its dotted name, methods and inner ones included."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield prefix + node.name, node
            yield from functions(node, f"{prefix}{node.name}.")
        elif isinstance(node, ast.ClassDef):
            yield from functions(node, f"{prefix}{node.name}.")
        else:
            yield from functions(node, prefix)


def test_files_stay_short(texts: dict[str, str]) -> None:
    long = {
        name: lines
        for name, text in texts.items()
        if name.endswith(".py") and (lines := text.count("\n")) > FILE_LINES_MAX
    }
    assert not long, f"split these where an idea ends: {long}"


def test_functions_stay_short(modules: dict[str, ast.Module]) -> None:
    long = [
        f"{name}: {function} has {lines} lines"
        for name, tree in modules.items()
        for function, node in functions(tree)
        if (lines := (node.end_lineno or 0) - node.lineno + 1) > FUNCTION_LINES_MAX
    ]
    assert not long, "\n".join(long)


def test_what_others_use_says_what_it_is(modules: dict[str, ast.Module]) -> None:
    """Public modules, classes, functions and methods have a docstring; overloads and nested functions need none."""
    silent = [name for name, tree in modules.items() if tree.body and not ast.get_docstring(tree)]
    for name, tree in modules.items():
        for node in tree.body:
            silent += [f"{name}: {missing}" for missing in _undocumented(node)]
    assert not silent, "\n".join(silent)


def test_the_core_reaches_nothing_outside(modules: dict[str, ast.Module]) -> None:
    impure = []
    for name, tree in modules.items():
        if not name.startswith("controller/core/") or name == WRITES_CONSTRUCTORS:
            continue
        for node in ast.walk(tree):
            impure += [f"{name}:{node.lineno} {what}" for what in _reaches(node)]  # type: ignore[attr-defined]
    assert not impure, "\n".join(impure)


def test_the_chamber_model_opens_no_files(modules: dict[str, ast.Module]) -> None:
    opens = [
        f"{name}:{node.lineno}"
        for name, tree in modules.items()
        if name.startswith("plantsim/") and name not in MAY_READ
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and _name_of(node) in READS
    ]
    assert not opens, "\n".join(opens)


def test_every_parameter_of_the_chamber_model_has_its_source(root: Path) -> None:
    """Each number has its source on its line, or in the comment above the lines it stands among."""
    bare = []
    for path in sorted((root / "configs" / "plants").glob("*.toml")):
        covered = False
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            text = line.strip()
            if text.startswith("#"):
                covered = covered or bool(SOURCE.search(text))
            elif text.startswith("[") and not text.startswith("[["):
                covered = False
            elif re.search(r"= *[-\d[].*\d|= *\d", text) and not SOURCE.search(text) and not covered:
                bare.append(f"{path.name}:{number} {text}")
    assert not bare, "\n".join(bare)


def test_no_word_that_does_not_belong_here(texts: dict[str, str]) -> None:
    found = [
        f"{name}:{number} {line.strip()[:80]}"
        for name, text in texts.items()
        for number, line in enumerate(text.splitlines(), 1)
        if BANNED.search(line)
    ]
    assert not found, "\n".join(found)


def test_every_test_can_fail(texts: dict[str, str]) -> None:
    """A test asserts, expects an exception, or calls a helper of its own file or of numpy that does."""
    idle = []
    for name, text in texts.items():
        if not (name.startswith("tests/") and name.split("/")[-1].startswith("test_") and name.endswith(".py")):
            continue
        tree = ast.parse(text)
        checks = _checkers(tree)
        for function, node in functions(tree):
            if function.split(".")[-1].startswith("test_") and not _checks(node, checks):
                idle.append(f"{name}: {function}")
    assert not idle, "\n".join(idle)


def _undocumented(node: ast.stmt) -> list[str]:
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        return [] if node.name.startswith("_") or ast.get_docstring(node) else [node.name]
    if not isinstance(node, ast.ClassDef) or node.name.startswith("_"):
        return []
    missing = [] if ast.get_docstring(node) else [node.name]
    methods = [child for child in node.body if isinstance(child, ast.FunctionDef)]
    return missing + [
        f"{node.name}.{method.name}"
        for method in methods
        if not method.name.startswith("_") and not ast.get_docstring(method) and not _is_stub(method)
    ]


def _is_stub(node: ast.FunctionDef) -> bool:
    """The body is only `...`: a member of a protocol that its class describes."""
    return all(isinstance(line, ast.Expr) and isinstance(line.value, ast.Constant) for line in node.body)


def _reaches(node: ast.AST) -> list[str]:
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names if alias.name.split(".")[0] in IMPURE]
    if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] in IMPURE:
        return [node.module]
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in IMPURE_CALLS:
        return [f"{node.func.id}()"]
    return []


def _checkers(tree: ast.Module) -> set[str]:
    """Functions of a test file that check something, directly or through one another."""
    found: set[str] = set()
    while True:
        more = {name.split(".")[-1] for name, node in functions(tree) if _checks(node, found)} - found
        if not more:
            return found
        found |= more


def _checks(node: ast.AST, helpers: set[str]) -> bool:
    for child in ast.walk(node):
        if isinstance(child, ast.Assert):
            return True
        if isinstance(child, ast.Call):
            name = _name_of(child)
            if name in helpers or name in ("raises", "fail", "dumps") or name.startswith("assert_"):
                return True  # json.dumps refuses what is not plain
    return False


def _name_of(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
