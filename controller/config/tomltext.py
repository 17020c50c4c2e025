"""TOML text to plain data, and what TOML allows that our files do not: NaN, infinity, dates, deep nesting."""

from __future__ import annotations

import datetime as dt
import math
import re
import tomllib
from typing import Any

from controller.config import shapes
from controller.config.files import fault
from controller.errors import ConfigError, Problem

DEPTH_MAX = 16
WHOLE_MAX = 2**63 - 1

# What the parser says -> limit, remedy. First match wins.
_SYNTAX: tuple[tuple[str, str, str], ...] = (
    ("Cannot overwrite a value", "a key stands twice", "keep one of the two"),
    ("twice", "a table stands twice", "join the two into one"),
    ("Cannot mutate immutable", "adds to a table that is already closed", "write it inside the braces"),
    ("Cannot define", "a table or key stands twice", "keep one of the two"),
    ("Expected '=' after a key", "a key needs = and a value", "write key = value; comments begin with #"),
    ("(at end of document)", "the file ends before this is complete", "close what was opened: a quote, ] or }"),
    ("Invalid value", "is no value", 'texts need quotes: "..."; numbers a point, not a comma: 0.8'),
    ("Unterminated string", "a text is not closed", 'put the closing " at its end'),
    ("Illegal character '\\n'", "a text is not closed", 'put the closing " at its end of the same line'),
    ("Unclosed array", "a list is not closed", "put the closing ] at its end"),
    ("Unclosed inline table", "a table in braces is not closed", "put the closing } at its end"),
    ("Expected ']", "a table name is not closed", "write [name], or [[name]] for an entry of a list"),
    (
        "Expected newline or end of document",
        "more stands behind the value",
        "one value a line; 0.8 has a point, not a comma",
    ),
    ("Unescaped '\\'", "a \\ in a text has a meaning of its own", "write it twice, or use single quotes"),
    ("Invalid initial character for a key part", "is no key", "a key has letters, digits, _ and -"),
    ("Invalid statement", "is no key", "write key = value, or [name] for a table; comments begin with #"),
    ("Invalid date", "is no date", "texts need quotes"),
    ("Invalid hex", "is no number", "texts need quotes"),
    ("digits", "the number is too long", "write a shorter one"),
)
_SPOT = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


def read(text: str, name: str) -> dict[str, Any]:
    """The data of a TOML text. Raises ConfigError with line and remedy."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise fault(name, "(whole file)", "(nested)", f"at most {DEPTH_MAX} levels deep", "flatten it") from None
    except ValueError as error:
        raise _syntax_error(str(error), text, name) from None


def unfit(content: dict[str, Any], name: str) -> list[Problem]:
    """Problems of values that TOML allows and we do not. Such values are made None in `content`, so that the
    validation that follows still finds everything else."""
    problems: list[Problem] = []
    stack: list[tuple[Any, tuple[str | int, ...]]] = [(content, ())]
    while stack:
        holder, loc = stack.pop()
        pairs = list(holder.items() if isinstance(holder, dict) else enumerate(holder))
        for key, value in pairs:
            here = (*loc, key)
            if isinstance(value, dict | list):
                if len(here) < DEPTH_MAX:
                    stack.append((value, here))
                    continue
                limit, remedy = f"at most {DEPTH_MAX} levels deep", "flatten it"
            elif isinstance(value, dt.date | dt.time):
                limit, remedy = "dates and times are not used in these files", "write a number, or a text in quotes"
            elif isinstance(value, float) and not math.isfinite(value):
                limit, remedy = "must be a finite number", "write the number that is meant"
            elif isinstance(value, int) and abs(value) > WHOLE_MAX:
                limit, remedy = "too large a number", "write the number that is meant"
            else:
                continue
            problems.append(Problem(name, shapes.place(here), shapes.toml(value), limit, remedy))
            holder[key] = None
    return problems


def _syntax_error(message: str, text: str, name: str) -> ConfigError:
    spot = _SPOT.search(message)
    lines = text.splitlines()
    number = int(spot[1]) if spot and spot[1] else len(lines)
    line = lines[number - 1].strip() if 0 < number <= len(lines) else ""
    if not line and number > 1:
        line = lines[min(number, len(lines)) - 2].strip()
    shown = shapes.toml(line)[1:-1] if line else "(end of file)"
    for sign, limit, remedy in _SYNTAX:
        if sign in message:
            return fault(name, f"line {number}", shown, limit, remedy)
    said = _SPOT.sub("", message)
    return fault(name, f"line {number}", shown, f"cannot be read as TOML: {said}", "compare it with a shipped file")
