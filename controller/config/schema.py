"""JSON schemas of the config files, for editors that complete and check TOML while it is written.

`python -m controller.config.schema` writes them anew; a test asks that they are current.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from controller.config.chamber import ChamberFile
from controller.config.find import SHIPPED
from controller.core.points import Point
from controller.core.product.mix import Mix
from controller.core.sequence.recipe import Recipe

FOLDER = SHIPPED / "schema"
CLASSES: dict[str, type[Any]] = {"chamber": ChamberFile, "recipe": Recipe, "mix": Mix, "point": Point}


def schemas() -> dict[str, str]:
    """File name -> text of each schema."""
    return {f"{name}.json": _text(cls) for name, cls in CLASSES.items()}


def write(folder: Path = FOLDER) -> None:
    """Write all schemas."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in schemas().items():
        (folder / name).write_text(text, encoding="utf-8")


def _text(cls: type[Any]) -> str:
    schema = TypeAdapter(cls).json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    _close(schema)
    return json.dumps(schema, indent=1, sort_keys=True) + "\n"


def _close(node: Any) -> None:
    """Say of every table with named keys that it has no others, as the loader does."""
    if isinstance(node, dict):
        if node.get("type") == "object" and "properties" in node:
            node["additionalProperties"] = False
        if isinstance(node.get("title"), str):
            del node["title"]  # made from the key, says nothing
        for part in node.values():
            _close(part)
    elif isinstance(node, list):
        for part in node:
            _close(part)


if __name__ == "__main__":
    write()
