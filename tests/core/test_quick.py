"""The quick maker gives records that differ in nothing from those of the ordinary constructor."""

from __future__ import annotations

import pickle
from dataclasses import FrozenInstanceError, dataclass, replace

import pytest

from controller.core.frames import Frame, RawInputs
from controller.core.quick import maker, row_maker
from controller.store.recorder import Scan


def test_a_made_record_is_equal_frozen_and_of_its_class() -> None:
    columns = ((1.0,), (0,), ("",), (True,), 3)
    made, plain = maker(Frame)(*columns), Frame(*columns)
    assert type(made) is Frame
    assert made == plain
    assert hash(made) == hash(plain)
    assert repr(made) == repr(plain)
    assert replace(made, age_scans=4) == replace(plain, age_scans=4)
    assert pickle.loads(pickle.dumps(made)) == plain
    with pytest.raises(FrozenInstanceError):
        made.age_scans = 5  # type: ignore[misc]


def test_a_default_stands_for_a_field_left_out() -> None:
    made = maker(RawInputs)((4000,), (True,), 2)
    assert made == RawInputs((4000,), (True,), 2)
    assert made.analog_ages == ()


def test_a_field_too_few_is_refused() -> None:
    with pytest.raises(TypeError):
        maker(Frame)((1.0,))


def test_classes_it_would_build_wrongly_are_refused() -> None:
    @dataclass(frozen=True)
    class WithoutSlots:
        x: int

    @dataclass(frozen=True, slots=True)
    class Checked:
        x: int

        def __post_init__(self) -> None:
            raise AssertionError

    for wrong in (WithoutSlots, Checked):
        with pytest.raises(TypeError, match="must be a slotted dataclass"):
            maker(wrong)


def test_a_made_row_is_what_its_own_constructor_gives() -> None:
    fields = (7, 1000, 7.0, b"words", (1.0,), (0,), (2.0,), None, (), (), None)
    made = row_maker(Scan)(fields)
    assert type(made) is Scan
    assert made == Scan(*fields)
    assert made.state is None
