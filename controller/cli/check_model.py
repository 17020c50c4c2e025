"""`dewhold check` of files of the chamber model: parameters, faults and what-ifs. Only the rig knows their classes."""

from __future__ import annotations

import argparse
from importlib import import_module
from pathlib import Path
from typing import Any

from controller.cli import options as opt
from controller.config import bundle
from controller.config.files import fault
from controller.config.find import find
from controller.config.loader import Loaded
from controller.link.device import Device
from controller.link.layout import require_layout

_FILES = {"whatif": "controller.rig.whatif.casefile"}


def read(kind: str, path: Path, args: argparse.Namespace, *, named: bool) -> Loaded[Any]:
    """The file, read and held against what it must fit. Raises ConfigError with what is wrong.

    named: somebody said which chamber is meant; then a model must fit its point list. Faults are bound as they are for
    a cycle; the shipped ones, when no file is named, to the demo chamber that they are for.
    """
    try:
        if kind == "faults":
            return _faults(path, args)
        if kind == "plant" and named:
            _require_fit(path, args.chamber)
        return import_module(_FILES.get(kind, "controller.rig.modelfiles")).read(path)  # type: ignore[no-any-return]
    except ImportError:
        remedy = "install dewhold[sim] to check files of the chamber model"
        raise fault(str(path), "(whole file)", kind, "cannot be judged here", remedy) from None


def _faults(path: Path, args: argparse.Namespace) -> Loaded[Any]:
    from controller.rig import modelfiles
    from controller.rig.faults import faultfile, struck

    plant, chamber = opt.plant_of(args), args.chamber
    if not args.files:
        plant, chamber = opt.DEMO["plant"], opt.DEMO["chamber"]
    return faultfile.fitting(path, struck.struck_in(chamber, modelfiles.read(find("plant", plant)).value))


def _require_fit(path: Path, chamber: str) -> None:
    """ConfigError with every tag that only the model or only the chamber's point list has."""
    from controller.rig.plant import build, scene

    site = bundle.load_site(find("chamber", chamber), device_class=Device, layout=require_layout)
    build(scene(plant=str(path)), site.points, site.devices, lockstep=True)
