"""Filling files: every problem at once, with its line and its remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.config.filling import load_filling, read_filling
from controller.errors import ConfigError

HEADER = "time_h,what,bay,level,tonnes,degC,age_h,mix\n"


def problems(tmp_path: Path, body: str) -> list[str]:
    file = tmp_path / "f.csv"
    file.write_text("# a comment\n" + HEADER + body)
    with pytest.raises(ConfigError) as caught:
        read_filling(file)
    return [f"{p.field}: {p.value}: {p.limit}; {p.remedy}" for p in caught.value.problems]


@pytest.mark.parametrize("name", ["batch", "shift"])
def test_demo_fillings_are_good(name: str):
    assert len(load_filling(name)) > 100


def test_a_small_file_reads_with_its_defaults(tmp_path: Path):
    file = tmp_path / "f.csv"
    file.write_text("time_h,what,bay,level,tonnes,degC\n0,open,1,,,\n0.01,place,1,2,1.5,20\n0.02,close,1,,,\n")
    rows = load_filling(file)
    assert [(row.what, row.level, row.tonnes, row.age_h, row.mix) for row in rows] == [
        ("open", None, None, None, ""), ("place", 2, 1.5, None, ""), ("close", None, None, None, ""),
    ]  # fmt: skip


def test_cells_that_are_missing_wrong_or_too_many_are_all_named(tmp_path: Path):
    body = "0,place,1,2,,20,,\n1,open,1,3,,,,\n2,lift,1,2,,,,\n3,take,1,,1.0,,,\n4,place,1,1,-5,999,,\n"
    found = problems(tmp_path, body)
    assert 'line 5, what: "lift"' in "\n".join(found)
    assert any(text.startswith("line 7, tonnes: -5") for text in found)
    assert any(text.startswith("line 7, degC: 999") for text in found)


def test_rows_that_do_not_fit_their_kind_are_all_named(tmp_path: Path):
    assert problems(tmp_path, "0,place,1,2,,20,,\n1,open,1,3,,,,\n3,take,1,,1.0,,,x\n") == [
        "line 3, tonnes: (missing): place needs it; fill the cell",
        "line 4, level: 3: open has none; empty the cell",
        "line 5, level: (missing): take needs it; fill the cell",
        "line 5, tonnes: 1.0: take has none; empty the cell",
        "line 5, mix: x: take has none; empty the cell",
    ]


def test_rows_stand_in_the_order_of_time(tmp_path: Path):
    assert problems(tmp_path, "1,open,1,,,,,\n0.5,close,1,,,,,\n") == [
        "line 4, time_h: 0.5: must be 1 or later: rows stand in the order of time; sort the rows"
    ]


def test_doors_and_positions_that_already_are_so_are_named(tmp_path: Path):
    body = "0,close,1,,,,,\n0,open,2,,,,,\n0.1,open,2,,,,,\n0.2,take,2,1,,,,\n"
    body += "0.3,place,2,1,1,20,,\n0.4,place,2,1,1,20,,\n"
    assert problems(tmp_path, body) == [
        "line 3, what: close bay 1, its door: is shut at 0 h; open it first",
        "line 5, what: open bay 2, its door: is open since line 4; close it first",
        "line 6, what: take bay 2 level 1: is empty at 0.2 h; place something first",
        "line 8, what: place bay 2 level 1: is occupied since line 7; take it out first",
    ]


def test_a_position_may_be_emptied_and_filled_in_the_same_second(tmp_path: Path):
    file = tmp_path / "f.csv"
    file.write_text(HEADER + "0,place,1,1,1,20,,\n1,place,1,1,2,25,,\n1,take,1,1,,,,\n")
    assert len(read_filling(file).value) == 3
