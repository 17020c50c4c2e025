"""What is true in the chamber model as a CSV file, a row a minute, written while the model runs."""

from __future__ import annotations

import csv
from pathlib import Path
from types import TracebackType

import numpy as np
from numpy.typing import NDArray

from controller.errors import UnavailableError
from plantsim.truth import COLUMN, COLUMNS, surface_name

Rows = NDArray[np.float64]
_SURFACE = COLUMN["dew_margin_surface"]
_HEAD = ("time_s", *COLUMNS)
_OWN = ",".join(_HEAD[:2]) + ","  # a file of another version may have other columns after these


class TruthFile:
    """Means over a minute of every column of the truth; the limiting surface is that of the last step, in words.

    time_s is the model's time at the end of the minute. The last row may stand for less than a minute.
    """

    def __init__(self, path: Path, dt_s: float, bays: int, levels: int, depth: int = 1) -> None:
        """Begin the file anew. Raises UnavailableError when it cannot be written."""
        self._path, self._dt_s, self._place = path, dt_s, (bays, levels, depth)
        self._steps = max(1, round(60.0 / dt_s))
        self._kept: Rows = np.empty((0, len(COLUMNS)))
        self._time_s = 0.0
        try:
            self._file = path.open("w", encoding="utf-8", newline="")
        except OSError as error:
            raise self._trouble(error) from None
        self._csv = csv.writer(self._file, lineterminator="\n")
        self._csv.writerow(_HEAD)

    def __enter__(self) -> TruthFile:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def add(self, rows: Rows) -> None:
        """Take steps x columns; whole minutes are written at once."""
        kept = np.concatenate([self._kept, rows])
        whole = len(kept) // self._steps * self._steps
        for first in range(0, whole, self._steps):
            self._write(kept[first : first + self._steps])
        self._kept = kept[whole:]
        self._flush()

    def close(self) -> None:
        """Write what is left and close the file."""
        if len(self._kept):
            self._write(self._kept)
            self._kept = self._kept[:0]
        self._flush()
        self._file.close()

    def _write(self, rows: Rows) -> None:
        self._time_s += len(rows) * self._dt_s
        row: list[object] = [f"{mean:.6g}" for mean in rows.mean(axis=0)]
        row[_SURFACE] = surface_name(int(rows[-1, _SURFACE]), *self._place)
        try:
            self._csv.writerow((f"{self._time_s:g}", *row))
        except OSError as error:
            raise self._trouble(error) from None

    def _flush(self) -> None:
        try:
            self._file.flush()
        except OSError as error:
            raise self._trouble(error) from None

    def _trouble(self, error: OSError) -> UnavailableError:
        return UnavailableError(
            f"the file {self._path} cannot be written: {error.strerror}; free space or give another --truth"
        )


def is_truth(path: Path) -> bool:
    """Whether this is a file of ours, by its head; one that cannot be read is not."""
    try:
        with path.open("rb") as file:
            return file.read(len(_OWN)) == _OWN.encode()
    except OSError:
        return False
