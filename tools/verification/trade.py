"""Trade facts: what people who run such chambers say, and what the chamber model gives in the same situation.

They prove nothing: the statements are common practice without a source. A model that contradicted them would be wrong.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.moistair import dew_point
from plantsim.params import Envelope, PlantParams, Product
from plantsim.truth import COLUMN
from verification.rooms import PA, chamber, live

SOURCE = "common practice, no source"
FAN, HEAT = (1.0, 75.0), (1.0, 100.0)
REST = (0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """statement: of the trade. run: what was simulated. found: what the model gives, in words with its figures."""

    statement: str
    run: str
    found: str
    agrees: bool
    source: str = SOURCE


def all_facts() -> list[Fact]:
    """Every fact, each from runs of its own with the default chamber."""
    return [make() for make in FACTS]


def circulation_off() -> Fact:
    """Warm-up with the fan standing and running."""
    still, moved = (
        live(default(18.0, (-5.0, 80.0)), 6 * 3600.0, (*fan, *HEAT, *REST)) for fan in ((0.0, 0.0), (1.0, 50.0))
    )
    a, b = top_over_bottom(still), top_over_bottom(moved)
    return Fact(
        statement="Heated without circulation, the bottom stays more than 10 K behind the top",
        run="warm-up from 18 degC, 60 kW for 6 h, -5 degC outdoors; fan standing, and at 50 %",
        found=f"top over bottom {a:.1f} K without, {b:.1f} K with the fan",
        agrees=a > 10.0 and a > 3.0 * b,
    )


def poor_insulation() -> Fact:
    """A warm, moist, mild hold in a well and a badly insulated chamber."""
    films = []
    for U in (0.11, 1.5):
        params = replace(dry_heat(), envelope=Envelope(U_W_per_m2_K=U))
        model = chamber(params, charge=Charge(mix_degC=32.0), outdoor=(-5.0, 80.0))
        model.start(32.0, 96.0)
        live(model, 3600.0, (*FAN, 1.0, 40.0, *REST))
        films.append(see(model, "condensed_envelope_kg"))
    return Fact(
        statement="Poor insulation: walls and ceiling run with water, and it drips on the product",
        run="an hour from 32 degC / 96 %RH, -5 degC outdoors; U of the envelope 0.11 and 1.5 W/m2K",
        found=f"condensed on the envelope {films[0]:.2f} kg, and {films[1]:.1f} kg",
        agrees=films[1] > 10.0 * max(films[0], 0.1),
    )


def cold_product() -> Fact:
    """Cold fresh product in warm moist air."""
    model = chamber(dry_heat(), charge=Charge(mix_degC=12.0), outdoor=(8.0, 80.0))
    model.start(32.0, 95.0)
    live(model, 300.0, (*FAN, *HEAT, 0.0, 1.0, 1.0, 0.0))
    wet, boards = see(model, "condensed_product_kg"), see(model, "condensed_board_kg")
    return Fact(
        statement="Cold product in warm moist air gets wet before it gets warm",
        run="product and boards of 12 degC, air of 32 degC / 95 %RH, heat and fog on, 5 minutes",
        found=f"condensed on the product {wet:.1f} kg, on boards {boards:.1f} kg",
        agrees=wet > 1.0 and boards > 1.0,
    )


def warm_product() -> Fact:
    """Product warmer than the air dries although the air is nearly saturated."""
    rates = []
    for skin in (32.0, 36.0):
        model = chamber(dry_heat(), charge=Charge(mix_degC=skin), outdoor=(20.0, 60.0))
        model.start(32.0, 98.0)
        live(model, 30.0, (*FAN, *REST, 0.0, 0.0))
        rates.append(see(model, "drying_kg_per_m2h"))
    return Fact(
        statement="Product warmer than the air dries even at 98 %RH",
        run="air of 32 degC / 98 %RH, product at 32 and at 36 degC, after half a minute",
        found=f"drying {rates[0]:.4f} and {rates[1]:.4f} kg/m2h",
        agrees=rates[1] > 10.0 * max(rates[0], 1e-4),
    )


def door_open() -> Fact:
    """One of six doors open in winter."""
    params = replace(PlantParams(), hall=replace(PlantParams().hall, degC=5.0, rh_pct=80.0))
    model = chamber(params, charge=Charge(mix_degC=32.0), outdoor=(-5.0, 80.0))
    model.start(32.0, 96.0)
    model.set_door(3, open_=True)
    live(model, 60.0, (*FAN, *HEAT, *REST))
    power = -model.books.doors_kWh * 60.0
    live(model, 240.0, (*FAN, *HEAT, *REST))
    cold = float(model.state.air[at.AIR_T].min())
    return Fact(
        statement="An open door costs more than any heater gives; the bay behind it leaves its band",
        run="one of six doors open for 5 minutes, 32 degC inside, hall of 5 degC, heater at 60 kW",
        found=f"{power:.0f} kW through the door in the first minute; the coldest place fell from 32 to {cold:.1f} degC",
        agrees=power > 60.0 and cold < 31.0,
    )


def cold_object() -> Fact:
    """A cold rack is carried in: wet until it has passed the dew point, then dry again."""
    model = chamber(PlantParams(), charge=Charge(tonnes=0.0, mix_degC=30.0), outdoor=(8.0, 80.0))
    model.start(30.0, 85.0)
    board = model.state.board
    board[at.S_T, 30] = 18.0
    wet_until, passed, most = 0.0, 0.0, 0.0
    while model.time_s < 12 * 3600.0:
        live(model, 10.0, (*FAN, *REST, 0.0, 0.0))
        film = float(board[at.S_FILM, 30]) / float(model.constants.cell[at.C_BOARD_M2, 30])
        most = max(most, film)
        if film > 0.0:
            wet_until = model.time_s
        if passed == 0.0 and board[at.S_T, 30] > dew_point(float(model.state.air[at.AIR_W, 30]), PA):
            passed = model.time_s
    dried = wet_until < 12 * 3600.0
    return Fact(
        statement="A cold thing carried in fogs over until it is warmer than the dew point, then it dries again",
        run="an empty rack of 18 degC in air of 30 degC / 85 %RH",
        found=f"wettest {1e3 * most:.0f} g/m2; dew point passed after {passed / 60:.0f} min, dry after "
        f"{wet_until / 60:.0f} min",
        agrees=most > 0.005 and 0.0 < passed < wet_until and dried,
    )


def standing_climate() -> Fact:
    """32 degC and 98 %RH kept by two thermostats in a season that allows it: matured product, warm outdoors."""
    params = replace(dry_heat(), envelope=Envelope(U_W_per_m2_K=0.05))
    params = replace(params, floor=replace(params.floor, ground_degC=25.0))
    model = chamber(params, charge=Charge(mix_degC=32.0, age_h=400.0), outdoor=(26.0, 80.0))
    model.start(32.0, 97.0)
    T, RH, wet = [], [], 0.0
    for minute in range(12 * 60):
        heat, fog = see(model, "air_mean_degC") < 32.0, see(model, "rh_mean_pct") < 97.8
        live(model, 60.0, (1.0, 50.0, float(heat), 30.0 * heat, 0.0, float(fog), 0.0, 1.0))
        if minute >= 6 * 60:
            T.append(see(model, "air_mean_degC"))
            RH.append(see(model, "rh_mean_pct"))
            wet = max(wet, see(model, "board_film_max_kg_per_m2"))
    return Fact(
        statement="32 degC and 98 %RH can be kept standing with dry boards where outdoors is warm",
        run="matured product, U 0.05 W/m2K, 26 degC / 80 %RH outdoors, two on-off thermostats; last 6 of 12 h",
        found=f"{np.mean(T):.2f} degC, {np.mean(RH):.1f} %RH, wettest board {1e3 * wet:.2f} g/m2",
        agrees=abs(float(np.mean(T)) - 32.0) < 0.5 and abs(float(np.mean(RH)) - 98.0) < 1.0 and wet < 0.005,
    )


FACTS: tuple[Callable[[], Fact], ...] = (
    circulation_off,
    poor_insulation,
    cold_product,
    warm_product,
    door_open,
    cold_object,
    standing_climate,
)


def default(mix_degC: float, outdoor: tuple[float, float]) -> Chamber:
    """The default chamber, full."""
    return chamber(PlantParams(), charge=Charge(mix_degC=mix_degC), outdoor=outdoor)


def dry_heat() -> PlantParams:
    """The default chamber with product that sets no heat free."""
    return replace(PlantParams(), product=Product(hydration_J_per_kg=0.0))


def see(model: Chamber, name: str) -> float:
    """A column of the truth."""
    return model.truth_row[COLUMN[name]]


def top_over_bottom(model: Chamber) -> float:
    """Smallest difference of the highest and the lowest level over the bays."""
    T = model.state.air[at.AIR_T].reshape(model.params.room.bays, model.params.room.levels)
    return float((T[:, -1] - T[:, 0]).min())
