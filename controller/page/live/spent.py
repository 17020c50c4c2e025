"""Energy and water since the cycle began, added up minute by minute as they come into the record."""

from __future__ import annotations

from math import isfinite

from controller.page.live.bound import Bound
from controller.store.glance import Glance
from controller.store.minutes import COLUMN_BYTES, unpack_minute


class Spent:
    """Sums of one cycle; each minute is read once."""

    def __init__(self, bound: Bound, cycle: int, began_ms: int) -> None:
        climate = bound.chamber.climate
        names = {
            "heat_kWh": climate.heat_power, "fan_kWh": climate.fan_power, "fog_kg": climate.fog_flow,
            "fighting_kWh": "JDI-103",
        }  # fmt: skip
        self._columns = {name: bound.column(tag) for name, tag in names.items() if bound.column(tag) >= 0}
        self._cycle, self._next_ms = cycle, began_ms
        self.totals = dict.fromkeys(self._columns, 0.0)

    def follow(self, glance: Glance) -> None:
        """Add the minutes that are new."""
        for utc_ms, columns in glance.minute_columns(self._cycle, self._next_ms):
            self._next_ms = utc_ms + 1
            for name, column in self._columns.items():
                mean = unpack_minute(columns[COLUMN_BYTES * column : COLUMN_BYTES * (column + 1)])[0][1]
                if isfinite(mean):
                    self.totals[name] += mean / 60.0

    def shown(self) -> dict[str, float]:
        """Rounded for the view."""
        return {name: round(total, 1) for name, total in self.totals.items()}
