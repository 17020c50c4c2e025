"""A chamber with faults lived through, scan by scan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from controller.config.loader import load
from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.faults import Fault, Faulted
from plantsim.kernel import layout as at
from plantsim.params import PlantParams
from plantsim.weather import Weather

CONFIGS = Path(__file__).parents[3] / "configs"
# fan, heat, vent, both banks and frames at work; no stages, no pump
AT_WORK = (1.0, 60.0, 1.0, 40.0, 30.0, 1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)
START_S, LENGTH_S = 20.0, 40.0  # of the faults that `struck` makes


class Seen:
    """A chamber with faults lived through: what came in and went out, an entry a step."""

    def __init__(self, params: PlantParams, *faults: Fault, steps: int = 80, outputs: Sequence[float] = AT_WORK):
        self.chamber = chamber(params)
        self.faulted = Faulted(self.chamber, faults)
        self.before = (self.chamber._const.copy(), self.chamber._drive.copy())
        self.driven: list[tuple[float, ...]] = []
        self.uA: list[list[int]] = []
        self.contacts: list[dict[str, bool]] = []
        self.const: list[Any] = []
        live = self.chamber.step
        self.chamber.step = lambda out: (self.driven.append(tuple(out)), live(out))
        for _ in range(steps):
            self.faulted.step(outputs)
            self.uA.append(list(self.faulted.microamps))
            self.contacts.append(dict(self.faulted.contacts))
            self.const.append(self.chamber._const.copy())

    def same(self, const: Any) -> bool:
        """The constants are those of before, to the bit. Which doors were open lately is told among them: left out."""
        live = self.chamber._const.copy()
        told = []
        for values in (const, self.before[0]):
            self.chamber._const[:] = values
            tables = self.chamber.constants
            tables.k[at.K_OPENED] = tables.cell[at.C_OPENED] = 0.0
            told.append(self.chamber._const.copy())
        self.chamber._const[:] = live
        return bool((told[0] == told[1]).all())

    def leak_of(self, const: Any) -> Any:
        """The column of leaks in a copy of the constants."""
        live = self.chamber._const.copy()
        self.chamber._const[:] = const
        row = self.chamber.constants.cell[at.C_LEAK].copy()
        self.chamber._const[:] = live
        return row

    def column(self, tag: str) -> list[int]:
        index = [probe.tag for probe in self.chamber.params.probe].index(tag)
        return [row[index] for row in self.uA]


def chamber(params: PlantParams) -> Chamber:
    return Chamber(params, charge=Charge(), weather=Weather([8.0], [80.0]), seed=3)


@pytest.fixture(scope="session")
def params() -> PlantParams:
    return load(CONFIGS / "plants" / "demo-north.toml", PlantParams)


@pytest.fixture(scope="session")
def make(params: PlantParams) -> Callable[[], Chamber]:
    """A fresh chamber."""
    return lambda: chamber(params)


@pytest.fixture(scope="session")
def see(params: PlantParams) -> Callable[..., Seen]:
    """see(*faults, steps=80, outputs=...): what is seen of a chamber with these faults."""
    return lambda *faults, **given: Seen(params, *faults, **given)


@pytest.fixture(scope="session")
def healthy(see: Callable[..., Seen]) -> Seen:
    """The same without a fault."""
    return see()


@pytest.fixture(scope="session")
def struck() -> Callable[..., Fault]:
    """A fault from scan 20 to scan 59."""
    return lambda kind, target="", amount=None: Fault(
        kind=kind, target=target, start_s=START_S, length_s=LENGTH_S, amount=amount
    )


@pytest.fixture(scope="session")
def at_work() -> tuple[float, ...]:
    """Outputs with everything at work."""
    return AT_WORK
