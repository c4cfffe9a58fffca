"""The story of a horn's wire, played once and kept: taken off in an alarm, asked for, and put back.

The polite way to take it off is: the alarm circuit's breaker off, the wire off, the breaker on.
Anna and Ben were told of the alarm, so both are asked. Ben answers, the unit is killed and comes
back, the water rises once more, and Ben goes there to put the wire back.
"""

import json
from collections.abc import Callable

from relayd.clock import boottime
from relayd.core.plan import SECOND
from tests.channels.watcher import TICKET
from tests.story.acts import Mail, alerts
from tests.story.horn_stage import CABIN, WIRE, Played, Said, Story
from tests.story.journal import Record
from tests.story.unit import Unit

OFF_FOR = 16 * SECOND
"""A bit more than the 15 s from which an alarm circuit is asked about (Trade 3, R19)."""


Answer = Callable[[Story, Mail], str]
"""Lets Ben answer the question that he was mailed; what he is told."""


def wire(ticket: str, **other: str) -> str:
    """A word about the horn's wire as it is sent to the broker."""
    body = {"ticket": ticket, "panel": "cabin", "person": "ben", "wire": "off"}
    return json.dumps(body | other)


def answer_over_mqtt(story: Story, _question: Mail) -> str:
    """Ben answers with the ticket that is shown now."""
    told = story.asks(wire(story.watcher.answers()[-1]["ticket"]))
    return f"{told['code']}: {told['say']}"


def answer_by_command(story: Story, question: Mail) -> str:
    """Ben types what his mail tells him to type."""
    (line,) = [each for each in question.text.splitlines() if "was taken off" in each]
    words = line.rpartition("relayd ")[2].rstrip(".").split()
    assert words == ["horn-wire", "cabin", "off", "--by", "ben"]
    told = story.relayd(*words)
    assert told.done, told.words
    return f"wire-off: {told.words}"


def _of_panels(story: Story) -> list[str]:
    """Alerts but the unit's own: that it began anew by itself stands for an hour."""
    return [each for each in alerts(story.watcher) if not each.endswith("/unwatched")]


def play(story: Story, answer: Answer) -> Played:
    """Play it on a unit that watches, with its contacts at rest."""
    unit = story.unit
    off, on = _taken_off(story)
    questions, waits = _asked(story), story.relayd("status").words
    refused = _refusals(story)
    (ben,) = [each for each in questions if each.to.startswith("ben@")]
    answered = answer(story, ben)
    shown = f"{CABIN}/horn/standing"
    story.watcher.until(lambda: story.watcher.tree.get(shown) == "disconnected", "off is shown")
    declared = story.seen()
    refused += _killed(story)
    returned = story.seen()
    _once_more(story)
    again = story.seen()
    visit = _put_back(story)
    story.watcher.until(lambda: not _of_panels(story), "no alert")
    end, records = story.seen(), list(unit.records())
    came = list(story.watcher.came)
    return Played(
        off,
        on,
        questions,
        waits,
        refused,
        answered,
        declared,
        returned,
        again,
        visit,
        end,
        records,
        came,
    )


def _taken_off(story: Story) -> tuple[int, int]:
    """The water rises, both are told, Ben has it; then the breaker is off for a while."""
    unit = story.unit
    story.level("closed")
    unit.said("raised", condition="high-level")
    story.sent("anna", 1)
    story.sent("ben", 1)
    assert story.relayd("ack", "cabin", "--taken", "--by", "ben").done
    off = boottime()
    story.circuit(False)
    unit.said("raised", condition="alarm-power")
    # How long it is off is what is under test: it lasts as long as it is said to.
    unit.until(lambda: boottime() >= off + OFF_FOR, "the breaker was off for long enough")
    on = boottime()
    story.circuit(True)
    return off, on


def _asked(story: Story) -> list[Mail]:
    story.unit.said("asked")
    notices = story.unit.until(lambda: _notices(story.unit), "both are owed the question")
    for each in notices:
        story.unit.said("send taken", notice=each)
    story.unit.said("returned", condition="alarm-power")
    return [m for who in ("anna", "ben") for m in story.mails(who, "horn's wire")]


def _notices(unit: Unit) -> list[str] | None:
    found = [each["body"]["notice"] for each in unit.found("notice made", why="question")]
    return found if len(found) >= 2 else None


def _refusals(story: Story) -> list[tuple[str, Record]]:
    """What is not obeyed: broken, of another ticket, of nobody and nothing, retained."""
    ticket = story.watcher.tree[TICKET]
    sent = {
        "cut short": wire(ticket)[:-1],
        "a word too many": wire(ticket, why="hurry"),
        "old ticket": wire("0-0"),
        "nobody of that name": wire(ticket, person="dora"),
        "no such panel": wire(ticket, panel="barn"),
        "no such word": wire(ticket, wire="loose"),
    }
    answers = [(what, story.asks(payload)) for what, payload in sent.items()]
    # It stays at the broker, and comes again at the next start.
    kept = wire(ticket if story.retain_told else "0-0")
    return [*answers, ("retained", story.asks(kept, retain=True))]


def _killed(story: Story) -> list[tuple[str, Record]]:
    """`kill -9` after the declaration, and a start."""
    unit, before = story.unit, len(story.watcher.answers())
    ready = [each for each in story.watcher.came if each[0] == TICKET]
    unit.kill()
    unit.start()

    def is_back() -> bool:
        tickets = [each for each in story.watcher.came if each[0] == TICKET]
        return len(tickets) > len(ready) and story.watcher.ready()

    story.watcher.until(is_back, "ready again")
    story.watcher.until(lambda: len(story.watcher.answers()) > before, "the retained one came")
    story.watcher.send("", retain=True, topic=WIRE)
    return [("retained, at the next start", story.watcher.answers()[before])]


def _once_more(story: Story) -> None:
    """The level falls and rises once more, and falls."""
    unit = story.unit
    story.level("open")
    unit.said("occurrence ended", condition="high-level")
    mark = unit.mark()
    story.level("closed")
    unit.said("raised", after=mark, condition="high-level")
    assert story.relayd("ack", "cabin", "--taken", "--by", "ben").done
    story.level("open")
    unit.said("occurrence ended", after=mark, condition="high-level")
    unit.until(lambda: not owed(unit), "nothing is owed")


def owed(unit: Unit) -> bool:
    """Whether a notice was made of which no send was taken or withdrawn yet."""
    made = {each["body"]["notice"] for each in unit.found("notice made")}
    over = [*unit.found("send taken"), *unit.found("send withdrawn")]
    return bool(made - {each["body"]["notice"] for each in over})


AT_PANEL = (
    "visit cabin",
    "visit cabin --end",
    "settled cabin horn-wire",
    "horn-wire cabin back",
    "visit cabin --end",
    "settled cabin horn-unproved",
    "visit cabin --end",
)
"""What Ben asks for: he is refused until the wire is back, and until the horn was heard."""


def _put_back(story: Story) -> list[tuple[str, Said]]:
    told: list[tuple[str, Said]] = []
    for number, asked in enumerate(AT_PANEL):
        key = asked if asked not in dict(told) else f"{asked} #{number}"
        told.append((key, story.relayd(*asked.split(), "--by", "ben")))
    story.unit.until(lambda: not owed(story.unit), "nothing is owed")
    return told
