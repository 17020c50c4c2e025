"""All numba code of the chamber model, one idea a file. Compiled code is cached per state of these sources.

Numba's own cache does not notice a change in an imported function, so the cache directory carries a hash of every
source file here: another source, another directory. It must be set before the first function is decorated.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path

import numba


def _sources_sha256() -> str:
    digest = hashlib.sha256(numba.__version__.encode())
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


def cache_directory() -> Path:
    """Where compiled code of exactly these sources belongs: the user's cache, or the temporary directory."""
    name = f"kernel-{_sources_sha256()[:16]}"
    home = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or "~/.cache"
    try:
        directory = Path(home).expanduser() / "dewhold" / name
        directory.mkdir(parents=True, exist_ok=True)
        if os.access(directory, os.W_OK):
            return directory
    except (OSError, RuntimeError):  # no home, or a read-only one
        pass
    directory = Path(tempfile.gettempdir()) / f"dewhold-{name}"
    directory.mkdir(mode=0o700, parents=True, exist_ok=True)
    return directory


os.environ["NUMBA_CACHE_DIR"] = str(cache_directory())
vars(numba.config)["CACHE_DIR"] = os.environ["NUMBA_CACHE_DIR"]  # it read its environment when it was imported
