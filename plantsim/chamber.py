"""The chamber model: outputs in, instruments out, one step at a time.

Deterministic for a seed. Everything is a lumped, first-order model of a few cells per bay and level; what it leaves out
stands in the parameter file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from plantsim.agenda import Agenda
from plantsim.books import Books, close, stored
from plantsim.charge import Charge
from plantsim.doors import Doors
from plantsim.filling import Batch, Move
from plantsim.kernel import layout as at
from plantsim.kernel.jit import uncollected
from plantsim.kernel.layout import Floats, Tables, Views
from plantsim.kernel.step import PROVEN, RUNS, TRIPPED, step
from plantsim.knobs import Knobs
from plantsim.loads import Loads
from plantsim.memory import Memory, into_parts, of_parts
from plantsim.pack import pack, set_air
from plantsim.pack.probes import acclimatise
from plantsim.params import Gas, PlantParams
from plantsim.positions import Positions, positions
from plantsim.senses import probe_state, set_probe
from plantsim.weather import Weather, moisture

OUTPUTS = (
    "fan_run", "fan_pct", "heat_run", "valve_pct", "vent_pct", "fog_a", "fog_b", "frame_heat",
    "stage_1", "stage_2", "stage_3", "stage_4", "fog_pct",
)  # fmt: skip
_INTO = np.array([*range(at.D_OUTPUTS), *range(at.D_STAGE, at.D_STAGE + at.STAGES), at.D_FOG_PCT])
SWITCHES = {"fan": at.D_HAND_FAN, "heat": at.D_HAND_HEAT, "fog": at.D_HAND_FOG}
WEATHER_EVERY_S = 60.0


class Chamber:
    """One chamber with its charge. Time is counted in steps of dt_s from 0.

    microamps: one whole number a probe of the parameters, in their order; contacts: condition -> closed;
    truth_row: one float a column of plantsim.truth.COLUMNS; books: energy and water with their closure.
    """

    def __init__(
        self,
        params: PlantParams,
        *,
        charge: Charge,
        weather: Weather,
        seed: int,
        dt_s: float = 1.0,
        filling: Sequence[Move] = (),
    ) -> None:
        """A chamber with its charge, everything at mix temperature. filling: what comes and goes later, in any order.

        ValueError for parameters that contradict each other, and for moves that cannot be made.
        """
        if not 0.0 < dt_s <= 2.0:
            raise ValueError(f"dt_s {dt_s}: the model is stable and accurate for steps in (0, 2] s")
        self.params = params
        self.charge = charge
        self.dt_s = dt_s
        self._weather = weather
        self._seed = seed
        self._step = step
        self._const, self._whole, self._state = pack(params, charge, dt_s)
        size = (params.room.bays, params.room.depth_cells, params.room.levels, len(params.probe))
        self._c: Tables = at.const_views(self._const, *size)
        self._v: Views = at.state_views(self._state, *size)
        self._kinds = at.kinds_of(self._c)
        self._uA = np.zeros(len(params.probe), dtype=np.int64)
        self._drive = np.zeros(at.DRIVE + params.room.bays)
        self._drive[at.D_CHAIN] = self._drive[at.D_PRESSURE] = self._drive[at.D_PANEL_HEAT] = 1.0
        self._tables: dict[str, NDArray[Any]] = {"const": self._const, "whole": self._whole, "state": self._state}
        self._tables |= {"drive": self._drive, "uA": self._uA}
        self._outputs: Sequence[float] | None = None
        self._hand: dict[str, float | None] = dict.fromkeys(SWITCHES)
        self._number = 0
        self._weather_steps = max(1, round(WEATHER_EVERY_S / dt_s))
        self._bits = -1
        self._doors = Doors(params, self._c, self._drive)
        self._loads = Loads(params, self._c, self._v, self._whole, dt_s, charge.mix)
        self._agenda = Agenda(filling, dt_s)
        self._loads.require_possible(self._agenda.left)
        self._knobs = Knobs(params, self._c, self._v, dt_s)
        self._set_hall()
        self._take_weather()
        self._conditions = self._healthy()
        self._see(0)
        self._energy_J, self._water_kg = stored(self._c, self._v)
        with uncollected():
            self._first_reading()

    def step(self, outputs: Sequence[float]) -> None:
        """Live dt_s with these outputs, in the order of OUTPUTS (percent, or 0 and 1); the last may be missing."""
        if outputs != self._outputs:
            self._drive[_INTO[: len(outputs)]] = outputs
            self._outputs = tuple(outputs)
        number = self._number
        if number % self._weather_steps == 0:
            self._take_weather()
        if number >= self._agenda.due:
            self._make_moves()
        bits = self._step(
            self._const, self._whole, self._state, self._drive, self._uA, self._seed, number, self.dt_s, self._kinds
        )
        self._number = number + 1
        if bits != self._bits:
            self._see(bits)

    def compile(self) -> None:
        """Have everything compiled before the first step; reading the instruments at construction already did it."""
        self._first_reading()

    def start(self, air_degC: float, rh_pct: float) -> None:
        """Give all air one state, and begin the books anew. Meant for before the first step."""
        set_air(self._v, self._c, air_degC, rh_pct / 100.0)
        self._v.gear[at.G_SUPPLY_T] = self._v.gear[at.G_RETURN_T] = air_degC
        self._v.books[:] = 0.0
        self._energy_J, self._water_kg = stored(self._c, self._v)
        self._v.lagged[:] = np.nan
        acclimatise(self._v.senses, self.params)
        self._first_reading()

    @property
    def seed(self) -> int:
        """Of the instruments' noise."""
        return self._seed

    @property
    def time_s(self) -> float:
        """Time lived since the start."""
        return self._number * self.dt_s

    @property
    def microamps(self) -> list[int]:
        """Currents of all probes after the last step."""
        readings: list[int] = self._uA.tolist()
        return readings

    @property
    def contacts(self) -> Mapping[str, bool]:
        """Every condition that a contact of the panel may show; True = closed, which is the healthy state."""
        return self._conditions

    @property
    def truth_row(self) -> list[float]:
        """What is true after the last step; columns in plantsim.truth."""
        row: list[float] = self._v.truth.tolist()
        return row

    @property
    def books(self) -> Books:
        """Energy and water since the start, with their closure."""
        return close(self._c, self._v, self._energy_J, self._water_kg)

    @property
    def state(self) -> Views:
        """The tables of the state, live: rows as in plantsim.kernel.layout."""
        return self._v

    @property
    def constants(self) -> Tables:
        """The tables of the constants, live."""
        return self._c

    def set_spans(self, spans: Mapping[str, tuple[float, float]]) -> None:
        """Values at 4 and 20 mA by tag, as the point list has them. KeyError for a tag that no probe has."""
        index = {probe.tag: i for i, probe in enumerate(self.params.probe)}
        for tag, (lo, hi) in spans.items():
            self._c.probe[at.R_LO, index[tag]] = lo
            self._c.probe[at.R_HI, index[tag]] = hi
        self._first_reading()

    def set_condition(self, name: str, closed: bool) -> None:
        """Open or close a contact from outside: emergency stop, water pressure, heating at the panel, switches, the
        burner control that has locked out (gas only).

        The emergency stop stops fan, heat and fog in hardware, and so does the loss of mains, with which drives go
        where they fail to; an open isolator stops its drive, in hand too. KeyError for an unknown name; what the
        model itself decides (airflow, fan_runs, limiter, doors) is refused with ValueError. A switch opened here only
        shows that it is not in automatic: set_hand() turns it.
        """
        if name in ("airflow", "fan_runs", "limiter_healthy") or name.startswith("door_"):
            raise ValueError(f"{name} follows from the model and cannot be set")
        if name not in self._conditions:
            raise KeyError(f"{name} is no condition; known: {', '.join(self._conditions)}")
        self._conditions = {**self._conditions, name: closed}
        now = self._conditions
        self._drive[at.D_CHAIN] = float(now["estop_healthy"] and now["mains"])
        self._drive[at.D_PRESSURE] = float(now["fog_pressure"])
        self._drive[at.D_PANEL_HEAT] = float(now["heat_enabled"] and now.get("burner_healthy", True))
        self._drive[at.D_DARK] = float(not now["mains"])
        self._switch()

    def set_hand(self, name: str, value_pct: float | None) -> None:
        """Turn the switch of fan, heat or fog: None = automatic, 0 = off, above it in hand at that value.

        In hand and off the outputs do not count: a fan runs at that speed, a valve or a burner goes there, elements
        give that share, nozzle banks are open and a pump or humidifier goes there. Emergency stop, limiter, water
        pressure and the heating's enabling at the panel count as ever. KeyError for another name, ValueError for
        a value outside 0..100.
        """
        if name not in SWITCHES:
            raise KeyError(f"{name} has no switch; known: {', '.join(SWITCHES)}")
        if value_pct is not None and not 0.0 <= value_pct <= 100.0:
            raise ValueError(f"hand value of {name} {value_pct}: must be from 0 to 100 percent, or None for automatic")
        self._hand[name] = value_pct
        self._conditions = {**self._conditions, f"{name}_auto": value_pct is None}
        self._switch()

    def set_door(self, bay: int, open_: bool) -> None:
        """Open or close the door of a bay (from 1)."""
        self._doors.set(bay, open_, self.time_s)
        self._conditions = {**self._conditions, f"door_{bay}_closed": not open_}
        self._refresh()

    def knob(self, name: str) -> float:
        """A constant that may change while the chamber runs (plantsim.knobs). KeyError with the known names."""
        return self._knobs.get(name)

    def set_knob(self, name: str, value: float) -> None:
        """Turn it; what it was before restores the chamber exactly. KeyError, or ValueError with its bounds."""
        self._knobs.set(name, value)

    def place(self, bay: int, level: int, batch: Batch) -> None:
        """Put a batch with its board at a position (from 1). ValueError when it is occupied or does not exist."""
        self._loads.place(bay, level, batch, self.time_s)
        self._refresh()

    def take(self, bay: int, level: int) -> None:
        """Take product and board away from a position (from 1). ValueError when nothing stands there."""
        self._loads.take(bay, level)
        self._refresh()

    def positions(self) -> Positions:
        """What stands at every position now, as arrays of bays x levels."""
        return positions(self.params.room, self._loads, self._c, self._v, self.time_s)

    def door_open_s(self) -> Floats:
        """How long each bay's door has been open since the start, s."""
        return self._doors.open_s(self.time_s)

    def door_shut_s(self) -> Floats:
        """For how long each bay's door has been shut, s: 0 = open, inf = never opened."""
        return self._doors.shut_s(self.time_s)

    def judge(self, *, settle_s: float, door_settle_s: float = 900.0) -> None:
        """What the settled columns of the truth leave out: positions placed, and bays open, less than so long ago."""
        self._loads.settle_s, self._doors.settle_s = settle_s, door_settle_s
        self._refresh()

    def reset_limiter(self) -> bool:
        """Press the limiter's button. It stays tripped while its sensor is hot. Returns whether it is healthy."""
        gear = self._v.gear
        if gear[at.G_LIMITER_T] < self.params.limiter.reset_below_degC:
            gear[at.G_TRIPPED] = 0.0
        self._see((self._bits & ~TRIPPED) | (TRIPPED if gear[at.G_TRIPPED] > 0.5 else 0))
        return self._conditions["limiter_healthy"]

    def probe_state(self, tag: str) -> dict[str, float]:
        """What a probe that is not plain remembers, by the names of plantsim.senses.SENSES. KeyError: no such probe."""
        return probe_state(self.params, self._v, tag)

    def set_probe(self, tag: str, what: str, value: float) -> None:
        """Change what a probe remembers: a dry wick, a film, a drift. KeyError for an unknown tag or name, ValueError
        for a probe that has no such thing and for a value outside its limits.
        """
        set_probe(self.params, self._v, tag, what, value)

    def lose_probe(self, tag: str) -> None:
        """Break the sensor of a channel: its transmitter fails low from the next step."""
        self._c.probe[at.R_SCALE, [probe.tag for probe in self.params.probe].index(tag)] = np.nan

    def memory(self) -> dict[str, NDArray[Any]]:
        """This moment as plain arrays, copied: see plantsim.memory."""
        numbers = {"number": self._number, "bits": self._bits, "start": (self._energy_J, self._water_kg)}
        return of_parts(self._tables, self._loads, self._doors, numbers)

    def recall(self, memory: Memory) -> None:
        """Go on from a moment of a chamber of the same making. ValueError when it is another chamber's."""
        into_parts(memory, self._tables, self._loads, self._doors, self._agenda)
        self._number, self._outputs = int(memory["number"]), None
        self._energy_J, self._water_kg = memory["start"].tolist()
        self._conditions = {**self._conditions, **self._doors.contacts()}
        self._see(int(memory["bits"]))
        self._refresh()

    def _make_moves(self) -> None:
        """All that is due before the step that begins now."""
        for move in self._agenda.take_due(self._number):
            if move.what in ("open", "close"):
                self.set_door(move.bay, move.what == "open")
            elif move.batch is not None:
                self.place(move.bay, move.level, move.batch)
            else:
                self.take(move.bay, move.level)
        self._refresh()

    def _refresh(self) -> None:
        """Bring up to date who is judged, and when something happens next."""
        now = self.time_s
        self._agenda.wake(min(self._loads.refresh(now), self._doors.refresh(now)))

    def _switch(self) -> None:
        """Hand values and isolators into the drive: 0 = automatic, else 1 + percent."""
        for name, entry in SWITCHES.items():
            value = self._hand[name] if self._conditions[f"{name}_isolator"] else 0.0
            self._drive[entry] = 0.0 if value is None else 1.0 + value

    def _see(self, bits: int) -> None:
        self._bits = bits
        self._conditions = {
            **self._conditions,
            "airflow": bool(bits & PROVEN),
            "fan_runs": bool(bits & RUNS),
            "limiter_healthy": not bits & TRIPPED,
        }

    def _healthy(self) -> dict[str, bool]:
        names = ["heat_enabled", "estop_healthy", "person_healthy", "fog_pressure", "fan_auto", "heat_auto"]
        doors = self._doors.contacts()
        isolators = [f"{name}_isolator" for name in SWITCHES]
        burner = ["burner_healthy"] if isinstance(self.params.heat, Gas) else []
        return dict.fromkeys([*names, "fog_auto", "mains", *isolators, *doors, *burner], True)

    def _take_weather(self) -> None:
        T, rh_pct = self._weather.at(self._number * self.dt_s)
        self._drive[at.D_OUT_T], self._drive[at.D_OUT_RH] = T, rh_pct
        self._drive[at.D_OUT_W] = moisture(T, rh_pct, self.params.room.pressure_Pa)

    def _set_hall(self) -> None:
        hall = self.params.hall
        self._drive[at.D_HALL_T] = hall.degC
        self._drive[at.D_HALL_W] = moisture(hall.degC, hall.rh_pct, self.params.room.pressure_Pa)

    def _first_reading(self) -> None:
        """Show the instruments before the first step, without living one."""
        gear, drive = self._v.gear, self._drive
        gear[at.G_HALL_T], gear[at.G_OUT_T] = drive[at.D_HALL_T], drive[at.D_OUT_T]
        gear[at.G_OUT_RH] = drive[at.D_OUT_RH]
        self._step(self._const, self._whole, self._state, drive, self._uA, self._seed, -1, self.dt_s, self._kinds)
