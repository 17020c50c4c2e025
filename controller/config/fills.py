"""What a forecast makes of a recipe that begins with a fill, and of the boards that come in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from controller.config.filling import FillingRow
from controller.core.outlook.forecast import Case
from controller.core.sequence.recipe import Recipe

LEAST_H = 0.1


def filled(recipe: Recipe, rows: Sequence[FillingRow], case: Case) -> tuple[Recipe, Case, list[str]]:
    """(recipe with a fill, and a park, as long as they take, charge of the filling, what this forecast cannot tell).

    A forecast knows one charge, there from the beginning: the boards of the filling at their mean temperature.
    """
    boards = [(row.tonnes, row.degC) for row in rows if row.tonnes is not None and row.degC is not None]
    tonnes = sum(tonnes for tonnes, _ in boards)
    if not tonnes:
        return recipe, case, ["nothing comes in by this filling"]
    case = replace(case, load_t=tonnes, mix_degC=round(sum(t * degC for t, degC in boards) / tonnes, 2))
    recipe, out = _emptied(recipe, rows)
    first = recipe.phases[0]
    if first.kind != "fill":
        return recipe, case, [
            "the recipe has no fill: its clock begins with the first boards, not with the last", *out
        ]
    hours = max(LEAST_H, *(row.time_h for row in rows if row.what == "place"))
    asked = first.end.at_most_h
    late = (
        f"phase 1 (fill): boards come for {hours:.1f} h, and the forecast counts them as one charge from the "
        f"beginning: the last ones will be ready up to {hours:.1f} h later than it says"
    )
    said = [late]
    if asked is not None and hours > asked:
        said.append(f"phase 1 (fill): ends after {asked:g} h, before the last boards are in at {hours:.1f} h")
        hours = asked
    end = replace(first.end, full=False, at_most_h=None, time_h=hours)
    return replace(recipe, phases=(replace(first, end=end), *recipe.phases[1:])), case, [*said, *out]


def _emptied(recipe: Recipe, rows: Sequence[FillingRow]) -> tuple[Recipe, list[str]]:
    """The recipe with what waits for the last board to leave as long as that takes, and that this was done."""
    hours, said = max((row.time_h for row in rows if row.what == "take"), default=0.0), []
    phases = list(recipe.phases)
    for number, phase in enumerate(phases):
        if phase.end.empty and hours:
            phases[number] = replace(phase, end=replace(phase.end, empty=False, cycle_h=hours))
            said.append(f"phase {number + 1} ({phase.kind}): ends here with the filling's last board, at {hours:.1f} h")
    return replace(recipe, phases=tuple(phases)), said
