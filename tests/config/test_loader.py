"""Loading: what is right is loaded, what is wrong is said in words, and nothing else ever happens."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Literal

import pytest
from annotated_types import Ge, Gt, Le, Len, Lt
from hypothesis import given
from hypothesis import strategies as st

from controller.config.loader import PROBLEMS_MAX, load, parse, parse_table, read
from controller.core.points import Point
from controller.core.product.mix import Mix
from controller.errors import ConfigError


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    rate_K_per_h: Annotated[float, Gt(0), Le(20)]
    kind: Literal["rest", "ramp", "hold"] = "rest"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One of everything that config classes use."""

    name: str
    bays: Annotated[int, Ge(1), Le(40)] = 6
    on: bool = True
    share: Annotated[float, Ge(0), Lt(1)] = 0.5
    free: float = 0.0
    head: Step
    extra: Step | None = None
    steps: Annotated[tuple[Step, ...], Len(1, 3)]
    tags: tuple[str, ...] = ()
    place: tuple[float, float] = (0.0, 0.0)
    offset: Mapping[str, Annotated[float, Ge(-5), Le(5)]] = field(default_factory=dict)
    level: float | Literal["auto"] = "auto"
    code: Annotated[str, Len(1, 4)] = "x"


GOOD = """
name = "sample"
bays = 4
share = 0
tags = ["a", "b"]
place = [1, 2.5]
[head]
rate_K_per_h = 1
[[steps]]
rate_K_per_h = 0.8
kind = "ramp"
[offset]
TT-101 = 0.25
"""


def problems(text: str | bytes, cls: type = Sample) -> list[str]:
    data = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(ConfigError) as caught:
        parse(data, cls, "f.toml")
    return [str(problem).removeprefix("f.toml: ") for problem in caught.value.problems]


def with_line(line: str) -> str:
    """GOOD with one more line at its top (or one line of it replaced)."""
    key = line.split("=")[0].strip()
    kept = [old for old in GOOD.splitlines() if old.split("=")[0].strip() != key]
    return line + "\n" + "\n".join(kept)


def test_a_good_file_becomes_frozen_plain_values():
    loaded = parse(GOOD.encode(), Sample, "f.toml")
    assert loaded.value == Sample(
        name="sample",
        bays=4,
        share=0.0,
        tags=("a", "b"),
        place=(1.0, 2.5),
        head=Step(rate_K_per_h=1.0),
        steps=(Step(rate_K_per_h=0.8, kind="ramp"),),
        offset={"TT-101": 0.25},
    )
    assert isinstance(loaded.value.share, float), "a whole number where a number is meant becomes a float"
    assert isinstance(loaded.value.head, Step)
    assert loaded.sha256 == hashlib.sha256(GOOD.encode()).hexdigest()
    assert loaded.text == GOOD


