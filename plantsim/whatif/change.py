"""Changing one number of the parameters by its name, wherever it stands."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from plantsim.params import PlantParams
from plantsim.whatif.case import Change, Strike


@dataclass(frozen=True, slots=True)
class Changed:
    """A number before and after."""

    what: str
    before: float
    after: float

    def __str__(self) -> str:
        return f"{self.what} {self.before:.6g} -> {self.after:.6g}"


def number(entry: Change | Strike, amount: float | None) -> float:
    """What the amount of a case becomes at an entry. ValueError where it needs an amount that there is not.

    ZeroDivisionError, OverflowError and TypeError for an amount that has no such power.
    """
    if entry.by is not None:
        return entry.by
    if amount is None:
        raise ValueError("needs an amount")
    return float(amount**entry.power)


def after(change: Change, before: float, amount: float | None) -> float:
    """The changed number."""
    by = number(change, amount)
    return {"times": before * by, "plus": before + by, "minus": before - by, "becomes": by}[change.how]


def changed(params: PlantParams, change: Change, amount: float | None) -> tuple[PlantParams, Changed]:
    """The parameters with one number changed. KeyError with what is known where there is none of that name.

    Whether the new number is within its bounds is asked where it is read, as for a file.
    """
    path = change.what.split(".")
    before = field_of(params, path)
    value = after(change, before, amount)
    return _put(params, path, value), Changed(change.what, before, value)


def field_of(params: PlantParams, path: Sequence[str]) -> float:
    """The number at a place. KeyError that says how far the path goes, and what is there."""
    here: Any = params
    for number_of, step in enumerate(path):
        known = [field.name for field in dataclasses.fields(here)] if dataclasses.is_dataclass(here) else []
        if step not in known:
            raise KeyError(_astray(path[:number_of], here, known))
        here = getattr(here, step)
    if isinstance(here, bool) or not isinstance(here, int | float):
        raise KeyError(f"{'.'.join(path)} is no number")
    return float(here)


def _astray(path: Sequence[str], here: Any, known: Sequence[str]) -> str:
    kind = getattr(here, "kind", None)
    where = ".".join(path) or "a plant file"
    of_kind = f' of kind "{kind}"' if kind else ""
    return f"{where}{of_kind} has " + (", ".join(known) if known else "nothing below it")


def _put(here: Any, path: Sequence[str], value: float) -> Any:
    if not path:
        return int(value) if isinstance(here, int) and value == int(value) else value
    return dataclasses.replace(here, **{path[0]: _put(getattr(here, path[0]), path[1:], value)})
