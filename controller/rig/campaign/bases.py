"""Quiet cycles that runs branch off from: a chamber with its files, its charge and its weather, nothing wrong with it.

A run in trouble begins in the middle of one of these instead of living through hours of warm-up first.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from controller.config.find import find
from controller.config.loader import load
from controller.core.frames import Command
from controller.rig.cycle import START_SCAN
from controller.rig.plant import Scene, scene
from controller.rig.standing import yard
from controller.runtime.session import Asked, Session, prepare
from plantsim.filling import Filling
from plantsim.params import PlantParams
from plantsim.schedule import Press, batch_fill

Air = tuple[tuple[float, float], ...]  # (degC, %RH) an hour
MILD: Air = ((8.0, 80.0), (10.0, 70.0), (13.0, 60.0), (11.0, 70.0), (7.0, 85.0), (5.0, 90.0))
SUMMER: Air = ((25.0, 60.0), (29.0, 50.0), (31.0, 45.0), (27.0, 60.0), (22.0, 75.0), (19.0, 85.0))
WINTER: Air = ((-5.0, 85.0), (-3.0, 80.0), (-8.0, 80.0), (-12.0, 75.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """filled: boards come in over two hours at the start, each told by an order; else all stand there. outdoor: by the
    hour, over and over again.
    """

    chamber: str = "demo-north"
    recipe: str = "gentle"
    plant: str = "demo-north"
    tonnes: float = 120.0
    mix_degC: float = 20.0
    empty_bays: tuple[int, ...] = ()
    outdoor: Air = MILD
    hours: float = 26.0
    filled: bool = False


BASES: dict[str, Base] = {
    "gentle": Base(),
    "fast in summer": Base(recipe="fast", mix_degC=26.0, outdoor=SUMMER),
    "eco in winter, a part": Base(recipe="eco", tonnes=60.0, mix_degC=14.0, empty_bays=(3, 6), outdoor=WINTER),
    "steady": Base(recipe="steady", hours=20.0),
    "standing": Base(recipe="standing", mix_degC=26.0, hours=14.0),
    "every phase": Base(recipe="every-phase", filled=True, hours=17.0),
    "two devices": Base(chamber="demo-south", outdoor=WINTER),
    "electric": Base(chamber="demo-east", plant="demo-east", recipe="fast"),
    "steam": Base(chamber="demo-west", plant="demo-west", recipe="steady", hours=20.0),
    "gas": Base(chamber="demo-burner", plant="demo-burner", recipe="every-phase", filled=True, hours=17.0),
    "other probes": Base(chamber="demo-probes", plant="demo-probes", recipe="fast", mix_degC=24.0),
    "across": Base(chamber="demo-across", plant="demo-across", recipe="every-phase", filled=True, hours=15.0),
}


@lru_cache(maxsize=16)
def session_of(base: Base, scan_s: float) -> Session:
    """The controller of a base, bound. Raises ConfigError."""
    return prepare(
        Asked(
            chamber=base.chamber, recipe=base.recipe, mix="demo-60", load_t=base.tonnes, mix_degC=base.mix_degC,
            empty_bays=base.empty_bays, scan_s=scan_s, empty=base.filled,
        )
    )


@lru_cache(maxsize=16)
def params_of(plant: str) -> PlantParams:
    """The chamber model of a file."""
    return load(find("plant", plant), PlantParams)


def scene_of(base: Base, scan_s: float, *, seed: int = 1, outdoor: Air | None = None) -> Scene:
    """What stands in the chamber of a base, and what the air outside is. outdoor: in place of the base's own."""
    hours = list((outdoor or base.outdoor) * 12)[:48]
    return scene(
        plant=base.plant, params=params_of(base.plant), tonnes=base.tonnes, mix_degC=base.mix_degC,
        empty_bays=base.empty_bays, outdoor=hours, seed=seed, dt_s=scan_s, filling=filling_of(base),
    )


def filling_of(base: Base) -> Filling:
    """The boards that come in; none where all stand there."""
    if not base.filled:
        return ()
    room = params_of(base.plant).room
    press = Press(tonnes=base.tonnes / (room.bays * room.levels), degC=base.mix_degC)
    return batch_fill(room.bays, room.levels, hours=2.0, press=press, empty_bays=base.empty_bays)


def orders_of(base: Base, scan_s: float) -> list[tuple[int, Command]]:
    """The orders of a quiet cycle: its start, and the boards as they come. Scans count from its begin."""
    start = [(START_SCAN, Command("cycle-start", "start", "cycle"))]
    return start + list(yard.orders(filling_of(base), scan_s, START_SCAN + 1))
