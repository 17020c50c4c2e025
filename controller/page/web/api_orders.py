"""Orders: laid at the chamber's desk with an id, answered by the controller in its journal, each once."""

from __future__ import annotations

import asyncio
import json
import math
import time
from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Query, Request
from pydantic import BaseModel, ConfigDict, Field

from controller.core.orders.verbs import NEXT_PHASE, SAFE
from controller.errors import StoreError
from controller.page.live.places import ChamberPlace
from controller.page.people import audit
from controller.page.people.accounts import Visitor, used
from controller.page.people.roles import AT_DESK, needed
from controller.page.recipes import versions_at
from controller.page.web.context import Chamber, Json, Page, ThisPage, looks_on, require, station_of
from controller.store.desk import Order, ask, write_note
from controller.store.glance import Glance

router = APIRouter(prefix="/api/v1", tags=["orders"])
WAIT_S, WAIT_S_MAX, LOOK_S = 3.0, 10.0, 0.1
SAME_PHASE_MS = 3_000  # an end of a phase given so soon after another was meant for the same one
LINES_BACK = 20_000  # an outcome farther back than this is not looked for
_Id = Annotated[str, Field(pattern=r"^[A-Za-z0-9._-]{8,64}$")]
_Wait = Annotated[float, Query(ge=0.0, le=WAIT_S_MAX)]


class Asked(BaseModel):
    """One order. id: made by the sender for one intention; the same id again is the same order. seen: the state of the
    chamber that the sender looked at; an order for another state is refused. phase: for next-phase, the number of the
    phase that the sender looked at; another one is not ended, by the controller, which the order tells it too."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)
    id: _Id
    verb: Annotated[str, Field(min_length=1, max_length=40)]
    args: Annotated[dict[Annotated[str, Field(max_length=40)], bool | float | str], Field(max_length=20)] = {}
    seen: Annotated[str, Field(max_length=40)] = ""
    phase: Annotated[int, Field(ge=0, le=999)] | None = None


class Note(BaseModel):
    """A note for those who come after. about: a tag, a place or nothing."""

    model_config = ConfigDict(extra="forbid")
    text: Annotated[str, Field(min_length=1, max_length=2000)]
    about: Annotated[str, Field(max_length=60)] = ""


@router.post("/chambers/{chamber}/commands", summary="Give an order and wait a little for its outcome")
async def give(
    request: Request, page: ThisPage, place: Chamber, asked: Asked, visitor: Annotated[Visitor, Depends(looks_on)],
    wait_s: _Wait = WAIT_S,
) -> Json:  # fmt: skip
    """`outcome` is null while there is none yet: ask for it again, or give the same order under the same id."""
    require(visitor, needed(asked.verb, str(asked.args.get("tag", ""))))
    watch = page.feed.watches[place.id]
    if not watch.seen.get("live") and asked.verb not in SAFE:
        raise HTTPException(409, "the controller is silent: look why, nothing was ordered")
    if asked.verb == "start":
        _require_load(asked.args, watch.bound.chamber.load_t_max if watch.bound is not None else math.inf)
    if asked.verb == "start" and asked.args.get("recipe"):
        await asyncio.to_thread(_require_released, page, place, str(asked.args["recipe"]))
    after = max(0, int(watch.seen.get("journal") or 0) - LINES_BACK)
    old = _before(watch.seen, asked)
    if asked.verb == NEXT_PHASE:
        if asked.phase is not None:
            asked = asked.model_copy(update={"args": {**asked.args, "phase": float(asked.phase)}})
        await asyncio.to_thread(_require_first, page, place, asked, watch.seen)
    await asyncio.to_thread(_lay_down, page, place, asked, visitor)
    found = await _outcome(place, asked.id, after, wait_s)
    await asyncio.to_thread(_remember, page, visitor, station_of(request), place, asked, old, found)
    return {"id": asked.id, "outcome": found}


@router.get("/chambers/{chamber}/commands/{command}", summary="What became of an order")
async def outcome(
    page: ThisPage, place: Chamber, command: str, _visitor: Annotated[Visitor, Depends(looks_on)], wait_s: _Wait = 0.0
) -> Json:
    """`outcome` is null while there is none: the controller has not answered, or never had such an order."""
    after = max(0, int(page.feed.watches[place.id].seen.get("journal") or 0) - LINES_BACK)
    return {"id": command[:64], "outcome": await _outcome(place, command[:64], after, wait_s)}


@router.post("/chambers/{chamber}/notes", summary="Leave a note")
def note(
    request: Request, page: ThisPage, place: Chamber, left: Note, visitor: Annotated[Visitor, Depends(looks_on)]
) -> Json:
    """It is kept at the desk and shown in the hand-over."""
    require(visitor, "operate")
    with page.desks.at(place) as desk:
        number = write_note(desk, visitor.name, visitor.role, left.text.strip(), left.about)
    audit.note(page.book, visitor.name, visitor.role, station_of(request), "note", place.id, new=left.text[:200])
    return {"number": number}


@router.get("/chambers/{chamber}/notes", summary="Notes, newest first", dependencies=[Depends(looks_on)])
def notes(page: ThisPage, place: Chamber, limit: Annotated[int, Query(ge=1, le=500)] = 50) -> Json:
    """Who left what, and when."""
    if not page.desks.there(place):
        return {"notes": []}
    with page.desks.at(place) as desk:
        rows = desk.rows("SELECT id, utc_ms, who, role, about, text FROM notes ORDER BY id DESC LIMIT ?", (limit,))
    names = ("id", "utc_ms", "who", "role", "about", "text")
    return {"notes": [dict(zip(names, row, strict=True)) for row in rows]}


def _require_load(args: dict[str, bool | float | str], most_t: float) -> None:
    """A start says what stands in the chamber. Nothing is in it only where that was said: a number forgotten is not."""
    load_t, empty = args.get("load_t"), args.get("empty_chamber") is True
    if isinstance(load_t, bool | str | None):
        raise HTTPException(422, "a start says how much is in the chamber: enter the tonnes (load_t)")
    if not 0.0 <= load_t <= most_t or (load_t == 0.0) is not empty:
        raise HTTPException(
            422, f"load_t = {load_t:g}: more than 0 and at most {most_t:g} t; 0 t only with empty_chamber, "
            "for a start without product",
        )  # fmt: skip


def _require_released(page: Page, place: ChamberPlace, recipe: str) -> None:
    """A start by a version's hash is for released versions only."""
    version = next((one for one in versions_at(page.desks, place) if recipe in (one.sha256, one.name)), None)
    if version is None or not version.released:
        raise HTTPException(403, "this version of a recipe is not released: somebody who may has to approve it first")


