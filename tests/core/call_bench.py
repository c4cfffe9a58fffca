"""The call-out alone on a bench: alarms are raised and returned by hand, time jumps to each deadline.

No contact, filter or diagnosis takes part, so that an hour's rule is seen for itself.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from relayd.core.calling import callout, hours
from relayd.core.draft import UNIT, Draft
from relayd.core.effects import Record
from relayd.core.events import Act, Now
from relayd.core.life.alarm import ACTIVE, Happening, following
from relayd.core.plan import HOUR, MINUTE, Plan, Priority
from relayd.core.state import Alarm, Away, Live, Notice, Process, Stamp, State
from tests.core.dst_table import day_of

CABIN = "panel:cabin"


@dataclass
class Bench:
    """A plan, what is remembered, and the clocks; begins at a local time ('2026-03-03 10:00')."""

    plan: Plan
    begins: str = "2026-03-03 10:00"
    trusted: bool = True
    state: State = field(default_factory=lambda: State("e1"))
    up: int = 1000 * HOUR
    wall: int = 0
    """UTC minus boot time."""
    made: list[Notice] = field(default_factory=list)
    recorded: list[tuple[int, Record]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.wall = self.instant(self.begins) - self.up

    def instant(self, text: str) -> int:
        """UTC of a local time."""
        day, _, clock = text.partition(" ")
        hour, minute = (int(each) for each in clock.split(":"))
        return hours.instant(self.plan, day_of(day), hour * HOUR + minute * MINUTE)

    def do(self, *deeds: Callable[[Draft], object]) -> Draft:
        """One step: these deeds, then whatever is due."""
        draft = Draft(
            self.plan, self.state, Now("boot", self.up, self.wall + self.up, self.trusted)
        )
        known = dict(draft.notices)
        for deed in deeds:
            deed(draft)
        for _ in range(2):
            self._due_now(draft)
            callout.release(draft)
        self._note_due(draft)
        self.made += [each for each in draft.notices.values() if each.id not in known]
        self.made += [each for each in draft.closed if each.id not in known]
        self.made.sort(key=lambda each: each.id)
        self.recorded += [(self.up, each) for each in draft.effects if isinstance(each, Record)]
        self.state = replace(draft.finished()[0], notices={}, closed=())
        return draft

    def run_to(self, text: str) -> "Bench":
        """Let time pass until that local time, stopping at every deadline."""
        end = self.instant(text) - self.wall
        while (due := self.due()) is not None and due <= end:
            assert due > self.up, "it would spin"
            self.up = due
            self.do()
        self.up = end
        return self

    def due(self) -> int | None:
        """The next deadline."""
        times = [each.due for each in self.state.live.values()]
        return min((each for each in times if each is not None), default=None)

    def rise(self, condition: str, priority: Priority, subject: str = CABIN) -> "Bench":
        """An alarm is raised."""

        def deed(draft: Draft) -> None:
            before = draft.subject(subject).alarms.get(condition)
            process = following(before.process if before else Process.NORM, Happening.RAISED)
            fresh = Alarm(
                condition, priority, process, occurrence=draft.number(), raised=draft.stamp
            )
            draft.put_alarm(subject, callout.begin(draft, subject, fresh))

        self.do(deed)
        return self

    def fall(
        self, condition: str, how: Happening = Happening.RETURNED, subject: str = CABIN
    ) -> "Bench":
        """It returns to normal."""

        def deed(draft: Draft) -> None:
            alarm = draft.alarm(subject, condition)
            alarm = replace(alarm, process=following(alarm.process, how))
            alarm = callout.returned(draft, subject, alarm)
            if alarm.process is Process.NORM:
                alarm = callout.ended(draft, subject, alarm)
            draft.put_alarm(subject, alarm)

        self.do(deed)
        return self

    def ack(self, condition: str, person: str, act: Act = Act.TAKEN, within: int = HOUR) -> "Bench":
        """A person has seen it, or has it."""
        until = self.up + within
        self.do(lambda draft: callout.acknowledged(draft, CABIN, condition, person, act, until))
        return self

    def change(self, condition: str, **changes: object) -> "Bench":
        """Something about the alarm changes, as the life cycle would write it."""
        self.do(
            lambda draft: draft.put_alarm(
                CABIN,
                replace(draft.alarm(CABIN, condition), **changes),  # type: ignore[arg-type]
            )
        )
        return self

    def away(self, **stand_ins: str) -> "Bench":
        """These people are away for two days."""
        until = self.up + 48 * HOUR
        stamp = Stamp(self.up, self.wall + self.up, True)
        gone = {
            name: Away(name, stamp, until, self.wall + until, who)
            for name, who in stand_ins.items()
        }
        self.do(lambda draft: draft.put(replace(draft.subject(UNIT), away=gone)))
        return self

    def alarm(self, condition: str) -> Alarm:
        """The alarm as it stands."""
        return self.state.subjects[CABIN].alarms[condition]

    def told(self) -> list[tuple[str, str, str, str]]:
        """(local time, person, kind, condition) of every notice, in order."""
        return [
            (self.there(each.made.wall), each.person, each.kind.value, each.condition)
            for each in self.made
        ]

    def calls(self) -> list[tuple[str, str]]:
        """(local time, person) of every first or repeated call."""
        return [(at, who) for at, who, kind, _ in self.told() if kind == "raised"]

    def there(self, wall: int) -> str:
        """'03 10:00': local day of the month and time."""
        day, time_of_day = hours.local(self.plan, wall)
        date = day - day_of("2026-03-01") + 1
        return f"{date:02d} {time_of_day // HOUR:02d}:{time_of_day % HOUR // MINUTE:02d}"

    def why(self, kind: str) -> list[tuple[object, object]]:
        """(person, why) of every record of that kind."""
        return [
            (each.body.get("person"), each.body.get("until") or each.body.get("why"))
            for _, each in self.recorded
            if each.kind == kind
        ]

    def _due_now(self, draft: Draft) -> None:
        for owner in list(draft.subjects.values()):
            for condition, alarm in owner.alarms.items():
                if alarm.realarm is not None and alarm.realarm <= self.up:
                    callout.realarmed(draft, owner.id, condition)
                if alarm.update is not None and alarm.update <= self.up:
                    callout.updated(draft, owner.id, condition)
                callout.climb(draft, owner.id, condition)
        self._note_due(draft)

    def _note_due(self, draft: Draft) -> None:
        for owner in draft.subjects.values():
            times = [callout.due(alarm) for alarm in owner.alarms.values()]
            due = min((each for each in times if each is not None), default=None)
            draft.put_live(owner.id, Live(due=due))


def stands(bench: Bench, condition: str) -> bool:
    """Whether the alarm is active."""
    return bench.alarm(condition).process in ACTIVE
