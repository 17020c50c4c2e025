"""Bench rows of the forecast: ready time said at the start against what came true, over seasons; and what it costs."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from controller.config.bundle import load_bundle
from controller.config.outlook import room
from controller.core.outlook.forecast import Case, forecast
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.rig import truth
from controller.rig.bench.rows import Found, Measured, Target
from controller.rig.cycle import Options, run
from controller.rig.plant import scene

# Outdoor degC and %RH, and the temperature of the mix: a cool day, a warm one, summer, winter.
SEASONS: tuple[tuple[float, float, float], ...] = ((8, 80, 20), (25, 60, 25), (32, 60, 28), (-10, 80, 12))
SCAN_S = 2.0
DAYS_H = 40.0  # by then even the winter's product is ready
SPEED = "forecast of a day"


def name(season: tuple[float, float, float]) -> str:
    """Name of a season's row."""
    outdoor, _, mix = season
    return f"gentle: ready time, forecast against actual, {outdoor:g}/{mix:g} degC"


TARGETS = (
    *(Target(name=name(season), unit="h", must=1.5, dream=0.5) for season in SEASONS),
    Target(name=SPEED, unit="s", must=0.3, per_s=1.0),
)


def figures(out: Path, show: Callable[[float, str], None]) -> Found:
    """Every row of TARGETS: four simulated cycles over the direct link, and the time of one forecast."""
    bundle = load_bundle("demo-north", "gentle", "demo-60", device_class=Device, layout=require_layout)
    ahead_of = room(bundle.chamber)
    found: dict[str, Measured] = {}
    for number, season in enumerate(SEASONS):
        show(number / len(SEASONS), name(season))
        outdoor, rh, mix_degC = season
        case = Case(load_t=120.0, mix_degC=mix_degC, outdoor=((outdoor, rh),))
        began = time.perf_counter()
        single = forecast(ahead_of, bundle.recipe, bundle.mix, case, hours_max=24.0, interval=False)
        took_s = time.perf_counter() - began
        ahead = forecast(ahead_of, bundle.recipe, bundle.mix, case)
        actual = _actual(out / f"season-{number}", outdoor, rh, mix_degC)
        value = None if actual is None else round(abs(ahead.ready_h - actual), 2)
        note = "not ready" if actual is None else (
            f"said {ahead.ready_h:.1f} h ({ahead.ready_low_h:.1f} to {ahead.ready_high_h:.1f}), was {actual:.1f} h"
        )  # fmt: skip
        found[name(season)] = Measured(value=value, note=note)
        if number == 0:
            found[SPEED] = Measured(value=round(took_s, 4), note=f"{single.end_h:.0f} h, without its interval")
    return found


def _actual(out: Path, outdoor_degC: float, outdoor_rh: float, mix_degC: float) -> float | None:
    """Hours to ready in the chamber model, worst position."""
    out.mkdir(parents=True, exist_ok=True)
    options = Options(
        scene=scene(outdoor=((outdoor_degC, outdoor_rh),), mix_degC=mix_degC, dt_s=SCAN_S),
        link="direct", hours_max=DAYS_H, out=out, start=datetime(2026, 3, 2, 16, 0, tzinfo=UTC),
    )  # fmt: skip
    ran = run(options, lambda _fraction, _note: None)
    return truth.ready_h(ran.plant.log.known(), SCAN_S, ran.bundle.chamber.product.ready_age_h)