# One broken line each -> the one problem said.
BROKEN_LINES = {
    "bay = 4": "bay = 4: unknown key bay; did you mean bays?",
    "zzz = 4": "zzz = 4: unknown key zzz; remove it; known here: name, bays, on, share, free, head, extra, steps, "
    "tags, place, offset, level, code",
    "bays = 0": "bays = 0: must be a whole number from 1 to 40; raise it to 1 or more",
    "bays = 41": "bays = 41: must be a whole number from 1 to 40; lower it to 40 or less",
    "bays = 4.5": "bays = 4.5: must be a whole number from 1 to 40; round it to 4",
    "bays = 4.0": "bays = 4.0: must be a whole number from 1 to 40; round it to 4",
    'bays = "4"': 'bays = "4": must be a whole number from 1 to 40; write 4 without quotes',
    "bays = true": "bays = true: must be a whole number from 1 to 40; write a whole number from 1 to 40",
    "bays = 99999999999999999999": "bays = 99999999999999999999: too large a number; write the number that is meant",
    "on = 1": "on = 1: must be true or false; write true or false",
    'on = "yes"': 'on = "yes": must be true or false; write true or false',
    "share = 1": "share = 1: must be a number of at least 0 and below 1; lower it below 1",
    "share = -0.1": "share = -0.1: must be a number of at least 0 and below 1; raise it to 0 or more",
    "share = true": "share = true: must be a number of at least 0 and below 1; "
    "write a number of at least 0 and below 1",
    "share = nan": "share = nan: must be a finite number; write the number that is meant",
    "free = nan": "free = nan: must be a finite number; write the number that is meant",
    "free = inf": "free = inf: must be a finite number; write the number that is meant",
    "free = -inf": "free = -inf: must be a finite number; write the number that is meant",
    "free = 1e999": "free = inf: must be a finite number; write the number that is meant",
    "free = 2026-11-25": "free = 2026-11-25: dates and times are not used in these files; "
    "write a number, or a text in quotes",
    "name = 07:30:00": "name = 07:30:00: dates and times are not used in these files; "
    "write a number, or a text in quotes",
    "name = 5": 'name = 5: must be a text in quotes; put it in quotes: "5"',
    "tags = 'a'": 'tags = "a": must be a list; write a list',
    "tags = ['a', 3]": 'tags[1] = 3: must be a text in quotes; put it in quotes: "3"',
    "place = [1]": "place[1] = (missing): needs one more entry; add it to the list",
    "place = [1, 2, 3]": "place = [1, 2, 3]: must be a list of 2 values; shorten it",
    "place = [1, nan]": "place[1] = nan: must be a finite number; write the number that is meant",
    "level = 'manual'": 'level = "manual": must be a number or one of "auto"; write a number or one of "auto"',
    "code = ''": 'code = "": must be a text in quotes of 1 to 4 characters; add what is missing',
    "code = 'abcde'": 'code = "abcde": must be a text in quotes of 1 to 4 characters; shorten it',
    "extra = {}": "extra.rate_K_per_h = (missing): needed: a number above 0 and at most 20; "
    "add rate_K_per_h = ... to extra",
    "extra = {rate_K_per_h = 1, kind = 'ram'}": 'extra.kind = "ram": must be one of "rest", "ramp", "hold"; '
    'did you mean "ramp"?',
    "extra = {rate_K_per_h = 1, kind = 'xyz'}": 'extra.kind = "xyz": must be one of "rest", "ramp", "hold"; '
    "choose one of them",
    "extra = {rate_K_per_h = 1, rate_K_per_hour = 1}": "extra.rate_K_per_hour = 1: unknown key rate_K_per_hour; "
    "did you mean rate_K_per_h?",
    "extra = {rate_K_per_h = 0}": "extra.rate_K_per_h = 0: must be a number above 0 and at most 20; raise it above 0",
    "extra = [1]": "extra = [1]: must be a table with rate_K_per_h; for one table write [name] with single brackets",
    "extra = 3": "extra = 3: must be a table with rate_K_per_h; write a table with rate_K_per_h",
    # not TOML
    "bays = 0,8": "line 1 = bays = 0,8: more stands behind the value; one value a line; 0.8 has a point, not a comma",
    "bays": "line 1 = bays: a key needs = and a value; write key = value; comments begin with #",
    "bays =": 'line 1 = bays =: is no value; texts need quotes: "..."; numbers a point, not a comma: 0.8',
    "bays = six": 'line 1 = bays = six: is no value; texts need quotes: "..."; numbers a point, not a comma: 0.8',
    'name = "abc': 'line 1 = name = "abc: a text is not closed; put the closing " at its end of the same line',
    "tags = ['a', 'b'": 'line 3 = name = "sample": a list is not closed; put the closing ] at its end',
    "extra = {kind = 'rest'": "line 1 = extra = {kind = 'rest': a table in braces is not closed; "
    "put the closing } at its end",
    "bays = 1\nbays = 2": "line 2 = bays = 2: a key stands twice; keep one of the two",
    "[head": "line 1 = [head: a table name is not closed; write [name], or [[name]] for an entry of a list",
    "[x]\n[x]": "line 2 = [x]: a table stands twice; join the two into one",
    'name = "C:\\dir"': 'line 1 = name = "C:\\dir": a \\ in a text has a meaning of its own; '
    "write it twice, or use single quotes",
    "// comment": "line 1 = // comment: is no key; write key = value, or [name] for a table; comments begin with #",
    "bays = 0x": "line 1 = bays = 0x: more stands behind the value; one value a line; 0.8 has a point, not a comma",
}


@pytest.mark.parametrize("line", BROKEN_LINES)
def test_one_broken_line_is_one_problem_in_words(line):
    assert problems(with_line(line)) == [BROKEN_LINES[line]]


def test_all_problems_of_a_file_are_said_at_once():
    text = 'bay = 3\nshare = 7\nfree = nan\n[head]\nrate_K_per_h = -1\nkind = 3\n[[steps]]\n[offset]\nA = 9\nB = "1"\n'
    assert problems(text) == [
        "free = nan: must be a finite number; write the number that is meant",
        "name = (missing): needed: a text in quotes; add name = ... at the top of the file",
        "share = 7: must be a number of at least 0 and below 1; lower it below 1",
        "head.rate_K_per_h = -1: must be a number above 0 and at most 20; raise it above 0",
        'head.kind = 3: must be one of "rest", "ramp", "hold"; choose one of them',
        (
            "steps[0].rate_K_per_h = (missing): needed: a number above 0 and at most 20; "
            "add rate_K_per_h = ... to steps[0]"
        ),
        "offset.A = 9: must be a number from -5 to 5; lower it to 5 or less",
        'offset.B = "1": must be a number from -5 to 5; write 1 without quotes',
        "bay = 3: unknown key bay; did you mean bays?",
    ]


