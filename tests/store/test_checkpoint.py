"""A checkpoint gives back exactly the state that was written."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.frames import Command
from controller.errors import StoreError
from controller.store.checkpoint import StateCodec


class Pair(NamedTuple):
    name: str
    value: float


@dataclass(frozen=True, slots=True)
class Inner:
    value: float
    since_s: float | None
    flags: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class State:
    inner: Inner
    count: int
    pairs: tuple[Pair, ...]
    data: tuple[tuple[str, str | float | int | bool], ...] = ()


@dataclass(frozen=True, slots=True)
class Ordered:
    orders: tuple[Command, ...]


CODEC = StateCodec(State)
FLOATS = st.floats(allow_nan=False)


@given(FLOATS, st.none() | FLOATS, st.integers(), st.lists(st.tuples(st.text(), st.text() | FLOATS | st.booleans())))
def test_any_state_comes_back(value: float, since_s: float | None, count: int, data: list[tuple[str, object]]) -> None:
    state = State(Inner(value, since_s, (True, False)), count, (Pair("a", value),), tuple(data))  # type: ignore[arg-type]
    back = CODEC.load(CODEC.dump(state))
    assert back == state
    assert repr(back) == repr(state)  # -0.0, and 1 against 1.0 against True


def test_nan_stays_nan_and_none_stays_none() -> None:
    back = CODEC.load(CODEC.dump(State(Inner(math.nan, None, ()), 0, (Pair("a", math.inf),))))
    assert math.isnan(back.inner.value)
    assert back.inner.since_s is None
    assert back.pairs == (Pair("a", math.inf),)
    nan = CODEC.load(CODEC.dump(replace(back, inner=replace(back.inner, since_s=math.nan)))).inner.since_s
    assert nan is not None
    assert math.isnan(nan)


def test_another_versions_checkpoint_is_refused_with_what_to_do() -> None:
    with pytest.raises(StoreError, match=r"does not fit.*inner.*another --out"):
        CODEC.load('[{"inner": 3, "count": 1, "pairs": []}]')


@pytest.mark.parametrize("value", [6, 6.0, True, "6"])
def test_an_argument_of_an_order_comes_back_as_it_was_given(value: float | bool | str) -> None:
    codec = StateCodec(Ordered)
    given_ = Ordered((Command("a-1", "discharge", "yard", (("bay", value),)),))
    assert repr(codec.load(codec.dump(given_))) == repr(given_)
