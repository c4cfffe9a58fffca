"""[mailbox], answers, may and answers_from: what is wrong is said with what to do, what is right is built."""

import json
from pathlib import Path

import pytest

from relayd.errors import PlanRefused
from relayd.rig import Mailbox, Secret
from relayd.settings import Loaded, describe, load, load_away
from tests.servers.certificates import Authority
from tests.settings.plans import WALL, changed, written

BOX = """
[mailbox]
host = "mail.example.org"
user = "answers"
password_from = "mailbox"
"""
ANNA, MAIL = 'name = "Anna"\n', 'name = "mail"\n'
Pair = tuple[str, str]
ANSWERS: Pair = (MAIL, f"{MAIL}answers = true\n")
FROM: Pair = (ANNA, f'{ANNA}answers_from = ["anna@example.org"]\n')


def text(*pairs: Pair, box: str = BOX) -> str:
    return changed(*pairs) + box


def loaded(
    folder: Path, plan: str, secret: str | None = "pass-word", forgiving: bool = False
) -> Loaded:
    credentials = folder / "credentials"
    credentials.mkdir()
    if secret is not None:
        (credentials / "mailbox").write_text(secret)
        (credentials / "mailbox").chmod(0o600)
    return load(written(folder, plan), credentials, wall=WALL, forgiving=forgiving)


def refused(folder: Path, plan: str, secret: str | None = "pass-word") -> list[str]:
    with pytest.raises(PlanRefused) as problem:
        loaded(folder, plan, secret)
    return [each.partition("plan.toml:")[2].partition(": ")[2] for each in problem.value.problems]


def test_a_mailbox_is_built_with_the_usual_values(tmp_path: Path) -> None:
    found = loaded(tmp_path, text(ANSWERS, FROM))
    assert found.rig.mailbox == Mailbox(
        *("mail.example.org", 993, "answers", Secret("pass-word")),
        senders={"anna": ("anna@example.org",)},
    )
    assert found.plan.mailbox
    assert found.plan.codes
    assert found.plan.answers == {"anna.mail"}
    assert found.plan.people["anna"].may == ("seen", "taken")


@pytest.mark.parametrize(("secure", "port"), [("tls", 993), ("starttls", 143)])
def test_the_port_is_the_usual_one(tmp_path: Path, secure: str, port: int) -> None:
    found = loaded(tmp_path, text(ANSWERS, box=f'{BOX}secure = "{secure}"\nfolder = "Unit"\n'))
    assert found.rig.mailbox is not None
    assert (found.rig.mailbox.port, found.rig.mailbox.folder) == (port, "Unit")


def test_everything_may_be_said(tmp_path: Path) -> None:
    ca = Authority(tmp_path, "ca").file
    may = (ANNA, f'{ANNA}may = ["seen"]\nanswers_from = ["A@example.org", "b@example.org"]\n')
    found = loaded(tmp_path, text(ANSWERS, may, box=f'{BOX}port = 1993\nca = "{ca}"\n'))
    assert found.rig.mailbox is not None
    assert (found.rig.mailbox.port, found.rig.mailbox.ca) == (1993, ca)
    assert found.rig.mailbox.senders == {"anna": ("a@example.org", "b@example.org")}
    assert found.plan.people["anna"].may == ("seen",)


def test_a_plan_without_a_mailbox_has_none(tmp_path: Path) -> None:
    found = loaded(tmp_path, text(box=""))
    assert found.rig.mailbox is None
    assert not found.plan.codes
    assert describe(found)["mailbox"] is None


