"""`dewhold check`: what it prints and what it returns."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from controller.cli.main import BAD_INPUT, GOOD, main
from controller.config import everyday, outlook
from controller.config.find import SHIPPED, known
from controller.config.rules import verdict_rules
from controller.core.rows.protection import ROWS


@pytest.fixture
def configs(tmp_path, monkeypatch) -> Path:
    """A folder of one's own with copies of the shipped files, and the shell standing in it."""
    for folder in ("chambers", "points", "devices", "recipes", "mixes"):
        shutil.copytree(SHIPPED / folder, tmp_path / folder)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_bare_it_checks_every_shipped_file_and_shows_the_recipes(capsys):
    assert main(["check"]) == GOOD
    text = capsys.readouterr().out
    for name in (*known("recipe"), *known("mix"), *known("weather"), *known("plant"), "demo-north", "panel-a"):
        assert name in text
    assert "2 ramp  28 to 40  0.8" in text
    assert "24 h of the cycle and youngest position 30 h old at 20 degC" in text
    assert text.rstrip().endswith(" files") and "0 problems in" in text


def test_problems_stand_under_their_file_and_the_exit_code_is_2(configs, capsys):
    file = configs / "recipes/gentle.toml"
    file.write_text(file.read_text().replace("rate_K_per_h = 0.8", "rate_K_per_h = 8.0").replace("text", "txt", 1))
    assert main(["check", "recipes/gentle.toml", "recipes/steady.toml"]) == BAD_INPUT
    text = capsys.readouterr().out
    assert "recipes/gentle.toml  recipe   1 problem\n    txt = " in text
    assert "unknown key txt; did you mean text?" in text
    assert "recipes/steady.toml  recipe   OK" in text


def test_a_recipe_is_judged_by_the_chamber_it_is_to_run_in(configs, capsys):
    chamber = configs / "chambers/demo-north.toml"
    chamber.write_text(chamber.read_text().replace("ramp_K_per_h_max = 3.0", "ramp_K_per_h_max = 0.5"))
    assert main(["check", "recipes/gentle.toml"]) == GOOD, "the shipped chamber allows it"
    assert main(["check", "recipes/gentle.toml", "--chamber", str(chamber)]) == BAD_INPUT
    assert "0.8 K/h: at most 0.5 K/h" in capsys.readouterr().out


def test_a_recipe_must_end_with_the_mix_that_is_cured(configs, capsys):
    recipe, mix = configs / "recipes/gentle.toml", configs / "mixes/demo-60.toml"
    recipe.write_text(recipe.read_text().replace("equivalent_age_h = 30.0", "strength_MPa = 30.0"))
    mix.write_text(mix.read_text().replace("strength_28d_MPa = 60.0", "strength_28d_MPa = 20.0"))
    assert main(["check", str(recipe)]) == GOOD
    assert main(["check", str(recipe), "--mix", str(mix)]) == BAD_INPUT
    assert "demo-60 reaches at most 21 MPa" in capsys.readouterr().out


def test_a_chamber_brings_its_points_and_its_device(configs, capsys):
    points = configs / "points/panel-a.csv"
    points.write_text(points.read_text().replace(",9,,4-20mA", ",8,,4-20mA"))
    assert main(["check", "chambers/demo-north.toml"]) == BAD_INPUT
    text = capsys.readouterr().out
    assert "chambers/demo-north.toml  chamber  waits for a file that belongs to it" in text
    assert "points/panel-a.csv" in text
    assert "TT-101B.address = 8: TT-101A is there already" in text


def test_json_has_every_file_with_its_problems(configs, capsys):
    (configs / "mixes/demo-60.toml").write_text("density_kg_per_m3 = 1\n")
    code = main(["check", "--json", "mixes/demo-60.toml", "points/panel-a.csv", "devices/panel-a.toml", "gone.toml"])
    assert code == BAD_INPUT
    result = json.loads(capsys.readouterr().out)
    assert result["ok"] is False
    files = {entry["file"]: entry for entry in result["files"]}
    assert files["points/panel-a.csv"]["ok"] is True
    assert len(files["points/panel-a.csv"]["sha256"]) == 64
    assert files["devices/panel-a.toml"]["kind"] == "device"
    assert [problem["field"] for problem in files["mixes/demo-60.toml"]["problems"]] == [
        "name",
        "cement_kg_per_m3",
        "density_kg_per_m3",
    ]
    assert files["gone.toml"]["problems"][0]["limit"] == "there is no such file"


def test_a_chamber_that_does_not_exist_is_said_once(configs, capsys):
    assert main(["check", "recipes/gentle.toml", "recipes/steady.toml", "--chamber", "demo-nort"]) == BAD_INPUT
    text = capsys.readouterr().out
    assert text.count("did you mean demo-north?") == 1


