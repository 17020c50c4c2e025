"""A copy of a data folder in one file, taken while control writes, and put back elsewhere.

The file is a ZIP: MANIFEST.json, the record as SQLite's own backup copied it, and the small files beside it. What
cannot be proven whole is never given its final name.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from collections.abc import Mapping
from contextlib import closing
from datetime import UTC, datetime
from hashlib import file_digest
from pathlib import Path
from typing import Any

from controller import __version__
from controller.errors import StoreError
from controller.store.desk import DESK
from controller.store.desk_schema import peek_at_desk
from controller.store.reader import Reader
from controller.store.schema import FORMAT, open_for_reading
from controller.store.trouble import advice
from controller.store.verify import verify

RECORD = "record.sqlite"
MANIFEST = "MANIFEST.json"
BESIDE = ("summary.json", "report.html")  # taken along when they are there
_MANIFEST_BYTES_MAX = 1_000_000
# What the archive module says of damage, by where it lies: a missing member is a KeyError, an odd method unimplemented.
_DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, KeyError, ValueError, NotImplementedError, RuntimeError)
_REFUSALS = (OSError, sqlite3.Error, *_DAMAGE)


def back_up(data: Path, file: Path) -> dict[str, Any]:
    """Copy the record in `data` and what stands beside it into `file`; returns the manifest.

    Control may write all the while: the copy is the record at one moment. Raises StoreError; an older `file` is then
    still there.
    """
    record = data / RECORD
    open_for_reading(record).close()
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=f".{file.name}.", dir=file.parent) as folder:
            work = Path(folder)
            _copy_record(record, work / RECORD)
            left_out = _copy_desk(data / DESK, work / DESK)
            for name in BESIDE:
                if (data / name).is_file():
                    shutil.copyfile(data / name, work / name)
            manifest = _manifest(data, work, left_out)
            packed = work / "packed"
            _pack(packed, work, manifest)
            _require_whole(packed, manifest)
            _sync(packed)
            packed.replace(file)
            _sync(file.parent)
    except _REFUSALS as error:
        raise StoreError(f"the backup {file} cannot be written: {error}; {advice(error, file)}") from error
    return manifest


def is_backup(file: Path) -> bool:
    """Whether this is a backup, whole or not: an archive with a manifest."""
    try:
        with zipfile.ZipFile(file) as archive:
            return MANIFEST in archive.namelist()
    except (OSError, zipfile.BadZipFile):
        return False


def restore(file: Path, data: Path) -> dict[str, Any]:
    """Put the content of a backup into `data`, a folder without a record; returns the manifest.

    Every file is checked before any stands in its place, the record last of all. Raises StoreError.
    """
    if not file.is_file():
        raise StoreError(f"there is no backup at {file}; check the path")
    if (data / RECORD).exists():
        raise StoreError(f"there is a record in {data} already; it is never overwritten: give another folder to --to")
    try:
        data.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".restore.", dir=data) as folder:
            work = Path(folder)
            manifest = _unpack(file, work)
            _require_record(work / RECORD, file)
            for name in sorted(manifest["files"], key=lambda name: name == RECORD):
                _sync(work / name)
                (work / name).replace(data / name)
            _sync(data)
    except _REFUSALS as error:
        raise StoreError(f"the backup {file} cannot be restored to {data}: {error}; {_remedy(error, data)}") from error
    return manifest


def _copy_record(record: Path, copy: Path) -> None:
    """One read transaction: what is committed at its begin, whatever is written meanwhile."""
    with closing(open_for_reading(record)) as source, closing(sqlite3.connect(copy)) as target:
        source.backup(target)
    _require_record(copy, record)


def _require_record(record: Path, whence: Path) -> None:
    problems = verify(record)
    _tidy(record)
    if problems:
        more = f" and {len(problems) - 1} more" if len(problems) > 1 else ""
        raise StoreError(
            f"the record from {whence} is not as it was written: {problems[0]}{more}; keep it as it is, and use an"
            " older backup"
        )


def _tidy(record: Path) -> None:
    """Looking into a copy may leave an empty log beside it."""
    for suffix in ("-wal", "-shm"):
        record.with_name(record.name + suffix).unlink(missing_ok=True)


def _copy_desk(desk: Path, copy: Path) -> dict[str, str]:
    """The desk beside the record, where there is one: accounts, recipe versions, notes. Why it was left out.

    A desk in trouble is no reason to go without a copy of the record.
    """
    if not desk.is_file():
        return {}
    try:
        with closing(peek_at_desk(desk)) as source, closing(sqlite3.connect(copy)) as target:
            source.backup(target)
            sound = target.execute("PRAGMA quick_check").fetchone()[0]
    except (sqlite3.Error, StoreError) as error:
        sound = str(error)
    _tidy(copy)
    if sound == "ok":
        return {}
    copy.unlink(missing_ok=True)
    return {DESK: sound}


def _manifest(data: Path, work: Path, left_out: Mapping[str, str]) -> dict[str, Any]:
    with closing(Reader(work / RECORD)) as reader:
        last = reader.last_scan()
        cycles = reader.cycles()
    _tidy(work / RECORD)
    return {
        "what": "backup of a data folder of Dewhold",
        "format": FORMAT,
        "version": __version__,
        "made": datetime.now(UTC).isoformat(timespec="seconds"),
        "from": str(data.absolute()),
        "last_scan": None if last is None else last[0],
        "last_scan_utc_ms": None if last is None else last[1],
        "cycles": len(cycles),
        "cycle_open": bool(cycles) and cycles[-1].ended_ms is None,
        "left_out": dict(left_out),
        "files": {
            path.name: {"bytes": path.stat().st_size, "sha256": _digest(path)} for path in sorted(work.iterdir())
        },
    }


def _pack(packed: Path, work: Path, manifest: Mapping[str, Any]) -> None:
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr(MANIFEST, json.dumps(manifest, indent=2) + "\n")
        for name in manifest["files"]:
            archive.write(work / name, name)


def _require_whole(packed: Path, manifest: Mapping[str, Any]) -> None:
    """Read back what was written: every byte of every file."""
    with zipfile.ZipFile(packed) as archive:
        for name, entry in manifest["files"].items():
            with archive.open(name) as stream:
                if file_digest(stream, "sha256").hexdigest() != entry["sha256"]:  # type: ignore[arg-type]
                    raise StoreError(f"{name} in the backup is not what was written; check the disk of {packed.parent}")


def _unpack(file: Path, work: Path) -> dict[str, Any]:
    """Only what the manifest names, only plain names, never more bytes than it says."""
    with zipfile.ZipFile(file) as archive:
        manifest = _read_manifest(archive, file)
        for name, entry in manifest["files"].items():
            with archive.open(name) as stream, (work / name).open("xb") as target:
                left = int(entry["bytes"]) + 1
                while left > 0 and (piece := stream.read(min(left, 1 << 20))):
                    target.write(piece)
                    left -= len(piece)
            if _digest(work / name) != entry["sha256"]:
                raise StoreError(f"{name} in the backup {file} is damaged; use another backup")
    return manifest


def _read_manifest(archive: zipfile.ZipFile, file: Path) -> dict[str, Any]:
    try:
        with archive.open(MANIFEST) as stream:
            manifest = json.loads(stream.read(_MANIFEST_BYTES_MAX))
        files = manifest["files"]
        plain = all(name in (RECORD, DESK, *BESIDE) and int(entry["bytes"]) >= 0 for name, entry in files.items())
        written = manifest["format"]
    except (KeyError, TypeError, ValueError, AttributeError):
        raise StoreError(f"{file} is not a backup of Dewhold: its {MANIFEST} is missing or damaged") from None
    if not plain or RECORD not in files:
        raise StoreError(f"{file} is not a backup of Dewhold: its {MANIFEST} names other files; check where it is from")
    if written != FORMAT:
        raise StoreError(f"{file} holds a record of format {written}, this program reads {FORMAT}; use its version")
    return manifest  # type: ignore[no-any-return]


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()


def _sync(path: Path) -> None:
    """What was said to be done must survive a power cut."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _remedy(error: Exception, data: Path) -> str:
    if isinstance(error, _DAMAGE):
        return "it is damaged or no backup; use another one"
    return advice(error, data / RECORD)
