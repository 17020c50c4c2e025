"""`sh tools/crash-points`: every call, or a sample; a line a try that went wrong, a table, and JSON."""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path

from crashpoints import tracing
from crashpoints.attempt import Theatre
from crashpoints.results import Result, table
from crashpoints.scenes import WORDS, scenes
from crashpoints.stage import stage
from crashpoints.tracing import WATCHED
from crashpoints.trial import WAYS, Choice, trial


def main(arguments: list[str]) -> int:
    """0 when everything held, 1 when not, 3 when calls cannot be traced here."""
    asked = parsed(arguments)
    why = tracing.unavailable()
    if why:
        print(f"crash-points: {why}", file=sys.stderr)
        return 3
    began = time.monotonic()
    results: list[Result] = []
    choice = Choice(asked.sample, asked.seed, asked.thread, tuple(asked.kind or ()), asked.every)
    with tempfile.TemporaryDirectory(prefix="dewhold-crash-") as name, stage(Path(name)) as ground:
        theatre = Theatre(ground, Path(name))
        try:
            for scene in scenes(theatre, asked.scene or list(WORDS)):
                for way in asked.way or list(WAYS):
                    result = trial(theatre, scene, way, choice, _say)
                    if result is not None:
                        results.append(result)
                        write(asked.out, results, asked.seed)
        finally:
            theatre.close()
    print(table(results))
    print(f"{time.monotonic() - began:.0f} s; {asked.out / 'crash-points.json'}")
    return 0 if all(not result.failures for result in results) else 1


def parsed(arguments: list[str]) -> argparse.Namespace:
    """--way, --scene, --thread, --kind, --every, --sample, --seed, --out."""
    parser = argparse.ArgumentParser(prog="tools/crash-points", description=__doc__)
    parser.add_argument("--way", action="append", choices=WAYS, help="only this way; may be given again")
    parser.add_argument("--scene", action="append", choices=list(WORDS), help="only this scene; may be given again")
    parser.add_argument("--thread", choices=("main", "recorder"), help="only the calls of this thread")
    parser.add_argument(
        "--kind", action="append", choices=WATCHED, metavar="CALL", help="only this call; may be given again"
    )
    parser.add_argument(
        "--every", type=_positive, default=1, metavar="K",
        help="every K-th call of each kind and thread, first and last included (default: 1, all)",
    )
    parser.add_argument("--sample", type=int, metavar="N", help="so many calls of each scene and way (default: all)")
    parser.add_argument("--seed", type=int, default=1, help="which ones (default: 1)")
    parser.add_argument("--out", type=Path, default=Path("out/crash-points"), help="folder of crash-points.json")
    return parser.parse_args(arguments)


def _positive(text: str) -> int:
    number = int(text)
    if number < 1:
        raise argparse.ArgumentTypeError(f"{number} is less than 1")
    return number


def write(out: Path, results: list[Result], seed: int) -> None:
    """All results so far: a long run that is ended has said what it found."""
    out.mkdir(parents=True, exist_ok=True)
    text = json.dumps({"seed": seed, "results": [result.as_json() for result in results]}, indent=2)
    (out / "crash-points.json").write_text(text + "\n", encoding="utf-8")


def _say(text: str) -> None:
    print(text, flush=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
