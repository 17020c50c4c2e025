"""What the tests of the links share: the demo panel, read by the shortest way, and blocks of its words."""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path

import pytest

from controller.core.points import Point
from controller.link.device import Device, InputBlock, OutputBlock, Watchdog
from controller.link.image import Image

CONFIGS = Path(__file__).parents[2] / "configs"


@pytest.fixture(scope="session")
def points() -> tuple[Point, ...]:
    kinds = {name: str(of) for name, of in Point.__annotations__.items()}
    rows = []
    with (CONFIGS / "points" / "panel-a.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            fields: dict[str, object] = {}
            for name, text in row.items():
                if text == "":
                    continue
                of = kinds[name]
                fields[name] = float(text) if "float" in of else int(text) if "int" in of else text
            rows.append(Point(**fields))
    return tuple(rows)


@pytest.fixture(scope="session")
def panel() -> Device:
    data = tomllib.loads((CONFIGS / "devices" / "panel-a.toml").read_text())
    blocks = {
        "input": InputBlock(**data.pop("input")),
        "output": OutputBlock(**data.pop("output")),
        "watchdog": Watchdog(**data.pop("watchdog")),
    }
    return Device(**data, **blocks)


@pytest.fixture(scope="session")
def image(points: tuple[Point, ...], panel: Device) -> Image:
    return Image(points, panel)


@pytest.fixture
def words() -> list[int]:
    """An input block of the demo panel: analog inputs 4000, 4001, ..., no contact made."""
    header = [0x5A1E, 1, 0x0001, 0x0002, 0, 77, 0, 0]
    return [*header, *range(4000, 4038), 0, 0]
