"""The weather weeks we ship against the file they were cut from."""

from __future__ import annotations

import csv
from importlib.util import find_spec
from pathlib import Path

import pytest

WEEKS = Path(__file__).parents[2] / "configs" / "weather"
STATION = "723170TYA.CSV"
FIRST_DAYS = {"winter": "01/08/1988", "spring": "03/01/1990", "summer": "07/08/1981"}


def package_rows() -> list[dict[str, str]]:
    """Rows of the station's TMY3 file inside pvlib; the package itself need not be imported."""
    spec = find_spec("pvlib")
    assert spec is not None
    assert spec.origin is not None
    with (Path(spec.origin).parent / "data" / STATION).open(newline="") as file:
        station = next(csv.reader(file))
        assert station[:3] == ["723170", "GREENSBORO PIEDMONT TRIAD INT", "NC"]
        return list(csv.DictReader(file))


@pytest.mark.outside(
    "published: TMY3 of the US National Renewable Energy Laboratory, station 723170, the file that pvlib carries"
)
@pytest.mark.parametrize("week", FIRST_DAYS)
def test_every_hour_is_that_of_the_tmy3_file(week):
    text = (WEEKS / f"{week}.csv").read_text()
    comments = [line for line in text.splitlines() if line.startswith("#")]
    shipped = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    rows = package_rows()
    first = next(i for i, row in enumerate(rows) if row["Date (MM/DD/YYYY)"] == FIRST_DAYS[week])
    cut = rows[first : first + 7 * 24]
    assert (cut[0]["Time (HH:MM)"], cut[-1]["Time (HH:MM)"]) == ("01:00", "24:00")
    assert [int(row["hour"]) for row in shipped] == list(range(168))
    for ours, theirs in zip(shipped, cut, strict=True):
        assert float(ours["temperature_degC"]) == float(theirs["Dry-bulb (C)"])
        assert float(ours["rh_pct"]) == float(theirs["RHum (%)"])
    head = " ".join(comments)
    for part in ("723170", "36.100 N", "TMY3", "US public domain", FIRST_DAYS[week], cut[-1]["Date (MM/DD/YYYY)"]):
        assert part in head
