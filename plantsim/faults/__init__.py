"""Faults of a chamber as data: their kinds, whether they fit, a chamber that has them, a seeded draw of them."""

from plantsim.faults.draw import draw
from plantsim.faults.fault import Fault
from plantsim.faults.faulted import Faulted, in_chamber
from plantsim.faults.fit import Objection, Places, amount_of, objections, places_of
from plantsim.faults.kinds import KINDS, WIRE, Kind, kinds_of, said

__all__ = [
    "KINDS", "WIRE", "Fault", "Faulted", "Kind", "Objection", "Places", "amount_of", "draw", "in_chamber",
    "kinds_of", "objections", "places_of", "said",
]  # fmt: skip
