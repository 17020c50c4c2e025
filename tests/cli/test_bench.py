"""`dewhold bench` that is asked for what it does not have."""

from __future__ import annotations

import pytest

from controller.cli.main import main


def test_rows_that_are_none_get_a_list_of_groups_a_line_each(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bench", "--quick", "--rows", "nosuch"]) == 2
    said = capsys.readouterr().err
    assert "--rows = nosuch: must be part of a row's name; names begin with\n  24 h (" in said
    assert all(line.endswith(")") for line in said.splitlines() if line.startswith("  "))
