"""Which surfaces are watched and which probe is nearest, and what is refused by its field."""

from __future__ import annotations

from math import isnan, nan

import pytest

from controller.core.binding import Binder
from controller.core.climate.watched import (
    BoardProbe,
    ClimateConfig,
    FrameProbe,
    Pair,
    counting,
    nearest,
    watched_surfaces,
)
from controller.core.points import Point
from controller.errors import ConfigError

TAGS = ("TT-1", "TT-2", "TT-3", "TT-4", "TT-5")
POINTS = tuple(
    Point(tag=tag, kind="AI", text="", device="p", address=0, signal="4-20mA", raw_lo=4000, raw_hi=20000)
    for tag in TAGS
)
OTHER = dict.fromkeys(
    ("supply", "return_air", "hall", "outdoor_t", "outdoor_rh", "airflow", "fan_power", "heat_power", "fog_flow"),
    "TT-1",
)
PAIR = Pair(t="TT-1", rh="TT-2", bay=1, level=1)


def test_surfaces_have_columns_words_and_the_bay_of_boards() -> None:
    config = ClimateConfig(
        pairs=(PAIR,), boards=(BoardProbe(tag="TT-3", bay=2), BoardProbe(tag="TT-2", bay=3, level=4)),
        frames=(FrameProbe(tag="TT-4", bay=1),), ceiling="TT-5", **OTHER,
    )
    binder = Binder("climate", POINTS)
    assert watched_surfaces(config, binder, 6, 12, (3,)) == [
        (2, "board bay 2 level 1", 2), (3, "door frame bay 1", 0), (4, "ceiling", 0),
    ]
    binder.done()


def test_every_place_and_tag_that_is_none_is_refused_by_its_field() -> None:
    config = ClimateConfig(
        pairs=(PAIR,), boards=(BoardProbe(tag="XX-1", bay=7, level=13),), frames=(FrameProbe(tag="XX-2", bay=7),),
        ceiling="XX-3", **OTHER,
    )
    binder = Binder("climate", POINTS)
    watched_surfaces(config, binder, 6, 12, ())
    with pytest.raises(ConfigError) as refused:
        binder.done()
    assert [(problem.field, problem.value) for problem in refused.value.problems] == [
        ("climate.boards[0].bay", "7"), ("climate.boards[0].level", "13"), ("climate.boards[0].tag", "XX-1"),
        ("climate.frames[0].bay", "7"), ("climate.frames[0].tag", "XX-2"), ("climate.ceiling", "XX-3"),
    ]


@pytest.mark.parametrize(
    ("bay", "order"), [(1, (1, 3, 0, 2)), (2, (3, 1, 2, 0)), (3, (3, 1, 2, 0))]
)
def test_probes_by_distance_from_a_bottom_board_a_bay_counts_like_four_levels(bay: int, order: tuple[int, ...]) -> None:
    """Places (bay, level): (1, 6), (1, 1), (2, 5), (2, 1); of two equally far the first."""
    pairs = tuple(Pair(t="a", rh="b", bay=at, level=level) for at, level in ((1, 6), (1, 1), (2, 5), (2, 1)))
    assert nearest(pairs, bay) == order


def test_of_two_probes_equally_far_the_first_is_nearest() -> None:
    pairs = tuple(Pair(t="a", rh="b", bay=at, level=level) for at, level in ((1, 5), (2, 1)))
    assert nearest(pairs, 1) == (0, 1)
    assert nearest(pairs[::-1], 1) == (0, 1)


def test_what_does_not_count_is_unknown() -> None:
    first, second, third = counting((True, False, True), (1.5, 2.5, nan))
    assert first == 1.5
    assert isnan(second)
    assert isnan(third)
