"""Balances of a curing chamber as ordinary differential equations, for an outside solver: no tests in here.

Written from the physics in plain numpy. Shared with the chamber model are its parameters and functions of moist air;
geometry, flows and balances are set up anew.
"""

from __future__ import annotations

from itertools import pairwise
from math import exp, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from plantsim.kernel.moistair import enthalpy, flash, humidity_ratio, psat, psat_and_slope, saturated_W
from plantsim.params import Coil, PlantParams
from plantsim.params.fog import Spray

Vector = NDArray[np.float64]
G0, CL = 9.81, 4186.0  # m/s2; J/kgK of liquid water
STEFAN = 1040.0 * 0.91  # h_c over h_m, J/kgK: humid air's c_p times Le^(2/3) with Le = 0.87
CELL_ROWS = 11  # H, water, skin, core, film, inner, board T, board film, wall T, wall film, age
AGE_H = 9.0  # equivalent age when the clock starts: hydration in full swing


class Case(NamedTuple):
    """A run: everything at mix_degC, then outputs that do not change."""

    outputs: tuple[float, ...]  # fan_run, fan_pct, heat_run, valve_pct, vent_pct, fog_a, fog_b, frame_heat
    outdoor: tuple[float, float]
    mix_degC: float = 20.0
    rh_pct: float = 92.0
    bays: int = 2
    levels: int = 3
    minutes: float = 30.0
    film_kg_per_m2: float = 0.0  # on every surface; one that dries up or wets anew would be a jump in the equations


