"""What to do when the disk refuses, in words for the person who reads the alarm."""

from __future__ import annotations

import errno
from pathlib import Path


def advice(error: Exception, path: Path) -> str:
    """The remedy for one error of the file system or of SQLite."""
    if isinstance(error, MemoryError):
        return "end other programs on this computer, or give it more memory"
    text = str(error).lower()
    number = getattr(error, "errno", None)
    if number in (errno.ENOSPC, errno.EDQUOT) or "full" in text:
        return f"free space on the disk of {path.parent}"
    if number in (errno.EACCES, errno.EPERM, errno.EROFS) or "readonly" in text or "unable to open" in text:
        return f"check that this user may write {path.parent} and that the disk is not mounted read-only"
    if "locked" in text or "busy" in text:
        return f"close the other program that writes {path.name}; only one controller may write a record"
    if "malformed" in text or "not a database" in text:
        return f"move {path.name} away and keep it; a new one is begun at the next start"
    return f"check the disk of {path.parent} (cable, health, file size limit)"
