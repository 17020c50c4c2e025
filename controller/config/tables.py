"""CSV text to rows of plain data, converted by the types of the class that the rows will become."""

from __future__ import annotations

import csv
import io
import re
from typing import Any

from controller.config import shapes, words
from controller.config.files import fault
from controller.errors import ConfigError, Problem

_WHOLE = re.compile(r"[+-]?\d{1,18}$")
_NUMBER = re.compile(r"[+-]?(\d{1,40}\.?\d{0,40}|\.\d{1,40})([eE][+-]?\d{1,2})?$")


def read(text: str, cls: type[Any], name: str) -> tuple[list[dict[str, Any]], list[int], list[Problem]]:
    """Rows as {column: value}, the line of each, and the problems of the table itself. Raises ConfigError.

    An empty cell is left out, so that the class's default stands; numbers become numbers where the class wants them.
    """
    body, skipped = _without_comments(text)
    reader = csv.reader(io.StringIO(body, newline=""), strict=True)
    try:
        records = [(reader.line_num + skipped, cells) for cells in reader]
    except csv.Error as error:
        raise fault(
            name, f"line {reader.line_num + skipped}", "(unreadable)", f"is no CSV: {error}", "check its quotes"
        ) from None
    records = [(line, cells) for line, cells in records if any(cell.strip() for cell in cells)]
    if not records:
        raise fault(name, "(whole file)", "(empty)", "has no header line", "start from one of the shipped files")
    header = [cell.strip() for cell in records[0][1]]
    problems = _header_problems(header, cls, name, records[0][0])
    if problems:
        raise ConfigError(problems)
    if len(records) == 1:
        raise fault(name, "(whole file)", "(no rows)", "has a header and nothing below it", "add the rows")
    return _rows(records[1:], header, cls, name)


def first_line(text: str) -> list[str]:
    """The cells of the header, as far as they can be told without a class."""
    body, _ = _without_comments(text)
    return [cell.strip() for cell in body.split("\n", 1)[0].split(",")]


def _rows(
    records: list[tuple[int, list[str]]], header: list[str], cls: type[Any], name: str
) -> tuple[list[dict[str, Any]], list[int], list[Problem]]:
    rows: list[dict[str, Any]] = []
    lines: list[int] = []
    problems: list[Problem] = []
    kinds = [shapes.number_type(shapes.at(cls, (column,))) for column in header]
    for line, cells in records:
        if len(cells) != len(header):
            limit = f"needs {len(header)} cells as the header"
            remedy = "count the commas; a text with a comma needs quotes"
            problems.append(Problem(name, f"line {line}", f"{len(cells)} cells", limit, remedy))
            continue
        pairs = zip(header, kinds, cells, strict=True)
        rows.append({column: _cell(cell.strip(), kind) for column, kind, cell in pairs if cell.strip()})
        lines.append(line)
    return rows, lines, problems


def _without_comments(text: str) -> tuple[str, int]:
    """The text from its header on, and the number of comment lines above it."""
    lines = text.splitlines(keepends=True)
    skipped = 0
    while skipped < len(lines) and (lines[skipped].startswith("#") or not lines[skipped].strip()):
        skipped += 1
    return "".join(lines[skipped:]), skipped


def _header_problems(header: list[str], cls: type[Any], name: str, line: int) -> list[Problem]:
    known = shapes.keys(cls)
    field = f"line {line} (header)"
    if len(header) == 1 and (";" in header[0] or "\t" in header[0]):
        limit = "columns are separated by something else than commas"
        return [Problem(name, field, shapes.toml(header[0]), limit, "save it as comma-separated")]
    problems = []
    for column in header:
        if column not in known:
            meant = words.closest(column, known)
            remedy = f"did you mean {meant}?" if meant else f"remove it; known: {words.listed(known)}"
            problems.append(Problem(name, field, shapes.toml(column), "unknown column", remedy))
    twice = [column for column in dict.fromkeys(header) if header.count(column) > 1]
    absent = [column for column in shapes.required(cls) if column not in header]
    problems += [Problem(name, field, column, "the column stands twice", "remove one") for column in twice]
    problems += [Problem(name, field, words.MISSING, f"needs a column {column}", "add it") for column in absent]
    return problems


def _cell(text: str, kind: type | None) -> Any:
    """A cell as the type the class wants, or as text when it is not one (the validation then says so)."""
    if kind in (int, float) and _WHOLE.match(text):
        return int(text)
    if kind in (int, float) and _NUMBER.match(text):
        return float(text)
    if kind is bool and text in ("true", "false"):
        return text == "true"
    return text
