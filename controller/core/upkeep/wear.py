"""Hours and starts of each drive, kept over restarts: when something is due for service, and whether it stood still.

A drive is an output or the contact that says that it runs. Time is added up when something changes, so a scan in
which nothing does costs a comparison. An outage of the controller counts as standing still.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Annotated, cast

from annotated_types import Len

from controller.core.binding import Binder
from controller.core.climate.places import picker
from controller.core.points import Point, index_of

Pick = Callable[[tuple[bool, ...]], tuple[bool, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class WearConfig:
    """[wear]. drives: tags of contacts (DI) that say that something runs, or of outputs (DO) that make it run."""

    drives: Annotated[tuple[str, ...], Len(0, 64)] = ()


@dataclass(frozen=True, slots=True)
class Drive:
    """on_s: time on up to the last change; starts: times switched on; last_s: when it was last seen on."""

    tag: str
    on_s: float = 0.0
    starts: int = 0
    last_s: float = 0.0


@dataclass(frozen=True, slots=True)
class WearState:
    """contacts, outputs: which drives are on since `since_s`, the last change of any of them."""

    contacts: tuple[bool, ...] = ()
    outputs: tuple[bool, ...] = ()
    since_s: float = 0.0
    drives: tuple[Drive, ...] = ()


@dataclass(frozen=True, slots=True)
class WearPlan:
    """tags: in the order of the state's drives, contacts first, so many of them."""

    tags: tuple[str, ...]
    contact_count: int
    contacts: Pick
    outputs: Pick


def bind(config: WearConfig, points: tuple[Point, ...]) -> WearPlan:
    """Tags to columns. Raises ConfigError for a tag that is neither a contact nor a switching output."""
    contacts, outputs = index_of(points, "DI"), index_of(points, "DO")
    binder = Binder("wear", points)
    for tag in config.drives:
        if tag not in contacts and tag not in outputs:
            binder.refuse("drives", tag, "neither a DI nor a DO point of the point list", "correct the tag")
    binder.done()
    seen = [tag for tag in config.drives if tag in contacts]
    driven = [tag for tag in config.drives if tag in outputs and tag not in contacts]
    return WearPlan(
        (*seen, *driven),
        len(seen),
        cast(Pick, picker([contacts[tag] for tag in seen])),
        cast(Pick, picker([outputs[tag] for tag in driven])),
    )


def initial(plan: WearPlan) -> WearState:
    """Nothing has run."""
    return WearState(
        (False,) * plan.contact_count, (False,) * (len(plan.tags) - plan.contact_count), 0.0,
        tuple(Drive(tag) for tag in plan.tags),
    )


def follow(
    plan: WearPlan, state: WearState, contacts: tuple[bool, ...], outputs: tuple[bool, ...], now_s: float
) -> WearState:
    """One scan. Gives the same state back while nothing is switched."""
    seen, driven = plan.contacts(contacts), plan.outputs(outputs)
    if seen == state.contacts and driven == state.outputs:
        return state
    was, now = (*state.contacts, *state.outputs), (*seen, *driven)
    drives = [
        replace(drive, starts=drive.starts + (is_on and not was_on)) if is_on is not was_on else drive
        for drive, was_on, is_on in zip(upto(state, now_s), was, now, strict=True)
    ]
    return WearState(seen, driven, now_s, tuple(drives))


def upto(state: WearState, now_s: float) -> tuple[Drive, ...]:
    """The drives with their time up to now."""
    gone_s = max(0.0, now_s - state.since_s)
    return tuple(
        replace(drive, on_s=drive.on_s + gone_s, last_s=now_s) if is_on else drive
        for drive, is_on in zip(state.drives, (*state.contacts, *state.outputs), strict=True)
    )


def carried(state: WearState, until_s: float, plan: WearPlan) -> WearState:
    """Over a restart: what was on counts up to `until_s`, the last scan before; then everything is taken for off.

    Drives are known by their tags, so hours stay when the chamber's own files change.
    """
    known = {drive.tag: drive for drive in upto(state, until_s)}
    return replace(initial(plan), drives=tuple(known.get(tag, Drive(tag)) for tag in plan.tags))
