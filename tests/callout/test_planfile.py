"""A call-out file: the demo is right, everything wrong is said at once with what to do, secrets stay out of it."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from controller.callout.planfile import load_plan
from controller.config.find import SHIPPED
from controller.errors import ConfigError

DEMO = SHIPPED / "callout" / "demo.toml"


def wrong(tmp_path: Path, *changes: tuple[str, str]) -> list[str]:
    text = DEMO.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / "callout.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError) as caught:
        load_plan(path)
    return [str(problem).removeprefix(f"{path}: ") for problem in caught.value.problems]


def test_the_demo_is_right_and_says_how_each_person_is_reached() -> None:
    loaded = load_plan(DEMO)
    assert [(way.channel, way.address) for way in loaded.ways["cleo"]] == [
        ("mail", "cleo.marten@example.com"), ("phones", "https://phones.example.com/dewhold")
    ]
    assert loaded.secrets == {"mail": "", "phones": ""}


PROBLEMS = [
    ('zone = "Europe/Berlin"', 'zone = "Europe/Bern"', "zone = Europe/Bern: is no time zone of the IANA tables"),
    ('begin = "22:00"', 'begin = "24:00"', "shifts[2].begin = 24:00: must be a time of day, 00:00 to 23:59"),
    ('who = ["duty"]', 'who = ["dudy"]', "rules[0].steps[0].who = dudy: is not one of anna, ben, cleo, duty"),
    ('people = ["ben"]', 'people = ["bon"]', "shifts[1].people = bon: is not one of anna, ben, cleo"),
    ('hooks = ["phones"]', 'hooks = ["pagers"]', "people[2].hooks = pagers: is not one of phones"),
    ('key = "ben"', 'key = "anna"', "people[1].key = anna: stands twice or is a word of its own"),
    ('mail = "anna.berg@example.com"', "", "people[0] = anna: cannot be reached; give mail or hooks"),
    ('mail = "anna.berg@example.com"', 'mail = "Anna"', "people[0].mail = Anna: is no mail address"),
    ("after_min = 10.0", "after_min = 30.0", "rules[0].steps = 0, 30, 25: after_min must rise"),
    ('priorities = ["medium"]', 'priorities = ["low"]', "rules[2].priorities = low: has a rule already"),
    ('priorities = ["medium"]', 'priorities = ["low"]', "rules = medium: has no rule, nobody would be told"),
    ('priorities = ["low"]', 'priorities = ["high"]', "rules[2].begin = 06:00: alarms of high priority wait for no"),
    ('end = "20:00"', "", "rules[2].end = (none): begin and end go together"),
    ('security = "starttls"', 'security = "none"', "mail.security = none: would send text, and a password, in the"),
    ('sender = "dewhold@example.com"', 'sender = "Dewhold"', "mail.sender = Dewhold: is no mail address"),
    ('# user = "dewhold"', 'user = "dewhold"', "mail.user = dewhold: needs a password"),
    ('url = "https://', 'url = "http://', "hooks[0].url = http://phones.example.com/dewhold: must begin with https://"),
    ('phones.example.com/dewhold"', 'u:p@phones.example.com/#x"', "must be a plain address without blanks"),
    ("gather_s = 15.0", "gather_s = -1.0", "gather_s = -1"),
    ("gather_s = 15.0", "gatherings_s = 1.0", "gatherings_s = 1.0: unknown key"),
    ('# secret_env = "DEWHOLD_PHONES_SECRET"', 'secret_env = "DEWHOLD_NOT_SET"', "DEWHOLD_NOT_SET: is not set"),
    ('# password_file = "mail-password"', 'password_file = "nowhere"', "mail.password_file = nowhere: cannot be read"),
]


@pytest.mark.parametrize(("old", "new", "said"), PROBLEMS)
def test_what_is_wrong_is_said_with_its_place_and_remedy(tmp_path: Path, old: str, new: str, said: str) -> None:
    found = wrong(tmp_path, (old, new))
    assert any(said in one for one in found), found


def test_an_absence_is_a_pair_of_days(tmp_path: Path) -> None:
    away = 'hooks = ["phones"]\n[[away]]\nperson = "anna"\nfirst_day = "2026-13-01"\nlast_day = "2026-01-01"\n'
    found = wrong(tmp_path, ('hooks = ["phones"]\n', away))
    assert [one.split(":")[0] for one in found] == ["away[0].first_day = 2026-13-01", "away[0].last_day = 2026-01-01"]


def test_everything_that_is_wrong_is_said_at_once(tmp_path: Path) -> None:
    assert len(wrong(tmp_path, *[(old, new) for old, new, _said in PROBLEMS[:4]])) == 4


@pytest.fixture
def with_secret(tmp_path: Path) -> Path:
    """The demo with a password file beside it that only this user can read."""
    text = DEMO.read_text(encoding="utf-8").replace('# user = "dewhold"', 'user = "dewhold"')
    text = text.replace('# password_file = "mail-password"', 'password_file = "mail-password"')
    (tmp_path / "callout.toml").write_text(text, encoding="utf-8")
    secret = tmp_path / "mail-password"
    secret.write_text("s3cret\n", encoding="utf-8")
    secret.chmod(0o600)
    return tmp_path


def test_a_password_is_read_from_a_file_beside_it(with_secret: Path) -> None:
    assert load_plan(with_secret / "callout.toml").secrets["mail"] == "s3cret"


def test_a_password_that_everybody_can_read_is_refused(with_secret: Path) -> None:
    (with_secret / "mail-password").chmod(0o600 | stat.S_IROTH)
    with pytest.raises(ConfigError, match=r"everybody on this computer may read it; chmod o= mail-password"):
        load_plan(with_secret / "callout.toml")


def test_a_secret_may_stand_in_the_environment_or_where_systemd_puts_credentials(
    with_secret: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = with_secret / "callout.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('password_file = "mail-password"', 'password_env = "DEWHOLD_TEST_PASSWORD"'))
    monkeypatch.setenv("DEWHOLD_TEST_PASSWORD", "from outside")
    assert load_plan(path).secrets["mail"] == "from outside"
    path.write_text(text.replace('"mail-password"', '"$CREDENTIALS_DIRECTORY/mail-password"'))
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(with_secret))
    assert load_plan(path).secrets["mail"] == "s3cret"