WRONG = {
    "no table": (
        text(ANSWERS, box=""),
        [
            "person.channel.answers: is true, and there is no [mailbox] that replies could reach; write one"
        ],
    ),
    "an address of two persons": (
        text(
            ANSWERS,
            FROM,
            ('name = "Ben"\n', 'name = "Ben"\nanswers_from = ["Anna@example.org"]\n'),
        ),
        [
            'person.answers_from: "anna@example.org" stands at two persons: nobody can tell who answers',
            'person.answers_from: "Anna@example.org" stands at two persons: nobody can tell who answers',
        ],
    ),
    "in clear": (
        text(ANSWERS, box=f'{BOX}secure = "none"\n'),
        ['mailbox.secure: is "none", and the password would be sent in clear; "tls" or "starttls"'],
    ),
    "no address": (
        text(ANSWERS, (ANNA, f'{ANNA}answers_from = ["Anna"]\n')),
        ['person.answers_from: must be a mail address alone, such as "anna@example.org"'],
    ),
    "an act that is none": (
        text((ANNA, f'{ANNA}may = ["see"]\n')),
        ['person.may: "see" is not known; one of "seen", "taken"; did you mean "seen"?'],
    ),
    "an authority that is none": (
        text(ANSWERS, box=f'{BOX}ca = "/nowhere/ca.pem"\n'),
        [
            "mailbox.ca: the certificate of the mailbox's authority cannot be read: No such file or directory"
        ],
    ),
}


@pytest.mark.parametrize(("plan", "says"), WRONG.values(), ids=WRONG)
def test_what_is_wrong_is_said_with_what_to_do(tmp_path: Path, plan: str, says: list[str]) -> None:
    assert refused(tmp_path, plan) == says


def test_a_table_without_its_keys_is_told_which(tmp_path: Path) -> None:
    said = refused(tmp_path, text(box="\n[mailbox]\n"))
    assert [each.partition(":")[0] for each in said] == [
        *("mailbox.host", "mailbox.user", "mailbox.password_from")
    ]


def test_a_password_that_is_not_there_is_told(tmp_path: Path) -> None:
    (said,) = refused(tmp_path, text(ANSWERS), secret=None)
    assert said.startswith("mailbox.password_from: there is no file of that name in ")


def test_a_lost_password_takes_the_mailbox_and_nothing_else(tmp_path: Path) -> None:
    found = loaded(tmp_path, text(ANSWERS, FROM), secret=None, forgiving=True)
    assert found.rig.mailbox is None
    assert not found.plan.mailbox
    assert found.plan.answers == frozenset()  # no message asks for a reply that nobody would read
    assert any("mailbox.password_from" in each for each in found.warnings)


def test_on_this_computer_itself_it_may_be_in_clear(tmp_path: Path) -> None:
    box = f'{BOX}secure = "none"\n'.replace("mail.example.org", "127.0.0.1")
    assert loaded(tmp_path, text(ANSWERS, box=box)).rig.mailbox is not None


DOUBTS = {
    "nobody is asked": (text(), "mailbox: is written, and no channel says answers = true"),
    "any address": (text(ANSWERS), "person.answers_from: is missing: whoever has the message"),
    "nobody takes": (
        text(
            ANSWERS,
            (ANNA, f'{ANNA}may = ["seen"]\n'),
            ('name = "Ben"\n', 'name = "Ben"\nmay = []\n'),
        ),
        'mailbox: nobody may answer "taken"',
    ),
}


@pytest.mark.parametrize(("plan", "says"), DOUBTS.values(), ids=DOUBTS)
def test_what_may_be_said_and_costs_something_is_a_warning(
    tmp_path: Path, plan: str, says: str
) -> None:
    assert any(says in each for each in loaded(tmp_path, plan).warnings)


def test_what_is_understood_is_shown_without_password_and_addresses(tmp_path: Path) -> None:
    shown = describe(loaded(tmp_path, text(ANSWERS, FROM)))
    assert shown["mailbox"] == {
        **{"host": "mail.example.org", "port": 993, "secure": "tls", "user": "answers"},
        **{"password": "set", "ca": None, "folder": "INBOX", "answers_from": {"anna": 1}},
    }
    assert "pass-word" not in json.dumps(shown)
    assert "anna@example.org" not in json.dumps(shown)


def test_away_from_its_unit_a_plan_with_a_mailbox_can_be_looked_at(tmp_path: Path) -> None:
    found = load_away(written(tmp_path, text(ANSWERS)), wall=WALL)
    assert found.plan.mailbox
