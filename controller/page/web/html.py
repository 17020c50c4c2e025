"""Pages from templates: every text escaped, no script and no style inside."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from controller import __version__
from controller.page.people.roles import MAY, allowed
from controller.page.web.context import language_of, page_of, units_of, visitor_of
from controller.page.web.units import label
from controller.page.web.units import sets as unit_sets
from controller.wording.phrases import phrases
from controller.wording.texts import LANGUAGES, texts

FOLDER = Path(__file__).parents[1] / "templates"


@cache
def _environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(FOLDER), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip


def page(request: Request, template: str, status_code: int = 200, **values: Any) -> HTMLResponse:
    """One page. values: for the template; `data` of them is handed to the scripts as JSON."""
    visitor, language = visitor_of(request), language_of(request)
    words = texts(language)
    works, chosen = page_of(request).feed.works, units_of(request)
    data = {
        "csrf": visitor.csrf if visitor else "",
        "language": language,
        "locked": bool(visitor and visitor.locked),
        "may": [what for what in MAY if visitor and allowed(visitor.role, what)],
        "texts": {key: text for key, text in words.items() if not key.startswith("html.")},
        "phrases": phrases(language),
        "units": unit_sets()[chosen]["unit"],
        **values.pop("data", {}),
    }
    html = _environment().get_template(template).render(
        t=lambda key, **names: _said(words, key, names), language=language, languages=LANGUAGES, visitor=visitor,
        may=lambda what: bool(visitor and allowed(visitor.role, what)), works=works, version=__version__,
        data=Markup(_embedded(data)), path=request.url.path, chambers=works.chambers,
        unit=lambda name: label(name, chosen), units=chosen, unit_sets=unit_sets(), light=_light(request),
        **{"chamber": works.chambers[0] if len(works.chambers) == 1 else None, "view": "", **values},
    )  # fmt: skip
    return HTMLResponse(html, status_code)


def _light(request: Request) -> str:
    """What somebody chose, so that no page flashes up in the other one first."""
    chosen = request.cookies.get("light", "")
    return chosen if chosen in ("day", "night") else ""


def _said(words: dict[str, str], key: str, names: dict[str, Any]) -> str:
    return words[key].format(**names) if names else words[key]


def _embedded(data: dict[str, Any]) -> str:
    """JSON that cannot end the element it stands in."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
