"""A chamber without product: nothing is said of a product that is not there."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.cli.main import main
from controller.report.marks import text

EMPTY = [word for bay in range(1, 7) for word in ("--empty-bay", str(bay))]


@pytest.mark.parametrize("options", [["--load", "0"], EMPTY], ids=["no load", "every bay empty"])
def test_a_cycle_without_product_says_so_and_shows_no_figure_of_it(
    options: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    short = ["--link", "direct", "--scan", "2", "--hours", "0.05", "--no-report"]
    main(["cycle", *short, "--out", str(tmp_path), *options])
    said = capsys.readouterr().out
    assert "no product" in said
    assert "product core" not in said
    assert "equivalent age" not in said


@pytest.mark.parametrize("options", [["--load", "0"], EMPTY], ids=["no load", "every bay empty"])
def test_a_forecast_without_product_promises_no_ready_time(
    options: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "gentle", *options]) == 0
    said = capsys.readouterr().out
    assert "ready: no product" in said
    assert "product: no product" in said


def test_run_refuses_a_recipe_for_product_where_every_bay_is_empty(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["run", "--port", "1", "--out", str(tmp_path / "out")]
    assert main([*asked, *EMPTY]) == 2
    said = capsys.readouterr().err
    assert "--empty-bay = 1, 2, 3, 4, 5, 6: leaves no place for product, and gentle has 1 rest, 2 ramp, 3 hold" in said
    assert "leave a bay out, or say --load 0 for a trial without product" in said
    assert not (tmp_path / "out").exists()
    assert main([*asked, "--empty-bay", "7"]) == 2
    assert "--empty-bay = 7: must be 1 to 6" in capsys.readouterr().err


@pytest.mark.parametrize(("options", "told"), [
    (["--load", "0"], True), ([], False), (EMPTY[2:], False), (["--recipe", "standing", "--load", "0"], False),
])
def test_run_says_that_there_is_no_product_before_it_looks_for_the_panel(
    options: list[str], told: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing listens at that port: it ends there."""
    assert main(["run", "--port", "1", "--out", str(tmp_path / "out"), *options]) == 3
    assert ("no product (--load 0)" in capsys.readouterr().err) is told


def test_an_empty_chamber_may_be_dried(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    dry = tmp_path / "dry.toml"
    dry.write_text(
        'name = "dry"\n[[phases]]\nkind = "dry-out"\nfloor_degC = 20.0\nceiling_degC = 40.0\n'
        "rh_vent_above_pct = 60.0\n[phases.end]\nin_band = true\n"
    )
    assert main(["run", "--recipe", str(dry), "--port", "1", "--out", str(tmp_path / "out"), *EMPTY]) == 3
    assert "no product" not in capsys.readouterr().err


def test_no_figure_is_minus_nothing() -> None:
    assert [text(-0.0, 0), text(-0.04, 1), text(-0.06, 1), text(None, 1)] == ["0", "0.0", "-0.1", "-"]
