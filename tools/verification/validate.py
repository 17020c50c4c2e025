"""All validations, for which there are data and for which there are none."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from verification import cements, house, roof
from verification.measured import Validation, missing

# name -> what it makes of a folder of data
SERIES: dict[str, Callable[[Path], Validation]] = {house.NAME: house.compared, roof.NAME: roof.compared}


def validate(data: Path | None) -> list[Validation]:
    """Every validation; those of measured series need the folder, that of printed figures does not."""
    return [one(kind, name, data) for name, kind in SERIES.items()] + [cements.compared()]


def one(kind: Callable[[Path], Validation], name: str, data: Path | None) -> Validation:
    """A validation of series, or the reason why there is none."""
    if data is None:
        return missing(name, "no measured data were given (--data)")
    try:
        return kind(data)
    except FileNotFoundError as error:
        return missing(name, f"{error.filename} is not there")
