"""All tries of one scene in one way: a clean run that counts, then one controller a call."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from crashpoints.attempt import Play, Seen, Theatre, copied
from crashpoints.judge import look, lost, went_on, whole
from crashpoints.points import every, points, sample
from crashpoints.results import Result
from crashpoints.scenes import Scene, begun
from crashpoints.tracing import COUNT, Inject, Thread, Way, calls

WAYS: tuple[Way, ...] = ("kill", "full", "error", "readonly", "short")
AGAIN = Play(arguments=(), scans=10)
SPARE = 30  # scans after the window in which a disk that refused is good again
ALARM_SCANS = 2  # after the line that tells of the disk: an order of the next scan, which comes with it
KILLED = -9


@dataclass(frozen=True, slots=True)
class Choice:
    """Which calls are tried: so many of them (None = all), drawn with a seed, of one thread or both.

    kinds: only these calls, () = all.  every: of what is left every so-manieth of each kind, first and last included.
    """

    sample: int | None
    seed: int
    thread: Thread | None = None
    kinds: tuple[str, ...] = ()
    every: int = 1

    def of(self, tries: list[Inject], name: str) -> tuple[list[Inject], int]:
        """(what is tried of them, out of how many). name: of scene and way, so that each draws its own."""
        asked = [
            one for one in tries if self.thread in (None, one.thread) and (not self.kinds or one.name in self.kinds)
        ]
        return sample(every(asked, self.every), self.sample, f"{name} {self.seed}"), len(asked)


def trial(
    theatre: Theatre, scene: Scene, way: Way, choice: Choice, say: Callable[[str], None] = lambda _text: None
) -> Result | None:
    """Try them; None when this scene has no call that this way strikes."""
    out, log = theatre.folder / "out", theatre.folder / "strace.log"
    sizes = {path.name: path.stat().st_size for path in begun(scene, out).iterdir()}
    clean = theatre.run(scene.play, out, COUNT, log)
    found = calls(log)
    if clean.status not in (0, 1):
        raise RuntimeError(f"{scene.name}: the clean run ended with {clean.status}: {clean.said[-500:]}")
    chosen, of = choice.of(points(found, way, out, sizes), f"{scene.name} {way}")
    if not chosen:
        return None
    result = Result(scene.name, way, dict(Counter(call.name for call in found)))
    say(f"{scene.name}, {way}: {scene.words}; {len(found)} calls, {len(chosen)} of {of} tried")
    for one in chosen:
        wrong = _killed(theatre, scene, one, result) if way == "kill" else _refused(theatre, scene, one, result, clean)
        result.tried += 1
        if wrong:
            result.failures.append((one, wrong))
            say(f"  {one.name} {one.nth} of the {one.thread}: {'; '.join(wrong)}")
    return result


def _killed(theatre: Theatre, scene: Scene, one: Inject, result: Result) -> list[str]:
    """Killed at this call, looked at, started again, looked at again. What is wrong."""
    out, aside = theatre.folder / "out", theatre.folder / "aside"
    begun(scene, out)
    seen = theatre.run(scene.play, out, one, theatre.folder / "strace.log")
    if seen.status != KILLED:
        return [] if seen.status in (0, 1) else [f"ended with {seen.status} before it was killed: {seen.said[-300:]}"]
    result.struck += 1
    result.acknowledged += len(seen.lines)
    wrong = whole(out, aside)
    before = look(copied(out, aside))
    wrong += lost(seen, before)
    kept = 0 if before is None else len(before.scans)
    result.unseen_max = max(result.unseen_max, seen.lived - (kept - scene.scans))
    second = theatre.run(AGAIN, out, None, theatre.folder / "none")
    return [*wrong, *went_on(before, seen, look(out), second), *whole(out, aside)]


def _refused(theatre: Theatre, scene: Scene, one: Inject, result: Result, clean: Seen) -> list[str]:
    """The disk refuses at this call and twice more. clean: the run in which it did not. What is wrong."""
    out, aside, log = theatre.folder / "out", theatre.folder / "aside", theatre.folder / "strace.log"
    begun(scene, out)
    play = replace(scene.play, scans=scene.play.scans + SPARE, trip=None)
    seen = theatre.run(play, out, one, log)
    result.struck += seen.cut or "(INJECTED)" in log.read_text(encoding="utf-8", errors="replace")
    result.acknowledged += len(seen.lines)
    ended = seen.lived >= min(play.scans, clean.lived)  # a cycle that is over ends the program before its time
    if seen.status not in (0, 1) and not (seen.status == 3 and (seen.lived == 0 or ended)):
        return [f"control stopped after {seen.lived} scans with {seen.status}: {seen.said[-300:]}"]
    if seen.status == 3:
        return [*_in_words(seen), *_starts_again(theatre, out, seen)]
    found = look(out)
    wrong = [*lost(seen, found), *whole(out, aside)]
    if found is None:
        return [*wrong, "there is no record"]
    result.told += bool(found.told)
    if found.scans != list(range(scene.scans + seen.lived - 1)):  # the last one lived with the safe block of the end
        wrong.append(f"{scene.scans + seen.lived - 1 - len(found.scans)} scans are missing in the record")
    if found.told and found.told != [True, False] * (len(found.told) // 2):
        wrong.append(f"it was not told that the record was written again: {found.told}")
    if found.told and found.alarms[:1] != ["comes"] and found.told_scan + ALARM_SCANS <= found.scans[-1]:
        wrong.append(f"no alarm for it: {found.alarms}")
    return wrong


def _in_words(seen: Seen) -> list[str]:
    """A program that could not says what and why, and no traceback."""
    said = seen.said.strip()
    return [] if said and "Traceback" not in said else [f"not said in words: {said[-300:]}"]


def _starts_again(theatre: Theatre, out: Path, seen: Seen) -> list[str]:
    """With a good disk the next controller goes on."""
    aside = theatre.folder / "aside"
    wrong = [*lost(seen, look(copied(out, aside))), *whole(out, aside)]
    second = theatre.run(AGAIN, out, None, theatre.folder / "none")
    if second.status not in (0, 1):
        wrong.append(f"the next controller ended with {second.status}: {second.said[-300:]}")
    return [*wrong, *whole(out, aside)]
