"""The forecast of a cycle as it stood at its start, made again from the head of its record."""

from __future__ import annotations

from math import isnan

from controller.config.chamber import ChamberFile
from controller.config.loader import parse
from controller.config.outlook import room
from controller.core.outlook.forecast import Case, forecast
from controller.core.product.mix import Mix
from controller.core.sequence.recipe import Recipe
from controller.report.outlook import ready
from controller.report.ran import span_of
from controller.store.header import Header
from controller.store.reader import Reader


def forecast_at_start(reader: Reader, header: Header) -> dict[str, float | None] | None:
    """The block `ready_h` of a summary but for what came true, with the outdoor air of the cycle's first minutes.

    None when no outdoor air was measured then. header: of the cycle; its texts are files of this version.
    """
    texts, facts = header.texts, header.facts
    chamber = parse(texts["chamber"].encode(), ChamberFile, "chamber file in the record").value
    recipe = parse(texts["recipe"].encode(), Recipe, "recipe in the record").value
    mix = parse(texts["mix"].encode(), Mix, "mix in the record").value
    began = span_of(reader.journal(), reader.last_scan()).began
    degC, rh = (
        next((row.mean for row in reader.minutes(tag, began) if not isnan(row.mean)), None)
        for tag in (chamber.climate.outdoor_t, chamber.climate.outdoor_rh)
    )
    if degC is None or rh is None:
        return None
    case = Case(
        load_t=float(facts.get("load_t") or 0.0), mix_degC=float(facts.get("mix_degC") or 20.0),
        outdoor=[(degC, min(rh, 100.0))], age_h=float(facts.get("age_h") or 0.0),
    )  # fmt: skip
    empty = tuple(int(bay) for bay in str(facts.get("empty_bays") or "").split(",") if bay.strip())
    return ready(forecast(room(chamber, empty), recipe, mix, case))
