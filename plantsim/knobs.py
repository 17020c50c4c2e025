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
from plantsim.kernel.layout import Floats, Tables, Views
from plantsim.pack.fog import pack_fog
from plantsim.params import PlantParams
from plantsim.params.fog import Spray


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
        self._params, self._c, self._dt_s = params, c, dt_s
        self._full = c.k.copy()
        self._loss, self._leak, self._share = c.wall[at.L_OUT_W_K].copy(), c.cell[at.C_LEAK].copy(), c.share.copy()
        self._ways = {row: c.cell[row].copy() for row in _WAYS}
        self._set: dict[str, float] = {}
        self._knobs: dict[str, Knob] = {
            **{name: self._of_constants(name, what, indices) for name, (what, indices) in _CONSTANTS.items()},
            "valve_leak": _entry(c.k, at.K_VALVE_LEAK, "", 1.0, "share of the full flow past a shut valve"),
            "fog_water": _entry(c.k, at.K_FOG_T, "degC", 90.0, "temperature of the fog water"),
            "coil_water": _entry(v.gear, at.G_WATER_T, "degC", 120.0, "temperature of the heating water"),
            "envelope_loss": self._kept("envelope_loss", "x", (0.0, 20.0), 1.0, "loss of the envelope", self._loses),
            "leak": self._kept("leak", "x", (0.0, 100.0), 1.0, "air through cracks", self._leaks),
        }
        if isinstance(params.fog, Spray):
            now = params.fog.droplet_um
            self._knobs["droplet"] = self._kept("droplet", "um", (1.0, 500.0), now, "size of droplets", self._drops)
        for bay in range(1, params.room.bays + 1):
            name, what = f"draught_{bay}", f"outdoor air blown into bay {bay}"
            self._knobs[name] = self._kept(name, "kg/s", (0.0, 10.0), 0.0, what, self._leaks)
            name, what = f"bay_air_{bay}", f"what passes of its share of air through bay {bay}"
            self._knobs[name] = self._kept(name, "x", (0.01, 10.0), 1.0, what, self._shares)

    @property
    def known(self) -> tuple[str, ...]:
        """Names of all knobs."""
        return tuple(self._knobs)

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
        if name not in self._knobs:
            raise KeyError(f"{name} is no knob; known: {', '.join(sorted(self._knobs))}")
        return self._knobs[name]

    def _of_constants(self, name: str, what: str, indices: tuple[int, ...]) -> Knob:
        """A factor on some constants: a factor of 1 gives the very numbers of before."""

        def apply() -> None:
            for index in indices:
                self._c.k[index] = self._full[index] * self._set[name]

        return self._kept(name, "x", (0.0, 10.0), 1.0, what, apply)

    def _kept(
        self, name: str, unit: str, bounds: tuple[float, float], now: float, what: str, apply: Callable[[], None]
    ) -> Knob:
        """A knob whose setting is remembered here; apply brings the tables into line with all of them."""
        self._set[name] = now

        def put(value: float) -> None:
            self._set[name] = value
            apply()

        return Knob(unit, *bounds, what, lambda: self._set[name], put)

    def _loses(self) -> None:
        self._c.wall[at.L_OUT_W_K] = self._loss * self._set["envelope_loss"]

    def _leaks(self) -> None:
        cells = self._c.cell[at.C_LEAK].reshape((self._params.room.bays, -1))
        cells[:] = (self._leak * self._set["leak"]).reshape(cells.shape)
        cells += self._by_bay("draught") / cells.shape[1]

    def _shares(self) -> None:
        """What a bay does not let pass goes to the others, as through a fan that gives the same flow all the same."""
        passes, c = self._by_bay("bay_air"), self._c
        kept = self._share.reshape((len(passes), -1))
        part = 1.0 if (passes == 1.0).all() else passes / (kept * passes).sum()
        c.share[:] = (kept * part).ravel()
        through = c.k[at.K_THROUGH] >= 0.5
        if through:  # every way of the air lies in one bay, so all of it goes with the bay
            for row, full in self._ways.items():
                c.cell[row] = (full.reshape((len(passes), -1)) * part).ravel()
        c.k[at.K_PASS_MAX] = c.cell[at.C_PASS].max() if through else c.share.max()

    def _by_bay(self, name: str) -> Floats:
        return np.array([[self._set[f"{name}_{bay}"]] for bay in range(1, self._params.room.bays + 1)])

    def _drops(self) -> None:
        """As the packing does it for a file with this size."""
        fog = self._params.fog
        assert isinstance(fog, Spray)  # only then there is this knob
        scratch = np.zeros_like(self._c.k)
        pack_fog(scratch, replace(self._params, fog=replace(fog, droplet_um=self._set["droplet"])), self._dt_s)
        for index in (at.K_DROP_EVAPORATES, at.K_DROP_FALLS):
            self._c.k[index] = scratch[index]


_WAYS = (at.C_SUPPLY, at.C_PASS, at.C_RETURN, at.C_LAND)  # what goes with the air of a bay, fog that lands too

# name -> what it is, the constants that it multiplies (of every kind of heater and humidifier)
_HEAT = (at.K_COIL_W, at.K_STEAM_KG_H, at.K_FIRE_W, *(at.K_STAGE + stage for stage in range(at.STAGES)))
_CONSTANTS: dict[str, tuple[str, tuple[int, ...]]] = {
    "fan_flow": ("flow of the fan at any speed", (at.K_FAN_FULL,)),
    "heat_power": ("heat given by the heater", _HEAT),
    "vent_flow": ("flow through the exhaust damper", (at.K_VENT,)),
    "fog_a": ("water from bank A, or from the humidifier", (at.K_BANK_A, at.K_FOG_STEAM_KG_H)),
    "fog_b": ("water from bank B", (at.K_BANK_B,)),
    "frame_heat": ("heating of the door frames", (at.K_FRAME_W,)),
}


def _entry(table: Floats, index: int, unit: str, hi: float, what: str) -> Knob:
    def put(value: float) -> None:
        table[index] = value

    return Knob(unit, 0.0, hi, what, lambda: float(table[index]), put)
