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


CHAMBER, POINTS, DEVICE = "chambers/demo-south.toml", "points/panel-b.csv", "devices/io-b.toml"


def edited(configs: Path, file: str, old: str, new: str) -> None:
    text = (configs / file).read_text()
    assert old in text
    (configs / file).write_text(text.replace(old, new, 1))


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        ("devices/rtd-b.toml", '"rtd-b"', '"io-b"', "name = io-b: devices/io-b.toml has the same name; give each"),
        ("devices/rtd-b.toml", "port = 5022", "port = 5021", "port = 5021: devices/io-b.toml has the same host, port"),
        (POINTS, ",io-b,1,21,", ",io-b,1,40021,", "no request of io-b has it: it reads holding registers 0 to 21; c"),
        (POINTS, ",io-b,1,21,,raw,0,27648,0,100,kg/h,,,,holding", ",io-b,1,21,,raw,0,27648,0,100,kg/h,,,,input",
         "no request of io-b has it: it reads no input registers; correct it (the first is 0, not 1 or 40001), or li"),
        (DEVICE, 'host = "127.0.0.1"', 'host = "modbus://10.0.0.5"', "host = modbus://10.0.0.5: must be an address"),
        (DEVICE, 'host = "127.0.0.1"', 'host = "10.0.0.5:502"', "host = 10.0.0.5:502: must be an address or a name"),
    ],
)  # fmt: skip
def test_a_slip_in_a_panel_is_one_problem_with_its_remedy(
    configs: Path, capsys: pytest.CaptureFixture[str], file: str, old: str, new: str, said: str
) -> None:
    edited(configs, file, old, new)
    assert main(["check", CHAMBER]) == BAD_INPUT
    printed = capsys.readouterr().out
    assert said in printed
    assert "\n1 problem in " in printed


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"ZS-101E", "ZS-101F"]', '"ZS-101E"]', "protection.doors names 5 contacts for 6 bays"),
        ("[signals.offset]", "[signals.offset]\nTT-101A = 15\n#", "the offset of TT-101A is 15: a probe so far off"),
        ("[climate]", '[frozen]\nairflow = "FS-101"\ntags = ["TT-101A", "MT-101A", "TT-108"]\n[climate]',
         "frozen.tags: TT-101A, TT-108: a step of the raw number is 0.1 degC (TT-101A, points/panel-b.csv)"),
    ],
)  # fmt: skip
def test_what_a_chamber_would_suffer_from_unseen_is_noted(
    configs: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, said: str
) -> None:
    assert main(["check", CHAMBER]) == GOOD
    assert said not in capsys.readouterr().out
    edited(configs, CHAMBER, old, new)
    assert main(["check", CHAMBER]) == GOOD
    assert said in capsys.readouterr().out


def test_a_module_without_outputs_is_told_nothing_of_outputs(
    configs: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "devices/rtd-b.toml", CHAMBER]) == GOOD
    assert "no output watchdog" not in capsys.readouterr().out
    assert main(["check", "devices/rtd-b.toml"]) == GOOD
    assert "no output watchdog" in capsys.readouterr().out


def test_a_model_is_held_against_the_chamber_that_is_named_beside_it(
    configs: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    model = "plants/demo-burner.toml"
    assert main(["check", model]) == GOOD
    assert main(["check", model, "chambers/demo-burner.toml"]) == GOOD
    capsys.readouterr()
    assert main(["check", model, "--chamber", "demo-north"]) == BAD_INPUT
    assert "XS-103" not in capsys.readouterr().out
    edited(configs, model, 'XS-103 = "burner_healthy"\n', "")
    assert main(["check", model, "chambers/demo-burner.toml"]) == BAD_INPUT
    assert "XS-103: no contact of the chamber model has this tag" in capsys.readouterr().out
