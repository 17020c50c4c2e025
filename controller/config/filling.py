"""Filling files (configs/fillings/*.csv): what is placed in the simulated chamber and taken from it, and its doors.

Columns time_h, what (open, close, place, take), bay, level, tonnes, degC, age_h, mix; an empty cell is left out. Rows
stand in the order of time; in the same second doors open, then batches are taken, then placed, then doors close.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, Len

from controller.config import files, tables
from controller.config.find import find
from controller.config.loader import Loaded, parse_table
from controller.errors import ConfigError, Problem

What = Literal["open", "close", "place", "take"]
_RANK: dict[What, int] = {"open": 0, "take": 1, "place": 2, "close": 3}


@dataclass(frozen=True, slots=True, kw_only=True)
class FillingRow:
    """One move. tonnes, degC, age_h (equivalent age at 20 degC) and mix belong to what is placed.

    mix: a name in the plant file; empty = its product section.
    """

    time_h: Annotated[float, Ge(0), Le(10_000)]
    what: What
    bay: Annotated[int, Ge(1), Le(99)]
    level: Annotated[int, Ge(1), Le(99)] | None = None
    tonnes: Annotated[float, Gt(0), Le(1000)] | None = None
    degC: Annotated[float, Ge(-20), Le(90)] | None = None
    age_h: Annotated[float, Ge(0), Le(10_000)] | None = None
    mix: Annotated[str, Len(0, 40)] = ""


def load_filling(name: str | Path) -> tuple[FillingRow, ...]:
    """The rows of a filling file, a demo name or a path. Raises ConfigError."""
    return read_filling(find("filling", name)).value


def read_filling(path: str | Path) -> Loaded[tuple[FillingRow, ...]]:
    """The rows of a filling file with its hash. Raises ConfigError with every problem of the file.

    What only the size of a chamber or its mixes can tell is found where they are known.
    """
    data = files.read_bytes(path)
    loaded = parse_table(data, FillingRow, str(path))
    _, lines, _ = tables.read(files.decode(data, str(path)), FillingRow, str(path))
    problems = _problems(list(zip(lines, loaded.value, strict=True)), str(path))
    if problems:
        raise ConfigError(problems)
    return loaded


def _problems(rows: list[tuple[int, FillingRow]], file: str) -> list[Problem]:
    """Each row by itself, then the order of time, then what stands where."""
    found = [problem for line, row in rows for problem in _odd(row, f"line {line}", file)]
    for (_, before), (line, row) in pairwise(rows):
        if row.time_h < before.time_h:
            limit = f"must be {before.time_h:g} or later: rows stand in the order of time"
            found.append(Problem(file, f"line {line}, time_h", f"{row.time_h:g}", limit, "sort the rows"))
    return found or _misplaced(rows, file)


def _odd(row: FillingRow, line: str, file: str) -> list[Problem]:
    """Cells that this kind of row needs, and cells that it may not have."""
    placed = row.what == "place"
    needs = {"level": placed or row.what == "take", "tonnes": placed, "degC": placed}
    given = {name: getattr(row, name) is not None for name in ("level", "tonnes", "degC", "age_h")}
    given["mix"] = row.mix != ""
    allows = {**needs, "age_h": placed, "mix": placed}
    found = []
    for name, there in given.items():
        if needs.get(name, False) and not there:
            found.append(Problem(file, f"{line}, {name}", "(missing)", f"{row.what} needs it", "fill the cell"))
        elif there and not allows[name]:
            value, limit = str(getattr(row, name)), f"{row.what} has none"
            found.append(Problem(file, f"{line}, {name}", value, limit, "empty the cell"))
    return found


def _misplaced(rows: list[tuple[int, FillingRow]], file: str) -> list[Problem]:
    """Doors and positions that already are what a row makes them. The chamber begins empty, its doors shut."""
    found = []
    inside: dict[tuple[int, int | None], int] = {}
    for line, row in sorted(rows, key=lambda pair: (pair[1].time_h, _RANK[pair[1].what], pair[1].bay)):
        where = (row.bay, row.level)
        since = inside.get(where)
        place = f"bay {row.bay}" + (f" level {row.level}" if row.level is not None else ", its door")
        comes = row.what in ("open", "place")
        if comes and since is not None:
            state, remedy = ("open", "close it first") if row.level is None else ("occupied", "take it out first")
            limit = f"is {state} since line {since}"
        elif not comes and since is None:
            state, remedy = ("shut", "open it first") if row.level is None else ("empty", "place something first")
            limit = f"is {state} at {row.time_h:g} h"
        else:
            inside[where] = line
            if not comes:
                del inside[where]
            continue
        found.append(Problem(file, f"line {line}, what", f"{row.what} {place}", limit, remedy))
    return found
