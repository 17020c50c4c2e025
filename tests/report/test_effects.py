"""The table of cause and effect: a line for every row, and every effect of the row in it."""

from __future__ import annotations

from dataclasses import replace

from controller.core.rows.protection import FOG, HEAT, NUMBER, ROWS, SAFE, VENT_OPEN
from controller.core.sequence.phase_kinds import DOOR
from controller.report import effects


def cells(text: str) -> list[str]:
    """Cells of one line: columns are two blanks or more apart."""
    return [cell.strip() for cell in text.split("  ") if cell.strip()]


def test_every_row_has_its_line_in_order() -> None:
    found = effects.lines(ROWS, chamber="trial", sha256="ab" * 32)
    body = found[4 : 4 + len(ROWS)]
    assert [line.split("  ")[0] for line in body] == [row.text for row in ROWS]
    assert "abababababababab" in found[0]
    assert "signature" in found[-1]


def test_a_line_says_delay_effects_cycle_and_how_it_goes_back() -> None:
    row = replace(ROWS[NUMBER["limiter"]], blocks=HEAT | VENT_OPEN, at_once=FOG, delay_s=2.5, latch=True)
    line = effects.lines([row], chamber="trial", sha256="0")[4]
    assert cells(line) == [row.text, "2.5 s", "off", "at once", "open", "clock stops", "reset", "no", "high"]


def test_safe_values_take_heat_and_fog_away_and_leave_the_rest_to_the_point_list() -> None:
    row = replace(ROWS[0], blocks=SAFE, at_once=0, effect="abort", latch=False, release_s=60.0)
    line = effects.lines([row], chamber="trial", sha256="0")[4]
    assert cells(line)[2:] == ["off", "off", "safe", "safe", "safe", "aborts", "by itself, 60 s", "no", "high"]


def test_a_line_says_whether_people_may_leave_the_row_out() -> None:
    lines = effects.lines(ROWS, chamber="trial", sha256="0")
    said = {line.split("  ")[0]: " timed " in line for line in lines[4 : 4 + len(ROWS)]}
    assert [text for text, timed in said.items() if timed] == ["no fog water pressure"]


def test_every_door_and_every_power_loss_has_its_line_for_every_setting() -> None:
    found = effects.lines(ROWS, chamber="trial", sha256="0")
    said = {cells(line)[0]: cells(line)[1:] for line in found if line.startswith("on_")}
    assert said['on_door = "hold"'] == ["fog off", "later heat off", "clock stops"]
    assert said['on_door = "standing"'] == ["fog off", "heat goes on", "clock goes on"]
    assert said['on_outage = "hold"'] == ["clock stops", "clock stops", "aborts", "aborts"]
    assert said['on_outage = "resume"'] == ["restarts after 1 min"] * 2 + ["aborts"] * 2
    assert said['on_outage = "hold", in dry-out or standby'] == ["clock stops"] * 4
    assert len(said) == len(DOOR) + 4