def _require_first(page: Page, place: ChamberPlace, asked: Asked, seen: Json) -> None:
    """Two people press at once, or one on an old picture: a phase is ended once, not the next one too."""
    now, rows = seen.get("phase"), []
    if page.desks.there(place):
        with page.desks.at(place) as desk:
            rows = desk.rows("SELECT id, verb, who, utc_ms FROM commands ORDER BY number DESC LIMIT 20")
    if any(row[0] == asked.id for row in rows):
        return  # the same order again: it keeps its one outcome
    if asked.phase is not None and asked.phase != now:
        raise HTTPException(409, f"given for phase {asked.phase}, it is phase {now} now: look and give it again")
    since_ms = time.time_ns() // 1_000_000 - SAME_PHASE_MS
    other = next((who for _id, verb, who, utc_ms in rows if verb == NEXT_PHASE and utc_ms > since_ms), None)
    if other is not None:
        raise HTTPException(409, f"{other} has just ended a phase: look and give it again")


def _lay_down(page: Page, place: ChamberPlace, asked: Asked, visitor: Visitor) -> None:
    if not place.folder.is_dir():
        raise HTTPException(409, "there is no controller for this chamber yet")
    try:
        with page.desks.at(place) as desk:
            ask(desk, Order(
                verb=asked.verb, who=visitor.name, role=AT_DESK[visitor.role], args=asked.args, seen=asked.seen,
                id=asked.id,
            ))  # fmt: skip
    except StoreError as error:
        raise HTTPException(409, str(error)) from error


async def _outcome(place: ChamberPlace, command: str, after: int, wait_s: float) -> Json | None:
    """Look until there is one, or the time is over."""
    loop = asyncio.get_running_loop()
    until = loop.time() + wait_s
    while True:
        found = await asyncio.to_thread(_look, place, command, after)
        if found is not None or loop.time() >= until:
            return found
        await asyncio.sleep(LOOK_S)


def _look(place: ChamberPlace, command: str, after: int) -> Json | None:
    if not place.record.is_file():
        return None
    try:
        glance = Glance(place.record)
        try:
            row = glance.outcome(command, after)
        finally:
            glance.close()
    except StoreError:
        return None
    if row is None:
        return None
    done = row.data.get("outcome") == "done"
    return {"done": done, "reason": str(row.data.get("reason", "")), "utc_ms": row.utc_ms, "line": row.id}


def _before(seen: Json, asked: Asked) -> str:
    """What stood there before an order: what was overridden of its tag, the state of its alarm, else the chamber's."""
    tag = asked.args.get("tag")
    if needed(asked.verb, str(tag or "")) in ("bypass", "tune") or asked.verb in ("trim", "release"):
        stood = [one for one in seen.get("by_hand") or [] if one["tag"] == tag]
        return ", ".join(f"{one['kind']} {one['value']}" for one in stood) or "not overridden"
    alarm = next((one for one in seen.get("alarms") or [] if tag and one["tag"] == tag), None)
    return f"{alarm['state']}{', hidden' if alarm['hidden'] else ''}" if alarm else str(seen.get("state") or "")


def _remember(
    page: Page, visitor: Visitor, station: str, place: ChamberPlace, asked: Asked, old: str, found: Json | None
) -> None:
    result = "asked" if found is None else "done" if found["done"] else f"refused: {found['reason']}"
    reason = str(asked.args.get("reason", ""))
    audit.note(
        page.book, visitor.name, visitor.role, station, asked.verb, place.id, old=old,
        new=json.dumps(asked.args), reason=reason, result=result[:400],
    )  # fmt: skip
    if visitor.secret:
        used(page.book, visitor.secret)
