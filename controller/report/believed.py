"""What the controller knew of a cycle, from the minutes of its record: the block `believed` of a summary."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from typing import Any

from controller.core.climate.moistair import saturation_pressure_Pa
from controller.report import kpis
from controller.store.reader import MinuteRow, Reader

MINUTE_S = 60.0


def block(
    reader: Reader, from_ms: int, hold_s: tuple[float, float], band: kpis.Band, until_s: float = math.inf
) -> dict[str, Any]:
    """The block `believed`. from_ms: UTC of the cycle's first scan; hold_s: its begin and end in seconds after that.
    until_s: when nothing stood inside any more.

    Samples are minutes: mean of the minute, except that lowest and highest are those within it.
    """
    columns = {tag: reader.minutes(tag, from_ms) for tag in _TAGS}
    n = min(bisect_left([1e-3 * (row.utc_ms - from_ms) for row in rows], until_s) for rows in columns.values())

    inside = [minute for minute, row in enumerate(columns["KY-104H"][:n]) if row.mean > 0.0]
    n = inside[-1] + 1 if inside else n  # when the last board had left its age was none

    def means(tag: str) -> list[float]:
        return [row.mean for row in columns[tag][:n]]

    def least(tag: str) -> list[float]:
        return [row.least for row in columns[tag][:n]]

    def greatest(tag: str) -> list[float]:
        return [row.greatest for row in columns[tag][:n]]

    dew = means("MY-101")
    begins_s = [1e-3 * (row.utc_ms - from_ms) for row in columns["MY-101"][:n]]  # an outage leaves minutes out
    first = bisect_left(begins_s, hold_s[0])
    series = kpis.Series(
        dt_s=MINUTE_S,
        hold_from=first,
        hold_to=max(first, bisect_right(begins_s, hold_s[1] - MINUTE_S)),
        temperature_mean=means("TY-101"),
        temperature_min=least("TY-101L"),
        temperature_max=greatest("TY-101H"),
        rh_mean=means("MY-102"),
        rh_min=[_humidity(td, t) for td, t in zip(dew, means("TY-101H"), strict=True)],
        rh_max=[min(100.0, _humidity(td, t)) for td, t in zip(dew, means("TY-101L"), strict=True)],
        dew_point=dew,
        dew_margin=least("TY-106"),
        surface=[0] * n,
        surface_names=["coldest watched surface"],
        drying=means("FY-104"),
        core_max=greatest("TY-104H"),
        product_spread=[high - mid for high, mid in zip(means("TY-104H"), means("TY-104"), strict=True)],
        age_min=means("KY-104L"),
        age_mean=means("KY-104M"),
        age_max=means("KY-104H"),
    )
    return kpis.describe(series, band)


def ready_h(rows: list[MinuteRow], ready_age_h: float) -> float | None:
    """Hours after the start at which the youngest position had the age that counts as ready; rows of KY-104L."""
    for minute, row in enumerate(rows):
        if row.mean >= ready_age_h:
            return round(minute / 60.0, 2)
    return None


def energy_kWh(rows: list[MinuteRow]) -> float:
    """Integral over the minutes of a power in kW (or of a flow in kg/h: then kg)."""
    return math.fsum(kpis.known([row.mean for row in rows])) / 60.0


_TAGS = (
    "TY-101", "TY-101L", "TY-101H", "MY-101", "MY-102", "TY-106", "FY-104", "TY-104", "TY-104H", "KY-104L", "KY-104M",
    "KY-104H",
)  # fmt: skip


def _humidity(dew_point_degC: float, temperature_degC: float) -> float:
    """RH in percent where the air has this temperature and the chamber this dew point; NaN when either is unknown."""
    if math.isnan(dew_point_degC) or math.isnan(temperature_degC):
        return math.nan
    return 100.0 * saturation_pressure_Pa(dew_point_degC) / saturation_pressure_Pa(temperature_degC)
