"""From filling files to the model's moves and back, what a controller is told, and moves that a model cannot make."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.config.bundle import load_site
from controller.config.filling import load_filling, read_filling
from controller.errors import ConfigError
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.rig import filling as files
from controller.rig.plant import Plant, build, scene
from plantsim.filling import Batch, Filling, Move
from plantsim.schedule import Press, batch_fill


def built(filling: Filling) -> Plant:
    site = load_site("demo-north", device_class=Device, layout=require_layout)
    return build(scene(filling=filling, mix_degC=31.0), site.points, site.devices, lockstep=True)


@pytest.mark.parametrize("name", sorted(files.demos()))
def test_the_demo_files_are_current(name: str):
    text = (files.FOLDER / name).read_text(encoding="utf-8")
    assert text == files.demos()[name], "run `python -m controller.rig.filling`"


def test_writing_makes_every_demo_file(tmp_path: Path):
    files.write(tmp_path / "new")
    assert {path.name for path in (tmp_path / "new").iterdir()} == set(files.demos())


def test_a_filling_survives_its_file(tmp_path: Path):
    made = batch_fill(6, 12, press=Press(tonnes=1.5, mixes=("", "quick"), scatter_K=1.0))
    (tmp_path / "f.csv").write_text(files.text(made, "a comment"))
    back = files.moves(read_filling(tmp_path / "f.csv").value)
    assert [(m.time_s, m.what, m.bay, m.level) for m in back] == [(m.time_s, m.what, m.bay, m.level) for m in made]
    for ours, theirs in zip(made, back, strict=True):
        if ours.batch is not None and theirs.batch is not None:
            assert theirs.batch.degC == pytest.approx(ours.batch.degC, abs=1e-3)
            assert (theirs.batch.tonnes, theirs.batch.mix) == (ours.batch.tonnes, ours.batch.mix)


def test_a_controller_is_told_tonnes_temperature_and_empty_bays():
    told = files.told((
        Move(0.0, "place", 1, 1, Batch(1.0, 20.0)), Move(1.0, "take", 1, 1), Move(2.0, "place", 3, 1, Batch(3.0, 24.0))
    ))  # fmt: skip
    assert (told.tonnes, told.mix_degC, told.empty_bays) == (3.0, 23.0, (2,))


def test_a_chamber_with_a_filling_begins_empty_at_the_temperature_given():
    plant = built(files.moves(load_filling("batch")))
    now = plant.chamber.positions()
    assert not now.occupied.any()
    assert now.board_degC.max() == now.board_degC.min() == 31.0
    for _ in range(1200):
        plant.log.step((0.0,) * 8)
    assert plant.chamber.positions().occupied.sum() == 3
    assert plant.chamber.door_open_s()[0] == 90.0


def test_moves_that_the_model_cannot_make_are_all_named():
    filling = (Move(0.0, "place", 7, 1, Batch(1.0, 20.0)), Move(0.0, "place", 1, 1, Batch(1.0, 20.0, mix="none")))
    with pytest.raises(ConfigError) as caught:
        built(filling)
    said = [str(problem) for problem in caught.value.problems]
    assert len(said) == 2
    assert "demo-north.toml: filling = place bay 7 level 1 at 0 h: this chamber has bays 1..6; mend" in said[0]
    assert "mix 'none' is unknown; known: (none), lean, quick" in said[1]
