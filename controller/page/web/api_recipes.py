"""Recipes over HTTP: list, check, keep, approve, and what each would do with a charge."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ConfigDict, Field

from controller.config import words
from controller.errors import UnavailableError
from controller.page import recipes
from controller.page.live.bound import Bound
from controller.page.live.places import ChamberPlace
from controller.page.people import audit
from controller.page.people.accounts import Visitor
from controller.page.recipes import TEXT_MAX, Charge, Version
from controller.page.web.context import Chamber, Json, May, Page, ThisPage, looks_on, station_of
from controller.store.desk import approve, keep_recipe

router = APIRouter(prefix="/api/v1/chambers/{chamber}", tags=["recipes"], dependencies=[Depends(looks_on)])
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Why = Annotated[str, Field(max_length=300)]
LOAD_MOST_T = 1250.0  # of any chamber; each has a limit of its own


class Charging(BaseModel):
    """What is to be in the chamber. outdoor_*: null = as measured now, else the demo's 8 degC and 80 %.
    empty_bays: bays without product."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)
    load_t: Annotated[float, Field(ge=0.0, le=LOAD_MOST_T)] = 120.0
    mix: Annotated[str, Field(max_length=40)] = ""
    mix_degC: Annotated[float, Field(ge=5.0, le=40.0)] = 20.0
    age_h: Annotated[float, Field(ge=0.0, le=100.0)] = 0.0
    empty_bays: Annotated[list[Annotated[int, Field(ge=1, le=99)]], Field(max_length=99)] = []
    outdoor_degC: Annotated[float, Field(ge=-40.0, le=60.0)] | None = None
    outdoor_rh_pct: Annotated[float, Field(gt=0.0, le=100.0)] | None = None


class Draft(Charging):
    """A recipe's text (TOML) to look at; a forecast only when asked for, it takes most of a second."""

    text: Annotated[str, Field(max_length=TEXT_MAX)]
    forecast: bool = False


class Kept(BaseModel):
    """A text to keep at the desk as a new version. parent: the version it was made from."""

    model_config = ConfigDict(extra="forbid")
    text: Annotated[str, Field(max_length=TEXT_MAX)]
    why: Why = ""
    parent: Digest | None = None


class Approval(BaseModel):
    """An approval, or one taken back."""

    model_config = ConfigDict(extra="forbid")
    withdrawn: bool = False
    why: Why = ""


@router.get("/recipes", summary="Every version of every recipe")
def listed(page: ThisPage, place: Chamber) -> Json:
    """`released`: operators may start it. The newest of the desk first within a name."""
    return {"recipes": [_shown(version) for version in recipes.versions_at(page.desks, place)]}


@router.post("/recipes/check", summary="Is this recipe right for this chamber?")
def check(page: ThisPage, place: Chamber, draft: Draft) -> Json:
    """Every problem with field, value, limit and remedy; phases and, if asked for, the forecast when there is none."""
    bound = _bound(page, place)
    recipe, problems = recipes.judged(bound, draft.text)
    found: dict[str, Any] = {
        "problems": [
            {"field": words.place(one.field, {}), "value": one.value, "limit": one.limit, "remedy": one.remedy}
            for one in problems
        ],
        "phases": recipes.phases(recipe) if recipe else [],
        "name": recipe.name if recipe else "",
        "forecast": None,
    }
    if recipe is not None and draft.forecast:
        found["forecast"] = _ahead(bound, page, place, recipe, draft, interval=False)
    return found


@router.post("/recipes", summary="Keep a new version")
def keep(
    request: Request, page: ThisPage, place: Chamber, kept: Kept,
    visitor: Annotated[Visitor, Depends(May("draft recipes"))],
) -> Json:  # fmt: skip
    """Only a text without problems is kept; it is a draft until somebody approves it."""
    recipe, problems = recipes.judged(_bound(page, place), kept.text)
    if recipe is None:
        raise HTTPException(422, "; ".join(map(recipes.told, problems[:5])))
    with page.desks.at(place) as desk:
        digest = keep_recipe(desk, recipe.name, kept.text, visitor.name, kept.why, kept.parent or "")
    audit.note(
        page.book, visitor.name, visitor.role, station_of(request), "keep recipe", recipe.name, old=kept.parent or "",
        new=digest, reason=kept.why,
    )  # fmt: skip
    return {"sha256": digest}


@router.post("/recipes/{digest}/approval", summary="Approve a version, or take an approval back")
def say(
    request: Request, page: ThisPage, place: Chamber, digest: str, said: Approval,
    visitor: Annotated[Visitor, Depends(May("approve recipes"))],
) -> Json:  # fmt: skip
    """Nobody approves a version that is alone their own: two pairs of eyes."""
    version = _find(page, place, digest)
    if not said.withdrawn and version.who == visitor.name:
        raise HTTPException(403, "this version is your own: somebody else approves it")
    with page.desks.at(place) as desk:
        if version.where == "shipped":
            keep_recipe(desk, version.name, version.text, "shipped", "shipped with the program")
        approve(desk, digest, visitor.name, visitor.role, said.why, withdrawn=said.withdrawn)
    what = "withdraw recipe" if said.withdrawn else "approve recipe"
    old, new = ("approved" if one else "not approved" for one in (version.released, not said.withdrawn))
    audit.note(
        page.book, visitor.name, visitor.role, station_of(request), what, f"{version.name} {digest[:12]}", old=old,
        new=new, reason=said.why,
    )  # fmt: skip
    return _shown(_find(page, place, digest))


