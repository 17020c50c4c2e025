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


def test_no_figure_is_minus_nothing() -> None:
    assert [text(-0.0, 0), text(-0.04, 1), text(-0.06, 1), text(None, 1)] == ["0", "0.0", "-0.1", "-"]
