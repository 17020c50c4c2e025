"""What protection watches and acts on in this chamber: its section, and every tag bound to a column."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from operator import itemgetter
from typing import Annotated

from annotated_types import Ge, Gt, Le

from controller.core.binding import Binder
from controller.core.frames import STALE_SCANS_MAX, Outputs
from controller.core.points import Kind, Point, of_kind
from controller.core.rows import own as own_rows
from controller.core.rows.heat_words import HeatKind, worded
from controller.core.rows.own import OwnRow, Votes
from controller.core.rows.protection import NUMBER, ROWS, Row


@dataclass(frozen=True, slots=True, kw_only=True)
class ProtectionConfig:
    """[protection]: the tags that the rows watch and act on, and their limits.

    airflow, fan_runs: contacts; startup_s: they may be missing so long after the fan was switched on.
    fan_auto, heat_auto, fog_auto: switches at the panel, only followed, never a cause.
    supply_bad_counts: a supply probe without a reading counts as too hot.
    heat_valve: analog output of the heater, "" for none; heat_stages: further contacts that heat.
    run_on_s, run_on_pct: how long and how fast the fan runs on after heat.
    heat_rise_pct_per_s: how fast the valve may open again after heat was blocked.
    link_age_scans_max: scans without an answer before the link counts as lost.
    delay_s, latch: tables, row tag = its own delay or latch instead of the usual one.
    row: rows that this chamber adds.
    """

    airflow: str = "FS-101"
    fan_runs: str = "YS-101"
    emergency_stop: str = "HS-101"
    limiter: str = "TZS-103"
    person_inside: str = "HS-103"
    fog_pressure: str = "PS-102"
    doors: tuple[str, ...] = ("ZS-101A", "ZS-101B", "ZS-101C", "ZS-101D", "ZS-101E", "ZS-101F")
    fan_auto: str = "HS-111"
    heat_auto: str = "HS-113"
    fog_auto: str = "HS-112"
    supply: str = "TT-108"
    product_temperatures: tuple[str, ...] = ("TT-104A", "TT-104B")
    fan_speed: str = "SC-101"
    fan_run: str = "YC-101"
    heat_valve: str = "TCV-103"
    heat_stages: tuple[str, ...] = ()
    heat_run: str = "YC-103"
    fog_valves: tuple[str, ...] = ("XV-102A", "XV-102B")
    vent: str = "ZC-120"
    frame_heat: str = "YC-106"
    air_degC_max: Annotated[float, Gt(0), Le(90)] = 48.0
    supply_degC_max: Annotated[float, Gt(0), Le(120)] = 60.0
    supply_bad_counts: bool = False
    product_degC_max: Annotated[float, Gt(0), Le(90)] = 58.0
    startup_s: Annotated[float, Ge(0), Le(300)] = 10.0
    run_on_s: Annotated[float, Ge(0), Le(1800)] = 180.0
    run_on_pct: Annotated[float, Ge(0), Le(100)] = 40.0
    heat_rise_pct_per_s: Annotated[float, Gt(0), Le(100)] = 2.0
    link_age_scans_max: Annotated[int, Ge(0), Le(STALE_SCANS_MAX)] = 3
    delay_s: Mapping[str, Annotated[float, Ge(0), Le(3600)]] = field(default_factory=dict)
    latch: Mapping[str, bool] = field(default_factory=dict)
    row: tuple[OwnRow, ...] = ()


@dataclass(frozen=True, slots=True)
class ProtectionPlan:
    """Rows with this chamber's delays, then those it adds with their causes; every tag as a column."""

    rows: tuple[Row, ...]
    added: tuple[Votes, ...]
    airflow: int
    fan_runs: int
    emergency_stop: int
    limiter: int
    person_inside: int
    fog_pressure: int
    doors: tuple[int, ...]
    closed_of: Callable[[tuple[bool, ...]], tuple[bool, ...]]  # contacts that are closed while all is well
    supply: int
    products: tuple[int, ...]
    fan_speed: int
    fan_run: int
    heat_valve: int  # -1 for none
    heat_stages: tuple[int, ...]
    heat_run: int
    fog_valves: tuple[int, ...]
    vent: int
    frame_heat: int
    safe: Outputs
    air_degC_max: float
    supply_degC_max: float
    supply_bad_counts: bool
    product_degC_max: float
    startup_s: float
    run_on_s: float
    run_on_pct: float
    heat_rise_pct_per_s: float
    link_age_scans_max: int


    def contacts_of_row(self, number: int) -> tuple[int, ...]:
        """Columns of the contacts that a row watches; closed while all is well."""
        if number >= len(ROWS):
            return self.added[number - len(ROWS)].contacts
        return {
            "emergency-stop": (self.emergency_stop,), "limiter": (self.limiter,),
            "person-inside": (self.person_inside,), "airflow-lost": (self.airflow, self.fan_runs),
            "door-open": self.doors, "door-long": self.doors, "fog-pressure": (self.fog_pressure,),
        }.get(ROWS[number].tag, ())


