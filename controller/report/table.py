"""The table a person reads at the end of a cycle: what was asked, what it was, whether that is good."""

from __future__ import annotations

from controller.config.rules import VerdictRules, verdict_rules
from controller.report import standing_table
from controller.report.marks import PLAIN, Row, Summary, sign
from controller.report.words import ENGLISH, Words


def table(summary: Summary) -> str:
    """The summary of a cycle as text, at most 100 columns wide."""
    names = f"{summary['chamber']}, recipe {summary['recipe']}, mix {summary['mix']}, {summary['load_t']:g} t"
    times = f"{summary['simulated_s'] / 3600.0:.1f} h in {summary['wall_s']:.1f} s over {summary['link']}"
    head = [f"Dewhold {summary['version']}: {names}", f"{times}; figures {source(summary)}", *what_ifs(summary), ""]
    return "\n".join([*head, *_aligned(rows(summary)), "", *_closing(summary)])


def rows(summary: Summary, words: Words = ENGLISH) -> list[Row]:
    """The rows of the table: what, asked, was, and "ok", "NO" or nothing. Limits are those of the verdict."""
    rules = verdict_rules()
    if summary.get("standing"):
        return standing_table.rows(summary, rules, words)
    block = summary["truth"] if summary["truth"] is not None else summary["believed"]
    return [
        *_climate_rows(block["hold"], rules, words), *_surface_rows(block, rules, words),
        *_product_rows(summary, block, words), *_cost_rows(summary, words),
    ]  # fmt: skip


def source(summary: Summary, words: Words = ENGLISH) -> str:
    """Where the figures of the rows come from, in words."""
    return words("source.truth" if summary["truth"] is not None else "source.believed")


def what_ifs(summary: Summary) -> list[str]:
    """In what the simulated chamber was other than its file says, a line each; none for the plain chamber."""
    return [
        f"what if: {one['name']}" + (f", {one['said']}" if one["said"] else "") for one in summary.get("what_if", [])
    ]


def _climate_rows(hold: Summary, rules: VerdictRules, words: Words) -> list[Row]:
    temperature, humidity = hold["temperature_degC"], hold["rh_pct"]
    floor, ceiling, mean = temperature["floor"], temperature["ceiling"], temperature["mean"]
    single = floor == ceiling
    asked = words("asked.degC", floor=floor) if single else words("asked.band", floor=floor, ceiling=ceiling)
    # a single setpoint is held within 1 K, as every place of the chamber is
    slack = 1.0 if single else 0.0
    least_pct, in_band_pct = rules.in_band_pct_min, hold["in_band_pct"]
    n = words.number
    return [
        (words("row.hold"), "", words.span(hold), PLAIN),
        (words("row.air_mean"), asked, f"{n(mean, 1)} degC", sign(mean, floor - slack, ceiling + slack)),
        (
            words("row.evenness"),
            words("asked.at_most", most=1.0, unit="K"),
            f"{n(temperature['off_mean_max'], 2)} K",
            sign(temperature["off_mean_max"], None, 1.0),
        ),
        (
            words("row.humidity"),
            words("asked.at_least", least=humidity["accept"], unit="%"),
            words("was.humidity", least=n(humidity["min"], 1), mean=n(humidity["mean"], 1)),
            sign(humidity["min"], humidity["accept"], None),
        ),
        (
            words("row.in_band"),
            words("asked.at_least", least=least_pct, unit="%"),
            f"{n(in_band_pct, 1)} %",
            sign(in_band_pct, least_pct, None),
        ),
    ]


def _surface_rows(block: Summary, rules: VerdictRules, words: Words) -> list[Row]:
    margin, n = block["hold"]["dew_margin_K"], words.number
    surface = words.said(margin["surface"])[0] if margin["surface"] else words("was.no_hold")
    rows: list[Row] = [
        (
            words("row.margin"),
            words("asked.above", least=0.0, unit="K"),
            words("was.margin", least=n(margin["min"], 2), surface=surface),
            sign(margin["min"], 0.0, None),
        )
    ]
    film = block.get("board_film_kg_per_m2_max")
    if film is not None:
        most = rules.board_film_kg_per_m2_max
        asked = words("asked.at_most", most=most, unit="kg/m2")
        rows.append((words("row.film"), asked, f"{n(film, 4)} kg/m2", sign(film, None, most)))
    drying, most = block["drying_kg_per_m2h"]["mean"], rules.drying_kg_per_m2h_max
    asked = words("asked.at_most", most=most, unit="kg/m2h")
    rows.append((words("row.drying"), asked, f"{n(drying, 4)} kg/m2h", sign(drying, None, most)))
    return rows


def _product_rows(summary: Summary, block: Summary, words: Words) -> list[Row]:
    product, ready = block["product"], summary["ready_h"]
    age, n = product["equivalent_age_h"], words.number
    if summary["load_t"] == 0.0 or (summary["truth"] is not None and product["core_degC_max"] == 0.0):
        return [(words("row.product"), "", words("was.no_product"), PLAIN)]
    when = words("was.not_ready") if ready["actual"] is None else words("was.ready", hours=ready["actual"])
    return [
        (words("row.core"), "", f"{n(product['core_degC_max'], 1)} degC", PLAIN),
        (words("row.age"), "", words("was.age", least=n(age["min"], 1), most=n(age["max"], 1)), PLAIN),
        *_bridged_rows(summary["believed"]["product"].get("bridged"), words),
        (words("row.ready"), words("asked.age", hours=summary["ready_age_h"]), when, PLAIN),
    ]


def _bridged_rows(bridged: Summary | None, words: Words) -> list[Row]:
    """Ages that nobody saw; ready and the least age count what is certain of them."""
    if bridged is None:
        return []
    doubt = words(
        "was.bridged", hours=bridged["hours"], younger=bridged["younger_h"], older=bridged["older_h"]
    )
    return [(words("row.bridged"), "", doubt, PLAIN)]


def _cost_rows(summary: Summary, words: Words) -> list[Row]:
    per_tonne, fighting, n = summary["per_tonne"], summary["fighting"], words.number
    spent = words(
        "was.per_tonne", energy=words.energy(summary["energy_kWh"]), per_tonne=n(per_tonne["energy_kWh"], 1)
    )
    fought = words("was.fighting", kWh=n(fighting["kWh"], 1), hours=fighting["hours"])
    return [
        (words("row.energy"), "", spent, PLAIN),
        (words("row.fog"), "", f"{n(summary['water_kg']['fog'], 0)} kg", PLAIN),
        (words("row.fighting"), "", fought, PLAIN),
    ]


def _closing(summary: Summary) -> list[str]:
    lines = [
        f"fault: {one['kind']} {one['target']}".rstrip() + f", {one['text']} ({one['from_s'] / 3600.0:.1f} to "
        f"{one['to_s'] / 3600.0:.1f} h)"
        for one in summary.get("faults", [])[:12]
    ]
    lines += [f"alarm: {alarm['text']} ({alarm['from_s'] / 3600.0:.1f} h)" for alarm in summary["alarms"][:8]]
    if len(summary["alarms"]) > 8:
        lines.append(f"and {len(summary['alarms']) - 8} more alarms in summary.json")
    lines.append(f"verdict: {summary['verdict'].upper()}")
    lines.extend(f"  because {reason}" for reason in summary["reasons"])
    return lines


def _aligned(rows: list[Row]) -> list[str]:
    widths = [max(len(row[column]) for row in rows) for column in range(3)]
    return [
        f"{what:<{widths[0]}}  {asked:<{widths[1]}}  {was:<{widths[2]}}  {mark}".rstrip()
        for what, asked, was, mark in rows
    ]

