"""What every request finds: the page's own things, who asks, and in which language."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Any, cast

from fastapi import Depends, HTTPException, Request

from controller.page.desks import Desks
from controller.page.live.feed import Feed
from controller.page.live.places import ChamberPlace
from controller.page.people import accounts, tokens
from controller.page.people.accounts import Visitor
from controller.page.people.book import Book
from controller.page.people.limiter import Limiter, Pace
from controller.page.people.roles import allowed
from controller.page.web.units import sets
from controller.wording.texts import best

COOKIE = "dewhold"
AT_ONCE, PER_S = 120.0, 30.0  # requests of one sender; a window that is loaded asks for about ten


@dataclass(slots=True)
class Page:
    """One running page. setup_code: typed once to make the first account. tls: served over HTTPS."""

    feed: Feed
    book: Book
    setup_code: str
    tls: bool = False
    hosts: frozenset[str] = frozenset()
    limiter: Limiter = field(default_factory=Limiter)
    desks: Desks = field(default_factory=Desks)
    pace: Pace = field(default_factory=lambda: Pace(AT_ONCE, PER_S))


def page_of(request: Request) -> Page:
    """The page that serves this request."""
    return cast("Page", request.app.state.page)


def station_of(request: Request) -> str:
    """Where somebody sits: the address that the request came from."""
    return request.client.host if request.client else ""


def visitor_of(request: Request) -> Visitor | None:
    """Who asks, None for a stranger. Found once a request."""
    found = getattr(request.state, "visitor", False)
    if found is False:
        book = page_of(request).book
        kind, _, secret = request.headers.get("authorization", "").partition(" ")
        if kind.lower() == "bearer":
            found = tokens.program_of(book, secret.strip())
        else:
            cookie = request.cookies.get(COOKIE, "")
            found = accounts.visitor_of(book, cookie) if cookie else None
        request.state.visitor = found
    return cast("Visitor | None", found)


def language_of(request: Request) -> str:
    """The language to answer in."""
    visitor = visitor_of(request)
    chosen = request.cookies.get("language", "") or (visitor.language if visitor else "")
    return best(request.headers.get("accept-language", ""), chosen)


def units_of(request: Request) -> str:
    """The set of units to show: as somebody chose at this window, else as the works have it."""
    chosen = request.cookies.get("units", "")
    return chosen if chosen in sets() else page_of(request).feed.works.units


def looks_on(request: Request) -> Visitor:
    """Anybody with an account or a token; 401 for a stranger."""
    visitor = visitor_of(request)
    if visitor is None:
        raise HTTPException(401, "log in, or send a token: Authorization: Bearer ...")
    return visitor


class May:
    """Somebody who may do something of the table of roles, at a session that is not locked."""

    def __init__(self, what: str) -> None:
        self._what = what

    def __call__(self, request: Request) -> Visitor:
        """The visitor; 401, 403 or 423."""
        visitor = looks_on(request)
        require(visitor, self._what)
        if visitor.secret:
            accounts.used(page_of(request).book, visitor.secret)
        return visitor


def require(visitor: Visitor, what: str) -> None:
    """Refuse who may not; 403 says what was needed, 423 that the session is locked."""
    if not allowed(visitor.role, what):
        raise HTTPException(403, f"the role {visitor.role} may not {what}")
    if visitor.locked:
        raise HTTPException(423, "this session is locked to looking on: unlock it with the password")


def chamber_of(request: Request, chamber: str) -> ChamberPlace:
    """The chamber of an address; 404 for another."""
    watch = page_of(request).feed.watches.get(chamber)
    if watch is None:
        raise HTTPException(404, f"no chamber is called {chamber[:40]}")
    return watch.place


Onlooker = Annotated[Visitor, Depends(looks_on)]
ThisPage = Annotated[Page, Depends(page_of)]
Chamber = Annotated[ChamberPlace, Depends(chamber_of)]
Json = dict[str, Any]