def test_missing_tables_and_wrong_lists_say_how_to_write_them():
    assert problems('name = "x"\n[steps]\nrate_K_per_h = 1\n') == [
        "head = (missing): needed: a table with rate_K_per_h; add a table [head]",
        (
            "steps = {rate_K_per_h = 1}: must be a list of 1 to 3 entries; "
            "for a list of tables write [[name]] with double brackets"
        ),
    ]
    many = GOOD + "[[steps]]\nrate_K_per_h = 1\n" * 3
    assert problems(many)[0].endswith("must be a list of 1 to 3 entries; shorten it")


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "(whole file) = (empty): has nothing in it; start from one of the shipped files"),
        (b" \n\t\n", "(whole file) = (empty): has nothing in it; start from one of the shipped files"),
        (b'name = "a"\nx = "\xff"\n', "line 2 = byte 0xff: is not UTF-8; save the file as UTF-8 text"),
        ("näme".encode("utf-16"), "line 1 = byte 0xff: is not UTF-8; save the file as UTF-8 text"),
        (
            b"#" * (1 << 20) + b"#",
            "(whole file) = 1048577 bytes: a file has at most 1048576 bytes; is it the right file?",
        ),
        (b"#" * 3000, "line 1 = 3000 characters: a line has at most 2000; break it up"),
        (b"a = " + b"[\n" * 50_000, "(whole file) = (nested): at most 16 levels deep; flatten it"),
    ],
)
def test_what_is_no_text_file_is_named(data, said):
    assert problems(data) == [said]


def test_deep_nesting_is_refused_where_it_begins_to_be_too_deep():
    deep = ".".join("a" * 30)
    assert "at most 16 levels deep; flatten it" in problems(with_line(f"{deep} = 1"))[0]


def test_the_number_of_problems_is_bounded():
    said = problems(with_line("\n".join(f"zz{n} = 1" for n in range(5000))))
    assert len(said) == PROBLEMS_MAX + 1
    assert "more than 100 problems" in said[-1]


def test_a_byte_order_mark_and_windows_line_ends_are_fine():
    assert parse(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode(), Sample, "f").value.bays == 4


def test_files_that_cannot_be_read_are_named(tmp_path):
    def said(path) -> str:
        with pytest.raises(ConfigError) as caught:
            load(path, Sample)
        (problem,) = caught.value.problems
        assert problem.file == str(path)
        return f"{problem.value}: {problem.limit}; {problem.remedy}"

    assert said(tmp_path) == "a directory: must be a file; name the file inside it"
    assert said(tmp_path / "none.toml") == "(missing): there is no such file; check the name and the folder"
    assert said(str(tmp_path / "a\0b")).startswith("(unreadable): cannot be read: ")
    assert said("/dev/zero") == "not a plain file: must be a file; name a file on disk"
    fifo = tmp_path / "fifo.toml"
    os.mkfifo(fifo)
    assert said(fifo) == "not a plain file: must be a file; name a file on disk"
    file = tmp_path / "under.toml"
    file.write_text(GOOD)
    assert said(file / "x.toml").startswith("(unreadable): cannot be read: Not a directory")
    big = tmp_path / "big.toml"
    big.write_bytes(b"#" * ((1 << 20) + 1))
    assert "at most 1048576 bytes" in said(big)


def test_a_file_of_another_user_is_named(tmp_path, monkeypatch):
    """The system refuses to open it; root would be let in, so the refusal is given by hand."""
    file = tmp_path / "closed.toml"
    file.write_text(GOOD)

    def refused(*_args, **_named):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(file), "open", refused)
    with pytest.raises(ConfigError, match="may not be read by this user"):
        load(file, Sample)


def test_read_gives_hash_of_the_bytes_and_where_they_came_from(tmp_path):
    file = tmp_path / "a.toml"
    file.write_bytes(GOOD.encode())
    loaded = read(file, Sample)
    assert loaded.path == str(file)
    assert loaded.sha256 == hashlib.sha256(file.read_bytes()).hexdigest()
    assert load(file, Sample) == loaded.value


@given(st.binary(max_size=400))
def test_any_bytes_give_a_config_or_a_config_error(data):
    for judge, cls in ((parse, Sample), (parse, Mix), (parse_table, Point)):
        try:
            judge(data, cls, "any")
        except ConfigError as error:
            assert error.problems


@given(st.text(max_size=200), st.integers(0, len(GOOD)), st.integers(0, 40))
def test_any_damage_to_a_good_file_gives_a_config_or_a_config_error(piece, start, length):
    """Random text put into, or in place of, a part of a good file: nearer to TOML than random bytes."""
    damaged = GOOD[:start] + piece + GOOD[start + length :]
    try:
        value = parse(damaged.encode("utf-8", "replace"), Sample, "any").value
    except ConfigError as error:
        assert error.problems
    else:
        assert 1 <= value.bays <= 40
        assert all(isinstance(step, Step) and step.rate_K_per_h > 0 for step in value.steps)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_arrives_bit_for_bit(number):
    """Reading TOML by way of JSON must not cost a digit."""
    text = with_line(f"free = {number!r}" if "e" in repr(number) or "." in repr(number) else f"free = {number}")
    assert parse(text.encode(), Sample, "f").value.free == number
