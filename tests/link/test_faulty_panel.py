"""Faults by frame number on one device of a panel: it ages alone, and the other goes on."""

from __future__ import annotations

from typing import Any

import pytest

from controller.config.bundle import load_site
from controller.core.frames import Event, Outputs
from controller.link.device import Device
from controller.link.faulty import FaultyPanel
from controller.link.layout import require_layout
from controller.link.panelimage import PanelImage
from controller.link.wirefaults import Fault, FaultKind
from controller.rig.cycle import direct_panel
from controller.rig.plant import build, scene

SITE = load_site("demo-south", device_class=Device, layout=require_layout)
IMAGE = PanelImage(SITE.points, SITE.devices)
COUPLER, MODULE = 0, 1  # by their place: io-b has outputs and the counter, rtd-b temperatures only
OUT = Outputs((75.0, 0.0, 0.0), (True, *[False] * 7))
FRAME, FRAMES = 3, 7


def run(device: str, fault: Fault) -> tuple[FaultyPanel, Any, list[list[int]], list[Event]]:
    """A read, then turns; the fault on one device in FRAME. Words of every frame and what the panel told."""
    plant = build(scene(), SITE.points, SITE.devices, lockstep=True)
    link = FaultyPanel(direct_panel(plant, IMAGE), {device: [(FRAME, fault)]})
    told: list[Event] = []
    link.tell = told.append
    seen = [link.read()]
    seen += [link.turn(IMAGE.encode(OUT, beat, 1000)) for beat in range(1, FRAMES)]
    return link, plant, seen, told


AGED = [
    ("lost-request", "timeout"), ("lost-reply", "timeout"), ("late-request", "timeout"), ("wrong-unit", "wrong-header"),
    ("wrong-transaction", "wrong-header"), ("wrong-protocol", "wrong-header"), ("exception", "exception-4"),
    ("wrong-function", "wrong-function"), ("fewer-registers", "wrong-length"), ("more-registers", "wrong-length"),
    ("broken-frame", "timeout"), ("reset", "closed"), ("disconnected", "refused"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "error"), AGED, ids=[kind for kind, _ in AGED])
@pytest.mark.parametrize(("name", "number"), [("io-b", COUPLER), ("rtd-b", MODULE)])
def test_the_device_ages_alone_for_a_frame_and_is_told(name: str, number: int, kind: FaultKind, error: str) -> None:
    link, plant, seen, told = run(name, Fault(kind=kind))
    assert [words[number] for words in seen] == [0, 0, 0, 1, 0, 0, 0]
    assert {words[1 - number] for words in seen} == {0}
    assert link.counts[f"{name} {error}"] == 1
    assert [dict(event.data).get("kind") for event in told] == [error, None]
    assert told[1].text == f"{name} answers again after 1 scans"
    assert plant.device.scans == FRAMES - 1, "no simulated time is lost"


def test_a_reply_with_swapped_bytes_is_known_by_its_signature_where_there_is_one() -> None:
    _, _, seen, told = run("io-b", Fault(kind="byte-swapped"))
    assert seen[FRAME][COUPLER] == 1
    assert dict(told[0].data)["kind"] == "wrong-signature"
    _, _, seen, told = run("rtd-b", Fault(kind="byte-swapped"))
    assert seen[FRAME][MODULE] == 0, "a module without a header cannot tell"
    assert told == []


def test_a_flipped_bit_is_in_the_words_of_its_device_only() -> None:
    _, _, well, _ = run("rtd-b", Fault(kind="slow-reply"))
    link, _, seen, _ = run("rtd-b", Fault(kind="bit-flip", word=2, bit=4))
    first = IMAGE.members[MODULE].inputs.start
    places = [(frame, at) for frame in range(FRAMES) for at in range(IMAGE.input_count)]
    changed = [(frame, at) for frame, at in places if well[frame][at] != seen[frame][at]]
    assert changed == [(FRAME, first + 2)]
    assert seen[FRAME][first + 2] == well[FRAME][first + 2] ^ 16
    assert link.counts["rtd-b bit-flip"] == 1


def test_a_block_that_comes_twice_is_dropped_as_old_by_a_device_with_a_heartbeat() -> None:
    _, plant, seen, told = run("io-b", Fault(kind="duplicated"))
    stale = IMAGE.members[COUPLER].inputs.start + 6
    assert [words[stale] for words in seen] == [0, 0, 0, 1, 1, 1, 1]
    assert (plant.device.scans, told) == (FRAMES - 1, [])
