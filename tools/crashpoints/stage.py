"""Where it happens: a simulated chamber that serves Modbus TCP in lockstep, put back to one moment before each try."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from controller.rig.plant import Plant, TruthLog, build, scene
from controller.rig.served.serve import LOOPBACK, listen
from controller.runtime.session import Asked, prepare
from plantsim.chamber import OUTPUTS
from plantsim.remote_io import ChamberLike

# The first phase asks for more than the air has: heat is on when trouble comes.
RECIPE = """
name = "quick"
[[phases]]
kind = "hold"
temperature_degC = 21.5
rh_fog_below_pct = 97.0
rh_accept_pct = 80.0
fan_kg_per_s = 9.0
[phases.end]
time_h = 20.0
"""
DANGEROUS = [OUTPUTS.index(name) for name in ("heat_run", "valve_pct", "fog_a", "fog_b")]
PERSON = "person_healthy"


class Lived:
    """Stands between device and chamber and keeps what the chamber was driven with, a tuple a step."""

    def __init__(self, log: TruthLog) -> None:
        self._log = log
        self.dt_s = log.dt_s
        self.driven: list[tuple[float, ...]] = []
        self.acts: dict[int, Callable[[], None]] = {}

    @property
    def microamps(self) -> Sequence[int]:
        """As the chamber shows them."""
        return self._log.microamps

    @property
    def contacts(self) -> object:
        """As the chamber shows them."""
        return self._log.contacts

    def set_spans(self, spans: Any, /) -> None:
        """Passed on."""
        self._log.set_spans(spans)

    def compile(self) -> None:
        """Passed on."""
        self._log.compile()

    def step(self, outputs: Sequence[float], /) -> None:
        """One step; what is to happen before it happens."""
        act = self.acts.pop(len(self.driven), None)
        if act is not None:
            act()
        self.driven.append(tuple(outputs))
        self._log.step(outputs)
        self._log.take()


class Stage:
    """One chamber with its server. `lived.driven` counts from the last `reset()`."""

    def __init__(self, plant: Plant, lived: Lived, server: Any) -> None:
        self.port: int = server.port
        self.lived = lived
        self._plant, self._server = plant, server
        self._memory = plant.chamber.memory()

    def reset(self, acts: dict[int, Callable[[], None]] | None = None) -> None:
        """Back to the first moment. acts: done before so many steps have been lived."""
        with self._server.lock:
            self._plant.chamber.recall(self._memory)
            self.lived.driven.clear()
            self.lived.acts = dict(acts or {})
            self.person(inside=False)

    def person(self, *, inside: bool) -> None:
        """Somebody presses the button of a person inside, or it is put back."""
        self._plant.chamber.set_condition(PERSON, not inside)

    @property
    def scans(self) -> int:
        """Steps lived since the last reset."""
        return len(self.lived.driven)


@contextmanager
def stage(folder: Path) -> Iterator[Stage]:
    """A chamber that listens on a free port; the recipe lies in the folder."""
    recipe = folder / "quick.toml"
    recipe.write_text(RECIPE, encoding="utf-8")
    session = prepare(Asked(chamber="demo-north", recipe=str(recipe), mix="demo-60", load_t=120.0, mix_degC=20.0))
    made: list[Lived] = []

    def around(log: TruthLog) -> ChamberLike:
        made.append(Lived(log))
        return made[0]

    plant = build(scene(), session.bundle.points, session.device, lockstep=True, around=around)
    server = listen(plant, LOOPBACK, 0, 1.0)
    try:
        yield Stage(plant, made[0], server)
    finally:
        server.stop()
