"""The pages that people look at. Numbers come by JSON; what stands still is in the HTML."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from controller.page.people.accounts import anybody
from controller.page.web.context import Chamber, ThisPage, visitor_of
from controller.page.web.html import page

router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)


@router.get("/")
def home(request: Request, here: ThisPage) -> Response:
    """The list of chambers; with a single one, that one."""
    if (stranger := _stranger(request, here)) is not None:
        return stranger
    if len(here.feed.works.chambers) == 1:
        return RedirectResponse(f"/chamber/{here.feed.works.chambers[0].id}", 303)
    return page(request, "site.html", view="site", data={"rows": here.feed.rows()})


@router.get("/chamber/{chamber}")
def now(request: Request, here: ThisPage, place: Chamber) -> Response:
    """What one chamber does now."""
    return _stranger(request, here) or page(request, "now.html", view="now", **_of(here, place))


@router.get("/chamber/{chamber}/trends")
def trends(request: Request, here: ThisPage, place: Chamber) -> Response:
    """Any column over any span."""
    return _stranger(request, here) or page(request, "trends.html", view="trends", **_of(here, place))


@router.get("/chamber/{chamber}/alarms")
def alarms(request: Request, here: ThisPage, place: Chamber) -> Response:
    """What is active, what was, and how busy it kept people."""
    return _stranger(request, here) or page(request, "alarms.html", view="alarms", **_of(here, place))


@router.get("/chamber/{chamber}/shift")
def handover(request: Request, here: ThisPage, place: Chamber) -> Response:
    """What happened since somebody left, what is due, and a note for the next."""
    return _stranger(request, here) or page(request, "shift.html", view="shift", **_of(here, place))


@router.get("/chamber/{chamber}/records")
def records(request: Request, here: ThisPage, place: Chamber) -> Response:
    """The cycles of this chamber."""
    return _stranger(request, here) or page(request, "records.html", view="records", **_of(here, place))


@router.get("/chamber/{chamber}/recipes")
def recipes(request: Request, here: ThisPage, place: Chamber) -> Response:
    """Versions of recipes, and a place to write one."""
    return _stranger(request, here) or page(request, "recipes.html", view="recipes", **_of(here, place))


@router.get("/people")
def people(request: Request, here: ThisPage, first: str = "") -> Response:
    """Accounts, tokens, the trail."""
    return _stranger(request, here) or page(request, "people.html", view="people", first=bool(first))


@router.get("/api")
def api(request: Request, here: ThisPage) -> Response:
    """The documentation of the JSON API."""
    return _stranger(request, here) or page(request, "api.html", view="api")


def _of(here: ThisPage, place: Chamber) -> dict[str, Any]:
    watch = here.feed.watches[place.id]
    data = {"chamber": place.id, "plate": watch.plate, "now": watch.seen}
    return {"chamber": place, "title": watch.seen["name"], "data": data}


def _stranger(request: Request, here: ThisPage) -> Response | None:
    """Where somebody without a session goes first; None for one who has come in."""
    if visitor_of(request) is not None:
        return None
    then = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return RedirectResponse("/login?then=" + then if anybody(here.book) else "/setup", 303)
