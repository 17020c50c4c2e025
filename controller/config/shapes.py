"""What a config class allows, in words: the type at a place in a file, its bounds, its known keys."""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Hashable, Iterable, Mapping
from functools import cache
from typing import Annotated, Any, Literal, Union, cast, get_args, get_origin, get_type_hints

import annotated_types as bounds

Loc = tuple[str | int, ...]


def describe(shape: Any) -> str:
    """What may stand at a place of this type: "a number from 0 to 100", "one of "AI", "AO"", "a table"."""
    base, limits = _bare(shape)
    origin = get_origin(base)
    if origin is Literal:
        return "one of " + ", ".join(toml(choice) for choice in get_args(base))
    if members(shape):
        return " or ".join(dict.fromkeys(describe(part) for part in members(shape)))
    if base is bool:
        return "true or false"
    if base is int:
        return "a whole number" + _range(limits)
    if base is float:
        return "a number" + _range(limits)
    if base is str:
        return "a text in quotes" + _length(limits, "character")
    if base is tuple or origin in (tuple, list):
        return _describe_list(base, limits)
    if dataclasses.is_dataclass(base):
        return "a table with " + ", ".join(required(base) or keys(base)[:4])
    return "a table"


def at(cls: Any, loc: Loc) -> Any:
    """The type at a place below `cls`, or None when the place is not in its shape.

    A class named in the place decides between the members of a union; other names of members are passed over.
    """
    shape: Any = cls
    for step in loc:
        inside = below(shape, step)
        if inside is None and len(members(shape)) > 1:
            continue
        if inside is None:
            return None
        shape = inside
    return shape


def plain_loc(cls: Any, loc: Loc) -> Loc:
    """The place without the member names ("float", a class) that pydantic adds inside a union of several types."""
    shape: Any = cls
    plain: list[str | int] = []
    for step in loc:
        inside = below(shape, step)
        named = any(getattr(member, "__name__", None) == step for member in members(shape))
        if named or (inside is None and len(members(shape)) > 1):
            shape = shape if inside is None else inside
            continue
        plain.append(step)
        shape = inside
    return tuple(plain)


def keys(cls: Any) -> tuple[str, ...]:
    """The keys a table of this class may have, in the order of the class; empty for anything else."""
    base = dataclass_of(cls)
    return tuple(f.name for f in dataclasses.fields(base) if f.init) if base is not None else ()


def required(cls: Any) -> tuple[str, ...]:
    """The keys a table of this class must have."""
    base = dataclass_of(cls)
    if base is None:
        return ()
    nothing = dataclasses.MISSING
    return tuple(
        f.name for f in dataclasses.fields(base) if f.init and f.default is nothing and f.default_factory is nothing
    )


def dataclass_of(shape: Any) -> Any:
    """The dataclass in a type: itself, or the one in `X | None`; None when there is none."""
    base, _ = _bare(shape)
    if dataclasses.is_dataclass(base):
        return base
    inside = [dataclass_of(part) for part in members(shape)]
    return next((found for found in inside if found is not None), None)


def number_type(shape: Any) -> type | None:
    """int, float or bool when a place holds one (also as `X | None`), else None."""
    base, _ = _bare(shape)
    if base in (int, float, bool):
        return base  # type: ignore[no-any-return]
    found = {number_type(part) for part in members(shape)}
    return found.pop() if len(found) == 1 else None


def toml(value: object) -> str:
    """A value as it would stand in a file, cut to a length that fits on a line."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = '"' + value.replace("\n", "\\n") + '"'
    elif isinstance(value, Mapping):
        text = "{" + ", ".join(f"{key} = {toml(part)}" for key, part in list(value.items())[:4]) + "}"
    elif isinstance(value, list | tuple):
        text = "[" + ", ".join(toml(part) for part in value[:4]) + (", ...]" if len(value) > 4 else "]")
    else:
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def place(loc: Iterable[str | int]) -> str:
    """A place in a file as people write it: `phases[1].end.any[0]`."""
    text = ""
    for step in loc:
        text += f"[{step}]" if isinstance(step, int) else (f".{step}" if text else step)
    return text or "(whole file)"


def members(shape: Any) -> list[Any]:
    """The types of a union, None left out; of anything else nothing."""
    base, _ = _bare(shape)
    if get_origin(base) not in (Union, types.UnionType):
        return []
    return [part for part in get_args(base) if part is not type(None)]


def below(shape: Any, step: str | int) -> Any:
    """The type of one entry of a table, list or union; None when it has none such."""
    base, _ = _bare(shape)
    origin = get_origin(base)
    if members(shape):
        tables = [part for part in members(shape) if dataclasses.is_dataclass(part)]
        named = [part for part in tables if getattr(part, "__name__", "") == step]
        if named:
            return named[0]
        inside = [below(part, step) for part in members(shape)]
        return next((found for found in inside if found is not None), None)
    if dataclasses.is_dataclass(base):
        return _hints(cast(Hashable, base)).get(str(step))
    args = get_args(base)
    if origin in (tuple, list) and isinstance(step, int):
        if origin is tuple and not (len(args) == 2 and args[1] is Ellipsis):
            return args[step] if step < len(args) else None
        return args[0]
    if isinstance(origin, type) and issubclass(origin, Mapping) and isinstance(step, str):
        return args[1]
    return None


@cache
def _hints(cls: Any) -> dict[str, Any]:
    return get_type_hints(cls, include_extras=True)


def _bare(shape: Any) -> tuple[Any, tuple[Any, ...]]:
    """A type without its Annotated wrapper, and what the wrapper said."""
    if get_origin(shape) is Annotated:
        base, *limits = get_args(shape)
        return base, tuple(limits)
    return shape, ()


def _describe_list(base: Any, limits: tuple[Any, ...]) -> str:
    args = get_args(base)
    if args and args[-1] is not Ellipsis and get_origin(base) is tuple:
        return f"a list of {len(args)} values"
    return "a list" + _length(limits, "entry")


def _range(limits: tuple[Any, ...]) -> str:
    low = next((f"{x.ge:g}" for x in limits if isinstance(x, bounds.Ge)), "")
    above = next((f"{x.gt:g}" for x in limits if isinstance(x, bounds.Gt)), "")
    high = next((f"{x.le:g}" for x in limits if isinstance(x, bounds.Le)), "")
    below = next((f"{x.lt:g}" for x in limits if isinstance(x, bounds.Lt)), "")
    if low and high:
        return f" from {low} to {high}"
    first = f"of at least {low}" if low else f"above {above}" if above else ""
    last = f"at most {high}" if high else f"below {below}" if below else ""
    both = " and ".join(part for part in (first, last) if part)
    return f" {both}" if both else ""


def _length(limits: tuple[Any, ...], thing: str) -> str:
    for limit in limits:
        if isinstance(limit, bounds.Len | bounds.MinLen | bounds.MaxLen):
            low = getattr(limit, "min_length", 0)
            high = getattr(limit, "max_length", None)
            many = "entries" if thing == "entry" else thing + "s"
            if low and high is not None:
                return f" of {low} to {high} {many}"
            if low:
                return f" of at least {low} {thing if low == 1 else many}"
            if high is not None:
                return f" of at most {high} {many}"
    return ""
