"""Coming in and going out: set-up of the first account, log in, lock, unlock, log out, language."""

from __future__ import annotations

import hmac
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from controller.page.people import accounts, audit
from controller.page.people.roles import ADMINISTER
from controller.page.web.context import COOKIE, Json, Onlooker, ThisPage, language_of, station_of, visitor_of
from controller.page.web.html import page
from controller.page.web.units import sets
from controller.wording.texts import LANGUAGES, texts

router = APIRouter(include_in_schema=False)
Field = Annotated[str, Form(max_length=200)]  # with "" as default: a field left empty is not sent as a field
_YEAR_S = 365 * 86_400


@router.get("/setup", response_class=HTMLResponse)
def ask_setup(request: Request, here: ThisPage, code: str = "") -> Response:
    """The form for the first account."""
    if accounts.anybody(here.book):
        return RedirectResponse("/login", 303)
    return page(request, "setup.html", code=code[:20], problem="", name="", full_name="")


@router.post("/setup", response_class=HTMLResponse)
def set_up(
    request: Request, here: ThisPage, code: Field = "", name: Field = "", full_name: Field = "",
    password: Field = "", again: Field = "",
) -> Response:
    """Make the first account, which administers: it makes those that operate."""
    station = station_of(request)
    if accounts.anybody(here.book):
        return RedirectResponse("/login", 303)
    wait_s = here.limiter.wait_s("setup", station)
    problem = "login.wait" if wait_s else ""
    if not problem and not hmac.compare_digest(code.strip().lower().encode(), here.setup_code.encode()):
        here.limiter.failed("setup", station)
        problem = "setup.wrong_code"
    if not problem and password != again:
        problem = "password.differ"
    problem = problem or accounts.add(here.book, name, full_name, ADMINISTER, password)
    if problem:
        said = texts(language_of(request))[problem].format(seconds=round(wait_s))
        return page(request, "setup.html", 422, code=code[:20], problem=said, name=name[:40], full_name=full_name[:80])
    audit.note(here.book, name.strip().lower(), ADMINISTER, station, "set up", "first account", new=ADMINISTER)
    return _entered(here, name, password, station, "/people?first=1")


@router.get("/login", response_class=HTMLResponse)
def ask_login(request: Request, here: ThisPage, then: str = "/") -> Response:
    """The form to come in."""
    if not accounts.anybody(here.book):
        return RedirectResponse("/setup", 303)
    if visitor_of(request) is not None:
        return RedirectResponse(_inside(then), 303)
    return page(request, "login.html", problem="", name="", then=_inside(then))


@router.post("/login", response_class=HTMLResponse)
def log_in(request: Request, here: ThisPage, name: Field = "", password: Field = "", then: Field = "/") -> Response:
    """Come in, or be told to wait."""
    station = station_of(request)
    keys = (f"name {name.strip().lower()}", f"station {station}")
    wait_s = here.limiter.wait_s(*keys)
    if not wait_s:
        answer = _entered(here, name, password, station, _inside(then))
        if answer.status_code == 303:
            here.limiter.passed(keys[0])
            return answer
        here.limiter.failed(*keys)
    said = texts(language_of(request))["login.wait" if wait_s else "login.wrong"].format(seconds=round(wait_s))
    return page(request, "login.html", 429 if wait_s else 401, problem=said, name=name[:40], then=_inside(then))


@router.post("/logout")
def log_out(request: Request, here: ThisPage, visitor: Onlooker) -> Response:
    """Leave."""
    accounts.log_out(here.book, visitor.secret)
    audit.note(here.book, visitor.name, visitor.role, station_of(request), "log out")
    answer = Response(status_code=204)
    answer.delete_cookie(COOKIE, path="/")
    return answer


@router.post("/lock")
def lock(request: Request, here: ThisPage, visitor: Onlooker) -> Json:
    """Only look on from here, until the password is given again."""
    accounts.lock(here.book, visitor.secret, locked=True)
    audit.note(here.book, visitor.name, visitor.role, station_of(request), "lock", old="works", new="looks on")
    return {"locked": True}


@router.post("/unlock")
def unlock(request: Request, here: ThisPage, visitor: Onlooker, password: Field = "") -> Json:
    """Work again. Raises 401 for a wrong password, 429 after too many."""
    keys = (f"name {visitor.name}", f"station {station_of(request)}")
    if here.limiter.wait_s(*keys):
        raise HTTPException(429, "too many tries: wait a little")
    if not accounts.knows(here.book, visitor.name, password):
        here.limiter.failed(*keys)
        audit.note(here.book, visitor.name, visitor.role, station_of(request), "unlock", result="refused")
        raise HTTPException(401, "this is not the password")
    here.limiter.passed(keys[0])
    accounts.lock(here.book, visitor.secret, locked=False)
    audit.note(here.book, visitor.name, visitor.role, station_of(request), "unlock", old="looks on", new="works")
    return {"locked": False}


@router.get("/units/{code}")
def choose_units(here: ThisPage, code: str, then: str = "/") -> Response:
    """Choose the units that this window shows. What is stored stays as it is."""
    answer = RedirectResponse(_inside(then), 303)
    if code in sets():
        answer.set_cookie("units", code, max_age=_YEAR_S, samesite="strict", secure=here.tls, httponly=True)
    return answer


@router.get("/language/{code}")
def speak(request: Request, here: ThisPage, code: str, then: str = "/") -> Response:
    """Choose a language; it is kept with the account and in a cookie."""
    answer = RedirectResponse(_inside(then), 303)
    if code in LANGUAGES:
        visitor = visitor_of(request)
        if visitor is not None and visitor.secret:
            accounts.speak(here.book, visitor.name, code)
        answer.set_cookie("language", code, max_age=_YEAR_S, samesite="strict", secure=here.tls, httponly=True)
    return answer


def _entered(here: ThisPage, name: str, password: str, station: str, then: str) -> Response:
    """On with a session's cookie, or 401."""
    secret = accounts.log_in(here.book, name, password, station)
    if secret is None:
        return Response(status_code=401)
    answer = RedirectResponse(then, 303)
    answer.set_cookie(
        COOKIE, secret, max_age=round(accounts.SESSION_H_MAX * 3600), path="/", httponly=True, secure=here.tls,
        samesite="strict",
    )  # fmt: skip
    return answer


def _inside(then: str) -> str:
    """Only addresses of this page: one slash, then no second one."""
    inside = then.startswith("/") and not then.startswith("//") and "\\" not in then and "\n" not in then
    return then if inside else "/"
