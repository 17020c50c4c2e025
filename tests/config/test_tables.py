"""CSV tables: rows, defaults, and what is wrong with them in words."""

from __future__ import annotations

import pytest

from controller.config.find import find
from controller.config.loader import PROBLEMS_MAX, load_table, parse_table
from controller.core.points import Point
from controller.errors import ConfigError

HEADER = "tag,kind,text,device,address,signal,lo,hi\n"
ROW = "TT-1,AI,air,panel,8,4-20mA,-10,60\n"


def table_problems(text: str) -> list[str]:
    with pytest.raises(ConfigError) as caught:
        parse_table(text.encode(), Point, "p.csv")
    return [str(problem).removeprefix("p.csv: ") for problem in caught.value.problems]


def test_a_table_becomes_rows_and_empty_cells_take_their_default():
    rows = parse_table(f"# made by hand\n#\n{HEADER}{ROW}TT-2,AI,air,panel,9,raw,,\n\n".encode(), Point, "p").value
    assert [row.tag for row in rows] == ["TT-1", "TT-2"]
    assert (rows[0].lo, rows[1].lo, rows[1].hi) == (-10.0, 0.0, 1.0)
    assert isinstance(rows[0].lo, float)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEADER, "(whole file) = (no rows): has a header and nothing below it; add the rows"),
        ("# only\n# comments\n", "(whole file) = (empty): has no header line; start from one of the shipped files"),
        (
            HEADER.replace("kind", "sort") + ROW,
            (
                'line 1 (header) = "sort": unknown column; remove it; known: tag, kind, '
                "text, device, unit_id, address, bit, signal, raw_lo, raw_hi, lo, hi, unit, "
                "rate_per_s_max, normal, safe, table, type, word_order, fault_codes"
            ),
        ),
        (
            HEADER.replace("adress", "address").replace("address", "adress") + ROW,
            'line 1 (header) = "adress": unknown column; did you mean address?',
        ),
        (HEADER.replace("lo,", "hi,") + ROW, "line 1 (header) = hi: the column stands twice; remove one"),
        (
            HEADER.replace(",", ";") + ROW.replace(",", ";"),
            (
                'line 1 (header) = "tag;kind;text;device;address;signal;lo;hi"'
                ": columns are separated by something else than commas; save it as comma-separated"
            ),
        ),
        (
            HEADER + "TT-1,AI,air\n",
            "line 2 = 3 cells: needs 8 cells as the header; count the commas; a text with a comma needs quotes",
        ),
        (
            HEADER + ROW + ROW.replace("8", "x"),
            (
                'line 3 (TT-1), address = "x": must be a whole number from 0 to 65535; '
                "write a whole number from 0 to 65535"
            ),
        ),
        (
            HEADER + ROW.replace("AI", "IA"),
            'line 2 (TT-1), kind = "IA": must be one of "AI", "AO", "DI", "DO"; choose one of them',
        ),
        (HEADER + ROW.replace("-10", "nan"), 'line 2 (TT-1), lo = "nan": must be a number; write a number'),
        (HEADER + ROW.replace("-10", "-1e999"), 'line 2 (TT-1), lo = "-1e999": must be a number; write a number'),
        (
            HEADER + ROW.replace(",8,", ",,"),
            "line 2 (TT-1), address = (missing): needed: a whole number from 0 to 65535; fill the cell",
        ),
        (HEADER + 'TT-1,"AI,air', "line 2 = (unreadable): is no CSV: unexpected end of data; check its quotes"),
        (
            HEADER + ROW.replace(",8,", ",70000,"),
            "line 2 (TT-1), address = 70000: must be a whole number from 0 to 65535; lower it to 65535 or less",
        ),
    ],
)
def test_one_broken_table_is_one_problem_in_words(text, said):
    assert said in table_problems(text)


def test_all_rows_are_judged():
    bad = ROW.replace("8", "-1")
    assert len(table_problems(HEADER + bad * 7)) == 7


def test_the_number_of_a_tables_problems_is_bounded():
    assert len(table_problems(HEADER + "x,y\n" * 5000)) == PROBLEMS_MAX + 1


def test_the_shipped_point_list_loads():
    points = load_table(find("points", "panel-a"), Point)
    assert len(points) == 38 + 17 + 3 + 11
