"""A second controller on one device is found out: on this computer by its claim, on another by the moving heartbeat."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from controller.core.frames import RawInputs
from controller.errors import UnavailableError
from controller.runtime.sole import WATCH_S, DeviceClaim, own_heartbeat, require_sole


@dataclass
class Place:
    name: str = "panel"
    host: str = "127.0.0.1"
    port: int = 1


def test_a_device_can_be_claimed_once_and_again_after_it_was_let_go() -> None:
    with DeviceClaim([Place()]):
        with pytest.raises(UnavailableError, match=r"another controller of this process .* commands panel at"):
            DeviceClaim([Place()]).__enter__()
        with DeviceClaim([Place(port=2)]):
            pass
    with DeviceClaim([Place()]):
        assert True


def test_two_names_of_one_address_are_one_device() -> None:
    with DeviceClaim([Place(host="localhost")]), pytest.raises(UnavailableError, match=r"127\.0\.0\.1:1"):
        DeviceClaim([Place(host="127.0.0.1")]).__enter__()


def test_of_several_devices_none_is_held_when_one_is_taken() -> None:
    with DeviceClaim([Place(port=4)]):
        with pytest.raises(UnavailableError, match=r":4"):
            DeviceClaim([Place(port=3), Place(port=4)]).__enter__()
        with DeviceClaim([Place(port=3)]):
            pass


def test_the_process_that_holds_it_is_named_and_its_claim_ends_with_it() -> None:
    """A process that is killed leaves nothing behind."""
    code = (
        "import sys, types; from controller.runtime.sole import DeviceClaim;"
        "place = types.SimpleNamespace(name='panel', host='127.0.0.1', port=5);"
        "claim = DeviceClaim([place]).__enter__(); print('held', flush=True); sys.stdin.read()"
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    with subprocess.Popen(
        [sys.executable, "-c", code], env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(UnavailableError, match=rf"another controller \(process {holder.pid}\) on this computer"):
            DeviceClaim([Place(port=5)]).__enter__()
        holder.kill()
        holder.wait()
    with DeviceClaim([Place(port=5)]):
        pass


class Device:
    """Its heartbeat goes on by `per_look` at every look; looked counts."""

    def __init__(self, echo: int, per_look: int = 0, from_look: int = 0) -> None:
        self.echo, self.per_look, self.from_look, self.looked = echo, per_look, from_look, 0

    def read(self) -> list[int]:
        if self.looked >= self.from_look:
            self.echo += self.per_look
        self.looked += 1
        return [self.echo & 0xFFFF]


def look(device: Device, own: int | None = None) -> float:
    """Seconds of a clock that only moves when somebody sleeps."""
    now = [0.0]

    def sleep(seconds: float) -> None:
        now[0] += seconds

    require_sole(
        device.read, lambda words: RawInputs((), (), echo=words[0]), "panel at x:1", own=own, watch_s=WATCH_S,
        clock_s=lambda: now[0], sleep=sleep,
    )
    return now[0]


def test_a_heartbeat_that_moves_is_another_controllers() -> None:
    with pytest.raises(UnavailableError, match=r"its heartbeat went from 8 to 9 within .* perhaps on another computer"):
        look(Device(7, per_look=1))


def test_one_that_is_written_every_five_seconds_is_seen_too() -> None:
    with pytest.raises(UnavailableError, match="another controller commands panel at x:1"):
        look(Device(7, per_look=1, from_look=100))


def test_one_that_stands_is_free_after_the_longest_scan_there_may_be() -> None:
    assert look(Device(7)) == pytest.approx(WATCH_S, abs=0.1)


@pytest.mark.parametrize(("echo", "own"), [(0, None), (500, 500), (502, 500), (1, 65535)])
def test_where_nobody_or_only_we_have_written_a_glance_is_enough(echo: int, own: int | None) -> None:
    """After a crash control must be back before the device's watchdog acts."""
    assert look(Device(echo), own) < 0.5


@pytest.mark.parametrize(("echo", "own"), [(504, 500), (499, 500)])
def test_a_heartbeat_that_is_not_ours_is_watched(echo: int, own: int) -> None:
    assert look(Device(echo), own) > 5.0


def test_the_heartbeat_of_our_last_block_stands_in_the_record(
    tmp_path: Path, make_runner: Callable[..., Any], start: Any, panel: Any
) -> None:
    from controller.store.header import Header
    from controller.store.recorder import Recorder

    path = tmp_path / "record.sqlite"
    assert own_heartbeat(path) is None
    header = Header(tags=("TT-1",), computed=(("X", "x", ""),), input_words=10, output_words=4, scan_s=1.0)
    recorder: Any = Recorder(path, header, began_ms=0)
    panel.echo = 40
    make_runner(recorder=recorder).run(start, 3)
    recorder.close()
    assert own_heartbeat(path) == 43
    path.write_bytes(b"damaged")
    assert own_heartbeat(path) is None
