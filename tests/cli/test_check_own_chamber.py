"""`dewhold check` of a chamber of one's own: nothing falls back to the demo unseen."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from controller.cli.main import BAD_INPUT, GOOD, main
from controller.config.find import SHIPPED


@pytest.fixture
def configs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of one's own with copies of the shipped files, and the shell standing in it."""
    for folder in ("chambers", "points", "devices", "recipes", "plants"):
        shutil.copytree(SHIPPED / folder, tmp_path / folder)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_table_to_sign_is_that_of_the_file_given(configs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    chamber = configs / "chambers/demo-north.toml"
    chamber.write_text(chamber.read_text().replace('name = "demo-north"', 'name = "hall-two"', 1))
    assert main(["check", "--effects", str(chamber)]) == GOOD
    assert "cause and effect of hall-two" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (["recipes/gentle.toml"], "must be a chamber file"),
        (["demo-north", "demo-west"], "is about one chamber"),
        (["demo-west", "--chamber", "demo-north"], "is about one chamber"),
    ],
)
def test_a_table_to_sign_is_never_that_of_another_chamber(
    configs: Path, capsys: pytest.CaptureFixture[str], asked: list[str], said: str
) -> None:
    assert main(["check", "--effects", *asked]) == BAD_INPUT
    shown = capsys.readouterr()
    assert said in shown.err
    assert "cause and effect of" not in shown.out


def test_a_chamber_takes_what_it_is_made_for_and_a_quarter_more(
    configs: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    chamber = configs / "chambers/demo-north.toml"
    chamber.write_text(chamber.read_text().replace("nominal_t = 120.0", "nominal_t = 160.0"))
    asked = ["check", "recipes/gentle.toml", "--chamber", str(chamber), "--outdoor", "8/80"]
    assert main(asked) == GOOD
    assert "forecast for 160 t" in capsys.readouterr().out
    assert main([*asked, "--load", "200"]) == GOOD
    assert main([*asked, "--load", "200.5"]) == BAD_INPUT
    assert "must be 0 to 200 t" in capsys.readouterr().err


def test_recipes_are_held_against_the_chamber_that_is_named_beside_them(
    configs: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    chamber = configs / "chambers/demo-north.toml"
    chamber.write_text(chamber.read_text().replace("temperature_degC_max = 45.0", "temperature_degC_max = 35.0"))
    assert main(["check", "recipes/gentle.toml", "chambers/demo-north.toml"]) == BAD_INPUT
    assert "5 to 35 degC" in capsys.readouterr().out