def bind(config: ProtectionConfig, points: tuple[Point, ...], heat: HeatKind = "water") -> ProtectionPlan:
    """Tags to columns. heat: what its rows speak of. Raises ConfigError with every tag or row that is not there."""
    binder = Binder("protection", points)
    for table, tags in (("delay_s", config.delay_s), ("latch", config.latch)):
        for tag in tags:
            if tag not in NUMBER:
                binder.refuse(f"{table}.{tag}", tag, f"one of {', '.join(NUMBER)}", "correct the name of the row")
    rows = tuple(
        replace(row, delay_s=config.delay_s.get(row.tag, row.delay_s), latch=config.latch.get(row.tag, row.latch))
        for row in worded(ROWS, heat)
    )

    def contact(name: str) -> int:
        return binder.column(name, getattr(config, name), "DI")

    def output(name: str, kind: Kind) -> int:
        return binder.column(name, getattr(config, name), kind)

    chains = tuple(contact(name) for name in ("emergency_stop", "limiter", "person_inside"))
    doors = tuple(binder.column("doors", tag, "DI") for tag in config.doors)
    fog_pressure = contact("fog_pressure")
    watched = (*chains, *doors, fog_pressure)
    more, added = own_rows.bind(config.row, binder)
    plan = ProtectionPlan(
        rows=rows + more, added=added, airflow=contact("airflow"), fan_runs=contact("fan_runs"),
        emergency_stop=chains[0], limiter=chains[1], person_inside=chains[2], fog_pressure=fog_pressure, doors=doors,
        closed_of=itemgetter(watched[0], watched[1], *watched[2:]), supply=binder.column("supply", config.supply),
        products=tuple(binder.column("product_temperatures", tag) for tag in config.product_temperatures),
        fan_speed=output("fan_speed", "AO"), fan_run=output("fan_run", "DO"),
        heat_valve=output("heat_valve", "AO") if config.heat_valve else -1,
        heat_stages=tuple(binder.column("heat_stages", tag, "DO") for tag in config.heat_stages),
        heat_run=output("heat_run", "DO"),
        fog_valves=tuple(binder.column("fog_valves", tag, "DO") for tag in config.fog_valves),
        vent=output("vent", "AO"), frame_heat=output("frame_heat", "DO"),
        safe=Outputs(tuple(point.safe for point in of_kind(points, "AO")),
                     tuple(point.safe == 1.0 for point in of_kind(points, "DO"))),
        air_degC_max=config.air_degC_max, supply_degC_max=config.supply_degC_max,
        supply_bad_counts=config.supply_bad_counts, product_degC_max=config.product_degC_max,
        startup_s=config.startup_s, run_on_s=config.run_on_s, run_on_pct=config.run_on_pct,
        heat_rise_pct_per_s=config.heat_rise_pct_per_s,
        link_age_scans_max=config.link_age_scans_max,
    )
    for name in ("fan_auto", "heat_auto", "fog_auto"):
        contact(name)
    binder.done()
    return plan
