"""A result in a file is whole, or the older one stands there still and it is said why."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from controller.cli.written import write_whole
from controller.errors import UnavailableError


def test_an_older_file_is_replaced_and_nothing_else_is_left(tmp_path: Path) -> None:
    path = tmp_path / "summary.json"
    write_whole(path, "old\n")
    write_whole(path, "new\n")
    assert path.read_text(encoding="utf-8") == "new\n"
    assert list(tmp_path.iterdir()) == [path]


def test_a_disk_that_refuses_leaves_the_older_file_and_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "summary.json"
    write_whole(path, "old\n")

    def full(_file: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UnavailableError, match=f"No space left on device; free space on the disk of {tmp_path}"):
        write_whole(path, "new\n")
    assert path.read_text(encoding="utf-8") == "old\n"
    assert list(tmp_path.iterdir()) == [path]
