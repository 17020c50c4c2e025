"""Filling files and the moves of the chamber model: one into the other, and the demo files.

`python -m controller.rig.filling` writes the demo files anew; a test asks that they are current.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from controller.config.filling import FillingRow
from controller.config.find import SHIPPED
from plantsim.charge import Charge
from plantsim.filling import Batch, Filling, Move, in_order, most_tonnes
from plantsim.schedule import Press, Trips, batch_fill, continuous

FOLDER = SHIPPED / "fillings"
HEADER = "time_h,what,bay,level,tonnes,degC,age_h,mix"


def moves(rows: Iterable[FillingRow]) -> Filling:
    """The moves of a filling file, to the hundredth of a second: a file has hours with six decimals."""
    return in_order(
        Move(round(row.time_h * 3600.0, 2), row.what, row.bay, row.level or 0, _batch(row)) for row in rows
    )


def told(filling: Filling) -> Charge:
    """What a controller is told that knows of one charge only: the most that stands inside at a time, at the mean
    temperature of all that comes, and which bays stay empty as far as the filling tells."""
    batches = [move.batch for move in filling if move.batch is not None]
    tonnes = sum(batch.tonnes for batch in batches)
    used = {move.bay for move in filling if move.batch is not None}
    return Charge(
        tonnes=round(most_tonnes(filling), 3),
        mix_degC=round(sum(batch.tonnes * batch.degC for batch in batches) / tonnes, 2) if tonnes else 20.0,
        empty_bays=tuple(bay for bay in range(1, max(used, default=0)) if bay not in used),
    )


def text(filling: Filling, *comments: str) -> str:
    """A filling as a file, with comments above its header."""
    lines = [*(f"# {comment}" for comment in comments), HEADER]
    for move in filling:
        batch = move.batch
        place = f"{move.time_s / 3600.0:.6f},{move.what},{move.bay},{move.level or ''}"
        cells = f"{batch.tonnes:.6g},{batch.degC:.3f},{batch.age_h:.4f},{batch.mix}" if batch is not None else ",,,"
        lines.append(f"{place},{cells}")
    return "\n".join(lines) + "\n"


def demos() -> dict[str, str]:
    """File name -> text of the demo files. Invented: no site's schedule."""
    batch = batch_fill(6, 12, hours=3.0, press=Press(degC=21.0, drift_K_per_h=-0.8, scatter_K=0.3), seed=1)
    pressed = Press(degC=20.0, drift_K_per_h=0.3, scatter_K=0.4, mixes=("", "quick"))
    shift = continuous(6, 12, days=1, press=pressed, trips=Trips(first_wait_h=0.5), seed=1)
    warm = Press(degC=29.0, scatter_K=0.4, hall_degC=22.0)
    days = continuous(6, 12, days=3, press=warm, trips=Trips(order="level", door_s=60.0, first_wait_h=0.5), seed=1)
    return {
        "batch.csv": text(
            batch,
            "6 bays and 12 levels, empty at first, are filled in 3 h, bay by bay, three positions at a time. Invented.",
            "The mix leaves the press at 21 degC and cools by 0.8 K/h; boards wait in the hall until their trip goes.",
        ),
        "days.csv": text(
            days,
            "Three days of continuous filling from 5 o'clock: 6 bays of 12 levels anew each day, the oldest",
            "out for the newest in a shift from 6 to 14 o'clock, three places a trip, each to the next bay,",
            "doors open for 60 s. The mix is heated to 29 degC. At 0 h stands what the days before left. Invented.",
        ),
        "shift.csv": text(
            shift,
            "A day of continuous filling from 5 o'clock: a shift from 6 to 14 o'clock, the oldest out for the newest.",
            "At 0 h stands what the days before have left, at 32 degC. Two mixes of the demo model. Invented.",
        ),
    }


def write(folder: Path = FOLDER) -> None:
    """Write the demo files."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in demos().items():
        (folder / name).write_text(content, encoding="utf-8")


def _batch(row: FillingRow) -> Batch | None:
    if row.what != "place" or row.tonnes is None or row.degC is None:
        return None
    return Batch(row.tonnes, row.degC, row.age_h or 0.0, row.mix)


if __name__ == "__main__":
    write()
