"""A warm-up with pulses of heat, vent and fog: the equations of a chamber, and the chamber model through the same.

The equations are those of equations.py with outputs that change: drives run at their own rate, the fan lags, the fog
line delays. An outside solver integrates them between the moments at which something has a kink.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import exp, inf, log

import numpy as np
from scipy.integrate import solve_ivp

from plantsim.kernel.moistair import flash
from plantsim.params import Coil, Fog
from verification.equations import CELL_ROWS, CL, Case, Equations, Vector, installed
from verification.stepped import begun, params_of, state_of

Outputs = tuple[float, ...]
SMALL_PCT = 0.5  # of its full speed


@dataclass(frozen=True)
class Pulses:
    """Outputs that hold from a moment (s) on, the first from 0; end_s; what the chamber starts with."""

    at_s: tuple[float, ...]
    outputs: tuple[Outputs, ...]
    end_s: float
    outdoor: tuple[float, float] = (8.0, 80.0)
    mix_degC: float = 20.0
    rh_pct: float = 90.0
    film_kg_per_m2: float = 0.3
    bays: int = 2
    levels: int = 3
    loose: float = 1.0  # the solver's tolerances over the finest

    @property
    def case(self) -> Case:
        """The start, as equations.py wants it."""
        return Case(
            outputs=self.outputs[0], outdoor=self.outdoor, mix_degC=self.mix_degC, rh_pct=self.rh_pct,
            bays=self.bays, levels=self.levels, minutes=self.end_s / 60.0, film_kg_per_m2=self.film_kg_per_m2,
        )  # fmt: skip

    @property
    def looks_s(self) -> tuple[float, ...]:
        """When both are compared: at every change of outputs and at the end."""
        return (*self.at_s[1:], self.end_s)


class Drive:
    """Where a drive stands that runs at a steady rate towards what is asked of it."""

    def __init__(self, at_s: tuple[float, ...], wanted: list[float], stroke_s: float) -> None:
        self.at_s, self.wanted, self.rate = at_s, wanted, 100.0 / stroke_s
        self.stands, self.kinks = [0.0], []
        for i, want in enumerate(wanted):
            here = self.stands[i]
            self.kinks.append(at_s[i] + abs(want - here) / self.rate)
            if i + 1 < len(at_s):
                self.stands.append(self.at(i, at_s[i + 1]))

    def at(self, i: int, t: float) -> float:
        """Percent at t, under the outputs number i."""
        most = self.rate * (t - self.at_s[i])
        return self.stands[i] + min(max(self.wanted[i] - self.stands[i], -most), most)


def segment(at_s: tuple[float, ...], t: float) -> int:
    """Number of the outputs that hold at t."""
    return max(sum(begin <= t for begin in at_s) - 1, 0)


class Pulsed(Equations):
    """dy/dt of the chamber with outputs that change."""

    def __init__(self, run: Pulses) -> None:
        super().__init__(params_of(run.case), run.case)
        self.run, p = run, self.p
        assert isinstance(p.heat, Coil)
        assert isinstance(p.fog, Fog)
        wanted = [o[3] if o[2] else 0.0 for o in run.outputs]
        self.valve = Drive(run.at_s, wanted, p.heat.stroke_s)
        self.damper = Drive(run.at_s, [o[4] for o in run.outputs], p.vent.stroke_s)
        self.fan_pct = [0.0]
        for i, (begin, end) in enumerate(pairwise(run.at_s)):
            self.fan_pct.append(self._fan_from(i, end - begin))
        fog = [begin + p.fog.line_delay_s for begin in run.at_s]
        stops = [self._stands_from(i) for i in range(len(run.at_s))]
        kinks = [*run.looks_s, *stops, *self.valve.kinks, *self.damper.kinks, *fog, 0.0]
        self.cuts = sorted({t for t in kinks if t <= run.end_s})

    def _fan_from(self, i: int, t: float) -> float:
        """Percent, a time after the outputs changed; a fan that runs out stands below SMALL_PCT."""
        wanted = self.run.outputs[i][0] * self.run.outputs[i][1]
        if self.run.at_s[i] + t > self._stands_from(i):
            return 0.0
        return wanted + (self.fan_pct[i] - wanted) * exp(-t / self.p.fan.lag_s)

    def _stands_from(self, i: int) -> float:
        if self.run.outputs[i][0] or not self.fan_pct[i]:
            return inf
        return self.run.at_s[i] + self.p.fan.lag_s * log(self.fan_pct[i] / SMALL_PCT)

    def looks(self) -> list[Vector]:
        """States at the moments of looks_s."""
        y, found = self.start(), []
        size = np.maximum(np.abs(y), 1e-3)
        for begin, end in pairwise(self.cuts):
            self.middle = 0.5 * (begin + end)
            loose = self.run.loose
            done = solve_ivp(self.slope, (begin, end), y, method="LSODA", rtol=1e-8 * loose, atol=1e-9 * loose * size)
            if not done.success:
                raise ArithmeticError(f"LSODA stopped in {begin}..{end} s: {done.message}")
            y = done.y[:, -1]
            if end in self.run.looks_s:
                found.append(y)
        return found

    def _gear(self, t: float, T: Vector, W: Vector, coil_W: float) -> dict[str, float]:
        """Equipment at t. Drives may be at a kink just where the solver looks: the segment is that of its middle."""
        p, i = self.p, segment(self.run.at_s, self.middle)
        heat, air = p.heat, p.air
        assert isinstance(heat, Coil)
        # judged by the middle, which is on one side of the moment at which the fan comes to rest
        stands = self.middle > self._stands_from(i)
        fan = 0.0 if stands else p.fan.full_kg_per_s / 100.0 * self._fan_from(i, t - self.run.at_s[i])
        damper = installed(self.damper.at(i, t), p.vent.rangeability, p.vent.authority)
        pump = self.run.outputs[i][2]  # without it nothing flows, wherever the valve stands
        valve = pump * installed(self.valve.at(i, t), heat.rangeability, heat.authority)
        UA = heat.UA_kW_per_K * 1e3

        def carried(kg_per_s: float) -> float:
            return kg_per_s * 1062 * (1 - exp(-UA / (kg_per_s * 1062)))

        warm = (heat.water_degC - T[self.level == 0].mean()) / (heat.water_degC - heat.air_degC)
        passing = carried(max(fan, heat.draught_kg_per_s)) / carried(p.fan.rated_kg_per_s)
        top = self.level == self.l - 1
        spray = self._spray()
        share = self._evaporated(T[top].mean(), W[top].mean()) if spray else 1.0
        vent = p.vent.max_kg_per_s * damper
        flow = max(fan, vent)
        return {
            "flow": flow, "vent": vent, "coil": max(coil_W, 0.0),
            "coil_to": heat.max_kW * 1e3 * min(valve * warm * passing, 1.0),
            "spray": spray * share, "falls": spray * (1 - share),
            "fan_W": p.fan.rated_kW * 1e3 * (fan / p.fan.rated_kg_per_s) ** 3,
            "h_c": air.film_W_per_m2_K + air.film_W_per_m2_K_per_m_per_s * air.speed_m_per_s_per_kg_per_s * flow,
        }  # fmt: skip

    def _spray(self) -> float:
        fog = self.p.fog
        assert isinstance(fog, Fog)
        then = self.middle - fog.line_delay_s
        if then < 0.0:
            return 0.0
        out = self.run.outputs[segment(self.run.at_s, then)]
        return (out[5] * fog.bank_a_kg_per_h + out[6] * fog.bank_b_kg_per_h) / 3600.0

    def _frames(
        self, d: Vector, T: Vector, W: Vector, Ts: Vector, film: Vector, g: dict[str, float]
    ) -> tuple[Vector, Vector]:
        """As before, with the heating of now."""
        dT, dfilm = super()._frames(d, T, W, Ts, film, g)
        f = self.p.frames
        now = self.run.outputs[segment(self.run.at_s, self.middle)][7] - self.case.outputs[7]
        return dT + f.heating_W * now / (f.area_m2 * f.skin_J_per_m2_K + CL * film), dfilm


def pulsed(run: Pulses, dt_s: float) -> list[Vector]:
    """The chamber model's own states at looks_s, in the order of Equations."""
    model, found = begun(run.case, dt_s), []
    for outputs, begin, end in zip(run.outputs, run.at_s, run.looks_s, strict=True):
        for _ in range(round((end - begin) / dt_s)):
            model.step(outputs)
        found.append(state_of(model))
    return found


QUANTITIES = ("air", "moisture", "skin", "core", "board", "wall", "films")
UNITS = ("K", "g/kg", "K", "K", "K", "K", "g/m2")


def quantities(e: Equations, y: Vector) -> list[Vector]:
    """What is compared, in the order of QUANTITIES and their units."""
    cells = y[: CELL_ROWS * e.n].reshape(CELL_ROWS, e.n)
    states = [flash(h / e.M, w / e.M, e.p.room.pressure_Pa) for h, w in cells[:2].T]
    T, W, _ = (np.array(row) for row in zip(*states, strict=True))
    areas = np.array([[e.p.product.m2_per_position], [e.A_board]])
    films = np.vstack([1e3 * cells[[4, 7]] / areas, [1e3 * cells[9] / e.A_wall]])
    return [T, 1e3 * W, cells[2], cells[3], cells[6], cells[8], films]
