"""The concretes of a model: the product section, and mixes of their own where they differ from it."""

from __future__ import annotations

from typing import NamedTuple

from plantsim.params import MixParams, PlantParams, Product


class Concrete(NamedTuple):
    """What a mix decides, as numbers; fields as in MixParams."""

    heat_J_per_kg_K: float
    m2_per_position: float
    water_activity: float
    wetted_fraction: float
    water_kg_per_kg: float
    cement_share: float
    hydration_J_per_kg: float
    tau_h: float
    shape: float
    activation_J_per_mol: float


def concretes(params: PlantParams) -> dict[str, Concrete]:
    """By name, "" for the product section. ValueError for a name given twice."""
    found = {"": concrete(params.product, None)}
    for mix in params.mix:
        if mix.name in found:
            raise ValueError(f"mix {mix.name!r} is given twice: names of mixes must differ")
        found[mix.name] = concrete(params.product, mix)
    return found


def concrete(product: Product, mix: MixParams | None) -> Concrete:
    """A mix with everything it leaves out taken from the product section."""
    own = {name: getattr(mix, name) for name in Concrete._fields} if mix is not None else {}
    return Concrete(*(
        float(own[name]) if own.get(name) is not None else float(getattr(product, name)) for name in Concrete._fields
    ))
