"""Results in files: a whole one in place of the older one, or the older one and a reason."""

from __future__ import annotations

import os
from pathlib import Path

from controller.errors import UnavailableError
from controller.store.trouble import advice


def write_whole(path: Path, text: str) -> None:
    """Put a file in place at once: whoever reads it, whenever this program ends, finds a whole one.

    Raises UnavailableError with what to do.
    """
    fresh = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        try:
            with fresh.open("w", encoding="utf-8") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            fresh.replace(path)
        finally:
            fresh.unlink(missing_ok=True)
    except OSError as error:
        raise UnavailableError(f"{path} cannot be written: {error.strerror}; {advice(error, path)}") from error
