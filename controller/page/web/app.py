"""The page put together."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, cast

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp

from controller import __version__
from controller.errors import StoreError
from controller.page.web import api_live, api_orders, api_people, api_recipes, api_records, entry, views
from controller.page.web.context import Page, language_of
from controller.page.web.guard import Guard
from controller.page.web.html import page as html_page
from controller.wording.phrases import said

STATIC = Path(__file__).parents[1] / "static"
ABOUT = (
    "Reads the records of concrete curing chambers and lays orders at their desks. Control and monitoring only, never"
    " a safety function. Log in at the page, or send a token: `Authorization: Bearer ...`. Numbers are in SI units,"
    " times are UTC in ms, what is not known is null."
)


def make_app(here: Page) -> FastAPI:
    """The application of one page. Its feed is started and stopped with it."""

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        here.feed.start()
        try:
            yield
        finally:
            here.feed.stop()
            here.desks.close()
            here.book.close()

    app = FastAPI(
        title="Dewhold", version=__version__, description=ABOUT, docs_url=None, redoc_url=None,
        openapi_url="/api/v1/openapi.json", lifespan=life,
    )  # fmt: skip
    app.state.page = here
    for part in (entry, views, api_live, api_orders, api_recipes, api_records, api_people):
        app.include_router(part.router)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    app.add_exception_handler(HTTPException, _refused)
    app.add_exception_handler(RequestValidationError, _wrong)
    app.add_exception_handler(StoreError, _store)
    app.add_middleware(cast("type[ASGIApp]", Guard))  # type: ignore[arg-type]
    return app


def _wants_html(request: Request) -> bool:
    return not request.url.path.startswith("/api/") and "text/html" in request.headers.get("accept", "")


async def _refused(request: Request, error: Exception) -> Response:
    found = cast("HTTPException", error)
    if _wants_html(request):
        why, _known = said(str(found.detail), language_of(request))
        return html_page(request, "refused.html", found.status_code, status=found.status_code, why=why)
    return JSONResponse({"detail": found.detail}, found.status_code, headers=found.headers)


async def _wrong(request: Request, error: Exception) -> Response:
    """Input of the wrong shape: where, what, and which limit by name for a window's own words; never the input."""
    found = cast("RequestValidationError", error)
    problems = [
        {"where": ".".join(map(str, one["loc"])), "what": one["msg"], "kind": one["type"], "limits": _limits(one)}
        for one in found.errors()
    ]
    if _wants_html(request):
        why = "; ".join(f"{one['where']}: {one['what']}" for one in problems)
        return html_page(request, "refused.html", 422, status=422, why=why)
    return JSONResponse({"detail": problems}, 422)


def _limits(problem: dict[str, Any]) -> dict[str, float]:
    """The limits that a value broke, such as {"le": 150.0}: only numbers, the rest may hold what was sent."""
    return {key: one for key, one in problem.get("ctx", {}).items() if type(one) in (int, float)}


async def _store(_request: Request, error: Exception) -> Response:
    return HTMLResponse(str(error), 503, media_type="text/plain")
