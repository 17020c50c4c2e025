"""Recipes as the page sees them: shipped ones, those kept at the desk, what is wrong, what will come of each."""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from functools import lru_cache
from math import isnan
from typing import Any

from controller.config import crosschecks, outlook, reach, words
from controller.config.find import find, known
from controller.config.loader import parse, read
from controller.config.summary import ending
from controller.core.outlook.forecast import Case, Forecast, forecast
from controller.core.product.mix import Mix
from controller.core.sequence.recipe import Recipe, band
from controller.errors import ConfigError, Problem, UnavailableError
from controller.page.desks import Desks
from controller.page.live.bound import Bound
from controller.page.live.numbers import clean
from controller.page.live.outlook import Outlook
from controller.page.live.places import ChamberPlace
from controller.store.desk import Desk

TEXT_MAX = 60_000
_BUSY_S = 20.0
_one_at_a_time = threading.Lock()  # a forecast takes a core for most of a second; control goes first


@dataclass(frozen=True, slots=True)
class Version:
    """One version of a recipe. where: "shipped" or "desk". approved: by whom, newest word counts; "" = by nobody.
    approved_ms: when the last of them said so."""

    sha256: str
    name: str
    text: str
    where: str
    who: str = ""
    utc_ms: int = 0
    why: str = ""
    parent: str = ""
    approved: str = ""
    withdrawn: bool = False
    approved_ms: int = 0

    @property
    def released(self) -> bool:
        """Whether operators may start it: approved, or shipped and not taken back."""
        return bool(self.approved) or (self.where == "shipped" and not self.withdrawn)


def versions(desk: Desk | None) -> list[Version]:
    """Shipped ones first, then the desk's, newest first. A shipped text that was approved or kept is listed once."""
    shipped = {version.sha256: version for version in _shipped()}
    if desk is None:
        return list(shipped.values())
    said: dict[str, dict[str, int]] = {}
    for digest, who, withdrawn, utc_ms in desk.rows("SELECT sha256, who, withdrawn, utc_ms FROM approvals ORDER BY id"):
        said.setdefault(digest, {})[who] = 0 if withdrawn else utc_ms
    rows = desk.rows(
        "SELECT sha256, name, text, who, utc_ms, why, parent FROM recipe_versions ORDER BY utc_ms DESC, sha256"
    )
    kept = {
        digest: Version(
            digest, name, text, "desk", who, utc_ms, why, parent, approved=_by(said.get(digest)),
            withdrawn=bool(said.get(digest)) and not _by(said.get(digest)),
            approved_ms=max(said.get(digest, {}).values(), default=0),
        )
        for digest, name, text, who, utc_ms, why, parent in rows
    }  # fmt: skip
    first = [
        replace(
            one, approved=kept[one.sha256].approved, withdrawn=kept[one.sha256].withdrawn,
            approved_ms=kept[one.sha256].approved_ms,
        )
        if one.sha256 in kept else one
        for one in shipped.values()
    ]  # fmt: skip
    return [*first, *(one for digest, one in kept.items() if digest not in shipped)]


def versions_at(desks: Desks, place: ChamberPlace) -> list[Version]:
    """The versions that a chamber's desk and the program have."""
    if not desks.there(place):
        return versions(None)
    with desks.at(place) as desk:
        return versions(desk)


def judged(bound: Bound, text: str) -> tuple[Recipe | None, list[Problem]]:
    """A recipe's text against this chamber: (recipe, nothing) or (None, every problem)."""
    try:
        recipe = parse(text.encode(), Recipe, "recipe").value
    except ConfigError as error:
        return None, list(error.problems)
    problems = crosschecks.recipe_problems(recipe, bound.chamber, "recipe")
    problems += reach.problems(recipe, bound.mix, bound.chamber, "recipe")
    return (None, problems) if problems else (recipe, [])


def told(problem: Problem) -> str:
    """A problem of a recipe in a sentence, its phases counted from 1."""
    return f"{words.place(problem.field, {})} = {problem.value}: {problem.limit}; {problem.remedy}"


def phases(recipe: Recipe) -> list[dict[str, Any]]:
    """Every phase in figures, for a table and the plan."""
    return [
        {
            "kind": phase.kind, "text": phase.text, "floor_degC": band(phase)[0], "ceiling_degC": band(phase)[1],
            "rate_K_per_h": phase.rate_K_per_h, "rh_fog_below_pct": phase.rh_fog_below_pct or None,
            "rh_accept_pct": phase.rh_accept_pct or None,
            "ends": ending(phase.end, dries=phase.rh_vent_above_pct > 0.0),
        }
        for phase in recipe.phases
    ]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Charge:
    """What is to be in the chamber, and the air outside."""

    load_t: float
    mix_degC: float
    age_h: float = 0.0
    outdoor_degC: float = 8.0
    outdoor_rh_pct: float = 80.0
    empty_bays: tuple[int, ...] = ()


def ahead(bound: Bound, recipe: Recipe, mix: Mix, charge: Charge, *, interval: bool) -> dict[str, Any]:
    """The forecast as plain data with what it warns of. Raises UnavailableError when too many ask at once."""
    found = _forecast(_Room(bound), recipe, mix, charge, interval)
    return {
        **Outlook(0, found).plan(),
        "finished": found.finished, "hold_h": clean(found.hold_h, 1), "hold_start_h": clean(found.hold_start_h, 1),
        "product_max_degC": clean(found.product_max_degC, 1), "fighting_kWh": clean(found.fighting_kWh, 1),
        "notes": [*crosschecks.notes(recipe, bound.chamber, charge.load_t), *outlook.notes(recipe, found)],
        "problems": [told(one) for one in outlook.problems(recipe, bound.chamber, _case(charge), found, "recipe")],
        "never_ready": isnan(found.ready_h),
    }  # fmt: skip


def mixes() -> dict[str, Mix]:
    """The shipped mixes by name, as control knows them too."""
    return {name: read(find("mix", name), Mix).value for name in known("mix")}


class _Room:
    """A chamber as a key of the cache: the same files give the same forecast."""

    def __init__(self, bound: Bound) -> None:
        self.bound = bound
        self.key = bound.header.texts["chamber"]

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Room) and other.key == self.key

    def __hash__(self) -> int:
        return hash(self.key)


@lru_cache(maxsize=64)
def _forecast(room: _Room, recipe: Recipe, mix: Mix, charge: Charge, interval: bool) -> Forecast:
    if not _one_at_a_time.acquire(timeout=_BUSY_S):
        raise UnavailableError("many forecasts are being made: try again in a minute")
    try:
        here = outlook.room(room.bound.chamber, charge.empty_bays)
        return forecast(here, recipe, mix, _case(charge), interval=interval)
    finally:
        _one_at_a_time.release()


def _case(charge: Charge) -> Case:
    return Case(
        load_t=charge.load_t, mix_degC=charge.mix_degC, age_h=charge.age_h,
        outdoor=((charge.outdoor_degC, charge.outdoor_rh_pct),),
    )  # fmt: skip


def _shipped() -> list[Version]:
    found = []
    for name in known("recipe"):
        try:
            file = read(find("recipe", name), Recipe)
        except ConfigError:
            continue
        found.append(Version(file.sha256, file.value.name, file.text, "shipped"))
    return found


def _by(said: dict[str, int] | None) -> str:
    return ", ".join(who for who, stands in (said or {}).items() if stands)
