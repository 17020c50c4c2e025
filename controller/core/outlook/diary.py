"""What a forecast writes down as it goes: moments, phases, waits, what falls short, sums."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, nan

from controller.core.climate.climate import Climate
from controller.core.climate.moistair import saturation_pressure_Pa
from controller.core.loops import constraints
from controller.core.loops.allocation import Demands
from controller.core.product.product import Product
from controller.core.sequence.phases import SequencePlan, SequenceState
from controller.core.setpoints import Targets

HOUR_S = 3600.0
ROW_S = 600.0
BELOW_K = 0.5  # air farther below its floor than this is counted
BEHIND = "the air is behind its setpoint"
COLD_PLACE = "the coldest place is not in the band"
FIGHTING = "heat would work against the vent"
DRY_LIMIT = "dry limit of the "


@dataclass(frozen=True, slots=True)
class Row:
    """One moment of a forecast. dry_limit_pct: RH at which the coldest watched surface would reach the dew limit."""

    time_h: float
    phase: int
    floor_degC: float
    ceiling_degC: float
    temperature_degC: float
    dew_point_degC: float
    rh_pct: float
    surface_degC: float
    surface: str
    dry_limit_pct: float
    heat_kW: float
    vent_kg_per_s: float
    fog_kg_per_h: float
    product_degC: float
    age_h: float


@dataclass(frozen=True, slots=True)
class PhaseForecast:
    """One phase. waits: (why, hours) its clock stands still; short: (what cannot follow, hours), longest first.

    below_floor_h: air more than half a kelvin below the floor. rh_*_pct, dry_limit_*_pct: over the phase.
    """

    name: str
    kind: str
    start_h: float
    end_h: float
    waits: tuple[tuple[str, float], ...]
    short: tuple[tuple[str, float], ...]
    below_floor_h: float
    temperature_min_degC: float
    temperature_max_degC: float
    rh_min_pct: float
    rh_mean_pct: float
    dry_limit_min_pct: float
    dry_limit_mean_pct: float
    heat_kW_max: float
    vent_kg_per_s_max: float
    fog_kg_per_h_max: float


@dataclass(frozen=True, slots=True)
class Forecast:
    """What a cycle will probably be. Hours count from the start; NaN what does not happen.

    ready_low_h, ready_high_h: interval of the ready time. finished: every phase came to its end.
    """

    rows: tuple[Row, ...]
    phases: tuple[PhaseForecast, ...]
    finished: bool
    end_h: float
    hold_start_h: float
    hold_h: float
    ready_h: float
    ready_low_h: float
    ready_high_h: float
    heat_kWh: float
    fan_kWh: float
    fog_kg: float
    vented_t: float
    fighting_kWh: float
    product_max_degC: float
    drying_kg_per_m2h: float


@dataclass(slots=True)
class _Page:
    """Sums over one phase."""

    name: str
    kind: str
    start_h: float
    steps: int = 0
    below: int = 0
    t_min: float = inf
    t_max: float = -inf
    rh_min: float = inf
    rh_sum: float = 0.0
    dry_min: float = inf
    dry_sum: float = 0.0
    heat: float = 0.0
    vent: float = 0.0
    fog: float = 0.0


class Diary:
    """Kept during one run of a forecast, one `note` and one `spent` a step of dt_s."""

    def __init__(self, plan: SequencePlan, ready_age_h: float, age_h: float, dt_s: float) -> None:
        self._plan, self._ready_age_h, self._dt_h = plan, ready_age_h, dt_s / HOUR_S
        self._row_every = max(1, round(ROW_S / dt_s))
        self._rows: list[Row] = []
        self._pages: list[_Page] = []
        self._waits: list[dict[str, int]] = []
        self._short: list[dict[str, int]] = []
        self._steps = 0
        self._age_h, self._ready_h, self._hold_h = age_h, nan, nan
        self._sums = [0.0] * 6
        self._hottest = -inf
        self._product_h, self._empty = 0.0, False

    def note(
        self, before: SequenceState, now: SequenceState, targets: Targets, air: Climate, product: Product,
        asked: Demands, fighting: bool,
    ) -> None:  # fmt: skip
        """What is seen and asked at the beginning of a step."""
        time_h, number, t = self._steps * self._dt_h, now.phase, air.temperature_degC
        if number >= len(self._pages):
            phase = self._plan.phases[number]
            self._pages.append(_Page(phase.name, phase.kind, time_h))
            self._waits.append({})
            self._short.append({})
            if phase.kind == "hold" and self._hold_h != self._hold_h:
                self._hold_h = time_h
        page, waits, short = self._pages[number], self._waits[number], self._short[number]
        dry = 100.0 * saturation_pressure_Pa(air.dew_limit_degC) / saturation_pressure_Pa(t)
        if now.phase == before.phase and now.waiting_s > before.waiting_s:
            why = self._why(now, air, fighting)
            waits[why] = waits.get(why, 0) + 1
        for why in asked.why:
            short[why] = short.get(why, 0) + 1
        page.steps += 1
        page.below += t < targets.floor_degC - BELOW_K
        page.t_min, page.t_max = min(page.t_min, t), max(page.t_max, t)
        page.rh_min, page.rh_sum = min(page.rh_min, air.rh_pct), page.rh_sum + air.rh_pct
        page.dry_min, page.dry_sum = min(page.dry_min, dry), page.dry_sum + dry
        page.heat, page.vent = max(page.heat, asked.heat_kW), max(page.vent, asked.vent_kg_per_s)
        page.fog = max(page.fog, asked.fog_kg_per_h)
        self._empty = targets.empty
        if not targets.empty:
            self._ages(product, time_h)
        if self._steps % self._row_every == 0:
            self._rows.append(Row(
                time_h, number, targets.floor_degC, targets.ceiling_degC, t, air.dew_point_degC, air.rh_pct,
                air.surface_degC, air.surface, dry, asked.heat_kW, asked.vent_kg_per_s, asked.fog_kg_per_h,
                product.core_degC, product.age_h_min,
            ))  # fmt: skip
        self._steps += 1

    def spent(
        self, heat_kW: float, fan_kW: float, fog_kg_per_h: float, vent_kg_per_s: float, fighting_kW: float,
        drying_kg_per_m2h: float,
    ) -> None:  # fmt: skip
        """What this step cost. Drying counts while product stands inside."""
        drying = 0.0 if self._empty else max(drying_kg_per_m2h, 0.0)
        self._product_h += 0.0 if self._empty else self._dt_h
        step = (heat_kW, fan_kW, fog_kg_per_h, 3.6 * vent_kg_per_s, fighting_kW, drying)
        self._sums = [total + rate * self._dt_h for total, rate in zip(self._sums, step, strict=True)]

    def end(self, product: Product) -> None:
        """The recipe is over: one last look at the product."""
        if not self._empty:
            self._ages(product, self._steps * self._dt_h)

    def forecast(self, *, finished: bool) -> Forecast:
        """Everything that was noted."""
        end_h, count = self._steps * self._dt_h, len(self._pages)
        ends = [page.start_h for page in self._pages[1:]] + [end_h]
        holds = [ends[n] - self._pages[n].start_h for n in range(count) if self._pages[n].kind == "hold"]
        heat, fan, fog, vented, fought, dried = self._sums
        return Forecast(
            rows=tuple(self._rows), phases=tuple(self._phase(n, ends[n]) for n in range(count)), finished=finished,
            end_h=end_h, hold_start_h=self._hold_h, hold_h=sum(holds), ready_h=self._ready_h,
            ready_low_h=self._ready_h, ready_high_h=self._ready_h, heat_kWh=heat, fan_kWh=fan, fog_kg=fog,
            vented_t=vented, fighting_kWh=fought, product_max_degC=self._hottest,
            drying_kg_per_m2h=dried / self._product_h if self._product_h else 0.0,
        )  # fmt: skip

    def _phase(self, number: int, end_h: float) -> PhaseForecast:
        page = self._pages[number]
        return PhaseForecast(
            page.name, page.kind, page.start_h, end_h, self._hours(self._waits[number]),
            self._hours(self._short[number]), page.below * self._dt_h, page.t_min, page.t_max, page.rh_min,
            page.rh_sum / page.steps, page.dry_min, page.dry_sum / page.steps, page.heat, page.vent, page.fog,
        )  # fmt: skip

    def _hours(self, counts: dict[str, int]) -> tuple[tuple[str, float], ...]:
        return tuple((why, n * self._dt_h) for why, n in sorted(counts.items(), key=lambda item: -item[1]))

    def _why(self, now: SequenceState, air: Climate, fighting: bool) -> str:
        """Why the phase's clock stands still, in the order in which the sequence asks."""
        phase = self._plan.phases[now.phase]
        if not air.temperature_degC > now.floor_degC - phase.holdback_K:
            return BEHIND
        if fighting and phase.targets.sags:
            return FIGHTING
        if phase.ramp_rh_floor_pct > 0.0 and not constraints.ramp_permitted(air, phase.ramp_rh_floor_pct):
            return DRY_LIMIT + air.surface
        return COLD_PLACE

    def _ages(self, product: Product, time_h: float) -> None:
        """When the product passed the age at which it is ready, between two steps."""
        age = product.age_h_min
        self._hottest = max(self._hottest, product.core_degC_max)
        if age >= self._ready_age_h and self._ready_h != self._ready_h:
            grown = age - self._age_h
            short = (age - self._ready_age_h) / grown if grown > 0.0 else 0.0
            self._ready_h = max(0.0, time_h - min(short, 1.0) * self._dt_h)
        self._age_h = age
