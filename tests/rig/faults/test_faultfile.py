"""Faults of a simulated cycle: from a file or a seed, told in the summary, the same over both links."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from controller.cli.main import main
from controller.config.bundle import load_site
from controller.config.find import SHIPPED
from controller.errors import ConfigError
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.link.reach import image_of
from controller.rig.faults.faultfile import catalogue, faults_of, listed
from controller.rig.faults.hostfaults import HOST
from controller.rig.faults.wires import places
from controller.rig.modelfiles import read
from controller.store.reader import Reader
from plantsim.faults import KINDS, Fault, Places


def places_at(chamber: str) -> Places:
    site = load_site(chamber, device_class=Device, layout=require_layout)
    params = read(SHIPPED / "plants" / "demo-north.toml").value
    return places(params, site.points, image_of(site.points, site.devices))


@pytest.fixture(scope="module")
def north() -> Places:
    return places_at("demo-north")


@pytest.fixture(scope="module")
def south() -> Places:
    return places_at("demo-south")


@pytest.mark.parametrize("name", sorted(path.stem for path in (SHIPPED / "faults").glob("*.toml")))
def test_every_demo_file_fits_the_demo_chamber(north: Places, name: str) -> None:
    assert len(faults_of(name, north, hours=24.0, dt_s=1.0)) >= 4


def test_the_demo_night_fits_the_demo_chamber(north: Places) -> None:
    found = faults_of("night", north, hours=24.0, dt_s=1.0)
    assert {one.kind for one in found} == {"stuck", "door-open", "heat-lost", "pegged"}


def test_a_seed_gives_the_same_faults_again_and_another_seed_others(north: Places) -> None:
    first = faults_of("seed:3", north, hours=24.0, dt_s=2.0)
    assert first == faults_of("seed:3", north, hours=24.0, dt_s=2.0)
    assert first != faults_of("seed:4", north, hours=24.0, dt_s=2.0)
    assert {one.kind for one in first} <= set(KINDS)
    assert all(one.start_s < 24.0 * 3600.0 for one in first)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[[fault]]\nkind = "stuk"\ntarget = "TT-101C"', "did you mean stuck?"),
        ('[[fault]]\nkind = "stuck"\ntarget = "TT-999"', "needs a probe"),
        ('[[fault]]\nkind = "heat-lost"\namount = 3.0', "must have 0 to 1"),
        ('[[fault]]\nkind = "lost-reply"\ntarget = "rtd-b"', "lost-reply has no target"),
        ('[[fault]]\nkind = "bit-flip"\ntarget = "48"', "needs a tag or a word 0 to 47"),
        ('[[fault]]\nkind = "bit-flip"\ntarget = "TT-101Q"', "did you mean TT-101"),
        ('[[fault]]\nkind = "stuck"\nwhen = 3', "when"),
        ("fault = []", "fault"),
    ],
)
def test_what_does_not_fit_is_refused_with_field_and_remedy(
    north: Places, tmp_path: Path, text: str, says: str
) -> None:
    file = tmp_path / "faults.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError) as refused:
        faults_of(str(file), north, hours=24.0, dt_s=1.0)
    assert says in str(refused.value)
    assert str(file) in str(refused.value)


def test_on_a_panel_of_several_a_device_may_be_named_and_words_have_tags_only(south: Places, tmp_path: Path) -> None:
    file = tmp_path / "faults.toml"
    file.write_text('[[fault]]\nkind = "reset"\ntarget = "rtd-b"\n[[fault]]\nkind = "bit-flip"\ntarget = "ZS-101A"\n')
    assert [one.target for one in faults_of(str(file), south, hours=1.0, dt_s=1.0)] == ["rtd-b", "ZS-101A"]
    file.write_text('[[fault]]\nkind = "reset"\ntarget = "rtd-c"\n[[fault]]\nkind = "bit-flip"\ntarget = "9"\n')
    with pytest.raises(ConfigError) as refused:
        faults_of(str(file), south, hours=1.0, dt_s=1.0)
    assert "did you mean rtd-b?" in str(refused.value)
    assert "bit-flip needs a tag;" in str(refused.value)


@pytest.mark.parametrize("kind", HOST)
def test_faults_of_the_computer_are_refused_and_told_where_they_are_tried(
    north: Places, tmp_path: Path, kind: str
) -> None:
    file = tmp_path / "faults.toml"
    file.write_text(f'[[fault]]\nkind = "{kind}"\n', encoding="utf-8")
    with pytest.raises(ConfigError, match="is a fault of the computer") as refused:
        faults_of(str(file), north, hours=1.0, dt_s=1.0)
    where = HOST[kind][1].split(", ")
    assert HOST[kind][1] in str(refused.value)
    assert all((Path(__file__).parents[3] / path).is_file() for path in where)


def test_a_seed_that_is_no_number_is_refused(north: Places) -> None:
    with pytest.raises(ConfigError, match="seed:7"):
        faults_of("seed:x", north, hours=1.0, dt_s=1.0)


def test_only_what_has_begun_is_told_and_it_ends_with_the_run() -> None:
    faults = (Fault(kind="stuck", target="TT-101C", start_s=10.0), Fault(kind="heat-lost", start_s=500.0))
    (told,) = listed(faults, 100.0)
    assert (told["kind"], told["target"], told["from_s"], told["to_s"]) == ("stuck", "TT-101C", 10.0, 100.0)
    assert told["text"]


def test_every_kind_that_may_be_asked_for_has_its_line() -> None:
    first = [line.split()[0] for line in catalogue() if line.startswith("  ")]
    assert first == ["kind", *KINDS, *HOST]
    assert len(KINDS) == 49
    assert all(len(line) <= 120 for line in catalogue())


def cycled(out: Path, capsys: pytest.CaptureFixture[str], *options: str) -> dict[str, Any]:
    asked = ["--outdoor", "8/80", "--hours", "0.4", "--scan", "2", "--no-report", "--json", "--out", str(out)]
    main(["cycle", *asked, *options])
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def test_a_cycle_with_faults_leaves_the_same_trace_over_both_links_and_another_than_without(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Goal: a fault does the same whatever carries the words. Method: 24 minutes with one or two of every room."""
    file = tmp_path / "faults.toml"
    file.write_text(
        '[[fault]]\nkind = "stuck"\ntarget = "TT-101C"\nstart_s = 60.0\n'
        '[[fault]]\nkind = "door-open"\ntarget = "2"\nstart_s = 400.0\nlength_s = 300.0\n'
        '[[fault]]\nkind = "late-request"\nstart_s = 200.0\nlength_s = 6.0\n'
        '[[fault]]\nkind = "stuck-register"\ntarget = "TT-101D"\nstart_s = 230.0\nlength_s = 60.0\n'
        '[[fault]]\nkind = "recipe-edited"\nstart_s = 300.0\nlength_s = 2.0\n',
        encoding="utf-8",
    )
    direct, modbus = (
        cycled(tmp_path / link, capsys, "--link", link, "--faults", str(file)) for link in ("direct", "modbus")
    )
    well = cycled(tmp_path / "well", capsys, "--link", "direct")
    assert direct["trace_sha256"] == modbus["trace_sha256"] != well["trace_sha256"]
    assert [one["kind"] for one in direct["faults"]][:2] == ["stuck", "door-open"]
    assert "faults" not in well
    assert "door-open" in direct["trips"]
    assert direct["invariants_broken"] == 0
    assert direct["closure"]["water_rel"] < 1e-9
    with Reader(tmp_path / "modbus" / "record.sqlite") as reader:
        noted = [(row.scan, row.text) for row in reader.journal(kind="note") if row.tag == "SIMULATION"]
        link = [(row.scan, row.data) for row in reader.journal(kind="link")]
        orders = [row.text for row in reader.journal(kind="command")]
    assert [scan for scan, _ in noted] == [30, 100, 103, 115, 145, 150, 151, 200, 350]
    assert noted[0][1].startswith("simulated fault begins: stuck TT-101C, shows what it showed")
    assert noted[-1][1].startswith("simulated fault is over: door-open 2")
    assert link == [(100, {"kind": "timeout"}), (103, {"scans": 3})]
    assert any("start by operator: refused while running" in text for text in orders)


def test_people_are_told_on_the_terminal_when_a_fault_begins_and_when_it_is_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "faults.toml"
    file.write_text('[[fault]]\nkind = "reset"\nstart_s = 40.0\nlength_s = 4.0\n', encoding="utf-8")
    asked = ["--outdoor", "8/80", "--hours", "0.05", "--scan", "2", "--no-report", "--link", "direct"]
    main(["cycle", *asked, "--out", str(tmp_path), "--faults", str(file)])
    said = capsys.readouterr()
    begins, over = (line for line in said.err.splitlines() if "simulated fault" in line)
    assert begins == "0:00:40 simulated fault begins: reset, the connection is reset in the middle of a reply"
    assert over.startswith("0:00:44 simulated fault is over: reset")
    assert "fault: reset, the connection is reset in the middle of a reply (0.0 to 0.0 h)" in said.out
