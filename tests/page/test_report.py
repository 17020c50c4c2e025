"""The report of a cycle as the page hands it out: in the language of whoever looks, each made once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from controller.page import records


def test_each_reader_gets_the_report_in_his_own_language_and_the_record_stays_one(
    as_role: Callable[[str], TestClient], data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    browser, asked = as_role("view"), []
    run = records.subprocess.run

    def counted(command: list[str], **how: Any) -> Any:
        asked.append(command)
        return run(command, **how)

    monkeypatch.setattr(records.subprocess, "run", counted)
    address = "/api/v1/chambers/chamber/cycles/1/report"
    german = browser.get(address, headers={"accept-language": "de-AT"})
    english = browser.get(address, headers={"accept-language": "en"})
    again = browser.get(address, headers={"accept-language": "de"})
    browser.cookies.set("language", "de")
    chosen = browser.get(address, headers={"accept-language": "en"})
    assert '<html lang="de">' in german.text
    assert "Härtezyklus in demo-north" in german.text
    assert '<html lang="en">' in english.text
    assert "Curing cycle in demo-north" in english.text
    assert again.text == chosen.text == german.text
    assert [command[command.index("--language") + 1] for command in asked] == ["de", "en"]
    assert len(list(data.rglob("record.sqlite"))) == 1
