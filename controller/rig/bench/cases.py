"""The standing climate away from its demo: other weather, colder mixes, another chamber; estimate beside measurement.

`python -m controller.rig.bench.cases` runs them, some minutes, and prints a table for the README.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from controller.config import everyday
from controller.config.bundle import load_site
from controller.config.filling import read_filling
from controller.config.find import find
from controller.config.loader import load
from controller.core.product.mix import Mix
from controller.core.sequence.recipe import Recipe
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.rig import filling as files
from controller.rig.bench import standing as demo
from controller.rig.cycle import run
from controller.rig.standing import standing
from plantsim.filling import Filling
from plantsim.schedule import Press, Trips, continuous

HOURS = 28.0  # a day, and the morning after: its first boards have waited longest, in a chamber full of young ones
SCAN_S = 2.0
HEAD = ("case", "estimated fall of newcomers", "furthest settled cell", "outside 1 K, cells and time",
        "recovery after a door", "wetting of newcomers", "energy")  # fmt: skip


DEMO = Trips(order="level", door_s=60.0, first_wait_h=0.5)  # as in the filling `days`
SINGLY = Trips(order="level", positions=1, door_s=32.0, first_wait_h=0.2)
THREE = Trips(order="bay", door_s=90.0, first_wait_h=0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One case. site: chamber and model; degC: of the mix, hall_degC: of the hall in which it waits; places: a day;
    outdoor: degC, %RH."""

    name: str
    site: str = demo.SITE
    degC: float = 29.0
    hall_degC: float = 22.0
    places: int = 72
    trips: Trips = DEMO
    outdoor: tuple[float, float] = (8.0, 80.0)


CASES = (
    Case(name="demo-standing, mix of 29 degC, 120 t a day"),
    Case(name="the same at -10 degC outdoors", outdoor=(-10.0, 80.0)),
    Case(name="the same at 25 degC outdoors", outdoor=(25.0, 60.0)),
    Case(name="mix of 26 degC", degC=26.0),
    Case(name="mix of 20 degC", degC=20.0),
    Case(name="demo-north, mix of 29 degC, 40 t a day, one place a trip", site="demo-north", hall_degC=18.0, places=24,
         trips=SINGLY),
    Case(name="demo-north, mix of 20 degC, 40 t a day, one place a trip", site="demo-north", degC=20.0, hall_degC=18.0,
         places=24, trips=SINGLY),
    Case(name="demo-north, mix of 20 degC, 120 t a day", site="demo-north", degC=20.0, hall_degC=18.0, trips=THREE),
)  # fmt: skip


def moves_of(case: Case) -> Filling:
    """What comes and goes: two days of it."""
    press = Press(degC=case.degC, scatter_K=0.4, hall_degC=case.hall_degC)
    return continuous(6, 12, days=2, press=press, trips=case.trips, positions_a_day=case.places, seed=1)


def measured(case: Case, out: Path, hours: float = HOURS) -> dict[str, Any]:
    """The block `standing` of a run of the case."""
    out.mkdir(parents=True, exist_ok=True)
    options = demo.demo(out, hours, SCAN_S, site=case.site, moves=moves_of(case), outdoor=case.outdoor)
    ran = run(options, lambda _fraction, _note: None)
    assert ran.standing is not None
    return standing.block(ran.standing, ran.plant.log.known(), SCAN_S, ran.hold)


def estimated(case: Case, out: Path) -> everyday.Everyday:
    """What `check` would say of it."""
    out.mkdir(parents=True, exist_ok=True)
    (out / "moves.csv").write_text(files.text(moves_of(case)), encoding="utf-8")
    rows = read_filling(out / "moves.csv").value
    phase = everyday.standing_phase(load(find("recipe", "standing"), Recipe))
    place = load_site(case.site, device_class=Device, layout=require_layout).chamber
    assert phase is not None
    found = everyday.look_ahead(phase, place, load(find("mix", "demo-60"), Mix), rows, [case.outdoor])
    assert found is not None
    return found


def row(case: Case, ahead: everyday.Everyday, block: dict[str, Any]) -> tuple[str, ...]:
    """One line of the table."""
    air, doors, new = block["settled_air"], block["doors"], block["newcomers"]
    longest = doors["recovery_min_max"]
    late = f"{doors['late']} of {doors['judged']} later than 10 min"
    took = late if longest is None or doors["late"] else f"{longest:.1f} min at most"
    return (
        case.name, f"{ahead.pull.fall_K:.2f} K", f"{air['off_K_max']:.2f} K", f"{air['outside_pct']:.3g} %", took,
        f"{new['wetted_kg_per_m2']['mean']:.2f} kg/m2", f"{block['turnover']['energy_kWh_per_t']:.1f} kWh/t",
    )  # fmt: skip


def table(folder: Path, show: Callable[[str], None]) -> str:
    """All cases, as a table in Markdown."""
    lines = ["| " + " | ".join(HEAD) + " |", "|---" * len(HEAD) + "|"]
    for number, case in enumerate(CASES):
        show(case.name)
        out = folder / str(number)
        lines.append("| " + " | ".join(row(case, estimated(case, out), measured(case, out))) + " |")
    return "\n".join(lines)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        sys.stdout.write(table(Path(made), lambda name: print(name, file=sys.stderr)) + "\n")  # noqa: T201
