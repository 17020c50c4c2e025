"""`sh tools/run --page` where its port is taken: it blames the port, says the remedy, and starts nothing."""

from __future__ import annotations

import socket
import subprocess
import sys
from pathlib import Path

TOOL = Path(__file__).parents[2] / "tools" / "page"


def test_a_taken_port_is_said_with_its_remedy_before_anything_is_started(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = subprocess.run(
            [sys.executable, str(TOOL), "--port", str(port), "--data", str(tmp_path / "demo")], capture_output=True,
            text=True, check=False, timeout=60.0,
        )  # fmt: skip
    assert done.returncode == 3
    assert done.stdout == ""
    assert done.stderr == f"port {port} is in use, perhaps by another page: end that, or give another --port\n"
    assert not (tmp_path / "demo").exists()
