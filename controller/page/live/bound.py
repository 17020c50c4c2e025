"""The files of a record, read back and bound: what its columns mean, which alarms there are, where probes hang."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from controller.config.chamber import ChamberFile
from controller.config.loader import parse, parse_table
from controller.config.plan import bind
from controller.core.points import Point
from controller.core.product.mix import Mix
from controller.core.scan import ScanPlan, ScanState
from controller.core.sequence.recipe import Recipe
from controller.errors import DewholdError, StoreError
from controller.link.device import Device
from controller.link.image import Image
from controller.link.panelimage import PanelImage
from controller.link.reach import image_of
from controller.store.checkpoint import StateCodec
from controller.store.header import OTHER_MIX, Header

CODEC = StateCodec(ScanState)
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Bound:
    """One cycle's head with everything that follows from its texts. sha256 of the recipe is in `recipe_sha256`."""

    header: Header
    chamber: ChamberFile
    points: tuple[Point, ...]
    recipe: Recipe
    recipe_sha256: str
    mix: Mix
    plan: ScanPlan
    image: Image | PanelImage

    def column(self, tag: str) -> int:
        """Place of a column in a minute, -1 when the record does not have it."""
        columns = self.header.columns
        return columns.index(tag) if tag in columns else -1

    def fact(self, name: str) -> Any:
        """One fact of the head, None when it is not there."""
        return self.header.facts.get(name)


def bound(header: Header) -> Bound:
    """Read and bind. Raises StoreError when another version wrote the record."""
    texts = header.texts
    try:
        chamber = parse(texts["chamber"].encode(), ChamberFile, "chamber").value
        points = parse_table(texts["points"].encode(), Point, "points").value
        recipe = parse(texts["recipe"].encode(), Recipe, "recipe")
        mix = parse(texts["mix"].encode(), Mix, "mix").value
        others = [parse(text.encode(), Mix, kind).value for kind, text in texts.items() if kind.startswith(OTHER_MIX)]
        names = [Path(name).stem for name in chamber.device_names]
        kinds = ["device"] if len(names) < 2 else [f"device {name}" for name in names]
        devices = tuple(parse(texts[kind].encode(), Device, kind).value for kind in kinds)
        empty = str(header.facts.get("empty_bays") or "")
        plan = bind(
            chamber, points, recipe.value, mix, load_t=float(header.facts.get("load_t") or 0.0), dt_s=header.scan_s,
            empty_bays=tuple(int(bay) for bay in empty.split(",") if bay.strip()), mixes=tuple(others),
        )  # fmt: skip
        return Bound(header, chamber, points, recipe.value, recipe.sha256, mix, plan, image_of(points, devices))
    except (DewholdError, KeyError, ValueError) as error:
        what = "this record was begun by another version of Dewhold: look at it with that one"
        raise StoreError(f"{what} ({error})") from error


def state_of(text: str) -> ScanState:
    """The state in a checkpoint. Raises StoreError when it is another version's."""
    return CODEC.load(text)
