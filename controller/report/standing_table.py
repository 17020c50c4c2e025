"""Rows of the table for a standing climate: settled air and boards, doors, newcomers, and what a tonne cost."""

from __future__ import annotations

from controller.config.rules import VerdictRules
from controller.report.marks import PLAIN, Row, Summary, sign
from controller.report.words import Words


def rows(summary: Summary, rules: VerdictRules, words: Words) -> list[Row]:
    """What was asked of a standing climate and what it was, from the block `standing` of a summary."""
    block = summary["standing"]
    return [
        *_air(summary, block, words), *_surfaces(summary, block, rules, words),
        *_cost(summary, block["turnover"], words),
    ]  # fmt: skip


def _air(summary: Summary, block: Summary, words: Words) -> list[Row]:
    air, doors, hold = block["settled_air"], block["doors"], summary["truth"]["hold"]
    asked, accept = block["asked_degC"], hold["rh_pct"]["accept"]
    limits, humidity, n = block["limits"], air["rh_pct"], words.number
    off_K, low, high = n(air["off_K_max"], 2), n(air["min_degC"], 1), n(air["max_degC"], 1)
    return [
        (words("row.standing"), "", words.span(hold), PLAIN),
        (
            words("row.settled_air"),
            words("asked.from", most=limits["off_K"], degC=asked),
            words("was.settled_air", off=off_K, low=low, high=high),
            sign(air["off_K_max"], None, limits["off_K"]),
        ),
        (words("row.outside"), "", f"{n(air['outside_pct'], 2)} %", PLAIN),
        (
            words("row.settled_humidity"),
            words("asked.at_least", least=accept, unit="%"),
            words("was.humidity", least=n(humidity["min"], 1), mean=n(humidity["mean"], 1)),
            sign(humidity["min"], accept, None),
        ),
        (
            words("row.recovery"),
            words("asked.at_most", most=limits["recovery_min"], unit="min"),
            _took(doors, words),
            PLAIN if not doors["judged"] else sign(float(doors["late"]), None, 0.0),
        ),
    ]


def _took(doors: Summary, words: Words) -> str:
    """How long bays took to recover from their doors."""
    recovery, judged = doors["recovery_min_max"], doors["judged"]
    if not judged:
        return words("was.none_judged")
    if recovery is None:
        return words("was.late", late=doors["late"], doors=judged)
    return words("was.recovery", minutes=words.number(recovery, 1), doors=judged)


def _surfaces(summary: Summary, block: Summary, rules: VerdictRules, words: Words) -> list[Row]:
    film, drying = block["settled_board_film_kg_per_m2_max"], summary["truth"]["drying_kg_per_m2h"]["mean"]
    new, n = block["newcomers"], words.number
    wetted, came = new["wetted_kg_per_m2"], words("was.none_came")
    if new["count"]:
        places = words("was.place_one" if new["count"] == 1 else "was.places", count=new["count"])
        came = words("was.newcomers", mean=n(wetted["mean"], 3), most=n(wetted["max"], 3), places=places)
    return [
        (
            words("row.settled_film", hours=block["settle_h"]),
            words("asked.at_most", most=rules.board_film_kg_per_m2_max, unit="kg/m2"),
            f"{n(film, 4)} kg/m2",
            sign(film, None, rules.board_film_kg_per_m2_max),
        ),
        (words("row.newcomers"), "", came, PLAIN),
        (
            words("row.drying"),
            words("asked.at_most", most=rules.standing_drying_kg_per_m2h_max, unit="kg/m2h"),
            f"{n(drying, 4)} kg/m2h",
            sign(drying, None, rules.standing_drying_kg_per_m2h_max),
        ),
        (words("row.core"), "", f"{n(summary['truth']['product']['core_degC_max'], 1)} degC", PLAIN),
    ]


def _cost(summary: Summary, turnover: Summary, words: Words) -> list[Row]:
    fighting, n = summary["fighting"], words.number
    age = turnover["out_age_h_min"]
    youngest = "" if age is None else words("was.youngest", hours=age)
    moved = words("was.turnover", came=turnover["in_t"], left=turnover["out_t"], youngest=youngest)
    spent = words("was.per_tonne", energy=words.energy(summary["energy_kWh"]),
                  per_tonne=n(turnover["energy_kWh_per_t"], 1))  # fmt: skip
    fog = words("was.fog", kg=summary["water_kg"]["fog"], per_tonne=n(turnover["fog_kg_per_t"], 1))
    fought = words("was.fighting", kWh=n(fighting["kWh"], 1), hours=fighting["hours"])
    return [
        (words("row.turnover"), "", moved, PLAIN),
        (words("row.energy"), "", spent, PLAIN),
        (words("row.fog"), "", fog, PLAIN),
        (words("row.fighting"), "", fought, PLAIN),
    ]
