"""Bytes off the disk, and the ways in which that goes wrong, as problems."""

from __future__ import annotations

import stat
from pathlib import Path

from controller.errors import ConfigError, Problem

SIZE_MAX_BYTES = 1 << 20
LINE_MAX = 2000  # the parser's work grows with the square of a line's dotted keys


def read_bytes(path: str | Path) -> bytes:
    """The content of a plain file of at most 1 MiB. Raises ConfigError for anything else."""
    name = str(path)
    try:
        what = Path(path).stat()
        if stat.S_ISDIR(what.st_mode):
            raise fault(name, "(file)", "a directory", "must be a file", "name the file inside it")
        if not stat.S_ISREG(what.st_mode):
            raise fault(name, "(file)", "not a plain file", "must be a file", "name a file on disk")
        if what.st_size > SIZE_MAX_BYTES:
            raise too_big(name, what.st_size)
        with Path(path).open("rb") as file:
            data = file.read(SIZE_MAX_BYTES + 1)
    except FileNotFoundError:
        raise fault(name, "(file)", "(missing)", "there is no such file", "check the name and the folder") from None
    except PermissionError:
        raise fault(
            name, "(file)", "(unreadable)", "may not be read by this user", "change its owner or its mode"
        ) from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        text = getattr(error, "strerror", None) or str(error)
        raise fault(name, "(file)", "(unreadable)", f"cannot be read: {text}", "check name and disk") from None
    return data


def decode(data: bytes, name: str) -> str:
    """UTF-8 text of a file that is neither empty, too big nor binary. Raises ConfigError."""
    if len(data) > SIZE_MAX_BYTES:
        raise too_big(name, len(data))
    try:
        text = data.decode("utf-8-sig")  # spreadsheets put a byte order mark in front
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        byte = f"byte 0x{data[error.start]:02x}"
        raise fault(name, f"line {line}", byte, "is not UTF-8", "save the file as UTF-8 text") from None
    if not text.strip():
        raise fault(name, "(whole file)", "(empty)", "has nothing in it", "start from one of the shipped files")
    for number, line_text in enumerate(text.split("\n"), start=1):
        if len(line_text) > LINE_MAX:
            value = f"{len(line_text)} characters"
            raise fault(name, f"line {number}", value, f"a line has at most {LINE_MAX}", "break it up")
    return text


def too_big(name: str, size: int) -> ConfigError:
    """The error for a file beyond the size limit."""
    limit = f"a file has at most {SIZE_MAX_BYTES} bytes"
    return fault(name, "(whole file)", f"{size} bytes", limit, "is it the right file?")


def fault(file: str, field: str, value: str, limit: str, remedy: str) -> ConfigError:
    """A ConfigError with one problem."""
    return ConfigError([Problem(file, field, value, limit, remedy)])
