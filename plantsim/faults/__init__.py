"""Faults of a chamber as data: their kinds, whether they fit, a chamber that has them, a seeded draw of them.

What is only data needs neither numpy nor the kernel: files are checked where the chamber model is not installed. So
the drawing and the chamber that has faults are imported when they are first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from plantsim.faults.fault import Fault
from plantsim.faults.fit import Objection, Places, amount_of, objections, places_of
from plantsim.faults.kinds import KINDS, WIRE, Kind, kinds_of, said

if TYPE_CHECKING:
    from plantsim.faults.draw import draw
    from plantsim.faults.faulted import Faulted, in_chamber

__all__ = [
    "KINDS", "WIRE", "Fault", "Faulted", "Kind", "Objection", "Places", "amount_of", "draw", "in_chamber",
    "kinds_of", "objections", "places_of", "said",
]  # fmt: skip

_LATER = {"draw": "draw", "Faulted": "faulted", "in_chamber": "faulted"}


def __getattr__(name: str) -> Any:
    if name not in _LATER:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(import_module(f"{__name__}.{_LATER[name]}"), name)
    globals()[name] = found  # the module draw has the name of its function
    return found
