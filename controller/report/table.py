"""The table a person reads at the end of a cycle: what was asked, what it was, whether that is good."""

from __future__ import annotations

from controller.config.rules import VerdictRules, verdict_rules
from controller.report import standing_table
from controller.report.marks import PLAIN, Row, Summary, energy, sign, span, text


def table(summary: Summary) -> str:
    """The summary of a cycle as text, at most 100 columns wide."""
    names = f"{summary['chamber']}, recipe {summary['recipe']}, mix {summary['mix']}, {summary['load_t']:g} t"
    times = f"{summary['simulated_s'] / 3600.0:.1f} h in {summary['wall_s']:.1f} s over {summary['link']}"
    head = [f"Dewhold {summary['version']}: {names}", f"{times}; figures {source(summary)}", *what_ifs(summary), ""]
    return "\n".join([*head, *_aligned(rows(summary)), "", *_closing(summary)])


def rows(summary: Summary) -> list[Row]:
    """The rows of the table: what, asked, was, and "ok", "NO" or nothing. Limits are those of the verdict."""
    rules = verdict_rules()
    if summary.get("standing"):
        return standing_table.rows(summary, rules)
    block = summary["truth"] if summary["truth"] is not None else summary["believed"]
    return [
        *_climate_rows(block["hold"], rules), *_surface_rows(block, rules), *_product_rows(summary, block),
        *_cost_rows(summary),
    ]  # fmt: skip


def source(summary: Summary) -> str:
    """Where the figures of the rows come from, in words."""
    return "true in the chamber model" if summary["truth"] is not None else "believed from the probes"


def what_ifs(summary: Summary) -> list[str]:
    """In what the simulated chamber was other than its file says, a line each; none for the plain chamber."""
    return [
        f"what if: {one['name']}" + (f", {one['said']}" if one["said"] else "") for one in summary.get("what_if", [])
    ]


def _climate_rows(hold: Summary, rules: VerdictRules) -> list[Row]:
    temperature, humidity = hold["temperature_degC"], hold["rh_pct"]
    floor, ceiling, mean = temperature["floor"], temperature["ceiling"], temperature["mean"]
    single = floor == ceiling
    asked = f"{floor:g} degC" if single else f"{floor:g} to {ceiling:g} degC"
    # a single setpoint is held within 1 K, as every place of the chamber is
    slack = 1.0 if single else 0.0
    least_pct, in_band_pct = rules.in_band_pct_min, hold["in_band_pct"]
    return [
        ("hold", "", span(hold), PLAIN),
        ("air temperature, mean", asked, f"{text(mean, 1)} degC", sign(mean, floor - slack, ceiling + slack)),
        (
            "evenness: furthest place from the mean",
            "at most 1 K",
            f"{text(temperature['off_mean_max'], 2)} K",
            sign(temperature["off_mean_max"], None, 1.0),
        ),
        (
            "relative humidity, lowest place",
            f"at least {humidity['accept']:g} %",
            f"{text(humidity['min'], 1)} % (mean {text(humidity['mean'], 1)} %)",
            sign(humidity["min"], humidity["accept"], None),
        ),
        ("time in band", f"at least {least_pct:g} %", f"{text(in_band_pct, 1)} %", sign(in_band_pct, least_pct, None)),
    ]


def _surface_rows(block: Summary, rules: VerdictRules) -> list[Row]:
    margin = block["hold"]["dew_margin_K"]
    rows: list[Row] = [
        (
            "dew margin, smallest",
            "above 0 K",
            f"{text(margin['min'], 2)} K ({margin['surface'] or 'no hold'})",
            sign(margin["min"], 0.0, None),
        )
    ]
    film = block.get("board_film_kg_per_m2_max")
    if film is not None:
        most = rules.board_film_kg_per_m2_max
        rows.append(("wettest board", f"at most {most:g} kg/m2", f"{film:.4f} kg/m2", sign(film, None, most)))
    drying, most = block["drying_kg_per_m2h"]["mean"], rules.drying_kg_per_m2h_max
    asked = f"at most {most:g} kg/m2h"
    rows.append(("drying of the product", asked, f"{text(drying, 4)} kg/m2h", sign(drying, None, most)))
    return rows


def _product_rows(summary: Summary, block: Summary) -> list[Row]:
    product, ready = block["product"], summary["ready_h"]
    age = product["equivalent_age_h"]
    if summary["load_t"] == 0.0 or (summary["truth"] is not None and product["core_degC_max"] == 0.0):
        return [("product", "", "no product", PLAIN)]
    when = f"{ready['actual']:.1f} h after start" if ready["actual"] is not None else "not ready within the cycle"
    return [
        ("product core, hottest", "", f"{text(product['core_degC_max'], 1)} degC", PLAIN),
        (
            "equivalent age at the end (20 degC)",
            "",
            f"{text(age['min'], 1)} to {text(age['max'], 1)} h over the positions",
            PLAIN,
        ),
        *_bridged_rows(summary["believed"]["product"].get("bridged")),
        ("ready (worst position, estimated, not tested)", f"{summary['ready_age_h']:g} h of age", when, PLAIN),
    ]


def _bridged_rows(bridged: Summary | None) -> list[Row]:
    """Ages that nobody saw; ready and the least age count what is certain of them."""
    if bridged is None:
        return []
    doubt = f"up to {bridged['younger_h']:.1f} h less or {bridged['older_h']:.1f} h more"
    return [("of it bridged without readings", "", f"{bridged['hours']:.1f} h of the clock; it may be {doubt}", PLAIN)]


def _cost_rows(summary: Summary) -> list[Row]:
    per_tonne, fighting = summary["per_tonne"], summary["fighting"]
    spent = f"{energy(summary['energy_kWh'])}; {text(per_tonne['energy_kWh'], 1)} kWh/t"
    return [
        ("energy", "", spent, PLAIN),
        ("fog water", "", f"{text(summary['water_kg']['fog'], 0)} kg", PLAIN),
        ("heating against venting", "", f"{text(fighting['kWh'], 1)} kWh in {fighting['hours']:.1f} h", PLAIN),
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

