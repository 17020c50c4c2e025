"""Offsets of probes: each has a day, and not one of long ago; days that are none are refused."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from controller.cli.main import main
from controller.config import offsets
from controller.config.find import SHIPPED
from controller.core.signals.signals import SignalsConfig

TODAY = date(2026, 3, 2)


@pytest.mark.parametrize(
    ("day", "said"),
    [
        ("2026-03-01", []), ("2025-03-02", []),
        ("2025-03-01", ["the offset of TT-101A was found on 2025-03-01, 366 days ago: compare it with a reference"]),
        ("2026-03-03", ["the offset of TT-101A was found on 2026-03-03, which is yet to come: look at the date"]),
    ],
)
def test_an_offset_is_good_for_a_year(day: str, said: list[str]) -> None:
    config = SignalsConfig(offset={"TT-101A": 0.1}, offset_on={"TT-101A": day})
    assert offsets.notes(config, TODAY) == said


def test_offsets_without_a_day_are_named() -> None:
    config = SignalsConfig(offset={"TT-101B": 0.1, "TT-101A": -0.1})
    (said,) = offsets.notes(config, TODAY)
    assert said.startswith("nobody knows when the offset of TT-101A, TT-101B was found")


def test_a_day_that_is_none_and_one_without_its_offset_are_problems() -> None:
    config = SignalsConfig(offset={"TT-101A": 0.1}, offset_on={"TT-101A": "2026-02-30", "TT-101C": "2026-02-01"})
    assert [one[:3] for one in offsets.problems(config)] == [
        ("signals.offset_on.TT-101A", "2026-02-30", "must be a day, YYYY-MM-DD"),
        ("signals.offset_on.TT-101C", "2026-02-01", "there is no offset of this tag"),
    ]


def test_check_says_it_of_a_chamber_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "chambers"
    folder.mkdir()
    text = (SHIPPED / "chambers" / "demo-north.toml").read_text(encoding="utf-8")
    path = folder / "own.toml"
    path.write_text(text.replace("# TT-101A = 0.05", "TT-101A = 0.05"), encoding="utf-8")
    assert main(["check", str(path)]) == 0
    assert "nobody knows when the offset of TT-101A was found" in capsys.readouterr().out
    dated = path.read_text(encoding="utf-8").replace('# TT-101A = "2026-03-01"', 'TT-101A = "soon-ish!!"')
    path.write_text(dated, encoding="utf-8")
    assert main(["check", str(path)]) == 2
    assert "signals.offset_on.TT-101A = soon-ish!!: must be a day, YYYY-MM-DD" in capsys.readouterr().out
