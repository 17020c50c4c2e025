"""A call-out plan that tests change, and a mail server and a web server that do as they are told."""

from __future__ import annotations

import http.server
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest
import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult

from controller.callout.plan import DailyTest, Hook, Mail, Person, Plan, Rule, Shift, Step

MINUTE_MS = 60_000


def at(text: str) -> int:
    """UTC ms of a moment like 2026-03-02T16:00."""
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


@pytest.fixture
def utc_of() -> Callable[[str], int]:
    return at


@pytest.fixture
def plan() -> Plan:
    """Three people in two shifts; the second step after 10 minutes, everybody after 25."""
    return Plan(
        name="demo works",
        zone="Europe/Berlin",
        people=(
            Person(key="anna", name="Anna Berg", mail="anna@example.com"),
            Person(key="ben", name="Ben Falk", mail="ben@example.com"),
            Person(key="cleo", name="Cleo Marten", mail="cleo@example.com", hooks=("phones",)),
        ),
        shifts=(
            Shift(name="day", people=("anna",), begin="06:00", end="22:00"),
            Shift(name="night", people=("ben",), begin="22:00", end="06:00"),
        ),
        rules=(
            Rule(
                priorities=("high", "medium"),
                steps=(
                    Step(who=("duty",)),
                    Step(after_min=10.0, who=("duty", "cleo")),
                    Step(after_min=25.0, who=("everybody",)),
                ),
                repeat_min=20.0,
                repeats_max=2,
            ),
            Rule(priorities=("low",), steps=(Step(who=("duty",)),), begin="06:00", end="20:00"),
        ),
        test=DailyTest(at="07:00", who=("duty",)),
        mail=Mail(host="127.0.0.1", port=25, sender="dewhold@example.com", security="none"),
        hooks=(Hook(name="phones", url="http://127.0.0.1:9/dewhold"),),
        gather_s=0.0,
        pause_s=0.0,
    )


@dataclass
class PostOffice:
    """A real mail server on this computer. answers: to the next messages, then it takes them all.

    got: messages that it has taken, in order.
    """

    answers: list[str] = field(default_factory=list)
    got: list[EmailMessage] = field(default_factory=list)
    came: threading.Event = field(default_factory=threading.Event)
    seen_tls: list[bool] = field(default_factory=list)
    port: int = 0

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        answer = self.answers.pop(0) if self.answers else "250 taken"
        self.seen_tls.append(session.ssl is not None)
        if answer.startswith("2"):
            self.got.append(message_from_bytes(envelope.content, policy=policy.SMTP))  # type: ignore[arg-type]
            self.came.set()
        return answer


@pytest.fixture(scope="session")
def authority() -> trustme.CA:
    """Who signs the certificates of the servers here."""
    return trustme.CA()


@pytest.fixture
def ca_file(authority: trustme.CA, tmp_path: Path) -> str:
    path = tmp_path / "authority.pem"
    authority.cert_pem.write_to_path(path)
    return str(path)


@pytest.fixture
def server_tls(authority: trustme.CA) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("127.0.0.1", "localhost").configure_cert(context)
    return context


@pytest.fixture
def free_port() -> int:
    """A port that nobody listens at now."""
    return unused()


def unused() -> int:
    """A port that nobody listens at now."""
    with socket.create_server(("127.0.0.1", 0)) as holder:
        return int(holder.getsockname()[1])


@pytest.fixture
def make_post_office() -> Iterator[Callable[..., PostOffice]]:
    """Starts a mail server. user, password: asks for them. Other options go to aiosmtpd."""
    running: list[Controller] = []

    def make(port: int = 0, user: str = "", password: str = "", **options: Any) -> PostOffice:
        office = PostOffice(port=port or unused())
        if user:

            def check(_server: Any, _session: Any, _envelope: Any, _mechanism: Any, data: Any) -> AuthResult:
                right = (data.login, data.password) == (user.encode(), password.encode())
                return AuthResult(success=right, handled=False)

            options |= {"authenticator": check, "auth_required": True}
        controller = Controller(office, hostname="127.0.0.1", port=office.port, **options)
        controller.start()
        running.append(controller)
        return office

    yield make
    for controller in running:
        controller.stop()


@dataclass
class Exchange:
    """A real web server on this computer. answers: (status, fields) for the next calls, then 200.

    got: (fields, body) of every call, in order.
    """

    answers: list[tuple[int, dict[str, str]]] = field(default_factory=list)
    got: list[tuple[dict[str, str], bytes]] = field(default_factory=list)
    url: str = ""


@pytest.fixture
def make_exchange() -> Iterator[Callable[..., Exchange]]:
    """Starts a web server; tls: with this context."""
    running: list[tuple[http.server.ThreadingHTTPServer, threading.Thread]] = []

    def make(tls: ssl.SSLContext | None = None) -> Exchange:
        exchange = Exchange()

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                exchange.got.append(({name.lower(): value for name, value in self.headers.items()}, body))
                status, fields = exchange.answers.pop(0) if exchange.answers else (200, {})
                self.send_response(status)
                for name, value in fields.items():
                    self.send_header(name, value)
                self.end_headers()

            def log_message(self, format: str, *args: Any) -> None:
                """Nothing on the terminal."""

        server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        scheme = "http"
        if tls is not None:
            server.socket = tls.wrap_socket(server.socket, server_side=True)
            scheme = "https"
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        running.append((server, thread))
        exchange.url = f"{scheme}://127.0.0.1:{server.server_address[1]}/dewhold?works=1"
        return exchange

    yield make
    for server, thread in running:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.fixture
def make_mute() -> Iterator[Callable[..., int]]:
    """Starts a server that takes connections and says something too slowly, or nothing; returns its port."""
    stopped = threading.Event()
    threads: list[threading.Thread] = []
    listeners: list[socket.socket] = []

    def make(drip: bytes = b"") -> int:
        listener = socket.create_server(("127.0.0.1", 0))
        listener.settimeout(0.05)
        listeners.append(listener)

        def serve() -> None:
            held: list[socket.socket] = []
            while not stopped.is_set():
                with suppress(TimeoutError):
                    held.append(listener.accept()[0])
                for one in held if drip else []:
                    with suppress(OSError):
                        one.sendall(drip)  # one more byte is an answer to every time-out but a deadline
            for one in held:
                one.close()

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        threads.append(thread)
        return int(listener.getsockname()[1])

    yield make
    stopped.set()
    for thread in threads:
        thread.join()
    for listener in listeners:
        listener.close()
