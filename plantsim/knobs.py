"""Knobs: constants of the chamber model that may change while it runs, each by name, with its bounds.

What turns a knob changes how strongly something flows, never what is stored, so the books close at every setting.
Putting back the value that was there restores the constants to the bit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from plantsim.kernel import layout as at
from plantsim.kernel.layout import Tables, Views
from plantsim.pack.fog import pack_fog
from plantsim.params import PlantParams


class Turnable(Protocol):
    """What has knobs: a chamber."""

    def knob(self, name: str) -> float:
        """The setting now."""
        ...

    def set_knob(self, name: str, value: float) -> None:
        """Turn it."""
        ...


@dataclass(frozen=True, slots=True)
class Knob:
    """lo, hi: bounds of its setting, in `unit` (`x` = times what the plant file says)."""

    unit: str
    lo: float
    hi: float
    what: str
    get: Callable[[], float]
    put: Callable[[float], None]


class Knobs:
    """The knobs of one chamber, over its live tables."""

    def __init__(self, params: PlantParams, c: Tables, v: Views, dt_s: float) -> None:
        self._params, self._c, self._v, self._dt_s = params, c, v, dt_s
        self._turned: dict[str, float] = {}
        self._loss, self._leak, self._share = c.wall[at.L_OUT_W_K].copy(), c.cell[at.C_LEAK].copy(), c.share.copy()
        self.known: dict[str, Knob] = {**self._scalars(), **self._factors(), **self._of_bays()}

    def get(self, name: str) -> float:
        """The setting of a knob. KeyError with the known names."""
        return self._find(name).get()

    def set(self, name: str, value: float) -> None:
        """Turn a knob. KeyError with the known names; ValueError with its bounds."""
        knob = self._find(name)
        if not knob.lo <= value <= knob.hi:
            raise ValueError(f"knob {name} {value}: must be {knob.lo:g} to {knob.hi:g} {knob.unit}, {knob.what}")
        knob.put(value)

    def _find(self, name: str) -> Knob:
        if name not in self.known:
            raise KeyError(f"{name} is no knob; known: {', '.join(sorted(self.known))}")
        return self.known[name]

    def _scalars(self) -> dict[str, Knob]:
        """Knobs that are one constant of the kernel."""
        k = self._c.k
        made = {
            name: _entry(k, index, unit, hi, what)
            for name, index, unit, hi, what in (
                ("fan_flow", at.K_FAN_FULL, "kg/s", 100.0, "flow of the fan at full speed"),
                ("heat_power", at.K_COIL_W, "W", 1e6, "heat given with the valve open"),
                ("vent_flow", at.K_VENT, "kg/s", 20.0, "flow through the open exhaust damper"),
                ("bank_a", at.K_BANK_A, "kg/h", 500.0, "fog of bank A"),
                ("bank_b", at.K_BANK_B, "kg/h", 500.0, "fog of bank B"),
                ("fog_water", at.K_FOG_T, "degC", 90.0, "temperature of the fog water"),
                ("frame_heat", at.K_FRAME_W, "W", 1e4, "heating of one door frame"),
            )
        }
        made["coil_water"] = _entry(self._v.gear, at.G_WATER_T, "degC", 120.0, "temperature of the heating water")
        return made

    def _factors(self) -> dict[str, Knob]:
        """Knobs over many entries, and droplets, from whose size two constants follow."""
        return {
            "envelope_loss": self._kept("envelope_loss", "x", 0.0, 20.0, 1.0, "heat loss of the envelope"),
            "leak": self._kept("leak", "x", 0.0, 100.0, 1.0, "air through cracks"),
            "droplet": self._kept("droplet", "um", 1.0, 500.0, self._params.fog.droplet_um, "size of fog droplets"),
        }

    def _of_bays(self) -> dict[str, Knob]:
        made = {}
        for bay in range(1, self._params.room.bays + 1):
            draught, air = f"draught_{bay}", f"bay_air_{bay}"
            made[draught] = self._kept(draught, "kg/s", 0.0, 10.0, 0.0, f"outdoor air blown into bay {bay}")
            made[air] = self._kept(air, "x", 0.01, 10.0, 1.0, f"what passes of its share of air through bay {bay}")
        return made

    def _kept(self, name: str, unit: str, lo: float, hi: float, now: float, what: str) -> Knob:
        self._turned[name] = now

        def put(value: float) -> None:
            self._turned[name] = value
            self._apply()

        return Knob(unit, lo, hi, what, lambda: self._turned[name], put)

    def _apply(self) -> None:
        """Bring the tables into line; a factor of 1 gives the very numbers of before."""
        turned, c, bays = self._turned, self._c, self._params.room.bays
        c.wall[at.L_OUT_W_K] = self._loss * turned["envelope_loss"]
        cells = c.cell[at.C_LEAK].reshape((bays, -1))
        cells[:] = (self._leak * turned["leak"]).reshape((bays, -1))
        cells += np.array([[turned[f"draught_{bay}"]] for bay in range(1, bays + 1)]) / cells.shape[1]
        passes = np.array([[turned[f"bay_air_{bay}"]] for bay in range(1, bays + 1)])
        if (passes == 1.0).all():
            c.share[:] = self._share
        else:
            share = (self._share.reshape((bays, -1)) * passes).ravel()
            c.share[:] = share / share.sum()
        self._apply_droplets(turned["droplet"])

    def _apply_droplets(self, droplet_um: float) -> None:
        """As the packing does it for a file with this size."""
        scratch = np.zeros_like(self._c.k)
        pack_fog(scratch, replace(self._params, fog=replace(self._params.fog, droplet_um=droplet_um)), self._dt_s)
        for index in (at.K_DROP_EVAPORATES, at.K_DROP_FALLS):
            self._c.k[index] = scratch[index]


def _entry(table: at.Floats, index: int, unit: str, hi: float, what: str) -> Knob:
    def put(value: float) -> None:
        table[index] = value

    return Knob(unit, 0.0, hi, what, lambda: float(table[index]), put)
