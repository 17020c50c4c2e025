"""`dewhold plant`: the simulated chamber as a device on a socket, until it is told to stop."""

from __future__ import annotations

import argparse
import contextlib
import threading
from pathlib import Path

from controller.cli import live
from controller.cli import options as opt
from controller.cli.ending import on_request
from controller.cli.written import require_folder, require_own
from controller.errors import UnavailableError

DRAWN_H = 168.0  # how far ahead faults of a seed are drawn
PACE_MIN, PACE_MAX = 1e-3, 1e6


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `dewhold plant`; without any it serves the demo chamber where the demo device file looks for it."""
    opt.add_files(parser, "chamber")
    opt.add_scene(parser)
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default: 127.0.0.1, this computer)")
    parser.add_argument("--port", type=int, default=None, help="port (default: that of the device file; 0 = any free)")
    parser.add_argument("--scan", type=float, default=1.0, metavar="S", help="step of the device (default: 1 s)")
    time = parser.add_mutually_exclusive_group()
    time.add_argument("--lockstep", action="store_true", help="time moves only when a controller writes")
    time.add_argument(
        "--pace", type=float, default=1.0, metavar="F",
        help="so many times real time, or as fast as it goes if that is less (default: 1)",
    )  # fmt: skip
    parser.add_argument(
        "--faults", metavar="FILE", help='what goes wrong in it or on its wires: a file, demo name, "seed:N" or "list"'
    )
    parser.add_argument("--truth", metavar="FILE", help="write what is true in the model as CSV, a row a minute")
    parser.add_argument("--quiet", action="store_true", help="do not show what it is doing")


def run(args: argparse.Namespace) -> int:
    """Serve until Ctrl-C or SIGTERM; 0 then. Raises UnavailableError when the port cannot be had."""
    try:
        from controller.rig.faults.faultfile import catalogue
        from controller.rig.faults.operators import at_screen
        from controller.rig.faults.telling import Teller
        from controller.rig.faults.wires import wire_plans
        from controller.rig.plant import build
        from controller.rig.served import board
        from controller.rig.served.serve import listen, serve
        from controller.rig.served.truthfile import TruthFile, is_truth
        from controller.rig.served.watching import Watch
    except ModuleNotFoundError as error:
        raise UnavailableError(opt.without_model(error.name)) from None
    from controller.config.bundle import load_site
    from controller.link.device import Device
    from controller.link.layout import require_layout
    from controller.link.reach import image_of

    if args.faults == "list":
        print("\n".join(catalogue()))
        return 0
    scan_s = opt.within("--scan", args.scan, 0.25, 2.0, "s")
    pace = opt.within("--pace", args.pace, PACE_MIN, PACE_MAX, "times real time")
    if args.truth is not None:
        require_folder(Path(args.truth))
        require_own("--truth", Path(args.truth), "file of the truth", is_truth)
    site = load_site(args.chamber, device_class=Device, layout=require_layout)
    ports = _ports(args, [device.port for device in site.devices])
    scene = opt.with_faults(opt.scene_of(args, scan_s), args.chamber, args.faults, DRAWN_H)
    orders = [fault.kind for fault in scene.faults if at_screen(fault)]
    faults = tuple(fault for fault in scene.faults if not at_screen(fault))
    plant = build(scene, site.points, site.devices, lockstep=args.lockstep)
    room = plant.params.room
    image = image_of(site.points, site.devices)
    wires = wire_plans(faults, site.points, image, site.devices, lockstep=args.lockstep)
    server = listen(plant, args.host, ports, pace, wires)
    with contextlib.ExitStack() as stack:
        stack.callback(server.stop)
        truth = None
        if args.truth is not None:
            truth = stack.enter_context(TruthFile(Path(args.truth), scan_s, room.bays, room.levels, room.depth_cells))
        ended = threading.Event()
        with on_request(ended.set):  # before the greeting: whoever has read it may already ask for the end
            _greet(args, site.chamber.name, server.ports)
            _tell_faults(args.faults, len(faults), orders)
            watch = Watch(plant, server)
            name, asked = site.chamber.name, None if args.lockstep else pace
            with live.shown(
                lambda: board.lines(name, watch.look(), asked),
                lambda: board.line(name, watch.look(), asked),
                quiet=args.quiet,
            ) as say:
                serve(plant, server, truth, ended, Teller(faults, scan_s, lambda _event: None, say), watch.add)
    print(f"stopped after {plant.chamber.time_s / 3600.0:.2f} h of the chamber's time", flush=True)
    return 0


def _tell_faults(asked: str | None, count: int, orders: list[str]) -> None:
    """What is going to happen, and what is not because it is no matter of a device."""
    if asked is None:
        return
    print(f"faults: {count} of {asked}, told here as they begin and end", flush=True)
    if orders:
        kinds = ", ".join(sorted(set(orders)))
        print(f"left out: {len(orders)} orders of people ({kinds}); they go to the controller: dewhold cycle --faults")


def _ports(args: argparse.Namespace, own: list[int]) -> list[int]:
    """Where the devices listen: as their files say, or from --port upwards; a single one anywhere for --port 0."""
    if args.port is None:
        return own
    first = int(opt.within("--port", args.port, 0 if len(own) == 1 else 1, 65536 - len(own), ""))
    return [first + number if first else 0 for number in range(len(own))]


def _greet(args: argparse.Namespace, chamber: str, ports: list[int]) -> None:
    time = "its time moves only when a controller writes (lockstep)"
    if not args.lockstep:
        time = "in real time" if args.pace == 1.0 else f"at {args.pace:,.10g} times real time"
    port = f"{ports[0]}"
    option = f" --host {args.host} --port {port}"
    if len(ports) > 1:
        port = ", ".join(map(str, ports))
        option = f" --host {args.host}" + (f" --port {ports[0]}" if args.port else "")
    if args.chamber != opt.DEMO["chamber"]:
        option = f" --chamber {args.chamber}{option}"
    pace = " --pace 60" if args.lockstep else ""
    holds = f"{opt.load_of(args):g} t" if args.filling is None else f"filled by {args.filling}"
    print(f"simulated chamber {chamber}, {holds}: Modbus TCP on {args.host}:{port}, {time}")
    print(f"control it with: dewhold run{option}{pace} --start-now")
    print("stop it with Ctrl-C", flush=True)
