"""Faults of a simulated cycle: from a file or a seed, told in the summary, the same over both links."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from controller.cli.main import main
from controller.config.find import SHIPPED
from controller.errors import ConfigError
from controller.rig.faultfile import HERE, catalogue, faults_of, listed
from controller.rig.modelfiles import read
from plantsim.faults import Fault
from plantsim.params import PlantParams


@pytest.fixture(scope="module")
def params() -> PlantParams:
    return read(SHIPPED / "plants" / "demo-north.toml").value


def test_the_demo_night_fits_the_demo_chamber(params: PlantParams) -> None:
    found = faults_of("night", params, hours=24.0, dt_s=1.0)
    assert {one.kind for one in found} == {"stuck", "door-open", "heat-lost", "pegged"}


def test_a_seed_gives_the_same_faults_again_and_another_seed_others(params: PlantParams) -> None:
    first = faults_of("seed:3", params, hours=24.0, dt_s=2.0)
    assert first == faults_of("seed:3", params, hours=24.0, dt_s=2.0)
    assert first != faults_of("seed:4", params, hours=24.0, dt_s=2.0)
    assert {one.kind for one in first} <= set(HERE)
    assert all(one.start_s < 24.0 * 3600.0 for one in first)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[[fault]]\nkind = "stuk"\ntarget = "TT-101C"', "did you mean stuck?"),
        ('[[fault]]\nkind = "stuck"\ntarget = "TT-999"', "needs a probe"),
        ('[[fault]]\nkind = "heat-lost"\namount = 3.0', "must have 0 to 1"),
        ('[[fault]]\nkind = "lost-reply"', "is none of chamber or panel"),
        ('[[fault]]\nkind = "stuck"\nwhen = 3', "when"),
        ("fault = []", "fault"),
    ],
)
def test_what_does_not_fit_is_refused_with_field_and_remedy(
    params: PlantParams, tmp_path: Path, text: str, says: str
) -> None:
    file = tmp_path / "faults.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError) as refused:
        faults_of(str(file), params, hours=24.0, dt_s=1.0)
    assert says in str(refused.value)
    assert str(file) in str(refused.value)


def test_a_seed_that_is_no_number_is_refused(params: PlantParams) -> None:
    with pytest.raises(ConfigError, match="seed:7"):
        faults_of("seed:x", params, hours=1.0, dt_s=1.0)


def test_only_what_has_begun_is_told_and_it_ends_with_the_run() -> None:
    faults = (Fault(kind="stuck", target="TT-101C", start_s=10.0), Fault(kind="heat-lost", start_s=500.0))
    (told,) = listed(faults, 100.0)
    assert (told["kind"], told["target"], told["from_s"], told["to_s"]) == ("stuck", "TT-101C", 10.0, 100.0)
    assert told["text"]


def test_every_kind_that_may_be_asked_for_has_its_line() -> None:
    assert [line.split()[0] for line in catalogue()] == list(HERE)


def cycled(out: Path, capsys: pytest.CaptureFixture[str], *options: str) -> dict[str, Any]:
    asked = ["--outdoor", "8/80", "--hours", "0.4", "--scan", "2", "--no-report", "--json", "--out", str(out)]
    main(["cycle", *asked, *options])
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_a_cycle_with_faults_leaves_the_same_trace_over_both_links_and_another_than_without(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Goal: faults act in the chamber and nowhere else. Method: 24 minutes with a stuck probe and an open door."""
    file = tmp_path / "faults.toml"
    file.write_text(
        '[[fault]]\nkind = "stuck"\ntarget = "TT-101C"\nstart_s = 60.0\n'
        '[[fault]]\nkind = "door-open"\ntarget = "2"\nstart_s = 400.0\nlength_s = 300.0\n',
        encoding="utf-8",
    )
    direct, modbus = (
        cycled(tmp_path / link, capsys, "--link", link, "--faults", str(file)) for link in ("direct", "modbus")
    )
    well = cycled(tmp_path / "well", capsys, "--link", "direct")
    assert direct["trace_sha256"] == modbus["trace_sha256"] != well["trace_sha256"]
    assert [one["kind"] for one in direct["faults"]] == ["stuck", "door-open"]
    assert "faults" not in well
    assert "door-open" in direct["trips"]
    assert direct["invariants_broken"] == 0
    assert direct["closure"]["water_rel"] < 1e-9
