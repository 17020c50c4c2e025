"""When a running cycle will be over: the forecast made from its start, shifted by how the product really does."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from math import isfinite, isnan
from typing import Any

from controller.config.outlook import room
from controller.core.outlook.forecast import Case, Forecast, forecast
from controller.page.live.bound import Bound
from controller.page.live.numbers import clean
from controller.store.glance import Glance
from controller.store.minutes import COLUMN_BYTES, unpack_minute

_FIRST_MINUTES = 10  # outdoor air at the start is what these say
_UNKNOWN_OUTDOOR = (8.0, 80.0)  # where no probe says it: the demo's own assumption


@dataclass(frozen=True, slots=True)
class Outlook:
    """The forecast of one cycle from its start at began_ms."""

    began_ms: int
    ahead: Forecast

    def plan(self) -> dict[str, Any]:
        """The planned line: hours after the start, floor, ceiling, air, dew point, age; phases; what it takes."""
        ahead = self.ahead
        return {
            "began_ms": self.began_ms,
            "rows": [
                [
                    round(row.time_h, 2), clean(row.floor_degC, 2), clean(row.ceiling_degC, 2),
                    clean(row.temperature_degC, 2), clean(row.dew_point_degC, 2), clean(row.age_h, 2),
                ]
                for row in ahead.rows
            ],
            "phases": [[phase.kind, round(phase.start_h, 2), round(phase.end_h, 2)] for phase in ahead.phases],
            "end_h": clean(ahead.end_h, 2),
            "ready_h": [clean(ahead.ready_low_h, 2), clean(ahead.ready_h, 2), clean(ahead.ready_high_h, 2)],
            "heat_kWh": clean(ahead.heat_kWh, 0), "fan_kWh": clean(ahead.fan_kWh, 0), "fog_kg": clean(ahead.fog_kg, 0),
        }  # fmt: skip

    def times(self, now_ms: int, age_h: float | None, running: bool) -> dict[str, Any]:
        """finish_ms and ready_ms with their interval, estimated; None where the forecast knows no end.

        The forecast's own hour at which the product has the age it has now is compared with the clock: the cycle is
        that much ahead or late. While the recipe's clock stands still nothing is promised.
        """
        nothing: dict[str, Any] = dict.fromkeys(("finish_ms", "ready_ms", "ready_low_ms", "ready_high_ms"))
        if not running or age_h is None:
            return nothing
        late_h = self._late_h((now_ms - self.began_ms) / 3.6e6, age_h)
        at = {
            "ready_ms": self.ahead.ready_h, "ready_low_ms": self.ahead.ready_low_h,
            "ready_high_ms": self.ahead.ready_high_h,
        }  # fmt: skip
        found = {name: self._ms(hours + late_h) for name, hours in at.items() if not isnan(hours)}
        if self.ahead.finished:
            found["finish_ms"] = self._ms(max(self.ahead.end_h, self.ahead.end_h + late_h))
        return {**nothing, **found}

    def _late_h(self, hours: float, age_h: float) -> float:
        rows = self.ahead.rows
        ages = [row.age_h for row in rows]
        place = bisect_left(ages, age_h)
        if place == 0 or place >= len(rows):
            return 0.0
        before, after = rows[place - 1], rows[place]
        share = (age_h - before.age_h) / max(after.age_h - before.age_h, 1e-9)
        return hours - (before.time_h + share * (after.time_h - before.time_h))

    def _ms(self, hours: float) -> int:
        return self.began_ms + round(3.6e6 * hours)


def outlook(bound: Bound, glance: Glance, cycle: int, began_ms: int) -> Outlook:
    """Run the forecast (about a second). Outdoor air: the mean of the cycle's first minutes."""
    climate = bound.chamber.climate
    outdoor = [_early(bound, glance, cycle, began_ms, tag) for tag in (climate.outdoor_t, climate.outdoor_rh)]
    degC, rh = (value if value is not None else usual for value, usual in zip(outdoor, _UNKNOWN_OUTDOOR, strict=True))
    case = Case(
        load_t=float(bound.fact("load_t") or 0.0), mix_degC=float(bound.fact("mix_degC") or 20.0),
        outdoor=[(degC, min(rh, 100.0))],
    )  # fmt: skip
    empty = tuple(int(bay) for bay in str(bound.fact("empty_bays") or "").split(",") if bay.strip())
    return Outlook(began_ms, forecast(room(bound.chamber, empty), bound.recipe, bound.mix, case))


def _early(bound: Bound, glance: Glance, cycle: int, began_ms: int, tag: str) -> float | None:
    column = bound.column(tag)
    if column < 0:
        return None
    rows = glance.minute_columns(cycle, began_ms - 60_000, began_ms + 60_000 * _FIRST_MINUTES)
    means = [unpack_minute(row[COLUMN_BYTES * column : COLUMN_BYTES * (column + 1)])[0][1] for _utc, row in rows]
    known = [mean for mean in means if isfinite(mean)]
    return sum(known) / len(known) if known else None
