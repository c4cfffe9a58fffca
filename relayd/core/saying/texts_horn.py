"""What whoever took a horn's wire off is asked afterwards: is the alarm circuit on again?

In: plan, subjects, a person, time. Out: title, short and long form in the reader's language. Knows
nothing of when it is asked. It claims nothing: where no input shows the circuit, only a person knows.
"""

from collections.abc import Mapping

from relayd.core.events import Now
from relayd.core.plan import Plan
from relayd.core.saying import letter, short
from relayd.core.saying.letter import NO_REPLY, Desk, Text
from relayd.core.state import Subject


def breaker(
    plan: Plan, subjects: Mapping[str, Subject], subject: str, person: str, now: Now
) -> Text:
    """Asks whether the alarm circuit was switched on again after the horn's wire was taken off."""
    desk = Desk(plan, subjects, subject, plan.people[person], now)
    say, name = desk.say, subject.removeprefix("panel:")
    settle = f"relayd settled {name} {letter.ALARM_BREAKER} --by {person}"
    lines = [
        say("A question about {place}{where}.", place=desk.place, where=desk.where),
        say(
            "The horn's wire was taken off, and no contact shows the alarm circuit. Is it on again,"
            " and can its lamp be lit? (look)"
        ),
        say("If it is on: {how}.", how=settle),
        say(
            "If it is not: have the alarm circuit's breaker switched on. Until then no alarm shows"
            " at the panel, and this unit may not see one either."
        ),
        *letter.undone(desk),
        *letter.phones(desk),
        say(NO_REPLY),
    ]
    step = say("If it is on: {how}.", how=settle)
    asked = say("Is the alarm circuit on again?")
    end = say(letter.NO_REPLY_SHORT)
    brief = short.made(short.Parts(asked, desk.place, end, where=desk.spot, step=(step,)))
    title = say("Is the alarm circuit on again? - {place}", place=desk.place)
    return Text(title, brief, "\n".join(lines))
