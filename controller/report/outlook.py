"""A forecast as text and as data: what will probably happen, by phase and every two hours."""

from __future__ import annotations

from dataclasses import asdict
from math import isnan
from typing import Any

from controller.config.summary import table
from controller.core.outlook.diary import Forecast
from controller.core.outlook.forecast import Case
from controller.report.marks import text as figure

EVERY_H = 2.0
_HOURS = ("hour", "phase", "floor", "air degC", "dew point", "RH %", "dry limit %", "heat kW", "vent kg/s", "fog kg/h",
          "product", "age h")  # fmt: skip
_PHASES = ("phase", "from h", "to h", "waits h", "air degC", "RH % min, mean", "dry limit % min, mean", "heat kW max")


def text(ahead: Forecast, case: Case) -> str:
    """The forecast for a person. Estimates are called so."""
    degC, rh = case.outdoor[0]
    outdoors = f"{degC:g} degC / {rh:g} % outdoors" if len(case.outdoor) == 1 else "weather by the hour"
    head = f"forecast for {case.load_t:g} t mixed at {case.mix_degC:g} degC, {outdoors} (an estimate):"
    closing = _closing(ahead, no_product=case.load_t == 0.0)
    return "\n".join([head, "", table(_phases(ahead)), "", table(_hours(ahead)), "", *closing])


def data(ahead: Forecast) -> dict[str, Any]:
    """Every figure for a machine; what does not happen is null."""
    return {name: _plain(value) for name, value in asdict(ahead).items()}


def ready(ahead: Forecast) -> dict[str, float | None]:
    """The block `ready_h` of a summary, but for what came true."""
    return {
        "forecast": _digits(ahead.ready_h),
        "forecast_low": _digits(ahead.ready_low_h),
        "forecast_high": _digits(ahead.ready_high_h),
    }


def _phases(ahead: Forecast) -> list[tuple[str, ...]]:
    return [_PHASES, *_by_phase(ahead)]


def _by_phase(ahead: Forecast) -> list[tuple[str, ...]]:
    return [
        (
            f"{number} {phase.kind}",
            f"{phase.start_h:.1f}",
            f"{phase.end_h:.1f}",
            f"{sum(hours for _, hours in phase.waits):.1f}",
            f"{phase.temperature_min_degC:.1f} to {phase.temperature_max_degC:.1f}",
            f"{phase.rh_min_pct:.1f}, {phase.rh_mean_pct:.1f}",
            f"{phase.dry_limit_min_pct:.1f}, {phase.dry_limit_mean_pct:.1f}",
            f"{phase.heat_kW_max:.0f}",
        )
        for number, phase in enumerate(ahead.phases, start=1)
    ]


def _hours(ahead: Forecast) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [_HOURS]
    due = 0.0
    for row in ahead.rows:
        if row.time_h < due - 1e-6:
            continue
        due += EVERY_H
        rows.append((
            f"{row.time_h:.0f}", f"{row.phase + 1}", f"{row.floor_degC:.1f}", f"{row.temperature_degC:.1f}",
            f"{row.dew_point_degC:.1f}", f"{row.rh_pct:.1f}", f"{row.dry_limit_pct:.1f}", f"{row.heat_kW:.0f}",
            f"{row.vent_kg_per_s:.2f}", f"{row.fog_kg_per_h:.0f}", f"{row.product_degC:.1f}", f"{row.age_h:.1f}",
        ))  # fmt: skip
    return rows


def _closing(ahead: Forecast, *, no_product: bool) -> list[str]:
    late = "not within this time" if isnan(ahead.ready_h) else (
        f"after {ahead.ready_h:.1f} h, {ahead.ready_low_h:.1f} to {ahead.ready_high_h:.1f} h (estimated, not tested)"
    )  # fmt: skip
    hold = "none" if isnan(ahead.hold_start_h) else f"from {ahead.hold_start_h:.1f} h, {ahead.hold_h:.1f} h long"
    ends = "cycle ends" if ahead.finished else "not over"
    heat, fan, fog = (figure(each, 0) for each in (ahead.heat_kWh, ahead.fan_kWh, ahead.fog_kg))
    if no_product:
        late = "no product"
    most = "no product" if no_product else f"at most {ahead.product_max_degC:.1f} degC"
    return [
        f"ready: {late}",
        f"hold: {hold}; {ends} at {ahead.end_h:.1f} h",
        f"cost: heat {heat} kWh, fan {fan} kWh, fog {fog} kg",
        f"product: {most}",
    ]


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return _digits(value, 4)
    if isinstance(value, dict):
        return {name: _plain(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    return value


def _digits(value: float, places: int = 2) -> float | None:
    return None if isnan(value) else round(value, places)
