"""Every outside check says where its expected value comes from, and a run says how many are really outside.

published: a value seen in print, in a data set or in somebody else's tests.  library: what an outside library gives.
recomputed: anybody can compute it again from the formula named, but nobody outside said so.  memory: not looked up.
"""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

SOURCE = re.compile(r"(published|library|recomputed|memory): \S")


def test_every_outside_check_says_its_source_and_of_which_class_it_is(texts: dict[str, str]) -> None:
    """Goal: nothing recomputed or remembered passes for outside. Method: every use of the mark anywhere in the tests
    begins with a class; in tests/outside every test has the mark."""
    wrong, seen = [], 0
    for name, text in texts.items():
        if not (name.startswith("tests/") and Path(name).name.startswith("test_") and name.endswith(".py")):
            continue
        names = constants(tree := ast.parse(text))
        for test in cases_of(tree):
            sources = [beginning(mark.args[0], names) for mark in marks(test, names)]
            seen += len(sources)
            if name.startswith("tests/outside/") and not sources:
                wrong.append(f"{name}:{test.lineno} {test.name} has no mark")
            wrong += [f"{name}:{test.lineno} {source!r}" for source in sources if not SOURCE.match(source)]
    assert seen > 60
    assert not wrong, "\n".join(wrong)


def test_the_end_of_a_run_counts_outside_checks_by_class(root: Path) -> None:
    """Goal: it counts what ran, and with workers too. Method: a run of one small file with a worker."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST")}
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-n", "1", "tests/outside/test_strength.py"]
    done = subprocess.run(command, cwd=root, env=environment, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    said = "2 cases of 2 tests (2 published, 0 library); not counted: 5 recomputed, 0 from memory"
    assert f"outside checks passed: {said}" in done.stdout


def cases_of(tree: ast.Module) -> Iterator[ast.FunctionDef]:
    """Test functions of a module."""
    return (node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"))


def constants(tree: ast.Module) -> dict[str, ast.expr]:
    """What the names of a module stand for, where they are assigned once and for all."""
    return {
        target.id: node.value
        for node in tree.body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }


def marks(test: ast.FunctionDef, names: dict[str, ast.expr]) -> list[ast.Call]:
    """The outside marks of a test: its own, by name or written out, and its module's."""
    given = [*test.decorator_list, *([names["pytestmark"]] if "pytestmark" in names else [])]
    resolved = [names.get(mark.id) if isinstance(mark, ast.Name) else mark for mark in given]
    return [mark for mark in resolved if isinstance(mark, ast.Call) and ast.unparse(mark.func) == "pytest.mark.outside"]


def beginning(text: ast.expr, names: dict[str, ast.expr]) -> str:
    """First constant part of a text, through names, f-strings and format()."""
    if isinstance(text, ast.Constant):
        return str(text.value)
    if isinstance(text, ast.Name) and text.id in names:
        return beginning(names[text.id], names)
    if isinstance(text, ast.JoinedStr):
        return beginning(text.values[0], names)
    if isinstance(text, ast.FormattedValue):
        return beginning(text.value, names)
    if isinstance(text, ast.Call) and isinstance(text.func, ast.Attribute) and text.func.attr == "format":
        return beginning(text.func.value, names)
    return ""
