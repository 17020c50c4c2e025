"""Serves the page: where it listens, with TLS or without, and what it says when it begins."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from controller.errors import ConfigError, Problem, UnavailableError
from controller.page.live.feed import Feed
from controller.page.live.places import Works
from controller.page.people import accounts, passwords
from controller.page.people.book import Book
from controller.page.web.app import make_app
from controller.page.web.context import Page

PORT = 8460
_CONNECTIONS_MAX = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Listen:
    """Where to listen. names: host names beside the address itself; without_tls: somebody said so on purpose."""

    host: str = "127.0.0.1"
    port: int = PORT
    certificate: Path | None = None
    key: Path | None = None
    without_tls: bool = False
    names: tuple[str, ...] = ()


def serve(works: Works, listen: Listen, tell: Callable[[str], object]) -> None:
    """Serve until a signal. tell: takes the lines of the greeting.

    Raises ConfigError for an address that may not be, UnavailableError for one in use.
    """
    require_safe(listen)
    sock = _bind(listen.host, listen.port)
    port = sock.getsockname()[1]
    book = Book(works.home / "people.sqlite")
    here = Page(
        Feed(works), book, passwords.setup_code(), tls=listen.certificate is not None, hosts=_hosts(listen)
    )
    _greet(here, listen, port, tell)
    config = uvicorn.Config(
        make_app(here), log_config=None, access_log=False, server_header=False, date_header=True,
        limit_concurrency=_CONNECTIONS_MAX, timeout_keep_alive=20, timeout_graceful_shutdown=2, ws="none",
        ssl_certfile=listen.certificate, ssl_keyfile=listen.key, proxy_headers=False,
    )  # fmt: skip
    uvicorn.Server(config).run(sockets=[sock])


def require_safe(listen: Listen) -> None:
    """An address that others reach needs TLS, or somebody who says that it may go without. Raises ConfigError."""
    if (listen.certificate is None) != (listen.key is None):
        raise _problem("--tls-cert and --tls-key", "one alone", "both or none", "give the file of each")
    for option, path in (("--tls-cert", listen.certificate), ("--tls-key", listen.key)):
        if path is not None and not path.is_file():
            raise _problem(option, str(path), "there is no such file", "give a PEM file")
    if not is_loopback(listen.host) and listen.certificate is None and not listen.without_tls:
        raise _problem(
            "--host", listen.host, "passwords would go over the network in clear",
            "give --tls-cert and --tls-key, or say --without-tls where something else encrypts",
        )  # fmt: skip


def is_loopback(host: str) -> bool:
    """Whether only this computer reaches it."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _hosts(listen: Listen) -> frozenset[str]:
    """Names that a browser may call this page by; empty = any, where it listens on every address."""
    if listen.host in ("0.0.0.0", "::") and not listen.names:
        return frozenset()
    return frozenset(("127.0.0.1", "localhost", "::1", listen.host.lower(), *(name.lower() for name in listen.names)))


def _bind(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    sock = socket.socket(family, socket.SOCK_STREAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, port))
        sock.listen(256)  # whoever has read the greeting may come at once
    except OSError as error:
        sock.close()
        raise UnavailableError(
            f"cannot listen on {host}:{port}: {error.strerror}; give another --port, or end what uses it"
        ) from error
    return sock


def _greet(here: Page, listen: Listen, port: int, tell: Callable[[str], object]) -> None:
    host = "127.0.0.1" if listen.host == "0.0.0.0" else listen.host
    address = f"{'https' if here.tls else 'http'}://{f'[{host}]' if ':' in host else host}:{port}/"
    tell(f"page: open {address}")
    if not accounts.anybody(here.book):
        tell(f"first start: make the first account at {address}setup?code={here.setup_code}")


def _problem(option: str, value: str, limit: str, remedy: str) -> ConfigError:
    return ConfigError([Problem("command line", option, value, limit, remedy)])
