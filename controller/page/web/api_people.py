"""Accounts, tokens and the trail over HTTP. Who administers does this and nothing else."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Query, Request
from fastapi import Path as PathParam
from pydantic import BaseModel, ConfigDict, Field

from controller.page.people import accounts, audit, tokens
from controller.page.people.accounts import Visitor
from controller.page.people.roles import ROLES
from controller.page.web.context import Json, May, ThisPage, language_of, station_of
from controller.wording.texts import texts

router = APIRouter(prefix="/api/v1", tags=["people"])
Boss = Annotated[Visitor, Depends(May("administer"))]
Short = Annotated[str, Field(max_length=80)]
Secret = Annotated[str, Field(max_length=200)]


class NewPerson(BaseModel):
    """A new account."""

    model_config = ConfigDict(extra="forbid")
    name: Annotated[str, Field(min_length=1, max_length=40)]
    full_name: Short = ""
    role: Annotated[str, Field(max_length=20)]
    password: Secret


class Change(BaseModel):
    """What changes of an account; null stays as it is. Its sessions end."""

    model_config = ConfigDict(extra="forbid")
    role: Annotated[str, Field(max_length=20)] | None = None
    disabled: bool | None = None
    password: Secret = ""
    reason: Annotated[str, Field(max_length=300)] = ""


class NewToken(BaseModel):
    """A token for a program."""

    model_config = ConfigDict(extra="forbid")
    label: Annotated[str, Field(min_length=1, max_length=60)]
    role: Annotated[str, Field(max_length=20)]
    days: Annotated[int, Field(ge=1, le=accounts.TOKEN_DAYS_MAX)] = 90


@router.get("/people", summary="Every account")
def listed(page: ThisPage, _boss: Boss) -> Json:
    """Without passwords, of which nothing can be read back."""
    names = ("name", "full_name", "role", "disabled", "changed_ms")
    return {
        "people": [{name: getattr(one, name) for name in names} for one in accounts.people(page.book)],
        "roles": list(ROLES),
    }


@router.post("/people", summary="Make an account")
def add(request: Request, page: ThisPage, boss: Boss, person: NewPerson) -> Json:
    """422 with the reason when name, role or password will not do."""
    problem = accounts.add(page.book, person.name, person.full_name, person.role, person.password)
    _told(request, page, boss, "make account", person.name, problem, new=person.role)
    return {"name": person.name.strip().lower()}


@router.patch("/people/{name}", summary="Change an account")
def change(request: Request, page: ThisPage, boss: Boss, name: str, changed: Change) -> Json:
    """Role, password, in use or not. Never takes the last account that administers."""
    before = next((one for one in accounts.people(page.book) if one.name == name), None)
    problem = accounts.change(
        page.book, name, role=changed.role, disabled=changed.disabled, password=changed.password
    )
    old = f"{before.role}{', disabled' if before.disabled else ''}" if before else ""
    use = {True: "disabled", False: "enabled", None: ""}[changed.disabled]
    new = ", ".join(word for word in (changed.role or "", use, "new password" if changed.password else "") if word)
    _told(request, page, boss, "change account", name, problem, old=old, new=new, reason=changed.reason)
    return {"name": name}


@router.get("/tokens", summary="Every token")
def all_tokens(page: ThisPage, _boss: Boss) -> Json:
    """Without their secrets."""
    return {"tokens": [token._asdict() for token in tokens.tokens(page.book)]}


@router.post("/tokens", summary="Make a token; its secret is shown this once")
def make_token(request: Request, page: ThisPage, boss: Boss, wanted: NewToken) -> Json:
    """No token administers accounts."""
    secret = tokens.give(page.book, wanted.label, wanted.role, wanted.days, boss.name)
    _told(request, page, boss, "make token", wanted.label, "" if secret else "people.role", new=wanted.role)
    return {"secret": secret}


@router.delete("/tokens/{number}", summary="Revoke a token")
def revoke(request: Request, page: ThisPage, boss: Boss, number: Annotated[int, PathParam(ge=0, le=2**53)]) -> Json:
    """At once and for good."""
    if not tokens.revoke(page.book, number):
        raise HTTPException(404, "there is no such token")
    _told(request, page, boss, "revoke token", str(number), "")
    return {"id": number}


@router.get("/audit", summary="Who did what, newest first")
def trail(
    page: ThisPage, _reader: Annotated[Visitor, Depends(May("read audit"))],
    before: Annotated[int, Query(ge=0, le=2**53)] = 2**53, limit: Annotated[int, Query(ge=1, le=500)] = 100,
) -> Json:  # fmt: skip
    """With old and new value, reason and result. unbroken: every line still follows from the one before it."""
    return {
        "lines": [line._asdict() for line in audit.lines(page.book, before, limit)],
        "unbroken": audit.unbroken(page.book),
    }


def _told(
    request: Request, page: ThisPage, boss: Visitor, what: str, about: str, problem: str, *, old: str = "",
    new: str = "", reason: str = "",
) -> None:  # fmt: skip
    """Write the trail, then refuse with the reason in the asker's language if there is one."""
    result = f"refused: {problem}" if problem else "done"
    audit.note(
        page.book, boss.name, boss.role, station_of(request), what, about[:60], old=old, new=new, reason=reason,
        result=result,
    )  # fmt: skip
    if problem:
        raise HTTPException(422, texts(language_of(request))[problem])
