"""Shift, alarm figures, cycles, reports and CSV over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Query, Request
from fastapi import Path as PathParam
from fastapi.responses import HTMLResponse, StreamingResponse

from controller.core.scan import COMPUTED
from controller.errors import ConfigError, StoreError, UnavailableError
from controller.page import records, shift
from controller.page.live.trends import SPAN_MS_MAX
from controller.page.web.api_live import TAGS_MAX, Ms, as_json
from controller.page.web.context import Chamber, Json, Onlooker, ThisPage, language_of, looks_on

router = APIRouter(prefix="/api/v1/chambers/{chamber}", tags=["records"], dependencies=[Depends(looks_on)])
# A report is a page of its own with its styles inside and no script.
REPORT_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none';"
    " frame-ancestors 'none'; sandbox allow-modals"
)


@router.get("/since", summary="What happened since you left")
def since(page: ThisPage, place: Chamber, visitor: Onlooker) -> Json:
    """Newest first, 400 lines at most. left_ms: when you said that you had seen everything, null for never."""
    try:
        line, left_ms, rows = shift.since(place.record, page.book, visitor.name, place.id)
    except StoreError as error:
        raise HTTPException(404, "there is no record yet") from error
    return {"line": line, "left_ms": left_ms, "lines": [as_json(row) for row in rows]}


@router.post("/since", summary="You have seen everything up to now")
def leave(page: ThisPage, place: Chamber, visitor: Onlooker) -> Json:
    """The next `since` begins here."""
    try:
        return {"line": shift.leave(place.record, page.book, visitor.name, place.id)}
    except StoreError as error:
        raise HTTPException(404, "there is no record yet") from error


@router.get("/told", summary="Whom the call-out told since you left")
def told(page: ThisPage, place: Chamber, visitor: Onlooker) -> Json:
    """Newest first, each with what became of it. Empty where no call-out runs beside this chamber."""
    bound = page.feed.watches[place.id].bound
    since_ms = shift.left_ms(page.book, visitor.name, place.id)
    try:
        letters = shift.told(place, bound.chamber.name if bound else place.name, since_ms)
    except StoreError as error:
        raise HTTPException(503, "the call-out's file cannot be read just now: look at its own log") from error
    return {"since_ms": since_ms, "told": letters}


@router.get("/duties", summary="What people have to do from time to time")
def duties(place: Chamber) -> Json:
    """Overdue first, then due, then by day. Somebody says that it is done with the order `done` and its `item`."""
    try:
        return {"duties": shift.duties(place.record)}
    except (StoreError, ConfigError) as error:
        raise HTTPException(404, "there is no record yet") from error


@router.get("/alarm-figures", summary="How busy the alarms kept people")
def alarm_figures(place: Chamber, days: Annotated[int, Query(ge=1, le=400)] = 30) -> Json:
    """Rates, floods, chatter, the most frequent ones; meant for a month, over less only an indication."""
    try:
        return shift.alarm_figures(place.record, days)
    except StoreError as error:
        raise HTTPException(404, "there is no record yet") from error


@router.get("/cycles", summary="Every cycle of the record, newest first")
def cycles(place: Chamber) -> Json:
    """verdict, energy and the like are null while a cycle is not over."""
    try:
        return {"cycles": records.cycles(place.record)}
    except StoreError as error:
        raise HTTPException(404, "there is no record yet") from error


@router.get("/cycles/{cycle}/report", summary="The report of a cycle", response_class=HTMLResponse)
def report(
    request: Request, page: ThisPage, place: Chamber, cycle: Annotated[int, PathParam(ge=1, le=2**31)]
) -> HTMLResponse:
    """One self-contained page in the reader's language; made when first asked for, which takes some seconds."""
    try:
        path = records.report(place, cycle, page.feed.works.home, language_of(request))
        return HTMLResponse(path.read_text(encoding="utf-8"), headers={"content-security-policy": REPORT_POLICY})
    except (UnavailableError, ConfigError, OSError) as error:
        raise HTTPException(404, str(error)) from error


@router.get("/minutes.csv", summary="Columns by minute as CSV", response_class=StreamingResponse)
def minutes(
    page: ThisPage, place: Chamber, tag: Annotated[list[str], Query(max_length=TAGS_MAX)], from_ms: Ms, to_ms: Ms
) -> StreamingResponse:
    """RFC 4180, UTF-8, units in the head, times in UTC, quality beside each value."""
    if not from_ms < to_ms <= from_ms + SPAN_MS_MAX:
        raise HTTPException(422, "from_ms must be before to_ms, by at most 400 days")
    bound = page.feed.watches[place.id].bound
    points = {point.tag: point.unit for point in bound.points} if bound else {}
    units = {**points, **{name: unit for name, _text, unit in COMPUTED}}
    unknown = [one[:40] for one in tag if one not in units]
    if unknown:
        raise HTTPException(404, f"the record has no column {', '.join(unknown)}")
    try:
        lines = records.csv(place, tag, units, from_ms, to_ms)
    except StoreError as error:
        raise HTTPException(404, "there is no record yet") from error
    name = f"dewhold-{place.id}-{from_ms}-{to_ms}.csv"
    return StreamingResponse(
        lines, media_type="text/csv; charset=utf-8", headers={"content-disposition": f'attachment; filename="{name}"'}
    )
