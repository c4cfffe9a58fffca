"""One line, taken whole: what is an answer, and what only looks like one."""

import pytest

from relayd.answering.words import Said, understood
from relayd.core.events import Act
from relayd.core.plan import HOUR, MINUTE

CODE = "k7m2p9xd"
ANSWERS: dict[str, Said] = {
    "seen": Said(Act.SEEN),
    "Seen.": Said(Act.SEEN),
    "I have seen it": Said(Act.SEEN),
    "visto": Said(Act.SEEN),
    "Lo he visto!": Said(Act.SEEN),
    "OK": Said(None),
    "okay": Said(None),
    "1": Said(None),
    "taken": Said(Act.TAKEN),
    "I have it": Said(Act.TAKEN),
    "on my way": Said(Act.TAKEN),
    "lo tengo": Said(Act.TAKEN),
    "taken 14:00": Said(Act.TAKEN, clock=14 * HOUR),
    "taken until 2 pm": Said(Act.TAKEN, clock=14 * HOUR),
    "taken by 2:30 p.m.": Said(Act.TAKEN, clock=14 * HOUR + 30 * MINUTE),
    "taken 12 am": Said(Act.TAKEN, clock=0),
    "taken, 12:15 pm": Said(Act.TAKEN, clock=12 * HOUR + 15 * MINUTE),
    "tomado hasta las 9:05": Said(Act.TAKEN, clock=9 * HOUR + 5 * MINUTE),
    "taken for 45 min": Said(Act.TAKEN, within=45 * MINUTE),
    "taken 2 hours": Said(Act.TAKEN, within=2 * HOUR),
    "OK 14:00": Said(Act.TAKEN, clock=14 * HOUR),
    f"{CODE} OK": Said(None),
    f"Code {CODE}: seen": Said(Act.SEEN),
    f"taken {CODE.upper()}": Said(Act.TAKEN),
    f"código {CODE}, visto": Said(Act.SEEN),
}
NONE = [
    *("", "not seen", "seen?", "not taken", "have you seen it", "who has taken it?", "seen taken"),
    *("taken 14", "taken 25:00", "taken 14:60", "taken 13 pm", "taken 0 am", "taken 25 h"),
    *("taken 0 min", "seen 14:00", "ok then I will not come", "no", "2", "taken tomorrow"),
    *("I have it not", "seen seen", "taken 14:00 or 16:00", "ＯＫＯＫ", "taken 99999 min"),
]


@pytest.mark.parametrize(("line", "said"), ANSWERS.items(), ids=list(ANSWERS))
def test_an_answer_is_understood(line: str, said: Said) -> None:
    assert understood(line, (CODE,)) == said


@pytest.mark.parametrize("line", NONE)
def test_what_is_not_certainly_an_answer_is_none(line: str) -> None:
    assert understood(line, (CODE,)) is None
