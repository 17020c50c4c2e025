"""`dewhold cycle`: results in files and on the terminal, the exit code is the verdict, wrong options are named."""

from __future__ import annotations

import json
from contextlib import closing
from pathlib import Path

import pytest

from controller.cli.main import main
from controller.store.reader import Reader
from controller.store.verify import verify

SHORT = ["cycle", "--link", "direct", "--outdoor", "8/80", "--hours", "0.1"]
KEYS = {
    "version", "chamber", "recipe", "recipe_sha256", "mix", "load_t", "mix_degC", "seed", "link", "scan_s", "scans",
    "simulated_s", "wall_s", "scan_us", "exchange_us", "finished", "verdict", "reasons", "trips", "alarms",
    "invariants_broken", "trace_sha256", "closure", "energy_kWh", "water_kg", "per_tonne", "fighting", "ready_age_h",
    "ready_h", "truth", "believed",
}  # fmt: skip


def test_a_short_cycle_leaves_record_summary_and_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Six minutes are no cycle: the verdict says so and the exit code is 1."""
    assert main([*SHORT, "--out", str(tmp_path)]) == 1
    said = capsys.readouterr()
    summary = json.loads((tmp_path / "summary.json").read_text())
    assert set(summary) >= KEYS
    assert summary["scans"] == 360
    assert summary["invariants_broken"] == 0
    assert summary["verdict"] == "deviation"
    assert set(summary["truth"]["hold"]) == set(summary["believed"]["hold"])
    assert "verdict: DEVIATION" in said.out
    assert "the recipe did not run to its end" in said.out
    assert "cycle: 100 % done" in said.err
    assert verify(tmp_path / "record.sqlite") == []
    with closing(Reader(tmp_path / "record.sqlite")) as reader:
        assert sum(1 for _frame in reader.frames()) == 360
        cycle = reader.cycles()[-1]
    assert cycle.summary == summary
    assert cycle.last_scan == 359


def test_json_is_all_that_is_printed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main([*SHORT, "--out", str(tmp_path), "--json", "--load", "0"])
    said = capsys.readouterr()
    summary = json.loads(said.out)
    assert summary == json.loads((tmp_path / "summary.json").read_text())
    assert summary["per_tonne"] == {"energy_kWh": None, "water_kg": None}
    assert said.err == ""


def test_an_empty_chamber_has_a_table_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main([*SHORT, "--out", str(tmp_path), "--load", "0"])
    assert "verdict:" in capsys.readouterr().out


def test_a_second_cycle_replaces_the_record_of_the_first(tmp_path: Path) -> None:
    for _again in range(2):
        main([*SHORT, "--out", str(tmp_path), "--json"])
    with closing(Reader(tmp_path / "record.sqlite")) as reader:
        assert len(reader.cycles()) == 1


@pytest.mark.parametrize(
    ("options", "field"),
    [
        (["--load", "-1"], "--load"),
        (["--load", "nan"], "--load"),
        (["--hours", "0"], "--hours"),
        (["--scan", "0.01"], "--scan"),
        (["--outdoor", "cold"], "--outdoor"),
        (["--outdoor", "8/180"], "--outdoor"),
        (["--start", "yesterday"], "--start"),
        (["--mix-temperature", "80"], "--mix-temperature"),
        (["--recipe", "gentel"], "recipe file"),
        (["--chamber", "nowhere.toml"], "chamber file"),
    ],
)
def test_wrong_options_are_named_and_nothing_runs(
    options: list[str], field: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["cycle", "--link", "direct", "--out", str(tmp_path / "out"), *options]) == 2
    said = capsys.readouterr()
    assert field in said.err
    assert "nothing was started" in said.err
    assert not (tmp_path / "out" / "record.sqlite").exists()


def test_a_filling_comes_and_goes_in_a_cycle(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Twenty minutes of the demo fill: one trip of three positions has entered; the summary says what came."""
    asked = ["cycle", "--link", "direct", "--outdoor", "8/80", "--hours", "0.33", "--no-report", "--json"]
    main([*asked, "--filling", "batch", "--out", str(tmp_path)])
    summary = json.loads(capsys.readouterr().out)
    assert summary["load_t"] == 120.0
    assert summary["charges"]["tonnes"] == {"start": 0.0, "most": 5.0, "end": 5.0}
    assert summary["charges"]["energy_kWh"]["in"] > 30.0
    assert summary["charges"]["energy_kWh"]["out"] == 0.0
    assert max(summary["closure"].values()) < 1e-9


def test_boards_of_another_mix_are_taken_and_a_mix_without_a_file_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["cycle", "--link", "direct", "--scan", "2", "--chamber", "demo-standing", "--recipe", "standing"]
    rows = ["time_h,what,bay,level,tonnes,degC,age_h,mix", "0,place,1,1,1.6,32,9,", "0,place,1,2,1.6,32,9,MIX"]
    filling = tmp_path / "mine.csv"
    for mix, code in (("quick", 1), ("nobody", 2)):
        filling.write_text("\n".join(rows).replace("MIX", mix) + "\n", encoding="utf-8")
        assert main([*asked, "--filling", str(filling), "--hours", "0.02", "--out", str(tmp_path / mix)]) == code
    assert "nobody" in capsys.readouterr().err
    with closing(Reader(tmp_path / "quick" / "record.sqlite")) as reader:
        orders = [row.data for row in reader.journal(kind="command") if row.data["verb"] == "charge"]
    assert [order["outcome"] for order in orders] == ["done", "done"]


def test_a_park_ends_with_the_last_board_that_is_taken_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two places out at 0.1 and 0.2 h; then the chamber is dried, and nobody has said so but the orders of the yard."""
    recipe, filling = tmp_path / "out.toml", tmp_path / "out.csv"
    band = "floor_degC = 5.0\nceiling_degC = 40.0\n"
    recipe.write_text(
        f'name = "out"\n[[phases]]\nkind = "park"\n{band}on_door = "standing"\n[phases.end]\nempty = true\n'
        f'[[phases]]\nkind = "dry-out"\n{band}rh_vent_above_pct = 60.0\n[phases.end]\ntime_h = 0.05\n'
    )
    rows = ["time_h,what,bay,level,tonnes,degC,age_h,mix", "0,place,1,1,1.6,20,0,", "0,place,1,2,1.6,20,0,",
            "0.1,take,1,1,,,,", "0.2,take,1,2,,,,"]
    filling.write_text("\n".join(rows) + "\n")
    asked = ["cycle", "--link", "direct", "--scan", "2", "--outdoor", "8/80", "--hours", "0.5", "--no-report"]
    main([*asked, "--recipe", str(recipe), "--filling", str(filling), "--out", str(tmp_path / "cycle")])
    capsys.readouterr()
    with closing(Reader(tmp_path / "cycle" / "record.sqlite")) as reader:
        rows_ = [(row.text, row.scan) for row in reader.journal(kind="phase")]
    texts = [text for text, _scan in rows_]
    assert texts[1] == "phase 1 of 2, park: over, the last board is out"
    assert rows_[1][1] == pytest.approx(0.2 * 1800, abs=10)
    assert texts[-1] == "phase 2 of 2, dry-out: over, phase time"


def test_load_and_filling_exclude_each_other(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*SHORT, "--out", str(tmp_path), "--filling", "batch", "--load", "80"]) == 2
    assert "--load = 80.0: cannot stand beside --filling" in capsys.readouterr().err
    assert main([*SHORT, "--out", str(tmp_path), "--filling", "nothing"]) == 2
    assert "known: batch, days, shift" in capsys.readouterr().err
