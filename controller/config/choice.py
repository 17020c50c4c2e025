"""Tables of several kinds: a union of config classes whose key `kind` says which one is meant.

The first class of the union is the one that is meant where a file does not say. What the other classes think of the
table is not asked.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Any, Literal, get_args, get_origin

from controller.config import shapes, words
from controller.config.shapes import Loc
from controller.errors import Problem

KIND = "kind"


def settle(cls: Any, content: dict[str, Any], file: str) -> tuple[dict[str, Any], dict[Loc, str], list[Problem]]:
    """(content with every kind written out, place of a table of several kinds -> name of its class, wrong kinds)."""
    chosen: dict[Loc, str] = {}
    wrong: list[Problem] = []
    settled = _walk(cls, content, (), chosen, wrong, file)
    return settled, chosen, wrong


def concerns(chosen: dict[Loc, str], loc: Loc) -> bool:
    """Does a finding at this place, class names of unions in it, come from the class that is meant?"""
    plain: list[str | int] = []
    for step in loc:
        member = chosen.get(tuple(plain))
        if member is not None and isinstance(step, str) and step != member and step[:1].isupper():
            return False
        if member is None or step != member:
            plain.append(step)
    return True


def _walk(
    shape: Any, value: Any, loc: Loc, chosen: dict[Loc, str], wrong: list[Problem], file: str
) -> Any:
    if isinstance(value, list):
        return [
            _walk(shapes.below(shape, i), part, (*loc, i), chosen, wrong, file) for i, part in enumerate(value)
        ]
    if not isinstance(value, dict) or shape is None:
        return value
    kinds = dict(_kinds(shape))
    if kinds:
        value = {KIND: next(iter(kinds)), **value}
        asked = value[KIND]
        if not isinstance(asked, str) or asked not in kinds:
            limit = "must be one of " + ", ".join(shapes.toml(kind) for kind in kinds)
            meant = words.closest(str(asked), list(kinds))
            remedy = f'did you mean "{meant}"?' if meant else "choose one of them"
            wrong.append(Problem(file, shapes.place((*loc, KIND)), shapes.toml(asked), limit, remedy))
            chosen[loc] = ""
            return value
        shape = kinds[asked]
        chosen[loc] = shape.__name__
    return {key: _walk(shapes.below(shape, key), part, (*loc, key), chosen, wrong, file) for key, part in value.items()}


def _kinds(shape: Any) -> Iterator[tuple[str, Any]]:
    """Kind -> class of a union whose members all are config classes with a literal `kind`; nothing for others."""
    members = shapes.members(shape)
    if len(members) < 2 or not all(dataclasses.is_dataclass(member) for member in members):
        return
    found = [(member, shapes.at(member, (KIND,))) for member in members]
    if all(get_origin(kind) is Literal for _, kind in found):
        for member, kind in found:
            yield get_args(kind)[0], member
