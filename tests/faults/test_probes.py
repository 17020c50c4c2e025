"""A probe fails or a word is garbage in a hold: it is told, never used, and the others carry on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any

import pytest

from controller.core.frames import Quality
from controller.link.direct import DirectLink

LOST = 205  # in the hold, heat and fog at work
AIR = tuple(f"TT-101{letter}" for letter in "ABCDEFGH")
MOIST = tuple(f"MT-101{letter}" for letter in "ABCDEFGH")


class Spoilt:
    """The link to a device with a card gone mad: `spoil` changes its input block."""

    def __init__(self, link: Any, spoil: Callable[[list[int]], None]) -> None:
        self._link, self._spoil = link, spoil
        self.counts = link.counts

    def read(self) -> list[int]:
        return list(self._link.read())

    def write(self, words: Sequence[int]) -> None:
        self._link.write(words)

    def turn(self, words: Sequence[int]) -> list[int]:
        answer = list(self._link.turn(words))
        self._spoil(answer)
        return answer

    def close(self) -> None:
        self._link.close()


def column(rig: Any, tag: str) -> int:
    return [point.tag for point in rig.session.bundle.points if point.kind == "AI"].index(tag)


def word(rig: Any, tag: str) -> int:
    return next(point.address for point in rig.session.bundle.points if point.tag == tag)


def lose(rig: Any, tags: Sequence[str]) -> Callable[[], None]:
    return lambda: [rig.plant.chamber.lose_probe(tag) for tag in tags] and None


@pytest.mark.parametrize("tag", ["TT-101A", "MT-101H", "TT-105D", "TT-107", "TT-104A", "TT-111"])
def test_one_open_circuit_is_told_and_left_out(rig: Any, tag: str) -> None:
    """Its transmitter fails low (below 3.6 mA); after the hold time it is bad, alarmed, and the hold goes on."""
    rig.run(LOST + 150, acts={LOST: lose(rig, [tag])})
    last = rig.results[-1].frame
    assert last.qualities[column(rig, tag)] == Quality.BAD
    assert last.values[column(rig, tag)] != last.values[column(rig, tag)]
    assert last.qualities.count(Quality.BAD) == 1
    alarm = rig.rows("alarm", "probe-bad")
    assert len(alarm) == 1
    assert LOST < alarm[0][0] <= LOST + 20
    assert rig.rows("trip") == []
    assert rig.state(LOST + 149) == "running"
    before, after = rig.results[LOST].climate, rig.results[-1].climate
    assert after.temperature_ok
    assert after.moisture_ok
    assert after.temperature_degC == pytest.approx(before.temperature_degC, abs=0.7)
    assert any(rig.out(scan, "YC-103") for scan in range(LOST + 60, LOST + 150))


@pytest.mark.parametrize("garbage", [0, 1, 3599, 21001, 32768, 65535])
def test_garbage_in_one_word_never_reaches_the_mean(rig: Any, garbage: int) -> None:
    """Every scan of the trouble, not only its end, stays where a run without the trouble is."""
    turned = 0

    def spoil(words: list[int]) -> None:
        nonlocal turned
        turned += 1
        if turned > LOST:
            words[word(rig, "TT-101C")] = garbage

    rig.link = Spoilt(DirectLink(rig.plant.device), spoil)
    rig.run(LOST + 60)
    means = [result.climate.temperature_degC for result in rig.results[LOST - 5 :]]
    assert max(abs(b - a) for a, b in pairwise(means)) < 0.15
    assert rig.results[-1].frame.qualities[column(rig, "TT-101C")] == Quality.BAD
    assert rig.state(LOST + 59) == "running"
    assert rig.rows("trip") == []


def test_no_good_temperature_takes_the_heat_at_once_and_stops_the_clock(rig: Any) -> None:
    rig.run(LOST + 60, acts={LOST: lose(rig, AIR)})
    assert rig.out(LOST, "YC-103") == 1.0
    blind = next(scan for scan in range(LOST, LOST + 60) if not rig.results[scan].climate.temperature_ok)
    assert blind <= LOST + 10
    for scan in range(blind, LOST + 60):
        assert rig.out(scan, "TCV-103") == rig.out(scan, "YC-103") == 0.0
    assert rig.rows("trip", "temperature-bad")[0][0] <= blind + 5
    assert rig.state(LOST + 59) == "held"
    assert rig.out(LOST + 59, "YC-101") == 1.0  # the air moves on


def test_no_good_humidity_takes_the_fog_at_once_and_keeps_the_heat(rig: Any) -> None:
    rig.run(LOST + 60, acts={LOST: lose(rig, MOIST)})
    assert rig.out(LOST, "XV-102A") + rig.out(LOST, "XV-102B") > 0.0
    blind = next(scan for scan in range(LOST, LOST + 60) if not rig.results[scan].climate.moisture_ok)
    for scan in range(blind, LOST + 60):
        assert rig.out(scan, "XV-102A") == rig.out(scan, "XV-102B") == 0.0
    assert rig.rows("trip", "humidity-bad")
    assert rig.state(LOST + 59) == "held"
    assert any(rig.out(scan, "YC-103") for scan in range(blind, LOST + 60))


def test_all_words_zero_is_another_device_and_no_frame(rig: Any) -> None:
    """A device that lost its mind answers, but without its signature: the link counts as lost, in words."""
    turned = 0

    def spoil(words: list[int]) -> None:
        nonlocal turned
        turned += 1
        if turned > LOST:
            words[:] = [0] * len(words)

    rig.link = Spoilt(DirectLink(rig.plant.device), spoil)
    rig.run(LOST + 30)
    assert rig.rows("trip")[0][1].tag == "link-lost"
    assert "signature" in rig.rows("link")[0][1].text
    dangerous = ("YC-103", "XV-102A", "XV-102B")
    assert not any(rig.out(scan, tag) for tag in dangerous for scan in range(LOST + 5, LOST + 30))


@pytest.mark.parametrize(("tag", "microamps"), [("TT-101C", 1600), ("MT-101F", -2800)])
def test_one_that_reads_wrong_is_found_by_its_siblings(rig: Any, tag: str, microamps: int) -> None:
    """A wrong range adds 7 K, or takes 17.5 %RH: it moves and answers as ever. Left out after ten minutes and told;
    the climate that control believes in stays where it was."""
    at = word(rig, tag)

    def spoil(words: list[int]) -> None:
        words[at] = max(3900, min(20_400, words[at] + microamps))

    rig.link = Spoilt(rig.link, lambda words: spoil(words) if len(rig.results) > LOST else None)
    rig.run(LOST + 900)
    last = rig.results[-1]
    assert last.frame.reasons[column(rig, tag)].startswith("disagrees with its siblings")
    assert [event.tag for _scan, event in rig.rows("alarm")] == ["probe-disagrees"]
    (scan, note), = [row for row in rig.rows("note") if row[1].tag == tag]
    assert LOST + 540 <= scan <= LOST + 660
    assert "the median of all" in note.text
    assert abs(last.climate.temperature_degC - rig.results[LOST - 1].climate.temperature_degC) < 1.0
