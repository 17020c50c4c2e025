"""Valve, coil, fan, droplets of the spray, and the heat of hydration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import exp

from plantsim.charge import Charge
from plantsim.kernel import drives, hydration, spray
from plantsim.kernel import layout as at
from plantsim.kernel.jit import python_of
from plantsim.params import Coil, Fog, PlantParams, Product
from verification.check import Check, Effort, Figure, Plant, after, instead, scaled, times
from verification.rooms import chamber, live, moisture, only_air


def valve(_: Effort) -> Sequence[Figure]:
    """Equal percentage, rangeability 50, authority 0.5, installed."""
    opened = python_of(drives.opened)
    flows = ((0.0, 0.0), (0.25, 0.0751), (0.5, 0.1980), (0.75, 0.4978), (1.0, 1.0))
    found = [Figure(what=f"at {x:.0%}", expected=y, got=opened(x, 50.0, 0.5), tolerance=6e-5) for x, y in flows]
    return [*found, Figure(what="free of the installation", expected=50.0**-0.5, got=opened(0.5, 50.0, 1e-12 + 1.0),
                           tolerance=1e-9)]  # fmt: skip


def coil(_: Effort) -> Sequence[Figure]:
    """Valve at 75 %, which lets half the water through, water 70 degC: heat against the flow of air."""
    found = []
    for fan_pct in (25.0, 50.0, 75.0, 100.0):
        params = PlantParams()
        params = replace(params, heat=Coil(lag_s=1.0, stroke_s=1.0), fan=replace(params.fan, lag_s=0.1))
        model = live(chamber(params, charge=Charge()), 60.0, (1.0, fan_pct, 1.0, 75.0, 0.0, 0.0, 0.0, 0.0))
        g = model.state.gear
        C = float(g[at.G_FLOW]) * 1062.0
        expected = 0.4978 * (1.0 - exp(-1650.0 / C)) * C * (70.0 - float(g[at.G_RETURN_T])) / 1e3
        got = float(g[at.G_COIL_W]) / 1e3
        found.append(
            Figure(what=f"fan {fan_pct:g} %", expected=expected, got=got, tolerance=0.015, relative=True, unit="kW")
        )
    return found


def fan(_: Effort) -> Sequence[Figure]:
    """Flow with speed, power with its cube, lag exact for any step."""
    model = chamber(replace(PlantParams(), fan=replace(PlantParams().fan, lag_s=60.0)))
    live(model, 60.0, (1.0, 75.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0))
    g = model.state.gear
    speed = 75.0 * (1.0 - exp(-1.0))
    flow = 12.0 * speed / 100.0
    return (
        Figure(what="speed after a time constant", expected=speed, got=float(g[at.G_SPEED]), tolerance=1e-9, unit="%"),
        Figure(what="flow", expected=flow, got=float(g[at.G_FLOW]), tolerance=1e-9, unit="kg/s"),
        Figure(what="power", expected=4.0 * (flow / 9.0) ** 3, got=float(g[at.G_FAN_W]) / 1e3, tolerance=1e-9,
               unit="kW"),
    )  # fmt: skip


TABLE = (
    (10.0, 0.0029, (1.00, 1.00, 1.00)),
    (20.0, 0.0115, (0.99, 0.98, 0.95)),
    (50.0, 0.072, (0.72, 0.56, 0.33)),
    (100.0, 0.288, (0.14, 0.07, 0.03)),
)


def droplets(_: Effort) -> Sequence[Figure]:
    """Fall and evaporated share over 2 m at 32 degC, from what the model packs for each size."""
    found = []
    for um, fall, shares in TABLE:
        model = chamber(replace(PlantParams(), fog=Fog(droplet_um=um, fall_m=2.0)), charge=Charge())
        k = model.constants.k
        got = float(k[at.K_DROP_FALLS]) * 2.0
        stokes = 998.0 * 9.81 * (um * 1e-6) ** 2 / (18.0 * 1.87e-5)
        name = f"{um:g} um"
        found.append(Figure(what=f"{name}, fall", expected=stokes, got=got, tolerance=1e-6, relative=True, unit="m/s"))
        found.append(Figure(what=f"{name}, fall in print", expected=fall, got=got, tolerance=0.02, relative=True,
                            unit="m/s"))  # fmt: skip
        for rh, share in zip((90.0, 95.0, 98.0), shares, strict=True):
            evaporated = python_of(spray.evaporated_share)(k, 32.0, moisture(32.0, rh))
            found.append(Figure(what=f"{name}, evaporated at {rh:g} %", expected=share, got=evaporated,
                                tolerance=0.03))  # fmt: skip
    return found


def calorimetric(_: Effort) -> Sequence[Figure]:
    """Degree of hydration, its rate, and an adiabatic rise integrated here."""
    degree, per_h, rate = python_of(hydration.degree), python_of(hydration.degree_per_h), python_of(hydration.rate)
    found = [
        Figure(what="degree of hydration, 27 h", expected=0.497378, got=0.85 * degree(27.0, 13.5, 0.9), tolerance=1e-5)
    ]
    for age in (3.0, 12.0, 100.0):
        d = 1e-5 * age
        slope = (degree(age + d, 21.86, 0.946) - degree(age - d, 21.86, 0.946)) / (2.0 * d)
        found.append(Figure(what=f"rate at {age:g} h", expected=slope, got=per_h(age, 21.86, 0.946), tolerance=1e-5,
                            relative=True, unit="1/h"))  # fmt: skip
    found += [
        Figure(what=f"speed at {t:g} degC", expected=v, got=rate(t, 40000.0), tolerance=1e-4)
        for t, v in ((5.0, 0.4127), (30.0, 1.7184), (60.0, 7.1744))
    ]
    return found


def adiabatic(effort: Effort) -> Sequence[Figure]:
    """A chamber from which no heat goes, filled with concrete at 20 degC: its product after 12 h and 24 h.

    318 J/g, tau 18 h, b 1.05, Ea 40 kJ/mol; rise 318 * cement / heat capacity.
    """
    product = replace(Product(), hydration_J_per_kg=318e3, tau_h=18.0, shape=1.05, activation_J_per_mol=40000.0)
    # 350 kg of cement in 2302.5 kg, 964 J/kgK
    product = replace(product, cement_share=350.0 / 2302.5, heat_J_per_kg_K=964.0, nominal_t=4.0, wetted_fraction=0.0)
    model = chamber(replace(only_air(), product=product), charge=Charge(tonnes=4.0), dt_s=2.0)
    table = ((6.0, 22.29), (12.0, 35.94)) if effort is Effort.PLANTED else ((6.0, 22.29), (12.0, 35.94), (24.0, 59.95))
    found = []
    for hours, expected in table:
        live(model, hours * 3600.0 - model.time_s)
        skin, core = (float(model.state.product[row, 0]) for row in (at.P_SKIN, at.P_CORE))
        got = product.skin_share * skin + (1.0 - product.skin_share) * core
        found.append(Figure(what=f"after {hours:g} h", expected=expected, got=got, tolerance=0.05, unit="degC"))
    return found


CHECKS = (
    Check(
        name="installed valve", subject="equipment",
        proves="flow of an equal-percentage valve with its pressure drop shared",
        formula="kv = R^(x-1); 1 / sqrt(1 + N (1/kv^2 - 1))",
        source="recomputed: common sizing practice, from memory", run=valve,
        plants=(Plant(what="linear valve", changes={"kernel.drives.opened": instead(lambda x, r, n: x)}),),
    ),
    Check(
        name="heating coil", subject="equipment",
        proves="heat of the coil follows air flow and temperatures as an exchanger with much more water than air",
        formula="Q = eps C (Tw - Tair), eps = 1 - exp(-UA / C); at most the rated 60 kW",
        source="recomputed: effectiveness-NTU; rated point rounded to 60 kW, 1.5 %", run=coil,
        plants=(Plant(what="heat in proportion to the flow of air",
                      changes={"kernel.coil._carried": instead(lambda flow, ua: flow)}),),
    ),
    Check(
        name="fan", subject="equipment", proves="flow, power and run-up", formula="V ~ n, P ~ n^3, n ~ 1 - exp(-t/tau)",
        source="recomputed: affinity laws", run=fan,
        plants=(Plant(what="explicit lag", changes={"pack.common.gain": instead(lambda lag, dt: dt / lag)},
                      compiled=True),),
    ),
    Check(
        name="droplets", subject="equipment",
        proves="fall and evaporation of sprayed droplets near saturation: when fog wets boards",
        formula="v = rho g d^2 / (18 mu); share k_e / (k_e + v/2m), k_e = 12 D rho dW / (rho_l d^2), wet-bulb drive",
        source="recomputed: Stokes' law and d-square law with Sh = 2, 32 degC", run=droplets,
        plants=(
            Plant(what="fall 5 % fast", changes={"pack.fog.fall_m_per_s": scaled(1.05)}, compiled=True),
            Plant(what="droplets as warm as the air", changes={"kernel.spray.HUMID_AIR_J_PER_KG_K": instead(1e12)}),
            Plant(what="radius for diameter", changes={"pack.fog.DIFFUSION_M2_PER_S": times(0.25)}, compiled=True),
        ),
    ),
    Check(
        name="hydration", subject="equipment",
        proves="degree of hydration, its rate and its speed with temperature",
        formula="alpha = exp(-(tau/te)^b); Arrhenius at 20 degC",
        source="published: OOFEM, tests/tm/hydratingConcreteMat01.in (0.497378); recomputed: Arrhenius",
        run=calorimetric,
        plants=(
            Plant(what="gas constant 8.2", changes={"kernel.hydration.GAS_J_PER_MOL_K": instead(8.2)}),
            Plant(what="rate without the shape", changes={"kernel.hydration.degree_per_h":
                  lambda right: lambda te, tau, b: right(te, tau, b) / b}),
        ),
    ),
    Check(
        name="adiabatic rise", subject="equipment", sized=True,
        proves="heat of hydration ends up in skin and core of the product, all of it and in time",
        formula="T = T0 + 50.14 K alpha(te), dte/dt = Arrhenius",
        source="recomputed: 318 J/g, tau 18 h, b 1.05, 350 kg/m3, 2302.5 kg/m3, 964 J/kgK",
        run=adiabatic,
        plants=(Plant(what="activation energy 2 % large", compiled=True, changes={
            "pack.product.load_cells": after(lambda cell, *rest: cell.__setitem__(at.C_ACTIVATION, 40800.0))
        }),),
    ),
)  # fmt: skip
