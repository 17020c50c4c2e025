"""Many viewers at once: half of them listen to pictures, the others ask again and again, until the process is ended.

    python -m tests.bench.crowd PORT TOKEN VIEWERS
"""

from __future__ import annotations

import asyncio
import os
import sys
from contextlib import suppress
from pathlib import Path

ASKS = ("/api/v1/chambers", "/api/v1/chambers/chamber", "/api/v1/alive", "/api/v1/chambers/chamber/journal?limit=50")


async def viewer(number: int, port: int, token: str) -> None:
    """One viewer; starts again when it is shown out."""
    listens = number % 2 == 0
    path = "/api/v1/events?chamber=chamber" if listens else ASKS[number // 2 % len(ASKS)]
    while True:
        try:
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
            keep = "keep-alive" if listens else "close"
            head = ("Host: 127.0.0.1", f"Authorization: Bearer {token}", f"Connection: {keep}", "", "")
            writer.write("\r\n".join((f"GET {path} HTTP/1.1", *head)).encode())
            while await reader.read(65536):
                pass
            writer.close()
        except OSError:
            pass
        await asyncio.sleep(0.2)


async def main() -> None:
    """All of them."""
    with suppress(OSError, AttributeError):  # a crowd elsewhere would take nothing of this computer
        os.sched_setscheduler(0, os.SCHED_IDLE, os.sched_param(0))
        Path("/proc/self/autogroup").write_text("19\n", encoding="ascii")
    port, token, viewers = int(sys.argv[1]), sys.argv[2], int(sys.argv[3])
    await asyncio.gather(*[viewer(number, port, token) for number in range(viewers)])


if __name__ == "__main__":
    asyncio.run(main())
