"""Names and problems of `dewhold check`, for people: bare names found, phases counted, equal problems said once."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from controller.config import words
from controller.config.files import fault
from controller.config.find import FOLDERS, SHIPPED, known
from controller.errors import Problem

VERDICT = "verdict"


def files_of(name: str) -> list[Path]:
    """The files of a name: the path itself, or every shipped file of a bare name. Raises ConfigError with the nearest
    name when a bare one is none."""
    bare = name.isprintable() and not set(name) & set("./\\") and bool(name)
    if not bare or os.path.exists(name):  # noqa: PTH110  # pathlib's raises for a name that is too long
        return [Path(name)]
    if name == VERDICT:
        return [SHIPPED / "verdict.toml"]
    files = [SHIPPED / FOLDERS[kind][0] / (name + FOLDERS[kind][1]) for kind in FOLDERS if name in known(kind)]
    if files:
        return files
    meant = words.closest(name, sorted({one for kind in FOLDERS for one in known(kind)}))
    remedy = (f"did you mean {meant}? " if meant else "") + "a bare name means a demo file, a path means yours"
    raise fault(name, "(whole file)", "(missing)", "there is no such file and no demo file of that name", remedy)


def unused(kinds: dict[str, str], used: set[str]) -> list[str]:
    """Point lists and devices that were given beside a chamber which names others. kinds: by file."""
    return [
        f"{name}: is used by no chamber given: write its name as `{'points' if kind == 'points' else 'device'}` there"
        for name, kind in kinds.items()
        if kind in ("points", "device") and name not in used
    ]


def lines(problems: Iterable[Problem], phases: dict[int, str]) -> list[str]:
    """A line a problem; the same one in many rows or fields is one line with their number.

    phases: kind of each phase by its number from 1, as far as it is known.
    """
    alike: dict[tuple[str, ...], list[Problem]] = {}
    for one in problems:
        alike.setdefault((one.field.rpartition(".")[2], one.value, one.limit, one.remedy), []).append(one)
    return [_line(group, phases) for group in alike.values()]


def _line(group: list[Problem], phases: dict[int, str]) -> str:
    first = group[0]
    where = words.place(first.field, phases)
    more = f" and {len(group) - 1} more like it" if len(group) > 1 else ""
    said = f"{first.limit}; {first.remedy}"
    if where.startswith("("):  # of the file as a whole: no field has this value
        return said if first.value.startswith("(") else f"{first.value}: {said}"
    return f"{where}{more} = {first.value}: {said}"
