"""One web call: JSON by POST, signed, never redirected; what the other side said decides whether it is tried again."""

from __future__ import annotations

import http.client
import socket
import ssl
from urllib.parse import urlsplit

from controller.callout.deadline import Deadline
from controller.callout.outcome import Outcome
from controller.callout.plan import Hook
from controller.callout.signing import digest, signed

LATER = frozenset((408, 425, 429))  # besides every 5xx: not now, perhaps later
_SAID_BYTES = 200


def call(hook: Hook, secret: str, letter_id: str, body: str, now_s: int) -> Outcome:
    """Post it. Never raises for what a server or a network does."""
    parts = urlsplit(hook.url)
    data = body.encode()
    fields = {
        "content-type": "application/json",
        "content-digest": digest(data),
        "idempotency-key": f'"{letter_id}"',  # the same for every try: who has seen it need not act again
        "user-agent": "dewhold",
    }
    if secret:
        fields |= signed(secret, hook.url, fields, now_s)
    target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    with Deadline(hook.timeout_s) as deadline:
        connection = _connection(hook, parts.scheme, parts.hostname or "", parts.port, deadline)
        try:
            connection.request("POST", target, data, fields)
            answer = connection.getresponse()
            said = " ".join(answer.read(_SAID_BYTES).decode("utf-8", "replace").split())
        except (OSError, http.client.HTTPException, ValueError) as error:
            slow = f"nothing settled within {hook.timeout_s:g} s"
            return Outcome("again", f"{parts.netloc}: {slow if deadline.over else _words(error)}")
        finally:
            connection.close()
    text = f"{answer.status} {answer.reason} {said}".strip()
    if 200 <= answer.status < 300:
        return Outcome("sent", text)
    if answer.status >= 500 or answer.status in LATER:
        return Outcome("again", text, _wait_s(answer.headers.get("Retry-After")))
    return Outcome("refused", text)


def _connection(
    hook: Hook, scheme: str, host: str, port: int | None, deadline: Deadline
) -> http.client.HTTPConnection:
    if scheme == "https":
        context = ssl.create_default_context()
        if hook.ca_file:
            context.load_verify_locations(hook.ca_file)
        made: http.client.HTTPConnection = http.client.HTTPSConnection(
            host, port, timeout=hook.timeout_s, context=context
        )
    else:
        made = http.client.HTTPConnection(host, port, timeout=hook.timeout_s)
    # The library has no other place between making a connection and reading from it.
    made._create_connection = lambda *args, **more: deadline.keep(socket.create_connection(*args, **more))  # type: ignore[attr-defined]
    return made


def _wait_s(text: str | None) -> float:
    """Retry-After in seconds; a date is not read, the usual pause holds then."""
    return float(text) if text is not None and text.isdigit() and len(text) < 8 else 0.0


def _words(error: Exception) -> str:
    if isinstance(error, ConnectionRefusedError):
        return "connection refused"
    if isinstance(error, socket.gaierror):
        return "no such host name"
    if isinstance(error, TimeoutError):
        return "no answer"
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