class Equations:
    """dy/dt of the chamber, y = [cells (CELL_ROWS x n), frame T, frame film, floor (3 x bays), coil W]."""

    def __init__(self, p: PlantParams, case: Case) -> None:
        if not (isinstance(p.heat, Coil) and isinstance(p.fog, Spray)):
            raise TypeError(f"heat {p.heat.kind}, fog {p.fog.kind}: these equations are for hot water and nozzles")
        self.p, self.case, self.coil, self.spray = p, case, p.heat, p.fog
        self.b, self.l = p.room.bays, p.room.levels
        self.n = n = self.b * self.l
        self.M = p.room.dry_air_kg / n
        self.level, self.bay = np.arange(n) % self.l, np.arange(n) // self.l
        self.T_out = case.outdoor[0]
        self.W_out = humidity_ratio(case.outdoor[1] / 100.0 * psat(self.T_out), p.room.pressure_Pa)
        self._masses()
        # Places where the right-hand side has a kink: the integration is cut there.
        strokes = [self.coil.stroke_s * case.outputs[3] / 100, p.vent.stroke_s * case.outputs[4] / 100]
        self.cuts = sorted({0.0, self.spray.line_delay_s, *strokes, case.minutes * 60.0})

    def _masses(self) -> None:
        p, n, room = self.p, self.n, self.p.room
        kg = p.product.nominal_t * 1e3 / n
        self.inner0 = kg * p.product.skin_share * p.product.water_kg_per_kg
        self.C_skin = kg * p.product.skin_share * p.product.heat_J_per_kg_K - self.inner0 * CL
        self.C_core = kg * (1 - p.product.skin_share) * p.product.heat_J_per_kg_K
        self.cement = kg * p.product.cement_share
        racks = p.racks
        self.C_board = (racks.boards_kg * racks.boards_J_per_kg_K + racks.steel_kg * racks.steel_J_per_kg_K) / n
        self.A_board = racks.boards_m2_per_position + racks.steel_m2_per_position
        dz, strip = room.height_m / self.l, room.width_m / self.b
        ends = (self.bay == 0).astype(float) + (self.bay == self.b - 1)
        roof = (self.level == self.l - 1) * strip * room.depth_m
        self.A_wall = 2 * strip * dz + ends * room.depth_m * dz + roof
        self.A_floor = strip * room.depth_m
        weight = np.exp(-(self.l - 1 - self.level) / p.fog.land_levels)
        self.land = weight / weight.sum()

    def start(self) -> Vector:
        """State with everything at mix temperature."""
        T, p, n = self.case.mix_degC, self.p, self.n
        W = humidity_ratio(self.case.rh_pct / 100 * psat(T), p.room.pressure_Pa)
        cells = np.zeros((CELL_ROWS, n))
        cells[0], cells[1] = self.M * enthalpy(T, W), self.M * W
        cells[[2, 3, 6, 8]] = T
        cells[5], cells[10] = self.inner0, AGE_H
        film = self.case.film_kg_per_m2
        cells[4], cells[7], cells[9] = film * p.product.m2_per_position, film * self.A_board, film * self.A_wall
        frame_film = np.full(self.b, film * p.frames.area_m2)
        return np.concatenate([cells.ravel(), np.full(self.b, T), frame_film, np.full(3 * self.b, T), [0.0]])

    def solve(self) -> Vector:
        """The state at the end."""
        y = self.start()
        size = np.maximum(np.abs(y), 1e-3)
        for begin, end in pairwise(self.cuts):
            self.middle = 0.5 * (begin + end)
            found = solve_ivp(self.slope, (begin, end), y, method="LSODA", rtol=1e-8, atol=1e-9 * size)
            assert found.success, found.message
            y = found.y[:, -1]
        return y

    def slope(self, t: float, y: Vector) -> Vector:
        """dy/dt at t."""
        n, b, p = self.n, self.b, self.p
        cells, rest = y[: CELL_ROWS * n].reshape(CELL_ROWS, n), y[CELL_ROWS * n :]
        frame_T, frame_film, floor, coil_W = rest[:b], rest[b : 2 * b], rest[2 * b : 5 * b].reshape(3, b), rest[-1]
        states = [flash(h, w, p.room.pressure_Pa) for h, w in zip(cells[0] / self.M, cells[1] / self.M, strict=True)]
        T, W, F = (np.array(row) for row in zip(*states, strict=True))
        gear = self._gear(t, T, W, coil_W)
        d = np.zeros_like(cells)
        self._carry(d, cells, gear)
        self._mix(d, cells, T, W, gear["flow"])
        # leaks: as much in as out, everywhere
        leak = p.room.leak_kg_per_s / n
        d[0] += leak * (enthalpy(self.T_out, self.W_out) - cells[0] / self.M)
        d[1] += leak * (self.W_out - cells[1] / self.M)
        # what lands: fog that settles, and the spray that did not evaporate
        d2 = (p.fog.settle_droplet_um * 1e-6) ** 2
        settle = 998.0 * G0 * d2 / (18 * 1.87e-5) / (p.room.height_m / self.l) * F * self.M
        landed = settle + self.land * gear["falls"]
        landed_J = CL * (settle * T + self.land * gear["falls"] * self.spray.water_degC)
        d[0] -= CL * settle * T
        d[1] -= settle
        self._surfaces(d, cells, T, W, gear["h_c"], landed, landed_J)
        dframe = self._frames(d, T, W, frame_T, frame_film, gear)
        dfloor = self._floor(d, T, floor, gear["h_c"])
        return np.concatenate([d.ravel(), *dframe, dfloor.ravel(), [(gear["coil_to"] - coil_W) / self.coil.lag_s]])

    def _gear(self, t: float, T: Vector, W: Vector, coil_W: float) -> dict[str, float]:
        """Equipment whose outputs were set at t = 0; only the coil needs a state of its own."""
        p, out, coil, fog = self.p, self.case.outputs, self.coil, self.spray
        fan = p.fan.full_kg_per_s * out[0] * out[1] / 100 * (1 - exp(-t / p.fan.lag_s))
        damper = installed(min(out[4], 100 * t / p.vent.stroke_s), p.vent.rangeability, p.vent.authority)
        valve = installed(min(out[3], 100 * t / coil.stroke_s), coil.rangeability, coil.authority)
        UA = coil.UA_kW_per_K * 1e3

        def carried(kg_per_s: float) -> float:
            return kg_per_s * 1062 * (1 - exp(-UA / (kg_per_s * 1062)))

        warm = (coil.water_degC - T[self.level == 0].mean()) / (coil.water_degC - coil.air_degC)
        air = carried(max(fan, coil.draught_kg_per_s)) / carried(p.fan.rated_kg_per_s)
        coil_to = min(coil.max_kW * 1e3 * valve * warm * air, coil.max_kW * 1e3)
        top = self.level == self.l - 1
        spray = (out[5] * fog.bank_a_kg_per_h + out[6] * fog.bank_b_kg_per_h) / 3600
        spray *= self.middle > fog.line_delay_s
        share = self._evaporated(T[top].mean(), W[top].mean())
        vent = p.vent.max_kg_per_s * damper
        flow = max(fan, vent)
        return {
            "flow": flow, "vent": vent, "coil": coil_W, "coil_to": coil_to, "spray": spray * share,
            "falls": spray * (1 - share), "fan_W": p.fan.rated_kW * 1e3 * (fan / p.fan.rated_kg_per_s) ** 3,
            "h_c": p.air.film_W_per_m2_K + p.air.film_W_per_m2_K_per_m_per_s * p.air.speed_m_per_s_per_kg_per_s * flow,
        }  # fmt: skip

    def _evaporated(self, T: float, W: float) -> float:
        """Rate of evaporation against rate of falling, d-square law with Sh = 2, droplets at their wet bulb."""
        P, d2 = self.p.room.pressure_Pa, (self.spray.droplet_um * 1e-6) ** 2
        ps, slope = psat_and_slope(T)
        drive = (saturated_W(T, P) - W) / (1 + 2.43e6 / 1062 * 0.621945 * P * slope / (P - ps) ** 2)
        dries = 12 * 2.62e-5 * 1.137 * max(drive, 0.0) / (998 * d2)
        return dries / (dries + 998 * G0 * d2 / (18 * 1.87e-5) / self.spray.fall_m)

    def _carry(self, d: Vector, cells: Vector, g: dict[str, float]) -> None:
        """The fan's loop: return, exhaust and make-up, coil and spray, down every bay; without fan a plume."""
        p, h, w, flow = self.p, cells[0] / self.M, cells[1] / self.M, g["flow"]
        bottom, top = self.level == 0, self.level == self.l - 1
        rising = max(0.0, 1 - flow / p.air.plume_below_kg_per_s) * g["coil"]
        heat = g["coil"] - rising + g["fan_W"] + g["spray"] * CL * self.spray.water_degC
        heat += g["vent"] * (enthalpy(self.T_out, self.W_out) - h[bottom].mean())
        water = g["spray"] + g["vent"] * (self.W_out - w[bottom].mean())
        for row, x, entering in ((0, h, heat), (1, w, water)):
            above = np.append(x[1:], 0.0)
            above[top] = x[bottom].mean()
            d[row] += flow / self.b * (above - x)
            d[row, top] += entering / self.b
        if rising == 0.0:
            return
        # m = 0.071 q^(1/3) z^(5/3), kW and m: taken in along the height, given to the top, and as much sinks again
        q = rising * 1e-3 / p.air.plumes
        m = 0.071 * q ** (1 / 3) * p.room.height_m ** (5 / 3) * p.air.plumes / self.b
        through = m * (np.arange(self.l) / (self.l - 1)) ** (5 / 3)
        d[0, top] += rising / self.b
        for row, x in ((0, h.reshape(self.b, self.l)), (1, w.reshape(self.b, self.l))):
            change = np.zeros_like(x)
            change[:, :-1] = through[1:] * np.diff(x)
            change[:, -1] = x[:, :-1] @ np.diff(through) - through[-1] * x[:, -1]
            d[row] += change.ravel()

    def _mix(self, d: Vector, cells: Vector, T: Vector, W: Vector, flow: float) -> None:
        """Jets and overturning up and down, jets sideways: x kg/s each way between neighbours."""
        a, n_bay = self.p.air, flow / self.b
        dz = self.p.room.height_m / self.l
        virtual = (T + 273.15) * (1 + 0.608 * W)
        u = a.speed_still_m_per_s + a.speed_m_per_s_per_kg_per_s * flow
        x = cells[:2] / self.M
        for i in range(self.n):
            if self.level[i] < self.l - 1:
                step = (virtual[i + 1] - virtual[i]) / virtual[i]
                rate = (a.still_exchange_kg_per_s + a.jet_exchange * n_bay) / (1 + G0 * dz * max(step, 0.0) / u**2)
                rate += 0.055 * 1.14 * sqrt(G0 * max(-step, 0.0) * a.opening_m**5)
                self._exchange(d, x, i, i + 1, rate)
            if self.bay[i] < self.b - 1:
                self._exchange(d, x, i, i + self.l, a.side_exchange_kg_per_s + a.side_jet_exchange * n_bay)

    @staticmethod
    def _exchange(d: Vector, x: Vector, i: int, j: int, rate: float) -> None:
        moved = rate * (x[:, i] - x[:, j])
        d[:2, i] -= moved
        d[:2, j] += moved

    def _wet(
        self, h_c: float, area: Vector | float, T: Vector, W: Vector, Ts: Vector, film: Vector
    ) -> tuple[Vector, Vector]:
        """(vapour that arrives, kg/s; heat with it, W) at a surface with a film of free water."""
        Ws = np.array([saturated_W(t, self.p.room.pressure_Pa) for t in Ts])
        kg = h_c / STEFAN * area * (W - Ws)
        kg = np.where((kg < 0) & (film <= 0), 0.0, kg)
        heat = h_c * area * (T - Ts) + kg * (2.501e6 + 1860 * T)
        return kg, heat

    def _surfaces(
        self, d: Vector, cells: Vector, T: Vector, W: Vector, h_c: float, landed: Vector, landed_J: Vector
    ) -> None:
        """Boards, skins of the envelope, product."""
        env, land = self.p.envelope, self.p.fog
        out = 1 / (1 / env.U_W_per_m2_K - env.inside_m2_K_per_W)
        shares = land.land_boards, 1 - land.land_boards - land.land_product
        surfaces = ((6, self.A_board, self.C_board, 0.0), (8, self.A_wall, self.A_wall * env.skin_J_per_m2_K, out))
        for (row, area, C, loss), share in zip(surfaces, shares, strict=True):
            Ts, film = cells[row], cells[row + 1]
            kg, heat = self._wet(h_c, area, T, W, Ts, film)
            d[0] -= heat
            d[1] -= kg
            d[row + 1] = kg + share * landed
            heat = heat + share * landed_J + loss * area * (self.T_out - Ts)
            d[row] = (heat - CL * Ts * d[row + 1]) / (C + CL * film)
        self._product(d, cells, T, W, h_c, land.land_product * landed, land.land_product * landed_J)

    def _product(
        self, d: Vector, cells: Vector, T: Vector, W: Vector, h_c: float, landed: Vector, landed_J: Vector
    ) -> None:
        """Skin with its film and pore water, core, heat of hydration."""
        pr = self.p.product
        area = pr.m2_per_position
        skin, core, film, inner, age = cells[2], cells[3], cells[4], cells[5], cells[10]
        Ws = np.array([saturated_W(t, self.p.room.pressure_Pa) for t in skin])
        h_m = h_c / STEFAN * area
        covered = np.minimum(film / (pr.film_full_kg_per_m2 * area), 1)
        pores = pr.wetted_fraction * (1 - covered) * h_m
        free = np.where(Ws < W, h_m, covered * h_m) * (W - Ws)
        bound = pores * (np.minimum(W, Ws) - pr.water_activity * Ws)
        sucked = film / pr.absorb_s
        heat = h_c * area * (T - skin) + (free + bound) * (2.501e6 + 1860 * T)
        d[0] -= heat
        d[1] -= free + bound
        d[4] = free + landed - sucked
        d[5] = bound + sucked
        speed = speed_of_age(pr.skin_share * skin + (1 - pr.skin_share) * core, pr.activation_J_per_mol)
        x = (pr.tau_h / age) ** pr.shape
        set_free = self.cement * pr.hydration_J_per_kg * np.exp(-x) * x * pr.shape / age * speed / 3600
        inward = pr.skin_to_core_W_per_m2_K * area * (skin - core)
        warm = heat + landed_J + pr.skin_share * set_free - inward
        d[2] = (warm - CL * skin * (d[4] + d[5])) / (self.C_skin + CL * (film + inner))
        d[3] = (inward + (1 - pr.skin_share) * set_free) / self.C_core
        d[10] = speed / 3600

    def _frames(
        self, d: Vector, T: Vector, W: Vector, Ts: Vector, film: Vector, g: dict[str, float]
    ) -> tuple[Vector, Vector]:
        """(dT/dt, dfilm/dt) of one heated door frame a bay, beside its middle level."""
        f, i = self.p.frames, np.arange(self.b) * self.l + self.l // 2
        kg, heat = self._wet(g["h_c"], f.area_m2, T[i], W[i], Ts, film)
        d[0, i] -= heat
        d[1, i] -= kg
        loss = f.area_m2 / (1 / f.U_W_per_m2_K - self.p.envelope.inside_m2_K_per_W) * (self.T_out - Ts)
        warm = heat + loss + f.heating_W * self.case.outputs[7]
        return (warm - CL * Ts * kg) / (f.area_m2 * f.skin_J_per_m2_K + CL * film), kg

    def _floor(self, d: Vector, T: Vector, floor: Vector, h_c: float) -> Vector:
        """dT/dt of three layers of slab; U counts from air to ground with the envelope's surface resistance."""
        f = self.p.floor
        slab = f.layer_m / f.conductivity_W_per_m_K
        down = 1 / (1 / f.U_W_per_m2_K - self.p.envelope.inside_m2_K_per_W - 2 * slab)
        heat = h_c * (T[self.level == 0] - floor[0])
        d[0, self.level == 0] -= heat * self.A_floor
        flows = np.array([heat, *(-np.diff(floor, axis=0) / slab), down * (floor[2] - f.ground_degC)])
        return -np.diff(flows, axis=0) / (f.layer_m * f.heat_J_per_m3_K)


def speed_of_age(T: Vector, activation_J_per_mol: float) -> Vector:
    """Arrhenius, relative to 20 degC."""
    return np.exp(activation_J_per_mol / 8.314 * (1 / 293.15 - 1 / (T + 273.15)))


def installed(opening_pct: float, rangeability: float, authority: float) -> float:
    """Share of the full flow through an equal-percentage valve; it closes in proportion below 2 % of its stroke."""
    if opening_pct <= 0:
        return 0.0
    kv = rangeability ** (max(opening_pct, 2.0) / 100 - 1) * min(opening_pct / 2.0, 1.0)
    return 1 / sqrt(1 + authority * (1 / kv**2 - 1))
