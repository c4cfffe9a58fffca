"""What a row may say on its evidence, and no more."""

import re

import pytest

from relayd.core import conditions as c
from relayd.core.conditions import CHARACTERS
from relayd.core.diagnosis import power
from relayd.core.plan import Priority
from relayd.core.saying import sentences
from relayd.core.saying.language import Speech
from relayd.core.saying.said import DETAILS, WHAT
from relayd.core.saying.sentences import LEVEL_NOW, LEVEL_ROWS, NAMES, level, retold, sentence
from relayd.core.state import Alarm, Belief, NoticeKind, Process, Subject
from relayd.languages import catalogue
from tests.house.tree import ROOT

DOUBT = re.compile(
    r"not known|cannot tell|no return to normal until|take (it|the level) as high|doubtful|believed"
)


def test_every_condition_has_a_name_that_fits_a_title() -> None:
    assert set(NAMES) == set(CHARACTERS)
    assert set(WHAT) == set(CHARACTERS)
    assert max(map(len, NAMES.values())) <= 40


@pytest.mark.parametrize("row", sorted(set(LEVEL_ROWS) - {"L1", "L2", "L10", "L14"}))
def test_a_row_without_proof_says_that_it_has_none(row: str) -> None:
    assert DOUBT.search(LEVEL_ROWS[row])


@pytest.mark.parametrize("row", ["L3", "L4", "L5", "L6", "L7", "L8", "L9", "L12", "L15"])
def test_no_row_without_proof_says_that_the_water_is_low(row: str) -> None:
    assert "below" not in LEVEL_ROWS[row]


@pytest.mark.parametrize("row", ["L4", "L7", "L8", "L11", "L12", ""])
def test_a_level_that_is_not_known_is_not_called_high_on_a_screen(row: str) -> None:
    assert re.search(r"not known|not believed", level(Subject("panel:x", belief=Belief(row=row))))


def test_a_row_that_nobody_wrote_is_not_known() -> None:
    assert level(Subject("panel:x", belief=Belief(row="L99"))) == LEVEL_NOW[""]


@pytest.mark.parametrize("row", ["P4", "P5", "P6"])
def test_a_dead_alarm_circuit_says_what_is_dead_with_it(row: str) -> None:
    assert "Lamp, horn and alarm contact at the panel are dead." in power.SAYS[row]


@pytest.mark.parametrize("row", ["P2", "P5", "P6", "P8"])
def test_a_pump_that_may_not_start_lets_the_level_rise(row: str) -> None:
    assert "the level will rise" in power.SAYS[row]


SPANISH = Speech("es", catalogue("es"))
CORE = "\n".join(
    each.read_text()
    for each in sorted((ROOT / "relayd" / "core").rglob("*.py"))
    if each.name != "said.py"
)


@pytest.mark.parametrize(
    ("detail", "english", "spanish"),
    [
        ("Ben has looked: it is high.", None, "Ben ha mirado: está alto."),
        ("cabin.a: both sides open", None, "cabin.a: los dos lados abiertos"),
        (
            "cabin.a: both sides open; cabin.b: both sides closed",
            None,
            "cabin.a: los dos lados abiertos; cabin.b: los dos lados cerrados",
        ),
        (
            "one of overload, seal-leak",
            "one of overload tripped, seal leak",
            "una de estas: protector de sobrecarga disparado, fuga del sello",
        ),
        ("pump 2", None, "la bomba 2"),
        (
            "at 24 Jan 02:10, 4 Apr 14:00, an unknown time",
            None,
            "a las horas siguientes: 24 ene 02:10, 4 abr 14:00, una hora desconocida",
        ),
        ("the alarm circuit is dead", None, "el circuito de alarma está sin corriente"),
        ("part on order: Jan", None, "part on order: Jan"),
        ("Jan has looked: it is high.", None, "Jan ha mirado: está alto."),
        ("cabin.a: line is taken", None, "cabin.a: line is taken"),
        ("", None, ""),
    ],
)
def test_a_detail_is_said_in_the_reader_s_language_and_what_people_wrote_stays(
    detail: str, english: str | None, spanish: str
) -> None:
    assert retold(detail) == (detail if english is None else english)
    assert retold(detail, SPANISH) == spanish


@pytest.mark.parametrize("detail", DETAILS)
def test_every_detail_that_is_translated_is_one_that_the_core_writes(detail: str) -> None:
    fixed = [each for each in re.split(r"\{\w+\}", detail) if each.strip(" :")]
    assert [each for each in fixed if each.strip(": ") not in CORE] == []


@pytest.mark.parametrize(
    ("condition", "row", "detail", "says"),
    [
        (c.HIGH_LEVEL, "L1", "Ben has looked: it is high.", "Ben ha mirado: está alto."),
        (c.WIRING_FAULT, "W1", "cabin.a: both sides open", "(cabin.a: los dos lados abiertos)"),
        (c.INPUT_LOST, "P19", "cabin.a: line is taken", "(cabin.a: line is taken)"),
        (c.PUMP_FAULT, "R18-fault", "one of overload", "(una de estas: protector de sobrecarga"),
        (c.KEEPS_REACHING, "keeps", "at 24 Nov 02:10", "siguientes: 24 nov 02:10)"),
        (c.INPUT_LOST, "", "", "Una entrada no se puede leer"),
    ],
)
def test_an_alarm_s_detail_is_said_with_it(
    condition: str, row: str, detail: str, says: str
) -> None:
    alarm = Alarm(condition, Priority.HIGH, Process.UNACK, row=row, detail=detail)
    owner = Subject("panel:x")
    assert says in sentence(None, owner, alarm, NoticeKind.RAISED, SPANISH)


def test_a_row_that_only_repeats_itself_as_detail_is_said_once() -> None:
    says = sentences.TABLES["horn"]["H6"]
    alarm = Alarm(c.SILENCE_LEFT_ON, Priority.LOW, Process.UNACK, row="H6", detail=says)
    told = sentence(None, Subject("panel:x"), alarm, NoticeKind.RAISED)
    assert told.lower().count(says.lower()[:30]) == 1


def test_a_level_that_somebody_looked_at_is_over_by_that_person_s_word() -> None:
    owner = Subject("panel:x", belief=Belief(row="L3", looked=7))
    alarm = Alarm(c.HIGH_LEVEL, Priority.HIGH, Process.RTNUN, row="L3")
    told = sentence(None, owner, alarm, NoticeKind.STAND_DOWN)
    assert told == "Somebody looked and says that the level is below the alarm float."