def test_a_model_file_is_judged_by_the_models_own_classes(tmp_path, capsys):
    file = tmp_path / "plants" / "own.toml"
    file.parent.mkdir()
    file.write_text("[room]\nbays = 60\n[fann]\n")
    assert main(["check", str(file)]) == BAD_INPUT
    text = capsys.readouterr().out
    assert "room.bays = 60: must be a whole number from 1 to 16" in text
    assert "unknown key fann; did you mean fan?" in text


def test_weather_with_a_gap_is_refused(tmp_path, capsys):
    file = tmp_path / "own.csv"
    file.write_text("hour,temperature_degC,rh_pct\n0,8,80\n2,8,80\n")
    assert main(["check", str(file)]) == BAD_INPUT
    assert "row 2, hour = 2: must be 1: hours are counted from 0, none left out" in capsys.readouterr().out


def test_a_device_without_checks_is_noted(configs, capsys):
    """Allowed, but somebody must know what is not seen."""
    device = configs / "devices/panel-a.toml"
    text = device.read_text()
    device.write_text(text.replace("signature = 0x5A1E", "#").replace("map_version = 1", "#"))
    assert main(["check", "devices/panel-a.toml"]) == GOOD
    assert "no signature" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["\0", "a" * 5000, "/dev/zero", "."])
def test_no_name_makes_it_fall_over(name, capsys):
    assert main(["check", name]) == BAD_INPUT


def test_a_recipe_comes_with_its_forecast_for_the_charge_and_the_weather_asked(configs, capsys):
    asked = ["recipes/gentle.toml", "--load", "100", "--mix-temperature", "25", "--outdoor", "25/60"]
    assert main(["check", *asked]) == GOOD
    text = capsys.readouterr().out
    assert "forecast for 100 t mixed at 25 degC, 25 degC / 60 % outdoors (an estimate)" in text
    assert "ready: after " in text
    assert main(["check", *asked, "--json"]) == GOOD
    ahead = json.loads(capsys.readouterr().out)["forecasts"]["gentle"]
    assert ahead["ready_low_h"] < ahead["ready_h"] < ahead["ready_high_h"]


def test_a_hold_more_humid_than_surfaces_stay_dry_is_refused_with_its_dry_limit(configs, capsys):
    recipe = configs / "recipes/steady.toml"
    recipe.write_text(recipe.read_text().replace("rh_accept_pct = 94.0", "rh_accept_pct = 98.0"))
    assert main(["check", str(recipe), "--outdoor=8/80"]) == BAD_INPUT
    text = capsys.readouterr().out
    assert "phase 3 (hold): rh_accept_pct = 98 %: at most 97" in text
    assert "the dry limit of this hold" in text


def test_a_heater_below_what_the_hold_takes_is_refused(configs, capsys):
    chamber = configs / "chambers/demo-north.toml"
    text = chamber.read_text().replace("heat_kW_max = 60.0", "heat_kW_max = 3.0")
    chamber.write_text(text.replace("leak_kg_per_s = 0.03 ", "leak_kg_per_s = 0.3 "))
    assert main(["check", "recipes/steady.toml", "--chamber", str(chamber), "--outdoor=-10/80"]) == BAD_INPUT
    assert "3.0 kW can be given" in capsys.readouterr().out


def test_prints_cause_and_effect_of_a_chamber_to_sign(capsys):
    assert main(["check", "--effects"]) == GOOD
    printed = capsys.readouterr().out
    for row in ROWS:
        assert row.text in printed
    assert "signature" in printed


def test_a_standing_climate_is_told_beforehand_what_newcomers_do(capsys: pytest.CaptureFixture[str]) -> None:
    """In the chamber made for it nothing stands against it; in the other one the note says what would help."""
    asked = ["check", str(SHIPPED / "recipes" / "standing.toml"), "--filling", "days", "--outdoor", "8/80"]
    assert main([*asked, "--chamber", "demo-standing"]) == 0
    able = capsys.readouterr().out
    assert "it pulls its cells down by" in able
    assert "note:" not in able
    assert main(asked) == 0
    assert "degC or more (a heated mix, a short way), give" in capsys.readouterr().out
    main([*asked, "--json"])
    found = json.loads(capsys.readouterr().out)
    assert found["standing"]["standing"]["pull"]["fall_K"] > found["standing"]["standing"]["limit_K"]
    assert found["forecasts"] == {}


def test_a_standing_climate_without_a_filling_is_not_forecast_as_one_charge(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(SHIPPED / "recipes" / "standing.toml")]) == 0
    said = capsys.readouterr().out
    assert "give them with --filling" in said
    assert "ready:" not in said


