"""What is kept in tests/mutation: survivors with the reason for each, scores, and a sample for the gate."""

from __future__ import annotations

import ast
import json
import textwrap
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from mutation.mutants import Key, Mutant

SURVIVORS_HEAD = """\
# Mutants that no test notices, in groups that share a reason. Written by `sh tools/mutants --write`, which leaves the
# reasons as they are and puts what is new into a group without one; write it in, or a test that notices.
# equivalent: nothing that anybody could observe differs, so no test can be written; they count as survivors all the
# same in `pct`, and are left out of `pct_without_equivalent`.
# A mutant: file in controller/core, function, the lines as they are, as they become, which of several alike.
"""
SAMPLE_HEAD = """\
# Slips that the gate tries (`sh tools/mutants --sample`), drawn by `sh tools/mutants --draw N --seed S` from all of
# them: first those that one test alone notices, so that it shows when this test goes soft.
# Each: file in controller/core, function, the line as it is, as it becomes, the test that noticed.
"""
Row = tuple[str, str, str, str, str]


@dataclass
class Group:
    """Survivors with one reason."""

    reason: str
    equivalent: bool
    mutants: list[Key]


def read_survivors(path: Path) -> tuple[dict[str, dict[str, float]], list[Group]]:
    """Scores by subject, and the groups."""
    if not path.exists():
        return {}, []
    read = tomllib.loads(path.read_text(encoding="utf-8"))
    groups = [
        Group(group["reason"], group["equivalent"], [(*mutant[:4], mutant[4]) for mutant in group["mutants"]])
        for group in read.get("group", [])
    ]
    return read.get("score", {}), groups


def write_survivors(path: Path, scores: dict[str, dict[str, float]], groups: Iterable[Group]) -> None:
    """The file, its groups as they come, without empty ones."""
    lines = [SURVIVORS_HEAD]
    for subject, score in scores.items():
        lines += [f"[score.{subject}]", *[f"{name} = {value:g}" for name, value in score.items()], ""]
    for group in groups:
        if group.mutants:
            lines += ["[[group]]", f"reason = {_text(group.reason)}", f"equivalent = {str(group.equivalent).lower()}"]
            lines += ["mutants = [", *[f"  {_row(mutant)}," for mutant in sorted(group.mutants)], "]", ""]
    path.write_text("\n".join(lines), encoding="utf-8")


def sorted_in(groups: list[Group], survivors: set[Key], judged: set[str]) -> list[Group]:
    """The groups with what survives now. judged: files that were tried; what is listed of others stays."""
    listed = {mutant for group in groups for mutant in group.mutants}
    after = [
        Group(group.reason, group.equivalent,
              [mutant for mutant in group.mutants if mutant in survivors or mutant[0] not in judged])
        for group in groups
    ]
    fresh = sorted(survivors - listed)
    return [*after, Group("", False, fresh)]


def tidy(path: Path, core: Path) -> None:
    """Drop survivors whose code is gone; scores stay those of the last run."""
    scores, groups = read_survivors(path)
    for group in groups:
        group.mutants = [mutant for mutant in group.mutants if is_there(core, *mutant[:3])]
    write_survivors(path, scores, groups)


def read_sample(path: Path) -> list[Row]:
    """Mutants of the gate, none before the first were drawn."""
    return [(*row,) for row in tomllib.loads(path.read_text(encoding="utf-8"))["mutants"]] if path.exists() else []


def write_sample(path: Path, rows: Iterable[Row]) -> None:
    """The file of the sample."""
    lines = [f"  {_row(row)}," for row in sorted(rows)]
    path.write_text("\n".join([SAMPLE_HEAD, "mutants = [", *lines, "]", ""]), encoding="utf-8")


def is_there(core: Path, file: str, function: str, lines: str) -> bool:
    """Is this still a part of that function?"""
    have = [line.strip() for line in function_text(core, file, function).splitlines()]
    return all(line in have for line in lines.splitlines())


def as_mutant(core: Path, folder: str, file: str, function: str, was: str, becomes: str) -> Mutant:
    """A mutant of one line made from the list alone, without the tool that found it."""
    made, done = [], False
    for line in function_text(core, file, function).splitlines():
        if line.strip() == was and not done:
            line, done = line.replace(was, becomes), True
        made.append(line)
    return Mutant(f"{folder}/{file}", function, was, becomes, 1, "\n".join(made) + "\n")


def function_text(core: Path, file: str, function: str) -> str:
    """The source of a function by its dotted name, "" when there is none."""
    return _functions(core / file).get(function, "")


@lru_cache
def _functions(path: Path) -> dict[str, str]:
    if not path.exists():
        return {}
    text = path.read_text(encoding="utf-8")
    found: dict[str, str] = {}
    for node in ast.parse(text).body:
        inside = node.body if isinstance(node, ast.ClassDef) else [node]
        for one in inside:
            if isinstance(one, ast.FunctionDef):
                name = one.name if node is one else f"{node.name}.{one.name}"  # type: ignore[attr-defined]
                segment = ast.get_source_segment(text, one, padded=True) or ""
                found[name] = textwrap.dedent(segment)
    return found


def _row(values: Iterable[str | int]) -> str:
    return f"[{', '.join(_text(value) if isinstance(value, str) else str(value) for value in values)}]"


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False)
