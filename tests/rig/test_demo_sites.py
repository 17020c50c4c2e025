"""Demo sites with other equipment and instruments: they run, tell of their own trouble, and refuse what contradicts."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from controller.cli.main import BAD_INPUT, main
from controller.config.bundle import load_bundle
from controller.config.find import SHIPPED, find
from controller.config.plan import bind
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.rig.modelfiles import read
from plantsim.params import Gas

PROBES = SHIPPED / "plants" / "demo-probes.toml"


def cycled(site: str, out: Path, capsys: pytest.CaptureFixture[str], *options: str) -> dict[str, Any]:
    asked = ["cycle", "--chamber", site, "--plant", site, "--outdoor", "8/80", "--link", "direct", "--scan", "2"]
    main([*asked, "--no-report", "--json", "--out", str(out), *options])
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


@pytest.mark.parametrize("site", ["demo-burner", "demo-probes", "demo-across"])
def test_gentle_is_held_in_band_with_dry_boards_all_through(
    site: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Goal: the site is complete. Method: a whole day, true figures of the chamber model."""
    summary = cycled(site, tmp_path, capsys)
    hold, truth = summary["truth"]["hold"], summary["truth"]
    assert (summary["verdict"], summary["reasons"], summary["trips"]) == ("pass", [], [])
    assert hold["hours"] >= 4.0
    assert hold["in_band_pct"] >= 98.0
    assert hold["temperature_degC"]["off_mean_max"] <= 1.0
    assert hold["rh_pct"]["min"] >= 94.0
    assert truth["board_film_kg_per_m2_max"] <= 0.005
    assert summary["invariants_broken"] == 0
    assert max(summary["closure"].values()) < 1e-9
    assert summary["energy_kWh"]["heat"] > 10.0


def test_a_burner_that_lost_its_gas_locks_out_and_the_alarm_speaks_of_the_burner(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    faults = tmp_path / "faults.toml"
    faults.write_text('[[fault]]\nkind = "heat-lost"\nstart_s = 600.0\nlength_s = 600.0\n', encoding="utf-8")
    summary = cycled("demo-burner", tmp_path, capsys, "--hours", "0.5", "--faults", str(faults))
    (alarm,) = [one for one in summary["alarms"] if one["tag"] == "burner-locked-out"]
    assert alarm["text"] == "burner locked out: no flame, no gas or air pressure, or its own limiter; its wiring open"
    assert (alarm["priority"], alarm["from_s"]) == ("high", pytest.approx(606.0, abs=6.0))
    assert alarm["to_s"] == pytest.approx(1200.0, abs=90.0), "goes when the burner control was reset at the burner"
    assert "burner-locked-out" in summary["trips"]
    partly = faults.read_text().replace("length_s", "amount = 0.5\nlength_s")
    faults.write_text(partly, encoding="utf-8")
    weaker = cycled("demo-burner", tmp_path, capsys, "--hours", "0.3", "--faults", str(faults))
    assert "burner-locked-out" not in weaker["trips"], "a weaker fire is no lock-out"


def test_a_battery_that_carries_the_panel_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    faults = tmp_path / "dip.toml"
    faults.write_text('[[fault]]\nkind = "power-dip"\nstart_s = 300.0\nlength_s = 120.0\n', encoding="utf-8")
    found = cycled("demo-east", tmp_path, capsys, "--hours", "0.3", "--faults", str(faults))
    spells = {alarm["tag"]: (alarm["from_s"], alarm["to_s"]) for alarm in found["alarms"]}
    assert spells["on-battery"] == pytest.approx((306.0, 430.0), abs=3.0)


def test_rows_of_a_site_speak_of_the_heater_that_is_there() -> None:
    said = {}
    for site in ("demo-north", "demo-burner", "demo-east", "demo-west"):
        whole = load_bundle(site, "gentle", "demo-60", device_class=Device, layout=require_layout)
        bound = bind(whole.chamber, whole.points, whole.recipe, whole.mix, load_t=120.0)
        rows = {row.tag: row for row in (*bound.alarms.rows, *bound.protection.rows)}
        said[site] = f"{rows['air-too-hot'].action}; {rows['temperature-low'].cause}"
    assert "shut the gas at the burner" in said["demo-burner"]
    assert "burner locked out or without gas" in said["demo-burner"]
    assert "close the hand valve of the heating" in said["demo-north"]
    assert "elements off at their isolator" in said["demo-east"]
    assert "hand valve of the steam" in said["demo-west"]


def test_table_of_cause_and_effect_has_the_burner(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--effects", "--chamber", "demo-burner"]) == 0
    assert "burner locked out" in capsys.readouterr().out


def test_the_sites_have_what_they_are_for() -> None:
    assert isinstance(read(find("plant", "demo-burner")).value.heat, Gas)
    probes = read(PROBES).value.probe
    assert {probe.kind for probe in probes} == {"plain", "pt100", "capacitive", "warmed", "wick"}
    assert {probe.card.bits for probe in probes} == {12, 15, 16}
    assert {probe.pt100.grade for probe in probes if probe.kind == "pt100"} == {"AA", "A", "B", "C"}
    assert {probe.pt100.wires for probe in probes if probe.kind == "pt100"} == {2, 3, 4}
    assert {probe.sees for probe in probes} >= {"wet", "dew", "rh"}
    assert any(probe.capacitive.age_years > 1.0 for probe in probes)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            'kind = "warmed"\nwarmed = { warm_K = 3.0', 'kind = "wick"\nwarmed = { warm_K = 3.0',
            ["sees (MT-101E) = dew: a wick probe sees wet; correct sees or kind", "warmed (MT-101E) = (given): kind"],
        ),
        (
            "place = { jet_share = 0.05 }", "place = { wall_share = 0.7, radiant_share = 0.6 }",
            ["place.wall_share + place.radiant_share (TT-101F) = 1.3: at most 1; make one smaller"],
        ),
        (
            'transmitter = { fails = "high" }', 'transmitter = { fails = "high" }\ncard = { most_mA = 20.5 }',
            ["card.most_mA (MT-101H) = 20.5: failure is at least 21.0 mA, and this card does not see it; raise it"],
        ),
    ],
)  # fmt: skip
def test_probes_that_contradict_themselves_are_bad_input_with_field_value_limit_and_remedy(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, says: list[str]
) -> None:
    """In every command that reads a plant file, before anything runs."""
    text = PROBES.read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "plants").mkdir()
    file = tmp_path / "plants" / "odd.toml"
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    commands = (
        ["check", str(file)],
        ["cycle", "--plant", str(file), "--chamber", "demo-probes", "--out", str(tmp_path), "--link", "direct"],
        ["plant", "--plant", str(file), "--chamber", "demo-probes", "--port", "0"],
    )
    for command in commands:
        assert main(command) == BAD_INPUT
        said = capsys.readouterr()
        printed = said.out + said.err
        assert "odd.toml" in printed
        for one in says:
            assert one in printed