@pytest.mark.parametrize(
    ("old", "new", "meant"),
    [
        ("rh_fog_below_pct = 95.5", "rh_fog_below_pct = 0.955", "did you mean 95.5?"),
        ("rh_accept_pct = 94.0", "rh_accept_pct = 0.94", "did you mean 94?"),
        ("ramp_rh_floor_pct = 94.0", "ramp_rh_floor_pct = 0.94", "did you mean 94?"),
    ],
)
def test_a_humidity_typed_as_a_fraction_is_refused(configs, capsys, old, new, meant):
    recipe = configs / "recipes/gentle.toml"
    assert old in recipe.read_text()
    recipe.write_text(recipe.read_text().replace(old, new))
    assert main(["check", str(recipe)]) == BAD_INPUT
    assert meant in capsys.readouterr().out


def test_a_limit_of_humidity_typed_as_a_fraction_is_refused(configs, capsys):
    chamber = configs / "chambers/demo-north.toml"
    chamber.write_text(re.sub(r"(?m)^rh_pct_max = [0-9.]+", "rh_pct_max = 0.99", chamber.read_text()))
    assert main(["check", str(chamber)]) == BAD_INPUT
    assert "limits.rh_pct_max = 0.99: must be at least 10 %; did you mean 99?" in capsys.readouterr().out


def test_what_a_ramp_takes_is_said_of_the_load_asked_for(capsys):
    """The full load's figure for another one would be wrong, and half of it needs no note."""
    asked = ["check", str(SHIPPED / "recipes/gentle.toml")]
    for load_t in ("120", "100"):
        assert main([*asked, "--load", load_t]) == GOOD
        assert f"with {load_t} t takes" in capsys.readouterr().out
    assert main([*asked, "--load", "60"]) == GOOD
    assert "t takes" not in capsys.readouterr().out


def test_a_hold_that_is_over_at_once_and_air_drier_than_judged_are_noted_with_a_remedy(capsys):
    asked = ["check", str(SHIPPED / "recipes/gentle.toml"), "--load", "80", "--mix-temperature", "15"]
    assert main([*asked, "--outdoor", "5/85"]) == GOOD
    notes = [line for line in capsys.readouterr().out.splitlines() if line.startswith("note: ")]
    short = [note for note in notes if "phase 3 (hold): all holding" in note]
    dry = [note for note in notes if "phase 1 (rest): humidity may fall to" in note]
    assert len(short) == len(dry) == 1
    assert "less than 4 h" in short[0] and "(at_least_h = 4)" in short[0]
    assert "below the 90 % it is judged by" in dry[0] and "what would help" in dry[0]


def test_what_air_found_after_a_power_loss_does_is_said_phase_by_phase(configs, capsys):
    weekend = configs / "recipes/weekend.toml"
    head, hold = weekend.read_text().split('kind = "hold"')
    weekend.write_text(f'{head}kind = "hold"\non_outage = "resume"{hold}')
    chamber = configs / "chambers/demo-north.toml"
    chamber.write_text(chamber.read_text().replace("temperature_degC_min = 5.0", "temperature_degC_min = 4.0"))
    assert main(["check", str(weekend), "--chamber", str(chamber), "--outdoor", "8/80"]) == GOOD
    said = capsys.readouterr().out.split("the air after a power loss, once it could be believed for 1 min:\n")[1]
    assert said.splitlines()[:3] == [
        "  phases 1, 2, 3: outside 4 to 45 degC ([limits] of the chamber) the cycle aborts",
        "  phase 3: more than 5 K off its band it does not restart by itself",
        "  phases 4, 5, 6: any air will do, nothing there is still to set",
    ]


@pytest.mark.parametrize(("least_h", "told"), [(9.0, False), (9.5, True)])
def test_a_hold_is_short_below_what_the_verdict_asks_for(least_h, told, monkeypatch, capsys):
    """The forecast of the demo day holds for 9.2 h."""
    stricter = replace(verdict_rules(), hold_hours_min=least_h)
    monkeypatch.setattr(outlook, "verdict_rules", lambda: stricter)
    assert main(["check", str(SHIPPED / "recipes/gentle.toml"), "--outdoor", "8/80"]) == GOOD
    assert (f"less than {least_h:g} h" in capsys.readouterr().out) is told


def test_settled_cells_may_be_as_far_off_as_the_verdict_says(monkeypatch, capsys):
    asked = ["check", str(SHIPPED / "recipes/standing.toml"), "--chamber", "demo-standing", "--filling", "days"]
    assert main([*asked, "--outdoor", "8/80"]) == GOOD
    assert "of 1 K in all" in capsys.readouterr().out
    monkeypatch.setattr(everyday, "verdict_rules", lambda: replace(verdict_rules(), settled_off_K_max=0.5))
    assert main([*asked, "--outdoor", "8/80"]) == GOOD
    said = capsys.readouterr().out
    assert "of 0.5 K in all" in said
    assert "pull their cells" in said


