"""One chamber made ready to be controlled: files, plan, image, and the loop around them. Real or simulated alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from controller.config.bundle import Bundle, load_bundle
from controller.config.find import find
from controller.config.loader import Loaded, read
from controller.config.plan import bind
from controller.config.tags import outputs_of
from controller.core import scan
from controller.core.frames import Command, RawInputs
from controller.core.orders.commands import Orders
from controller.core.product.mix import Mix
from controller.core.scan import ScanPlan, ScanResult, ScanState
from controller.errors import ConfigError, Problem
from controller.link.device import Device
from controller.link.image import Image
from controller.link.layout import require_layout
from controller.link.panelimage import PanelImage
from controller.link.protocol import Link, Telling
from controller.link.pulse import require_pulses
from controller.link.reach import image_of
from controller.runtime.clock import Clock
from controller.runtime.loop import Changes, Runner, Sink
from controller.runtime.rest import safe_outputs
from controller.store.checkpoint import StateCodec
from controller.store.header import OTHER_MIX, Header

CODEC: StateCodec[ScanState] = StateCodec(ScanState)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is to be controlled: files by name or path, the charge, and the scan.

    load_t: fresh product. mix_degC, age_h: its temperature and age when control begins. empty_bays: numbers from 1.
    empty: no boards stand there yet; each is entered as it comes. mixes: others than `mix` that boards may be of.
    host, port: where the device is, if not where its file says; of several devices each has the next port.
    from_desk: recipe and charge were given with a start, not with the command that began the run.
    """

    chamber: str
    recipe: str
    mix: str
    load_t: float
    mix_degC: float
    age_h: float = 0.0
    empty_bays: tuple[int, ...] = ()
    empty: bool = False
    mixes: tuple[str, ...] = ()
    scan_s: float = 1.0
    host: str | None = None
    port: int | None = None
    from_desk: bool = False


@dataclass(frozen=True, slots=True)
class Session:
    """Valid files, bound. devices: with the addresses in force. others: mixes that single boards may be of."""

    asked: Asked
    bundle: Bundle[Device]
    devices: tuple[Device, ...]
    plan: ScanPlan
    image: Image | PanelImage
    others: tuple[Loaded[Mix], ...] = ()

    @property
    def device(self) -> Device:
        """The only device, or the first one."""
        return self.devices[0]

    def fresh(self) -> ScanState:
        """The state of a chamber of which nothing is known yet."""
        return scan.initial(self.plan, mix_degC=self.asked.mix_degC, age_h=self.asked.age_h)

    def header(self, link: str, *, simulated: bool, seed: int | None = None, what_if: str = "") -> Header:
        """Head of the record. The same files, charge and link give the same head, so that a restart goes on with it.

        what_if: in what a simulated chamber is other than its file says, on one line.
        """
        bundle, asked, image = self.bundle, self.asked, self.image
        given = {"from_desk": True, "age_h": asked.age_h} if asked.from_desk else {}
        return Header(
            tags=tuple(point.tag for point in bundle.points if point.kind == "AI"),
            computed=scan.COMPUTED,
            input_words=image.input_count,
            output_words=image.output_count,
            scan_s=asked.scan_s,
            texts={
                **{kind: file.text for kind, file in bundle.files.items()},
                **{f"{OTHER_MIX}{file.value.name}": file.text for file in self.others},
            },
            facts={
                "chamber": bundle.chamber.name,
                "recipe": bundle.recipe.name,
                "mix": bundle.mix.name,
                "seed": seed,
                "link": link,
                "load_t": asked.load_t,
                "mix_degC": asked.mix_degC,
                "empty_bays": ", ".join(map(str, asked.empty_bays)),
                "simulated": simulated,
                **given,
                **({"what_if": what_if} if what_if else {}),
            },
        )

    def step(self) -> Callable[[Any, RawInputs, tuple[Command, ...], float], ScanResult]:
        """The scan with this plan in it."""
        plan, one = self.plan, scan.scan

        # No partial(): a call that goes through C costs the loop as much as the rest of its own work.
        def step(state: Any, raw: RawInputs, commands: tuple[Command, ...], now_s: float) -> ScanResult:
            return one(plan, state, raw, commands, now_s)

        return step

    def with_charge(
        self, bundle: Bundle[Device], asked: Asked, others: Sequence[Loaded[Mix]] | None = None
    ) -> Session:
        """The same panel with another recipe, mix or charge. others: None = those of now and the mix of now, because
        boards of it may stand there still. Raises ConfigError."""
        if others is None:
            others = (*self.others, self.bundle.files["mix"])
        named = {file.value.name: file for file in others if file.value.name != bundle.mix.name}
        kept = tuple(named.values())
        return replace(self, asked=asked, bundle=bundle, plan=_bound(bundle, asked, kept), others=kept)

    def runner(
        self,
        *,
        link: Link,
        clock: Clock,
        orders: Orders,
        recorder: Sink,
        strict: bool = False,
        changeover: Changes | None = None,
    ) -> Runner:
        """The loop with everything in place; what a panel's link has to tell goes where the recorder's notices go."""
        if isinstance(link, Telling):
            link.tell = recorder.notices.append
        return Runner(
            link=link,
            image=self.image,
            clock=clock,
            orders=orders,
            step=self.step(),
            columns=scan.values,
            safe=safe_outputs(self.bundle.points),
            scan_s=self.asked.scan_s,
            recorder=recorder,
            strict=strict,
            changeover=changeover,
        )


def prepare(asked: Asked) -> Session:
    """Load, check and bind everything. Raises ConfigError with all problems of all files."""
    bundle = load_bundle(asked.chamber, asked.recipe, asked.mix, device_class=Device, layout=require_layout)
    devices = tuple(
        replace(
            device,
            host=device.host if asked.host is None else asked.host,
            port=device.port if asked.port is None else asked.port + number,
        )
        for number, device in enumerate(bundle.devices)
    )
    require_pulses(devices, asked.scan_s, outputs_of(bundle.chamber))
    others = _others(bundle, asked)
    return Session(asked, bundle, devices, _bound(bundle, asked, others), image_of(bundle.points, devices), others)


def _others(bundle: Bundle[Device], asked: Asked) -> tuple[Loaded[Mix], ...]:
    """The mixes beside that of the cycle, each once and under a name of its own. Raises ConfigError."""
    known, wrong = {bundle.mix.name: bundle.files["mix"]}, []
    for name in asked.mixes:
        file = read(find("mix", name), Mix)
        own = file.value.name
        if own in known and known[own].text != file.text:
            limit = "is the name of another mix given: orders that name it could mean either"
            wrong.append(Problem(file.path, "name", own, limit, "give each mix a name of its own"))
        known[own] = file
    if wrong:
        raise ConfigError(wrong)
    return tuple(file for own, file in known.items() if own != bundle.mix.name)


def _bound(bundle: Bundle[Device], asked: Asked, others: Sequence[Loaded[Mix]]) -> ScanPlan:
    return bind(
        bundle.chamber,
        bundle.points,
        bundle.recipe,
        bundle.mix,
        load_t=asked.load_t,
        empty_bays=asked.empty_bays,
        dt_s=asked.scan_s,
        mixes=tuple(file.value for file in others),
        empty=asked.empty,
    )
