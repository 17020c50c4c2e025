"""A chamber's moment as plain arrays: put into a new chamber of the same making, it goes on from there to the bit.

The same making: parameters, charge, weather, step and filling. The seed may be another one: noise is counted, not kept.
Knobs turned and switches in hand are no part of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plantsim.agenda import Agenda
from plantsim.doors import Doors
from plantsim.loads import Loads

Memory = Mapping[str, NDArray[Any]]


def of_parts(tables: Memory, loads: Loads, doors: Doors, numbers: Mapping[str, Any]) -> dict[str, NDArray[Any]]:
    """Copies of everything that goes on."""
    kept = {**tables, **_of_loads(loads), **doors.memory(), **numbers, "mix": loads.mix.astype(str)}
    return {name: np.array(value) for name, value in kept.items()}


def into_parts(memory: Memory, tables: Memory, loads: Loads, doors: Doors, agenda: Agenda) -> None:
    """Put it back in place. ValueError when it is another chamber's."""
    places = {**tables, **_of_loads(loads), **doors.memory()}
    for name, place in places.items():
        if name not in memory or memory[name].shape != place.shape:
            raise ValueError(f"this is the moment of another chamber: {name} does not fit")
    for name, place in places.items():
        place[...] = memory[name]
    agenda.take_due(int(memory["number"]) - 1)


def _of_loads(loads: Loads) -> dict[str, NDArray[Any]]:
    return {"tonnes": loads.tonnes, "placed_s": loads.placed_s, "mix": loads.mix}
