"""What is set aside: probes of a bay whose door is open or was just shut, boards too young to be kept dry.

In a standing climate doors open all day and cold boards come in. Neither may drag the climate of all others along: the
air probes of an opened bay weigh nothing until it has recovered, and boards younger than `settle_h` are no watched
surfaces (what wets them is estimated in the charge table instead). Boards that are settled stay watched, in an opened
bay too: they cool slowly, and it is they that must stay dry.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.core.climate.climate import ClimatePlan
from controller.core.climate.watched import Mask
from controller.core.frames import Frame
from controller.core.quick import maker
from controller.core.sequence.phases import PhasePlan

_LONG_AGO_S = 1e6  # since a door shut, when none has been seen open
_PAIRS_MIN = 2  # fewer are no picture of a chamber: then only open bays are set aside


@dataclass(frozen=True, slots=True)
class AsidePlan:
    """pair_bays, frame_bays: bay of each pair, and of each watched surface that is a door frame (0 for others).

    board_places: place of each watched surface that is a board (-1 for others).  bay_places: places of each bay whose
    bottom board is estimated.  doors: columns, one a bay; a single door serves every bay.
    """

    pair_bays: tuple[int, ...]
    frame_bays: tuple[int, ...]
    board_places: tuple[int, ...]
    bay_places: tuple[tuple[int, ...], ...]
    doors: tuple[int, ...]
    bays: int


@dataclass(frozen=True, slots=True)
class AsideState:
    """shut_s: per bay, time since its door shut, 0 while open.  open_s: how long some door has been open.

    young: per place, boards that are not watched, as they were when the mask was made.  mask: None = all counts.
    """

    shut_s: tuple[float, ...]
    open_s: float
    young: tuple[bool, ...]
    mask: Mask | None


_state = maker(AsideState)


def bind(climate: ClimatePlan, doors: tuple[int, ...], bays: int, levels: int) -> AsidePlan:
    """Places of everything the climate looks at. doors: their columns among the contacts, in the order of the bays."""
    config, boards, frames = climate.config, {}, {}
    for board in config.boards:
        boards[f"board bay {board.bay} level {board.level}"] = (board.bay - 1) * levels + board.level - 1
    for frame in config.frames:
        frames[f"door frame bay {frame.bay}"] = frame.bay
    return AsidePlan(
        pair_bays=tuple(pair.bay for pair in config.pairs),
        frame_bays=tuple(frames.get(name, 0) for name in climate.surface_names),
        board_places=tuple(boards.get(name, -1) for name in climate.surface_names),
        bay_places=tuple(tuple(range((bay - 1) * levels, bay * levels)) for bay in climate.bays),
        doors=doors if len(doors) == bays else doors[:1] * bays,
        bays=bays,
    )


def initial(plan: AsidePlan) -> AsideState:
    """Every door long shut, nothing young."""
    return AsideState((_LONG_AGO_S,) * plan.bays, 0.0, (), None)


def watch(
    plan: AsidePlan, state: AsideState, frame: Frame, phase: PhasePlan | None, young: tuple[bool, ...], dt_s: float
) -> AsideState:
    """One scan. phase: the one that runs, None when none does. The same state while nothing is set aside anew."""
    blind_s = phase.door_blind_s if phase is not None and phase.on_door_stand else 0.0
    contacts, before = frame.discrete, state.shut_s
    closed = [contacts[column] for column in plan.doors]
    some_open = False in closed
    if not some_open and state.open_s == 0.0 and young is state.young and min(before) > blind_s:
        return state
    shut_s = tuple([since + dt_s if shut else 0.0 for since, shut in zip(before, closed, strict=True)])
    open_s = state.open_s + dt_s if some_open else 0.0
    blind = tuple([blind_s > 0.0 and since <= blind_s for since in shut_s])
    was = [blind_s > 0.0 and since <= blind_s for since in before]
    if young is state.young and list(blind) == was and some_open == (state.open_s > 0.0):
        return _state(shut_s, open_s, young, state.mask)
    return _state(shut_s, open_s, young, _mask(plan, shut_s, blind, young))


def keeps(state: AsideState, phase: PhasePlan) -> bool:
    """Do the loops keep their outputs now: is a door open, and not for too long?"""
    return phase.on_door_stand and 0.0 < state.open_s <= phase.door_keep_s


def _mask(
    plan: AsidePlan, shut_s: tuple[float, ...], blind: tuple[bool, ...], young: tuple[bool, ...]
) -> Mask | None:
    pairs = tuple([not blind[bay - 1] for bay in plan.pair_bays])
    if sum(pairs) < _PAIRS_MIN:
        pairs = tuple([shut_s[bay - 1] > 0.0 for bay in plan.pair_bays])
    if not any(pairs):
        pairs = (True,) * len(pairs)
    surfaces = tuple([
        not (bay and blind[bay - 1]) and not (place >= 0 and young and young[place])
        for bay, place in zip(plan.frame_bays, plan.board_places, strict=True)
    ])
    bays = tuple([not (young and all(young[place] for place in places)) for places in plan.bay_places])
    return None if all(pairs) and all(surfaces) and all(bays) else Mask(pairs, surfaces, bays)
