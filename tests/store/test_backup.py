"""A backup is a whole record at one moment, or there is none."""

from __future__ import annotations

import json
import sqlite3
import threading
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from controller.core.frames import Event
from controller.errors import StoreError
from controller.store import backup
from controller.store.backup import MANIFEST, RECORD, back_up, restore
from controller.store.desk import DESK, Desk
from controller.store.reader import Reader
from controller.store.verify import verify

Make = Callable[..., Any]


@pytest.fixture
def data(path: Path, make_recorder: Make, make_scan: Make) -> Path:
    """A data folder with four minutes and a summary."""
    recorder = make_recorder()
    for scan in range(240):
        recorder.add(make_scan(scan, Event("state", "", "running")) if scan % 60 == 0 else make_scan(scan))
    recorder.close()
    (path.parent / "summary.json").write_text('{"verdict": "pass"}\n', encoding="utf-8")
    return path.parent


def content(record: Path) -> list[Any]:
    with closing(Reader(record)) as reader:
        return [list(reader.frames()), reader.journal(), reader.checkpoint(), reader.cycles()]


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def repacked(file: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """The backup with other content; the archive itself is sound."""
    with zipfile.ZipFile(file) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    change(files)
    with zipfile.ZipFile(file, "w") as archive:
        for name, bytes_ in files.items():
            archive.writestr(name, bytes_)
    return file


def test_what_is_restored_is_what_was_there(data: Path, tmp_path: Path) -> None:
    manifest = back_up(data, tmp_path / "safe" / "day.zip")
    assert manifest["last_scan"] == 239
    assert manifest["cycle_open"] is True
    assert sorted(manifest["files"]) == [RECORD, "summary.json"]
    assert names(tmp_path / "safe") == ["day.zip"]
    assert restore(tmp_path / "safe" / "day.zip", tmp_path / "new") == manifest
    assert names(tmp_path / "new") == [RECORD, "summary.json"]
    assert content(tmp_path / "new" / RECORD) == content(data / RECORD)
    assert verify(tmp_path / "new" / RECORD) == []
    assert (tmp_path / "new" / "summary.json").read_bytes() == (data / "summary.json").read_bytes()


def test_copies_taken_while_control_writes_are_whole(
    path: Path, make_recorder: Make, make_scan: Make, tmp_path: Path
) -> None:
    """A thread commits scan after scan; each of eight copies is consistent up to its own last scan, and none waits."""
    recorder = make_recorder(every_scan=True)
    recorder.add(make_scan(0))
    recorder.commit()
    done = threading.Event()

    def control() -> None:
        for scan in range(1, 100_000):
            recorder.add(make_scan(scan, Event("note", "", f"scan {scan}")))
            assert recorder.commit()
            if done.is_set():
                return

    thread = threading.Thread(target=control)
    thread.start()
    try:
        lasts = [back_up(path.parent, tmp_path / f"{number}.zip")["last_scan"] for number in range(8)]
    finally:
        done.set()
        thread.join()
    assert lasts == sorted(lasts)
    assert lasts[-1] > lasts[0]
    for number, last in enumerate(lasts):
        restore(tmp_path / f"{number}.zip", tmp_path / str(number))
        frames, journal, _checkpoint, _cycles = content(tmp_path / str(number) / RECORD)
        assert [frame.scan for frame in frames] == list(range(last + 1))
        assert [line.text for line in journal] == [f"scan {scan}" for scan in range(1, last + 1)]


def test_a_record_that_was_changed_is_not_copied(data: Path, tmp_path: Path) -> None:
    with closing(sqlite3.connect(data / RECORD)) as db, db:
        db.execute("UPDATE journal SET text = 'stopped' WHERE id = 2")
    with pytest.raises(StoreError, match=r"journal line 2 was changed.*older backup"):
        back_up(data, tmp_path / "day.zip")
    assert not (tmp_path / "day.zip").exists()


def test_a_backup_that_fails_leaves_the_older_one(
    data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk gives back other bytes than it was given."""
    back_up(data, tmp_path / "day.zip")
    before = (tmp_path / "day.zip").read_bytes()
    monkeypatch.setattr(backup, "_pack", lambda packed, work, manifest: packed.write_bytes(before[: len(before) // 2]))
    with pytest.raises(StoreError, match="cannot be written"):
        back_up(data, tmp_path / "day.zip")
    assert (tmp_path / "day.zip").read_bytes() == before
    assert [name for name in names(tmp_path) if name.startswith(".")] == []


def test_a_record_is_never_overwritten(data: Path, tmp_path: Path) -> None:
    back_up(data, tmp_path / "day.zip")
    before = (data / RECORD).read_bytes()
    with pytest.raises(StoreError, match="never overwritten: give another folder"):
        restore(tmp_path / "day.zip", data)
    assert (data / RECORD).read_bytes() == before


def _manifest_with(**changes: Any) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        files[MANIFEST] = json.dumps({**json.loads(files[MANIFEST]), **changes}).encode()

    return change


def _other_byte(files: dict[str, bytes]) -> None:
    record = bytearray(files[RECORD])
    record[20_000] ^= 1
    files[RECORD] = bytes(record)


def _longer(files: dict[str, bytes]) -> None:
    files[RECORD] += b"\0"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda files: files.pop(MANIFEST), "manifest.*missing or damaged"),
        (lambda files: files.update({MANIFEST: b"{}"}), "manifest.*missing or damaged"),
        (lambda files: files.update({MANIFEST: b"\xff"}), "manifest.*missing or damaged"),
        (lambda files: files.pop(RECORD), "cannot be restored|no item"),
        (_other_byte, f"{RECORD} in the backup .* is damaged"),
        (_longer, f"{RECORD} in the backup .* is damaged"),
        (_manifest_with(format=99), "record of format 99"),
        (_manifest_with(files={"../evil": {"bytes": 1, "sha256": ""}}), "names other files"),
        (_manifest_with(files={}), "names other files"),
    ],
)
def test_a_damaged_backup_is_refused_and_leaves_nothing(
    data: Path, tmp_path: Path, change: Callable[[dict[str, bytes]], None], said: str
) -> None:
    back_up(data, tmp_path / "day.zip")
    with pytest.raises(StoreError, match=f"(?i){said}"):
        restore(repacked(tmp_path / "day.zip", change), tmp_path / "new")
    assert not (tmp_path / "new").exists() or names(tmp_path / "new") == []


def test_a_byte_changed_anywhere_in_the_file_does_no_harm(data: Path, tmp_path: Path) -> None:
    """Forty places over the file: refused, or (in what the archive keeps twice) restored unchanged."""
    back_up(data, tmp_path / "day.zip")
    sound = (tmp_path / "day.zip").read_bytes()
    whole = content(data / RECORD)
    refused = 0
    for number in range(40):
        changed = bytearray(sound)
        changed[len(sound) * number // 40] ^= 0x55
        (tmp_path / "bad.zip").write_bytes(changed)
        try:
            restore(tmp_path / "bad.zip", tmp_path / f"new{number}")
        except StoreError:
            refused += 1
        else:
            assert content(tmp_path / f"new{number}" / RECORD) == whole
    assert refused >= 30


def test_what_is_no_backup_is_called_so(tmp_path: Path) -> None:
    (tmp_path / "text").write_text("not a backup", encoding="utf-8")
    with pytest.raises(StoreError, match="damaged or no backup"):
        restore(tmp_path / "text", tmp_path / "new")
    with pytest.raises(StoreError, match="there is no backup at"):
        restore(tmp_path / "missing", tmp_path / "new")


def test_the_desk_goes_along_while_others_write_at_it(data: Path, tmp_path: Path) -> None:
    """Accounts, recipe versions and notes: what is committed, without what somebody is about to write."""
    with Desk(data / DESK) as desk, desk.writing() as db:
        db.execute("INSERT INTO notes (utc_ms, who, role, about, text) VALUES (1, 'ana', '', '', 'kept')")
    with Desk(data / DESK) as desk, desk.writing() as db:
        db.execute("INSERT INTO notes (utc_ms, who, role, about, text) VALUES (2, 'ben', '', '', 'not yet')")
        manifest = back_up(data, tmp_path / "day.zip")
    assert sorted(manifest["files"]) == [DESK, RECORD, "summary.json"]
    assert manifest["left_out"] == {}
    restore(tmp_path / "day.zip", tmp_path / "back")
    with Desk(tmp_path / "back" / DESK) as desk:
        assert desk.rows("SELECT text FROM notes") == [("kept",)]
    assert names(tmp_path / "back") == [DESK, RECORD, "summary.json"]


def test_a_desk_in_trouble_is_left_out_and_said(data: Path, tmp_path: Path) -> None:
    (data / DESK).write_bytes(b"\xff" * 20_000)
    manifest = back_up(data, tmp_path / "day.zip")
    assert DESK not in manifest["files"]
    assert "not a database" in manifest["left_out"][DESK]
    assert restore(tmp_path / "day.zip", tmp_path / "back")["last_scan"] == 239
