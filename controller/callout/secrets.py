"""Secrets from where the call-out file says they are: a file or an environment variable, never the file itself."""

from __future__ import annotations

import os
from pathlib import Path

from controller.errors import ConfigError, Problem

BYTES_MAX = 4096


def secret_of(file: str, where: str, path: str, variable: str) -> str:
    """The secret; "" when neither is named. Trailing line ends are cut off. Raises ConfigError.

    file, where: what to name in a problem.
    """
    if path:
        return _from_file(file, where, path)
    if not variable:
        return ""
    value = os.environ.get(variable)
    if value:
        return value
    raise _problem(file, f"{where}_env", variable, "is not set", f"set {variable}, or name a file with {where}_file")


def _from_file(file: str, where: str, path: str) -> str:
    field = f"{where}_file"
    expanded = Path(os.path.expandvars(path))  # systemd hands credentials over in $CREDENTIALS_DIRECTORY
    place = expanded if expanded.is_absolute() else Path(file).parent / expanded
    try:
        with place.open("rb") as opened:
            text = opened.read(BYTES_MAX + 1).decode()
    except (OSError, UnicodeDecodeError) as error:
        raise _problem(file, field, path, f"cannot be read: {error}", "let this user read it") from None
    if len(text) > BYTES_MAX or not text.strip():
        raise _problem(file, field, path, f"must hold 1 to {BYTES_MAX} bytes", "write the secret into it")
    if place.stat().st_mode & 0o007:
        raise _problem(file, field, path, "everybody on this computer may read it", f"chmod o= {path}")
    return text.rstrip("\r\n")


def _problem(file: str, field: str, value: str, limit: str, remedy: str) -> ConfigError:
    return ConfigError([Problem(file, field, value, limit, remedy)])
