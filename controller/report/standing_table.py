"""Rows of the table for a standing climate: settled air and boards, doors, newcomers, and what a tonne cost."""

from __future__ import annotations

from controller.config.rules import VerdictRules
from controller.report.marks import PLAIN, Row, Summary, counted, energy, sign, span, text


def rows(summary: Summary, rules: VerdictRules) -> list[Row]:
    """What was asked of a standing climate and what it was, from the block `standing` of a summary."""
    block = summary["standing"]
    return [*_air(summary, block), *_surfaces(summary, block, rules), *_cost(summary, block["turnover"])]


def _air(summary: Summary, block: Summary) -> list[Row]:
    air, doors, hold = block["settled_air"], block["doors"], summary["truth"]["hold"]
    asked, accept = block["asked_degC"], hold["rh_pct"]["accept"]
    limits, humidity = block["limits"], air["rh_pct"]
    recovery, judged = doors["recovery_min_max"], doors["judged"]
    took = "none could be judged" if not judged else f"{text(recovery, 1)} min at most, {judged} doors"
    if judged and recovery is None:
        took = f"{doors['late']} of {judged} doors took longer"
    return [
        ("standing climate", "", span(hold), PLAIN),
        (
            "settled air, furthest cell",
            f"at most {limits['off_K']:g} K from {asked:g} degC",
            f"{text(air['off_K_max'], 2)} K ({text(air['min_degC'], 1)} to {text(air['max_degC'], 1)} degC)",
            sign(air["off_K_max"], None, limits["off_K"]),
        ),
        ("share of it outside, cells and time", "", f"{text(air['outside_pct'], 2)} %", PLAIN),
        (
            "relative humidity of settled air, lowest",
            f"at least {accept:g} %",
            f"{text(humidity['min'], 1)} % (mean {text(humidity['mean'], 1)} %)",
            sign(humidity["min"], accept, None),
        ),
        (
            "recovery of a bay after its door",
            f"at most {limits['recovery_min']:g} min",
            took,
            PLAIN if not judged else sign(float(doors["late"]), None, 0.0),
        ),
    ]


def _surfaces(summary: Summary, block: Summary, rules: VerdictRules) -> list[Row]:
    film, drying = block["settled_board_film_kg_per_m2_max"], summary["truth"]["drying_kg_per_m2h"]["mean"]
    new = block["newcomers"]
    wetted = new["wetted_kg_per_m2"]
    came = "none came"
    if new["count"]:
        came = f"{text(wetted['mean'], 3)} kg/m2, at most {text(wetted['max'], 3)} ({counted(new['count'], 'place')})"
    return [
        (
            f"wettest board that stood for {block['settle_h']:g} h",
            f"at most {rules.board_film_kg_per_m2_max:g} kg/m2",
            f"{text(film, 4)} kg/m2",
            sign(film, None, rules.board_film_kg_per_m2_max),
        ),
        ("wetting of newcomers, mean", "", came, PLAIN),
        (
            "drying of the product",
            f"at most {rules.standing_drying_kg_per_m2h_max:g} kg/m2h",
            f"{text(drying, 4)} kg/m2h",
            sign(drying, None, rules.standing_drying_kg_per_m2h_max),
        ),
        ("product core, hottest", "", f"{text(summary['truth']['product']['core_degC_max'], 1)} degC", PLAIN),
    ]


def _cost(summary: Summary, turnover: Summary) -> list[Row]:
    fighting = summary["fighting"]
    age = turnover["out_age_h_min"]
    left = "" if age is None else f", youngest {age:.0f} h of equivalent age"
    spent = energy(summary["energy_kWh"])
    per_tonne = (turnover["energy_kWh_per_t"], turnover["fog_kg_per_t"])
    return [
        ("came in, left", "", f"{turnover['in_t']:.0f} t, {turnover['out_t']:.0f} t{left}", PLAIN),
        ("energy", "", f"{spent}; {text(per_tonne[0], 1)} kWh/t", PLAIN),
        ("fog water", "", f"{summary['water_kg']['fog']:.0f} kg; {text(per_tonne[1], 1)} kg/t", PLAIN),
        ("heating against venting", "", f"{fighting['kWh']:.1f} kWh in {fighting['hours']:.1f} h", PLAIN),
    ]
