"""What `check` says of a standing climate before it runs: what newcomers do to their cells, and the heat of a day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from controller.config.chamber import ChamberFile
from controller.config.filling import FillingRow
from controller.config.rules import verdict_rules
from controller.config.summary import table
from controller.core.loops.capacity import MOIST_AIR_KJ_PER_KGK
from controller.core.outlook.everyday import Day, day
from controller.core.outlook.newcomers import Around, Newcomers, Pull, Trip, least_degC, worst
from controller.core.product.mix import Mix
from controller.core.sequence.recipe import Phase, Recipe, band


@dataclass(frozen=True, slots=True)
class Everyday:
    """The estimate. off_K: so far may a settled cell be from what is asked; limit_K: so far newcomers may pull it down;
    least_degC, flow_kg_per_s: what would keep to it.

    heat_kW_max, vent_kg_per_s: what heater and vent of this chamber have.
    """

    temperature_degC: float
    flow_kg_per_s: float
    trips: tuple[Trip, ...]
    pull: Pull
    uneven_K: float
    off_K: float
    limit_K: float
    least_degC: float
    enough_kg_per_s: float
    day: Day
    heat_kW_max: float
    outdoor_degC_max: float


def standing_phase(recipe: Recipe) -> Phase | None:
    """The hold of a recipe in which boards come and go; None where it has none."""
    return next((phase for phase in recipe.phases if phase.kind == "hold" and phase.on_door == "standing"), None)


def look_ahead(
    phase: Phase, chamber: ChamberFile, mix: Mix, rows: Sequence[FillingRow], outdoor: Sequence[tuple[float, float]]
) -> Everyday | None:
    """The estimate for a filling; None when nothing comes in after its inventory."""
    trips = trips_of(rows)
    T = 0.5 * sum(band(phase))
    flow = phase.fan_kg_per_s if phase.fan_kg_per_s is not None else chamber.sequence.fan_kg_per_s
    rh = min(phase.rh_fog_below_pct or phase.rh_accept_pct, 96.0)  # more than dry surfaces usually allow
    around = Around(temperature_degC=T, rh_pct=rh, flow_kg_per_s=flow, bays=chamber.bays)
    what = Newcomers(forecast=chamber.forecast, product=chamber.product, thermal=chamber.temperature)
    pull = worst(what, trips, around)
    if pull is None:
        return None
    off_K = verdict_rules().settled_off_K_max
    limit = off_K - chamber.forecast.uneven_K
    fan_kW = (flow / chamber.fan.flow_kg_per_s_at_full) ** 3 * chamber.fan.power_kW_at_full
    first_s = trips[0].time_s
    one_day = [trip for trip in trips if trip.time_s < first_s + 86_400.0]
    supply_kW = flow * MOIST_AIR_KJ_PER_KGK * phase.supply_over_return_K_max - fan_kW
    return Everyday(
        temperature_degC=T, flow_kg_per_s=flow, trips=trips, pull=pull, uneven_K=chamber.forecast.uneven_K,
        off_K=off_K, limit_K=limit, least_degC=least_degC(what, pull.trip, around, limit),
        enough_kg_per_s=flow * pull.fall_K / limit,
        day=day(what, mix, around, one_day, outdoor, fan_kW=fan_kW, vent_kg_per_s=chamber.vent.kg_per_s_max),
        heat_kW_max=max(0.0, min(chamber.heat.capacity_kW, chamber.constraints.heat_kW_max, supply_kW)),
        outdoor_degC_max=max(outdoor)[0],
    )  # fmt: skip


def trips_of(rows: Sequence[FillingRow]) -> tuple[Trip, ...]:
    """Who comes in through which opening of a door; the inventory at time 0 is none."""
    open_s: dict[int, float] = {}
    coming: dict[int, list[tuple[float, float, float]]] = {}
    trips = []

    def end(bay: int, shut_s: float) -> None:
        places = coming.pop(bay, [])
        if places:
            boards = tuple((tonnes, degC) for _, tonnes, degC in places)
            trips.append(Trip(time_s=places[0][0], shut_s=shut_s, bay=bay, places=boards))

    for row in rows:
        time_s = 3600.0 * row.time_h
        if row.what == "open":
            open_s[row.bay] = time_s
        elif row.what == "close":
            open_s.pop(row.bay, None)
            end(row.bay, time_s)
        elif row.what == "place" and row.time_h > 0.0 and row.tonnes is not None and row.degC is not None:
            coming.setdefault(row.bay, []).append((time_s, row.tonnes, row.degC))
            if row.bay not in open_s:
                end(row.bay, time_s)
    for bay in list(coming):
        end(bay, coming[bay][-1][0])
    return tuple(sorted(trips, key=lambda trip: (trip.time_s, trip.bay)))


def text(found: Everyday) -> str:
    """The estimate for a person."""
    pull, a_day, trip = found.pull, found.day, found.pull.trip
    temperatures = [degC for one in found.trips for _, degC in one.places]
    own = sum(degC for _, degC in trip.places) / len(trip.places)
    when = f"bay {trip.bay} at {trip.time_s / 3600.0:.1f} h, {len(trip.places)} places of {own:.1f} degC"
    rows: list[tuple[str, ...]] = [
        ("what", "estimate", "there is"),
        ("boards a day", f"{a_day.tonnes:.0f} t of {min(temperatures):.1f} to {max(temperatures):.1f} degC", ""),
        ("worst trip", when, ""),
        ("heat it takes, 15 min after its door shut", f"{pull.kW:.1f} kW", ""),
        ("it pulls its cells down by", f"{pull.fall_K:.2f} K", f"{found.limit_K:.2f} K, of {found.off_K:g} K in all"),
        ("it gets wet by, at most", f"{pull.wetted_kg_per_m2:.2f} kg/m2", ""),
        ("hydration, mean and most", f"{a_day.hydration_kW:.0f} kW, {a_day.hydration_kW_max:.0f} kW", ""),
        ("heat to be given, most", f"{a_day.heat_kW:.0f} kW", f"{found.heat_kW_max:.0f} kW"),
        (
            "heat to be carried away, most", f"{a_day.cooling_kW:.0f} kW",
            f"{a_day.vent_kW:.0f} kW by the vent at {found.outdoor_degC_max:g} degC",
        ),
    ]  # fmt: skip
    head = f"standing climate of {found.temperature_degC:g} degC, {found.flow_kg_per_s:g} kg/s of air (an estimate):"
    return "\n".join([head, "", table(rows)])


def notes(found: Everyday) -> list[str]:
    """What will not go as asked, and what would help."""
    said, pull, a_day = [], found.pull, found.day
    coldest = min(degC for _, degC in pull.trip.places)
    if pull.fall_K > found.limit_K:
        said.append(
            f"newcomers of {coldest:.1f} degC pull their cells {pull.fall_K:.1f} K down, and the chamber's own "
            f"unevenness leaves {found.limit_K:.1f} K: let boards come in at {found.least_degC:.1f} degC or more "
            f"(a heated mix, a short way), give {found.enough_kg_per_s:.0f} kg/s of air through more outlets, or carry "
            "fewer places in a trip"
        )
    if a_day.heat_kW > found.heat_kW_max:
        said.append(
            f"newcomers need {a_day.heat_kW:.0f} kW in their worst hour, {found.heat_kW_max:.0f} kW can be given: the "
            "chamber will cool in the shift; heat the mix, or spread it over more hours"
        )
    if a_day.cooling_kW > a_day.vent_kW:
        said.append(
            f"at {found.outdoor_degC_max:g} degC outdoors {a_day.cooling_kW:.0f} kW have to go and the vent carries "
            f"{a_day.vent_kW:.0f} kW: the chamber will warm up; a larger vent, a cooler mix or less product helps"
        )
    return said


def data(found: Everyday) -> dict[str, Any]:
    """Every figure for a machine; of the trips only how many."""
    return {**{name: value for name, value in asdict(found).items() if name != "trips"}, "trips": len(found.trips)}