@pytest.mark.parametrize("command", ["check", "cycle"])
def test_an_empty_bay_that_is_none_is_a_fault_of_the_option(command, capsys):
    files = [str(SHIPPED / "recipes/gentle.toml")] if command == "check" else []
    assert main([command, *files, "--empty-bay", "9"]) == BAD_INPUT
    told = "".join(capsys.readouterr())
    assert "--empty-bay = 9: must be 1 to 6" in told
    assert "plants/" not in told


def test_one_flow_that_no_fan_gives_is_one_problem(configs, capsys):
    recipe = configs / "recipes/gentle.toml"
    recipe.write_text(recipe.read_text().replace("holdback_K = 1.0", "fan_kg_per_s = 50.0", 1))
    assert main(["check", str(recipe)]) == BAD_INPUT
    assert "recipe   1 problem\n" in capsys.readouterr().out


def test_a_bare_name_is_a_demo_file_or_the_nearest_is_said(capsys):
    assert main(["check", "gentle"]) == GOOD
    assert "recipes/gentle.toml  recipe   OK" in capsys.readouterr().out
    assert main(["check", "gentel"]) == BAD_INPUT
    assert "did you mean gentle?" in capsys.readouterr().out


def test_a_renamed_device_is_one_line_with_the_number_of_its_rows(configs, capsys):
    device = configs / "devices/panel-a.toml"
    device.write_text(device.read_text().replace('name = "panel-a"', 'name = "panel-z"', 1))
    assert main(["check", "chambers/demo-north.toml"]) == BAD_INPUT
    said = [line for line in capsys.readouterr().out.splitlines() if "must be panel-z" in line]
    assert len(said) == 1
    assert re.search(r"TT-101A.device and \d\d more like it = panel-a: must be panel-z; rename the device", said[0])


def test_a_point_list_that_no_chamber_given_uses_is_noted(configs, capsys):
    shutil.copy(configs / "points/panel-a.csv", configs / "points/yours.csv")
    assert main(["check", "chambers/demo-north.toml", "points/yours.csv", "points/panel-a.csv"]) == GOOD
    notes = [line for line in capsys.readouterr().out.splitlines() if "used by no chamber given" in line]
    assert len(notes) == 1
    assert "points/yours.csv" in notes[0]


def test_the_rules_of_the_verdict_are_checked_too(tmp_path, capsys):
    text = (SHIPPED / "verdict.toml").read_text()
    assert main(["check", str(SHIPPED / "verdict.toml")]) == GOOD
    (tmp_path / "verdict.toml").write_text(text.replace("in_band_pct_min = 98.0", "in_band_pct_min = 980.0"))
    assert main(["check", str(tmp_path / "verdict.toml")]) == BAD_INPUT
    assert "in_band_pct_min = 980.0: must be a number from 0 to 100" in capsys.readouterr().out


def test_what_is_wrong_with_a_whole_file_is_no_equation(capsys):
    """There is no field of that name to look for."""
    for asked, said in ((".", "    a directory: must be a file"), ("gone.toml", "    there is no such file;")):
        assert main(["check", asked]) == BAD_INPUT
        assert said in capsys.readouterr().out


def test_a_recipe_says_what_a_door_and_a_power_loss_do_in_each_phase(capsys):
    assert main(["check", "weekend", "--outdoor", "8/80"]) == GOOD
    text = capsys.readouterr().out
    assert "5 dry-out  25 to 40  -         dry below 60  -              9                the air is dry, not" in text
    assert re.search(r"^4 park +5 to 40 .* 6, 10 min of 30 +the last board is out$", text, re.MULTILINE)
    assert re.search(r"^1 rest +fog off, later heat off, clock stops +clock stops +aborts$", text, re.MULTILINE)
    assert re.search(r"^6 standby +fog off, .*clock goes on +restarts after 1 min +restarts after 1 min$", text,
                     re.MULTILINE)


def test_a_chamber_that_is_asked_for_says_which_of_its_points_nothing_uses(configs, capsys):
    points = configs / "points/panel-a.csv"
    chamber = configs / "chambers/demo-north.toml"
    text = points.read_text()
    row = next(line for line in text.splitlines() if line.startswith("YC-106,DO"))
    points.write_text(text + row.replace("YC-106", "YC-107").replace("261,4,", "261,11,") + "\n")
    assert main(["check", str(chamber)]) == GOOD
    said = capsys.readouterr().out
    assert "only recorded, no section of the chamber file names it: ST-101, ZT-103, ZT-120" in said
    assert "never driven, it stays at rest, no section of the chamber file names it: YC-107" in said
    assert main(["check"]) == GOOD
    assert "only recorded" not in capsys.readouterr().out, "all files of the demos are no question about one of them"
