"""What is new since those who were told of an alarm were told: it is said first.

In: an alarm with what was told of it, its subject, a language, time. Out: sentences and a few
words. Knows nothing of people, and not whether it is worth a message.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from relayd.core.diagnosis import pump_rows
from relayd.core.plan import Means
from relayd.core.saying import brief, sentences, when
from relayd.core.saying.language import marked
from relayd.core.saying.letter import Desk
from relayd.core.state import Alarm

RUN_FOR = marked(
    "{which} has run for {time} and the water is not below the alarm float: blocked, air-bound, a"
    " valve shut, the line broken or frozen, the pump worn, or the inflow too great."
)
"""Row R4 with the time for which its pump has run."""


@dataclass(frozen=True, slots=True)
class Fresh:
    """What is new: sentences, the notes that they say ('' is the row), and the same in a few words."""

    told: tuple[str, ...] = ()
    notes: frozenset[str] = frozenset()
    words: str = ""


def since_told(desk: Desk, alarm: Alarm) -> Fresh:
    """What has come and what is no longer so since `told_row` and `told_notes` were told."""
    new = [each for each in alarm.notes if each not in alarm.told_notes]
    if alarm.told_row and alarm.row != alarm.told_row:
        new.append("")
    known = sentences.parts(desk.panel, desk.owner, alarm, desk.say)
    told = [each for each in known if each in new]
    # What stands now is said after why.
    told.sort(key=lambda each: not each)
    said = {each: _sentence(desk, each, known[each]) for each in told}
    over = [*_over(desk, alarm)]
    gone = tuple(desk.say("No longer so: {what}.", what=each) for each in over)
    words = next(_words(desk, alarm, said), "")
    if not words and over:
        words = desk.say("no longer: {what}", what=over[0])
    if not (said or over):
        # Somebody was told in between: what each reader has read is not known, so the cause is said.
        words = brief.cause(alarm, desk.say)
    return Fresh((*said.values(), *gone), frozenset(said), words)


def _over(desk: Desk, alarm: Alarm) -> Iterator[str]:
    """What was told and is no longer so, in a few words; where a switch was moved on, only that."""
    moved = any(pump_rows.split(each)[0].startswith("R1") for each in alarm.notes)
    for each in alarm.told_notes:
        switch = pump_rows.split(each)[0].startswith("R1")
        words = brief.note(each, desk.say)
        if each not in alarm.notes and words and not (switch and moved):
            yield words


def no_longer(desk: Desk, alarm: Alarm) -> list[str]:
    """What was told of a running pump and has been proved wrong: the water fell."""
    told = (each for each in alarm.told_notes if pump_rows.split(each)[0] in ("R4", "R7"))
    found = dict.fromkeys(brief.note(each, desk.say) for each in told)
    return [desk.say("No longer so: {what}.", what=each) for each in found]


def _words(desk: Desk, alarm: Alarm, said: dict[str, str]) -> Iterator[str]:
    for each in said:
        row = brief.row(alarm.condition, alarm.row, desk.say)
        if words := brief.note(each, desk.say) if each else row:
            yield words


def _sentence(desk: Desk, note: str, said: str) -> str:
    """A note's sentence; of a pump that does not lower the level, with the time for which it has run."""
    row, pump = pump_rows.split(note)
    panel = desk.panel
    if row != "R4" or panel is None or panel.input(Means.PUMP_RUNNING, pump) is None:
        return said
    log = desk.owner.pumps.get(pump or (1 if panel.pumps == 1 else 0))
    if log is None or log.running is None:
        return said
    which = desk.say("pump {pump}", pump=pump) if pump else desk.say("the pump")
    told = desk.say(RUN_FOR, which=which, time=when.lasted(desk.now.up - log.running))
    return f"{told[:1].upper()}{told[1:]}"
