"""`dewhold page`: the operator's page of one chamber or a site, from the records that controllers write."""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path

from controller.cli import options as opt
from controller.cli.ending import on_request
from controller.errors import UnavailableError
from controller.page.behind import step_back
from controller.page.live.places import places


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `dewhold page`."""
    parser.add_argument(
        "--data", default="out/run", metavar="DIR",
        help="folder of a controller's record (its --out), or of several such folders (default: out/run)",
    )  # fmt: skip
    parser.add_argument("--site", metavar="SITE", help="site file that names chambers and lines (name or file)")
    parser.add_argument(
        "--units", choices=("si", "us"), help="units to show (default: as the site file says, else si); stored are SI"
    )
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default: 127.0.0.1, this computer)")
    parser.add_argument("--port", type=int, default=8460, help="port (default: 8460; 0 = any free)")
    parser.add_argument("--tls-cert", metavar="FILE", type=Path, help="certificate (PEM), to serve over HTTPS")
    parser.add_argument("--tls-key", metavar="FILE", type=Path, help="its key (PEM)")
    parser.add_argument("--without-tls", action="store_true", help="listen beyond this computer without encryption")
    parser.add_argument(
        "--name", action="append", default=[], metavar="HOST", help="a host name of this computer; may be given again"
    )


def run(args: argparse.Namespace) -> int:
    """Serve until Ctrl-C or SIGTERM; 0 then. Raises what `main` says."""
    port = int(opt.within("--port", args.port, 0, 65535, ""))
    works = places(Path(args.data), args.site, args.units)
    step_back()  # before the rest is read in, which takes a core for a second or two
    try:
        from controller.page.serve import Listen, serve
    except ModuleNotFoundError as error:
        raise UnavailableError(
            f"the page needs the package {error.name}; install Dewhold with its extra: pip install 'dewhold[page]'"
        ) from None
    listen = Listen(
        host=args.host, port=port, certificate=args.tls_cert, key=args.tls_key, without_tls=args.without_tls,
        names=tuple(args.name),
    )  # fmt: skip
    with on_request(lambda: None):  # the server ends itself, then raises its signal again: that is our good end
        serve(works, listen, partial(print, flush=True))
    return 0
