"""What a simulated chamber cannot be is told as a problem of files and options, never as a traceback."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from controller.cli.main import BAD_INPUT, main
from controller.config.bundle import load_site
from controller.config.find import SHIPPED
from controller.errors import ConfigError
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.rig.modelfiles import read
from controller.rig.plant import build, scene


def test_an_empty_bay_that_is_not_there_is_bad_input(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["cycle", "--link", "direct", "--empty-bay", "9", "--hours", "0.01", "--out", str(tmp_path)]
    assert main(asked) == BAD_INPUT
    assert "--empty-bay = 9: must be 1 to 6" in capsys.readouterr().err


def test_a_probe_in_a_place_that_is_not_there_names_the_probe_and_the_file() -> None:
    params = read(SHIPPED / "plants" / "demo-north.toml").value
    first = replace(params.probe[0], bay=params.room.bays + 1)
    site = load_site("demo-north", device_class=Device, layout=require_layout)
    with pytest.raises(ConfigError) as refused:
        build(scene(params=replace(params, probe=(first, *params.probe[1:]))), site.points, site.devices, lockstep=True)
    assert first.tag in str(refused.value)
    assert "demo-north.toml" in str(refused.value)


def test_a_model_that_does_not_fit_a_point_list_names_each_tag_and_no_heading() -> None:
    site = load_site("demo-burner", device_class=Device, layout=require_layout)
    with pytest.raises(ConfigError) as caught:
        build(scene(plant="demo-north"), site.points, site.devices, lockstep=True)
    said = {problem.value: problem.limit for problem in caught.value.problems}
    assert said["XS-103"] == "no contact of the chamber model has this tag"
    assert "TCV-103" in said
    assert not [limit for limit in said.values() if limit.endswith(":")]
