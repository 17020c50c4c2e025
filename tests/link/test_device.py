"""The device file: what ships loads as the tests assume, and what is out of bounds is refused by name."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.config.loader import load, load_table
from controller.core.points import Point
from controller.errors import ConfigError
from controller.link.device import Device
from controller.link.image import Image

CONFIGS = Path(__file__).parents[2] / "configs"
SHIPPED = CONFIGS / "devices" / "panel-a.toml"


def test_the_shipped_device_and_points_make_an_image(panel: Device, points: tuple[Point, ...]) -> None:
    device = load(SHIPPED, Device)
    assert device == panel
    assert Image(load_table(CONFIGS / "points" / "panel-a.csv", Point), device).input_count == 48


@pytest.mark.parametrize(
    ("line", "field"),
    [
        ("port = 70000", "port"),
        ("unit_id = 256", "unit_id"),
        ('turn = "FC22"', "turn"),
        ("timeout_s = 0", "timeout_s"),
        ("timeout_s = nan", "timeout_s"),
        ("lockstep_timeout_s = 3600.0", "lockstep_timeout_s"),
        ('host = ""', "host"),
        ("colour = 1", "colour"),
    ],
)
def test_a_value_out_of_bounds_is_refused_by_its_field(tmp_path: Path, line: str, field: str) -> None:
    name = line.split(" = ")[0]
    kept = [row for row in SHIPPED.read_text().splitlines() if not row.startswith(name)]
    file = tmp_path / "device.toml"
    file.write_text("\n".join([line, *kept]))
    with pytest.raises(ConfigError) as caught:
        load(file, Device)
    assert [problem.field for problem in caught.value.problems] == [field]
