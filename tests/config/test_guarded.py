"""What makes a row of protection blind, late or idle is refused by name, and what starts passes `check`."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest

from controller.config import bundle, guarded
from controller.config.find import SHIPPED, known
from controller.errors import ConfigError
from controller.link.device import Device
from controller.link.layout import require_layout

TODAY = date(2026, 3, 1)
CHAMBER, POINTS = "chambers/demo-north.toml", "points/panel-a.csv"
HERE = "[by_hand]\nhours_max"  # rows of the chamber's own are put before it
DOORS = 'doors = ["ZS-101A", "ZS-101B", "ZS-101C", "ZS-101D", "ZS-101E", "ZS-101F"]'
CUT = "YC-103,DO,heating enable,panel-a,255,261,1,contact,,,,,,,,"
OFF = "what heats, wets or says that all is well must be off where nobody controls"


@pytest.fixture
def configs(tmp_path: Path) -> Path:
    """A copy of the shipped files that a test may break."""
    for folder in ("chambers", "points", "devices"):
        shutil.copytree(SHIPPED / folder, tmp_path / folder)
    return tmp_path


def row(tag: str = "gas", more: str = "", contacts: str = '["HS-112", "YS-110"]', votes: int = 2) -> tuple[str, str]:
    """Text of a row, before the section that follows."""
    texts = 'text = "gas"\ncause = "a"\nconsequence = "b"\naction = "c"\nblocks = ["heat"]\neffect = "hold"\n'
    return HERE, f'[[protection.row]]\ntag = "{tag}"\ncontacts = {contacts}\nvotes = {votes}\n{texts}{more}\n{HERE}'


def refused(configs: Path, *changes: tuple[str, str], file: str = CHAMBER) -> list[str]:
    """What is said of the changed file, without the folder."""
    path = configs / file
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, f"{old!r} is not there: the test would break nothing"
        text = text.replace(old, new, 1)
    path.write_text(text, encoding="utf-8")
    try:
        bundle.load_site(configs / CHAMBER, device_class=Device, layout=require_layout)
    except ConfigError as error:
        return [str(problem).replace(str(configs) + "/", "").removeprefix(f"{file}: ") for problem in error.problems]
    return []


@pytest.mark.parametrize("name", known("chamber"))
def test_every_shipped_chamber_passes_without_a_note(name: str) -> None:
    place = bundle.load_site(name, device_class=Device, layout=require_layout)
    assert guarded.notes(place.chamber, TODAY) == []


@pytest.mark.parametrize(("field", "usual"), [("signals.hold_last_scans", 5), ("protection.link_age_scans_max", 3)])
def test_old_readings_drive_outputs_no_longer_than_a_panel_waits_for_its_controller(
    configs: Path, field: str, usual: int
) -> None:
    name = field.partition(".")[2]
    assert refused(configs, (f"{name} = {usual}", f"{name} = 10")) == []
    said = refused(configs, (f"{name} = 10", f"{name} = 11"))
    assert said == [f"{field} = 11: must be a whole number from 0 to 10; lower it to 10 or less"]


@pytest.mark.parametrize("chain", ["emergency-stop", "limiter", "person-inside"])
def test_a_hard_wired_circuit_is_never_delayed_nor_forgotten(configs: Path, chain: str) -> None:
    delay = ("# door-open = 60.0", f"{chain} = 0.5")
    latch = ("[protection.latch]", f"[protection.latch]\n{chain} = false")
    assert refused(configs, delay, latch) == [
        f"protection.delay_s.{chain} = 0.5: must be 0: a hard-wired circuit is followed at once; take the delay out",
        f"protection.latch.{chain} = false: must be true: a person resets what a hard-wired circuit did; take it out",
    ]


def test_delay_and_latch_of_other_rows_stay_free(configs: Path) -> None:
    delay = ("# door-open = 60.0", "door-open = 60.0\nemergency-stop = 0.0")
    assert refused(configs, delay, ("[protection.latch]", "[protection.latch]\nfog-pressure = false")) == []


@pytest.mark.parametrize(
    ("row_", "most", "usual"), [("airflow-lost", 120, 10), ("link-lost", 120, 0), ("door-open", 300, 30)]
)
def test_a_row_that_waits_too_long_is_refused(configs: Path, row_: str, most: int, usual: int) -> None:
    assert refused(configs, ("# door-open = 60.0", f"{row_} = {most}.0")) == []
    (said,) = refused(configs, (f"{row_} = {most}.0", f"{row_} = {most + 1}.0"))
    assert said == (
        f"protection.delay_s.{row_} = {most + 1}: must be at most {most} s, usual are {usual} s; "
        "lower it: the harm is done by then"
    )


def test_what_heats_is_cooled_after_it_is_off(configs: Path) -> None:
    path = configs / "chambers/demo-east.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("run_on_s = 180.0", "run_on_s = 59.0"), encoding="utf-8")
    with pytest.raises(ConfigError, match=r"run_on_s = 59: must be at least 60 s with heat\.kind = electric"):
        bundle.load_site(path, device_class=Device, layout=require_layout)
    assert refused(configs, ("run_on_s = 180.0", "run_on_s = 0.0")) == []


def test_probes_are_not_judged_finer_than_they_can_be(configs: Path) -> None:
    assert refused(configs, ("dew_point_K = 2.5", "dew_point_K = 0.0")) == []
    (said,) = refused(configs, ("temperature_K = 5.0 ", "temperature_K = 0.4 "))
    assert said.startswith("siblings.temperature_K = 0.4: must be 0 (not judged) or at least 0.5 K; give what sound")


def test_a_loop_has_the_span_of_a_loop(configs: Path) -> None:
    span = "4-20mA,4000,20000,-10,60,degC,2,,\nTT-101B"
    assert refused(configs, (span, span.replace("4000,20000", "20000,4000")), file=POINTS) == []
    (said,) = refused(configs, (span.replace("4000,20000", "20000,4000"), span.replace("4000", "0")), file=POINTS)
    assert said == (
        "TT-101A.raw_lo = 0, raw_hi = 20000: must be 4000 and 20000 uA for 4-20mA; "
        'correct the span, or use signal "raw" for other counts'
    )


def test_work_that_was_done_in_days_to_come_is_noted(configs: Path) -> None:
    assert refused(configs, ('# last = "2026-03-01"', 'last = "2026-03-02"')) == []
    place = bundle.load_site(configs / CHAMBER, device_class=Device, layout=require_layout)
    assert guarded.notes(place.chamber, TODAY) == [
        "duty person-inside-test: last = 2026-03-02 is yet to come: look at the date"
    ]
    assert guarded.notes(place.chamber, date(2026, 3, 2)) == []


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (('limiter = "TZS-103"', 'limiter = "HS-101"'),
         "protection.limiter = HS-101: already used by protection.emergency_stop; give each its own point"),
        (('fog_pressure = "PS-102"', 'fog_pressure = "FS-101"'),
         "protection.fog_pressure = FS-101: already used by protection.airflow; give each its own point"),
        ((DOORS, 'doors = ["ZS-101A", "ZS-101A"]'),
         "protection.doors[1] = ZS-101A: already used by protection.doors[0]; give each its own point"),
        ((DOORS, 'doors = ["HS-103"]'),
         "protection.doors[0] = HS-103: already used by protection.person_inside; give each its own point"),
        (('["TT-104A", "TT-104B"]', '["TT-104A", "TT-104A"]'),
         ("protection.product_temperatures[1] = TT-104A: already used by protection.product_temperatures[0]; "
          "give each its own point")),
    ],
)  # fmt: skip
def test_two_roles_on_one_point_are_refused(configs: Path, change: tuple[str, str], says: str) -> None:
    assert refused(configs, change) == [says]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (row(tag="humidity-low"), "tag = humidity-low: is the tag of an alarm; give the row a tag of its own"),
        (row(tag="door-open"), "tag = door-open: is the tag of another row; give every row its own tag"),
        (row(contacts='["HS-112", "HS-112"]'),
         "contacts[1] = HS-112: already used by protection.row[0].contacts[0]; give each its own point"),
        (row(contacts="[]", more='readings = ["TT-110", "TT-110"]\nabove = 40.0'),
         "readings[1] = TT-110: already used by protection.row[0].readings[0]; give each its own point"),
        (row(votes=3), "votes = 3: only 2 contacts and readings can vote; name more of them or ask for fewer votes"),
        (row(contacts='["YS-110", "TZS-103"]', more="bypassable = true"),
         ("bypassable = true: must be false: the row follows protection.limiter; "
          "a hard-wired circuit is never left out")),
        (row(contacts="[]", votes=1, more='readings = ["TT-110"]\nabove = 60.0'),
         "above = 60: must be below 60, the end of the span of TT-110; change it, or use a probe of a wider span"),
        (row(contacts="[]", votes=1, more='readings = ["TT-110"]\nbelow = -20.0'),
         "below = -20: must be above -20, the end of the span of TT-110; change it, or use a probe of a wider span"),
    ],
)  # fmt: skip
def test_a_row_of_the_chamber_that_cannot_do_its_work_is_refused(
    configs: Path, change: tuple[str, str], says: str
) -> None:
    assert refused(configs, change) == [f"protection.row[0].{says}"]


def test_a_row_without_a_voter_is_refused(configs: Path) -> None:
    first, _votes = refused(configs, row(contacts="[]", votes=1))
    assert first == "protection.row[0].contacts = none: nobody can vote; name contacts or readings"


def test_a_row_that_fits_passes(configs: Path) -> None:
    assert refused(configs, row(more='bypassable = true\nreadings = ["TT-110"]\nabove = 59.9')) == []


@pytest.mark.parametrize(
    ("field", "was", "limit", "tag", "end"),
    [("air_degC_max", "48.0", "60", "TT-101A", "60"), ("supply_degC_max", "60.0", "90", "TT-108", "90"),
     ("product_degC_max", "58.0", "90", "TT-104A", "90")],
)  # fmt: skip
def test_a_trip_beyond_the_span_of_its_probe_is_refused(
    configs: Path, field: str, was: str, limit: str, tag: str, end: str
) -> None:
    (said,) = refused(configs, (f"{field} = {was}", f"{field} = {limit}.0"))
    assert said == (
        f"protection.{field} = {limit}: must be below {end}, the end of the span of {tag}; "
        "lower it, or use a probe of a wider span"
    )


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ((CUT + "0", CUT + "1"), f"YC-103.safe = 1: must be 0: heat.enable of {CHAMBER}; {OFF}"),
        (("heating valve,panel-a,255,259,,percent,0,10000,0,100,%,,,0",
          "heating valve,panel-a,255,259,,percent,0,10000,0,100,%,,,50"),
         f"TCV-103.safe = 50: must be 0: heat.valve of {CHAMBER}; {OFF}"),
        (('45 kg/h",panel-a,255,261,3,contact,,,,,,,,0', '45 kg/h",panel-a,255,261,3,contact,,,,,,,,1'),
         f"XV-102B.safe = 1: must be 0: fog.bank[1].tag of {CHAMBER}; {OFF}"),
        (("alarm),panel-a,255,261,7,contact,,,,,,,,0", "alarm),panel-a,255,261,7,contact,,,,,,,,1"),
         f"YC-192.safe = 1: must be 0: alarms.healthy of {CHAMBER}; {OFF}"),
        (("heating,panel-a,255,261,4,contact,,,,,,,,0", "heating,panel-a,255,261,4,contact,,,,,,,,1"),
         f"YC-106.safe = 1: must be 0: frame_heating.output of {CHAMBER}; {OFF}"),
    ],
)  # fmt: skip
def test_what_heats_or_wets_is_off_where_nobody_controls(configs: Path, change: tuple[str, str], says: str) -> None:
    assert refused(configs, change, file=POINTS) == [says]


def test_what_only_a_start_would_refuse_is_said_by_check_too(configs: Path) -> None:
    twice = ('tag = "vent-stroke"', 'tag = "beacon-test"')
    assert refused(configs, twice) == [
        "duty[2].tag = beacon-test: is the tag of another item; give every item its own tag"
    ]


def test_a_row_that_nothing_can_trip_is_noted(configs: Path) -> None:
    changes = ((DOORS, "doors = []"), ('["TT-104A", "TT-104B"]', "[]"), ('fan_runs = "YS-101"', 'fan_runs = "FS-101"'))
    assert refused(configs, *changes) == []
    place = bundle.load_site(configs / CHAMBER, device_class=Device, layout=require_layout)
    assert [note.partition(":")[0] for note in guarded.notes(place.chamber, TODAY)] == [
        "protection.doors names no contact",
        "protection.product_temperatures names no probe",
        "protection.airflow and fan_runs are both FS-101",
    ]
