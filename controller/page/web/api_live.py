"""Looking on, as JSON: chambers, plan, trends, journal, and pictures as server-sent events."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from typing import Annotated, Any

from fastapi import APIRouter, Depends, HTTPException, Query, Request
from fastapi.responses import StreamingResponse

from controller.errors import StoreError
from controller.page.live.feed import LISTENERS_MAX
from controller.page.live.trends import POINTS_MAX, SPAN_MS_MAX
from controller.page.people import accounts
from controller.page.web.context import Chamber, Json, ThisPage, looks_on
from controller.store.glance import Glance
from controller.store.reader import JournalRow

router = APIRouter(prefix="/api/v1", tags=["looking on"], dependencies=[Depends(looks_on)])
TAGS_MAX = 12
MS_MAX = 2**53  # what a JSON reader in a browser holds exactly
Ms = Annotated[int, Query(ge=0, le=MS_MAX)]
Line = Annotated[int, Query(ge=0, le=MS_MAX)]
Tag = Annotated[str, Query(max_length=40)]


@router.get("/chambers", summary="Every chamber in short, worst first")
def chambers(page: ThisPage) -> list[Json]:
    """State, phase, air and dew point, the highest call, when it will be over, and whether the picture is live."""
    return page.feed.rows()


@router.get("/chambers/{chamber}", summary="The newest picture of one chamber")
def picture(page: ThisPage, place: Chamber) -> Json:
    """`plate` says what stands where, `now` has the numbers in its order. `plate` is null while there is no record."""
    watch = page.feed.watches[place.id]
    return {"plate": watch.plate, "now": watch.seen}


@router.get("/chambers/{chamber}/plan", summary="The planned line of the cycle in progress")
def plan(page: ThisPage, place: Chamber) -> Json:
    """From the forecast made at the start; `plan` is null while there is none."""
    ahead = page.feed.watches[place.id].outlook
    return {"plan": ahead.plan() if ahead else None}


@router.get("/chambers/{chamber}/trend", summary="Columns over any span up to 400 days")
def trend(
    page: ThisPage, place: Chamber, tag: Annotated[list[str], Query(max_length=TAGS_MAX)], from_ms: Ms, to_ms: Ms,
    points: Annotated[int, Query(ge=10, le=POINTS_MAX)] = 800,
) -> Json:  # fmt: skip
    """Least, mean, greatest and worst quality in each step; null where nothing is known. Times are UTC in ms."""
    if not from_ms < to_ms <= from_ms + SPAN_MS_MAX:
        raise HTTPException(422, "from_ms must be before to_ms, by at most 400 days")
    if any(len(one) > 40 for one in tag):
        raise HTTPException(422, "no tag has more than 40 characters")
    trends = page.feed.trends[place.id]
    try:
        return {"trends": [trends.read(one, from_ms, to_ms, points) for one in tag]}
    except StoreError as error:
        raise HTTPException(404, _short(error)) from error


@router.get("/chambers/{chamber}/journal", summary="Lines of the journal, newest first")
def journal(
    place: Chamber, after: Line = 0, before: Line = MS_MAX, since_ms: Ms = 0,
    kind: Annotated[list[str], Query(max_length=20)] = [],  # noqa: B006  # FastAPI copies it
    limit: Annotated[int, Query(ge=1, le=1000)] = 200,
) -> Json:  # fmt: skip
    """after, before: line numbers, both left out themselves. kind: of these only, may be given again."""
    try:
        glance = Glance(place.record)
        try:
            found = glance.lines(after=after, before=before, kinds=tuple(kind), since_ms=since_ms, limit=limit)
        finally:
            glance.close()
    except StoreError as error:
        raise HTTPException(404, _short(error)) from error
    return {"lines": [as_json(row) for row in found]}


@router.get("/alive", summary="Does the page answer?")
def alive() -> Json:
    """For a window that has heard nothing for a while."""
    return {"alive": True}


@router.get("/events", summary="Pictures as server-sent events", response_class=StreamingResponse)
async def events(
    request: Request, page: ThisPage, chamber: Annotated[str, Query(max_length=60)] = ""
) -> StreamingResponse:
    """One message a new picture: of one chamber, or of the list when none is named. Ends when the session ends."""
    if chamber and chamber not in page.feed.watches:
        raise HTTPException(404, f"no chamber is called {chamber}")
    if page.feed.listeners >= LISTENERS_MAX:
        raise HTTPException(503, f"{LISTENERS_MAX} look on already: try again in a minute", {"retry-after": "60"})
    return StreamingResponse(
        _while_welcome(request, page, chamber or None), media_type="text/event-stream",
        headers={"cache-control": "no-store", "x-accel-buffering": "no"},
    )  # fmt: skip


async def _while_welcome(request: Request, page: ThisPage, chamber: str | None) -> AsyncIterator[bytes]:
    """Pass messages on; look now and then whether the session is still good."""
    loop = asyncio.get_running_loop()
    look_s = loop.time() + 30.0
    async for message in page.feed.listen(chamber):
        yield message
        if loop.time() > look_s:
            look_s = loop.time() + 30.0
            secret = request.state.visitor.secret
            if secret and await asyncio.to_thread(accounts.visitor_of, page.book, secret) is None:
                return


def as_json(row: JournalRow) -> dict[str, Any]:
    """A journal line as it is sent."""
    return {
        "id": row.id, "scan": row.scan, "utc_ms": row.utc_ms, "kind": row.kind, "tag": row.tag, "text": row.text,
        "data": row.data,
    }  # fmt: skip


def _short(error: StoreError) -> str:
    """Without the path of the file: it is nobody's business in a browser."""
    return "there is no record yet" if "there is no record" in str(error) else str(error).partition(":")[0][:200]
