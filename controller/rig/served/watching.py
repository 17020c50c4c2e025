"""What a served chamber model is doing, looked at now and then from outside, without keeping anybody waiting.

The lock is held for copying some numbers; everything else is done after it is given back.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields

import numpy as np

from controller.rig.plant import Plant
from controller.rig.served.serve import Served
from controller.rig.truth import Rows
from plantsim.kernel import layout as at
from plantsim.truth import COLUMN, surface_name

PACE_OVER_S = 10.0  # so long the pace reached is averaged


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One look. true: the row of the truth by its names. top_degC, bottom_degC: means over the highest and the lowest
    level. board: the coldest, in words. orders: what each connected actuator is told, by its name in the plant file.

    pace: chamber's time over real time, None before there is one; pace_error: how much of that one scan may be.
    beat: newest heartbeat, None before the first; beat_s: how long ago, in real time as far as looked. watchdog_s: inf
    where none is set.
    """

    time_s: float
    pace: float | None
    pace_error: float
    true: Mapping[str, float]
    top_degC: float
    bottom_degC: float
    board: str
    nearest: str
    orders: Mapping[str, float]
    heat_kWh: float
    fan_kWh: float
    fog_kg: float
    beat: int | None
    beat_s: float
    watchdog_s: float
    tripped: bool
    trips: int
    peers: tuple[str, ...]


class Watch:
    """Looks at one plant behind its server. clock: real time in seconds."""

    def __init__(
        self, plant: Plant, server: Served, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._plant, self._server, self._clock = plant, server, clock
        tags = plant.params.actuators
        names = [output.name for output in fields(tags)]
        self._wired = [(index, name) for index, name in enumerate(names) if getattr(tags, name)]
        self._marks: deque[tuple[float, float]] = deque()
        self._beat: int | None = None
        self._beat_at = clock()
        self._used = np.zeros(3)

    def add(self, rows: Rows) -> None:
        """Truth of steps that were lived, for what has been used since the start."""
        columns = [COLUMN[name] for name in ("heat_kW", "fan_kW", "fog_kg_per_h")]
        self._used += rows[:, columns].sum(axis=0) * (self._plant.log.dt_s / 3600.0)

    def look(self) -> Seen:
        """How things stand now."""
        plant, device = self._plant, self._plant.device
        with self._server.lock:
            state = plant.chamber.state
            row, air, boards = state.truth.copy(), state.air[at.AIR_T].copy(), state.board[at.S_T].copy()
            orders, beat, silent_s = device.orders, device.heartbeat, device.silent_s
            time_s, tripped, trips = plant.chamber.time_s, device.tripped, device.trips
        now = self._clock()
        if beat != self._beat:
            self._beat, self._beat_at = beat, now
        room = plant.params.room
        place = (room.bays, room.levels, room.depth_cells)
        levels = air.reshape(-1, room.levels)
        pace, error = self._pace(now, time_s)
        behind_s = 0.0 if device.lockstep or not pace else silent_s / pace
        return Seen(
            time_s=time_s,
            pace=pace,
            pace_error=error,
            true={name: float(row[index]) for name, index in COLUMN.items()},
            top_degC=float(levels[:, -1].mean()),
            bottom_degC=float(levels[:, 0].mean()),
            board=surface_name(int(boards.argmin()), *place),
            nearest=surface_name(int(row[COLUMN["dew_margin_surface"]]), *place),
            orders={name: orders[index] for index, name in self._wired},
            heat_kWh=float(self._used[0]),
            fan_kWh=float(self._used[1]),
            fog_kg=float(self._used[2]),
            beat=beat,
            beat_s=max(behind_s, now - self._beat_at),
            watchdog_s=device.device.watchdog_s,
            tripped=tripped,
            trips=trips,
            peers=tuple(self._server.peers),
        )

    def _pace(self, now: float, time_s: float) -> tuple[float | None, float]:
        marks = self._marks
        marks.append((now, time_s))
        while len(marks) > 2 and now - marks[1][0] > PACE_OVER_S:
            marks.popleft()
        span_s = now - marks[0][0]
        if span_s < 0.4:
            return None, 0.0
        return (time_s - marks[0][1]) / span_s, self._plant.log.dt_s / span_s
