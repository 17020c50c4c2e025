"""Can a phase's end ever come? What the product reaches at best, in the longest cycle at its highest temperature."""

from __future__ import annotations

from controller.config.chamber import ChamberFile
from controller.core.product.maturity import arrhenius_rate
from controller.core.product.mix import Mix
from controller.core.product.strength import strength_MPa
from controller.core.sequence.recipe import Recipe
from controller.errors import Problem


def problems(recipe: Recipe, mix: Mix, chamber: ChamberFile, file: str) -> list[Problem]:
    """Ends by age or strength that this mix cannot come to in this chamber."""
    limits = chamber.limits
    rate = arrhenius_rate(mix.activation_energy_kJ_per_mol, mix.reference_degC)
    oldest_h = limits.cycle_h_max * rate(limits.product_degC_max)
    best = f"in {limits.cycle_h_max:g} h at {limits.product_degC_max:g} degC, as [limits] of the chamber file allow"
    found = []
    for number, phase in enumerate(recipe.phases):
        for name, wanted, most, unit in (
            ("equivalent_age_h", phase.end.equivalent_age_h, oldest_h, "h"),
            ("strength_MPa", phase.end.strength_MPa, strength_MPa(mix, oldest_h), "MPa"),
        ):
            if wanted is not None and wanted > most:
                limit = f"{mix.name} reaches at most {most:.0f} {unit} {best}"
                remedy = "ask for less: the phase would never end"
                found.append(Problem(file, f"phases[{number}].end.{name}", f"{wanted:g} {unit}", limit, remedy))
    return found
