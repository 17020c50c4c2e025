"""Measured series from files: read, and brought to common times."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from verification.measured import Vector

Series = dict[str, float]


def column(path: Path, name: str) -> Series:
    """One column of a CSV file with a header, by the text of its first column; what is no number is left out."""
    found: Series = {}
    with path.open(newline="", encoding="utf-8") as file:
        rows = csv.reader(file)
        place = next(rows).index(name)
        for row in rows:
            try:
                value = float(row[place])
            except (ValueError, IndexError):
                continue
            if np.isfinite(value):
                found[row[0]] = value
    return found


def common(*series: Series) -> tuple[Vector, list[Vector]]:
    """Hours counted from 0 at which all have a value, and the values of each then."""
    keys = sorted(set(series[0]).intersection(*series[1:]))
    return np.arange(len(keys), dtype=float), [np.array([one[key] for key in keys]) for one in series]
