"""What a validation says: where the data come from, what was fitted, and how far the model was off."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """Errors of a series over a window: mean absolute, root mean square, and mean of (model - measured)."""

    what: str
    unit: str
    values: int
    mae: float
    rmse: float
    bias: float
    predicted: bool  # False: parameters were fitted to this


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One figure, measured and from the model."""

    what: str
    unit: str
    measured: float
    model: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Validation:
    """state: `compared` (with data; how far off, see verdict) or `not validated` (why, see verdict)."""

    name: str
    state: str
    verdict: str
    data: str = ""
    licence: str = ""
    method: str = ""
    fitted: str = ""
    measures: tuple[Measure, ...] = ()
    pairs: tuple[Pair, ...] = ()
    plots: tuple[str, ...] = field(default=(), repr=False)  # SVG


def errors(what: str, unit: str, model: Any, measured: Any, *, predicted: bool) -> Measure:
    """The error measures of two series of equal length; NaN in the measured one is left out."""
    off = np.asarray(model, dtype=float) - np.asarray(measured, dtype=float)
    off = off[np.isfinite(off)]
    return Measure(
        what=what,
        unit=unit,
        values=int(off.size),
        mae=float(np.abs(off).mean()),
        rmse=float(np.sqrt((off * off).mean())),
        bias=float(off.mean()),
        predicted=predicted,
    )


def missing(name: str, why: str) -> Validation:
    """A validation that could not be made."""
    return Validation(name=name, state="not validated", verdict=f"Not validated: {why}.")
