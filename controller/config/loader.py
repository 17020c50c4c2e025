"""Load any config class from TOML, or a table of them from CSV: strictly, with all problems at once.

    recipe = load("configs/recipes/gentle.toml", Recipe)
    points = load_table("configs/points/panel-a.csv", Point)

A config class is a frozen, slotted, keyword-only dataclass with annotated_types bounds; it knows nothing of files.
Unknown keys, NaN, infinity, dates and wrong types are refused; an int where a float is meant is fine. `read` and
`parse` also give the SHA-256 of the file's bytes, by which a recipe is known.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import ConfigDict, TypeAdapter, ValidationError

from controller.config import choice, files, tables, tomltext, words
from controller.errors import ConfigError, Problem

T = TypeVar("T")
PROBLEMS_MAX = 100


@dataclass(frozen=True, slots=True)
class Loaded(Generic[T]):
    """A valid file: its value, the SHA-256 of its bytes, where it came from and its text."""

    value: T
    sha256: str
    path: str
    text: str


def load(path: str | Path, cls: type[T]) -> T:
    """The config of a TOML file. Raises ConfigError with every problem of the file."""
    return read(path, cls).value


def load_table(path: str | Path, cls: type[T]) -> tuple[T, ...]:
    """The rows of a CSV file with a header. Raises ConfigError with every problem of the file."""
    return read_table(path, cls).value


def read(path: str | Path, cls: type[T]) -> Loaded[T]:
    """As `load`, with hash and text."""
    return parse(files.read_bytes(path), cls, str(path))


def read_table(path: str | Path, cls: type[T]) -> Loaded[tuple[T, ...]]:
    """As `load_table`, with hash and text."""
    return parse_table(files.read_bytes(path), cls, str(path))


def parse(data: bytes, cls: type[T], name: str) -> Loaded[T]:
    """The config in the bytes of a TOML file; `name` stands in the problems. Raises ConfigError."""
    text = files.decode(data, name)
    content = tomltext.read(text, name)
    problems = tomltext.unfit(content, name)
    value, found = _validate(content, cls, name)
    seen = {problem.field for problem in problems}
    problems += [problem for problem in found if problem.field not in seen]
    if problems:
        raise ConfigError(_bounded(problems, name))
    return Loaded(value, hashlib.sha256(data).hexdigest(), name, text)


def checked(value: T, name: str) -> T:
    """A config that was made or changed in the program, held to what its file may say. Raises ConfigError.

    `name` stands in the problems in place of a file's.
    """
    content = dataclasses.asdict(value)  # type: ignore[call-overload]  # config classes are dataclasses
    valid, problems = _validate(content, type(value), name)
    if problems:
        raise ConfigError(_bounded(problems, name))
    return valid


def parse_table(data: bytes, cls: type[T], name: str) -> Loaded[tuple[T, ...]]:
    """The rows in the bytes of a CSV file; lines with # above the header are comments. Raises ConfigError."""
    text = files.decode(data, name)
    rows, lines, problems = tables.read(text, cls, name)
    values: list[T] = []
    for row, line in zip(rows, lines, strict=True):
        value, found = _validate(row, cls, name)
        values.append(value)
        label = f"line {line}" + (f" ({row['tag']})" if "tag" in row else "")
        problems += [_in_row(problem, label) for problem in found]
        if len(problems) > PROBLEMS_MAX:
            break
    if problems:
        raise ConfigError(_bounded(problems, name))
    return Loaded(tuple(values), hashlib.sha256(data).hexdigest(), name, text)


@cache
def _adapter(cls: type[Any]) -> TypeAdapter[tuple[Any]]:
    """A validator of one `cls`. The tuple around it carries the strictness down into plain dataclasses, which
    take no config of their own, so that the core need not know pydantic."""
    config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)
    shape: Any = tuple[cls]  # type: ignore[valid-type]
    return TypeAdapter(shape, config=config)


def _validate(content: dict[str, Any], cls: type[T], name: str) -> tuple[T, list[Problem]]:
    """Validate by way of JSON: only there is strict mode willing to make tuples and dataclasses."""
    adapter: TypeAdapter[tuple[T]] = _adapter(cls)  # type: ignore[arg-type]  # a class is hashable
    content, chosen, problems = choice.settle(cls, content, name)
    try:
        return adapter.validate_json(json.dumps([content], default=str))[0], []
    except ValidationError as error:
        found = [item for item in error.errors(include_url=False) if choice.concerns(chosen, item["loc"][1:])]
    for item in found[: PROBLEMS_MAX + 1]:
        given, context = item["input"], item.get("ctx", {})
        if item["type"] == "too_short" and isinstance(given, list) and len(given) >= context["min_length"]:
            continue  # only its valid entries were counted; the others have problems of their own
        problems.append(words.problem(name, cls, item["loc"][1:], item["type"], given, context))
    return None, _once(problems)  # type: ignore[return-value]


def _in_row(problem: Problem, label: str) -> Problem:
    """A row's problem with its line, in the words of a table: it has cells, and no quotes."""
    remedy = "fill the cell" if problem.value == words.MISSING else problem.remedy.replace(" in quotes", "")
    limit = problem.limit.replace(" in quotes", "")
    return Problem(problem.file, f"{label}, {problem.field}", problem.value, limit, remedy)


def _once(problems: list[Problem]) -> list[Problem]:
    """One problem a place: the members of a union each report theirs."""
    return list({problem.field: problem for problem in reversed(problems)}.values())[::-1]


def _bounded(problems: list[Problem], name: str) -> list[Problem]:
    if len(problems) <= PROBLEMS_MAX:
        return problems
    more = f"more than {PROBLEMS_MAX} problems"
    last = Problem(name, "(whole file)", more, "the rest is not listed", "mend these first; is it the right file?")
    return [*problems[:PROBLEMS_MAX], last]


__all__ = ["Loaded", "checked", "load", "load_table", "parse", "parse_table", "read", "read_table"]