@router.post("/forecasts", summary="What every released recipe would do with a charge")
def forecasts(page: ThisPage, place: Chamber, charging: Charging) -> Json:
    """Quick forecasts without their uncertainty, to choose by; `outdoor` is what was taken for the air outside."""
    bound = _bound(page, place)
    found = []
    for version in recipes.versions_at(page.desks, place):
        recipe, problems = recipes.judged(bound, version.text)
        if version.released:
            entry = {**_shown(version, text=False), "problems": list(map(recipes.told, problems)), "forecast": None}
            if recipe is not None:
                entry["forecast"] = _ahead(bound, page, place, recipe, charging, interval=False)
                entry["phases"] = recipes.phases(recipe)
            found.append(entry)
    degC, rh = _outdoor(page, place, charging)
    return {"recipes": found, "outdoor": {"degC": degC, "rh_pct": rh}, "mixes": sorted(recipes.mixes())}


@router.post("/forecasts/{digest}", summary="The forecast of one recipe with its uncertainty")
def one_forecast(page: ThisPage, place: Chamber, digest: str, charging: Charging) -> Json:
    """As above, with the interval of the ready time (seven runs, about a second)."""
    bound = _bound(page, place)
    recipe, problems = recipes.judged(bound, _find(page, place, digest).text)
    if recipe is None:
        raise HTTPException(422, "; ".join(map(recipes.told, problems[:5])))
    return _ahead(bound, page, place, recipe, charging, interval=True)


@router.post("/recipes/{digest}/ready", summary="Have a released version ready at the desk for a start")
def make_ready(
    page: ThisPage, place: Chamber, digest: str, visitor: Annotated[Visitor, Depends(May("operate"))]
) -> Json:
    """A start names a version by its SHA-256 and finds it at the desk; a shipped one is laid down there first."""
    version = _find(page, place, digest)
    if not version.released:
        raise HTTPException(403, f"{version.name} is a draft: somebody who may has to approve it first")
    with page.desks.at(place) as desk:
        keep_recipe(desk, version.name, version.text, version.who or "shipped", version.why)
    return {"sha256": digest, "for": visitor.name}


def _find(page: Page, place: ChamberPlace, digest: str) -> Version:
    version = next((one for one in recipes.versions_at(page.desks, place) if one.sha256 == digest), None)
    if version is None:
        raise HTTPException(404, "no recipe has this SHA-256")
    return version


def _bound(page: Page, place: ChamberPlace) -> Bound:
    bound = page.feed.watches[place.id].bound
    if bound is None:
        raise HTTPException(409, "this chamber has no record yet: start its controller first")
    return bound


def _outdoor(page: Page, place: ChamberPlace, charging: Charging) -> tuple[float, float]:
    """As given, else as the probes say now, else the demo's own."""
    watch = page.feed.watches[place.id]
    if charging.outdoor_degC is not None:
        return charging.outdoor_degC, charging.outdoor_rh_pct or 80.0
    if watch.bound is None or "values" not in watch.seen:
        return 8.0, 80.0
    climate, tags = watch.bound.chamber.climate, watch.bound.header.tags
    seen = dict(zip(tags, watch.seen["values"], strict=True))
    degC, rh = seen.get(climate.outdoor_t), seen.get(climate.outdoor_rh)
    return (8.0 if degC is None else round(degC, 1)), (80.0 if rh is None else min(100.0, max(1.0, round(rh))))


def _ahead(
    bound: Bound, page: Page, place: ChamberPlace, recipe: Any, charging: Charging, *, interval: bool
) -> dict[str, Any]:
    known = recipes.mixes()
    if charging.mix and charging.mix not in known:
        raise HTTPException(422, f"mix {charging.mix} is not known: {', '.join(sorted(known))}")
    most_t = bound.chamber.load_t_max
    if charging.load_t > most_t:  # told like a limit that all chambers have, for a window's own words
        wrong = {"loc": ("body", "load_t"), "msg": f"at most {most_t:g} t in this chamber", "type": "less_than_equal"}
        raise RequestValidationError([{**wrong, "ctx": {"le": most_t}}])
    degC, rh = _outdoor(page, place, charging)
    empty, bays = tuple(sorted(set(charging.empty_bays))), bound.chamber.bays
    if len(empty) >= bays or (empty and empty[-1] > bays):
        raise HTTPException(422, f"empty_bays must name some of bays 1 to {bays}, not all")
    charge = Charge(charging.load_t, charging.mix_degC, charging.age_h, degC, rh, empty)
    try:
        return recipes.ahead(bound, recipe, known.get(charging.mix, bound.mix), charge, interval=interval)
    except UnavailableError as error:
        raise HTTPException(503, str(error)) from error
    except (ArithmeticError, ValueError) as error:
        raise HTTPException(422, f"no forecast can be made of this: {error}") from error


def _shown(version: Version, *, text: bool = True) -> Json:
    return {
        "sha256": version.sha256, "name": version.name, "where": version.where, "who": version.who,
        "utc_ms": version.utc_ms, "why": version.why, "parent": version.parent, "approved": version.approved,
        "approved_ms": version.approved_ms or None,
        "withdrawn": version.withdrawn, "released": version.released, **({"text": version.text} if text else {}),
    }  # fmt: skip
