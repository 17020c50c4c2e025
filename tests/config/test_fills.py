"""A forecast of a fill: the charge of the filling, as long as it takes, and what such a forecast cannot tell."""

from __future__ import annotations

from controller.config.filling import FillingRow, load_filling
from controller.config.fills import filled
from controller.config.summary import ending
from controller.core.outlook.forecast import Case
from controller.core.sequence.recipe import End, Phase, Recipe

FILL = Phase(kind="fill", floor_degC=10.0, ceiling_degC=30.0, on_door="standing", end=End(full=True, at_most_h=6.0))
HOLD = Phase(kind="hold", temperature_degC=32.0, end=End(time_h=10.0))
CASE = Case(load_t=99.0, mix_degC=9.0, outdoor=[(8.0, 80.0)])


def test_the_charge_is_that_of_the_filling_and_the_fill_as_long() -> None:
    recipe, case, said = filled(Recipe(name="x", phases=(FILL, HOLD)), load_filling("batch"), CASE)
    assert round(case.load_t) == 120
    assert 18.0 < case.mix_degC < 21.0
    assert recipe.phases[0].end.time_h is not None
    assert 3.0 < recipe.phases[0].end.time_h < 3.5
    assert recipe.phases[1] == HOLD
    assert "up to 3.1 h later" in said[0]


def test_a_fill_that_ends_too_soon_and_a_recipe_without_one_are_told() -> None:
    short = Phase(kind="fill", floor_degC=10.0, ceiling_degC=30.0, end=End(full=True, at_most_h=2.0))
    recipe, _, said = filled(Recipe(name="x", phases=(short, HOLD)), load_filling("batch"), CASE)
    assert recipe.phases[0].end.time_h == 2.0
    assert any("before the last boards are in" in one for one in said)
    same, _, said = filled(Recipe(name="x", phases=(HOLD,)), load_filling("batch"), CASE)
    assert same.phases == (HOLD,)
    assert "has no fill" in said[0]


def test_a_park_lasts_until_the_last_board_of_the_filling_is_out() -> None:
    park = Phase(kind="park", floor_degC=5.0, ceiling_degC=40.0, end=End(empty=True))
    recipe = Recipe(name="x", phases=(HOLD, park))
    longer, _, said = filled(recipe, load_filling("weekend"), CASE)
    assert longer.phases[1].end == End(cycle_h=longer.phases[1].end.cycle_h)
    assert 63.5 < (longer.phases[1].end.cycle_h or 0.0) < 64.5
    assert said[-1].startswith("phase 2 (park): ends here with the filling's last board, at 6")
    same, _, said = filled(recipe, load_filling("batch"), CASE)
    assert same.phases == recipe.phases
    assert len(said) == 1
    both, _, said = filled(Recipe(name="x", phases=(FILL, park)), load_filling("weekend"), CASE)
    assert both.phases[1] == longer.phases[1]
    assert "ends here with the filling's last board" in said[-1]


def test_doors_alone_bring_nothing() -> None:
    recipe = Recipe(name="x", phases=(FILL, HOLD))
    assert filled(recipe, [FillingRow(time_h=1.0, what="open", bay=1)], CASE)[:2] == (recipe, CASE)


def test_a_fill_ends_in_words_when_the_last_board_is_in() -> None:
    assert ending(FILL.end) == "the last board is in, at the latest after 6 h"
    assert ending(End(empty=True)) == "the last board is out"
