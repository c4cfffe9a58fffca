"""A world that watches the promises of the core: after every single step, and after every happening."""

from dataclasses import dataclass, field

from relayd.core.calling.bundles import GATHER, PAUSE
from relayd.core.calling.lists import calls_for
from relayd.core.draft import Draft
from relayd.core.effects import Effect, Record
from relayd.core.events import Event, InputLost, LevelRead, Started, TimePassed
from relayd.core.life.alarm import ACTIVE
from relayd.core.life.shown import quiet
from relayd.core.machine import Outcome
from relayd.core.plan import DAY, REFERENCES, Input, Position, Priority, seconds
from relayd.core.state import Alarm, NoticeKind, Process, SendState, State, Subject
from relayd.core.upkeep import visits
from tests.core.world import CIRCUIT, LEVEL, World

OPEN_SENDS = (SendState.OWED, SendState.OUT, SendState.LEAVING)
SEEN_LONG_ENOUGH = seconds(10 + 10 + 3 + 0.3)
"""Settle time of an alarm, on-delay, release hold, filters: whatever happened before, it is raised then."""
LONGEST_HOLD = 15 * DAY
FAULTS = "fault in relayd"


@dataclass
class Unit(World):
    """A world that watches the promises of the core while a history goes through it."""

    closed: dict[str, bool] = field(default_factory=dict)
    lost: set[str] = field(default_factory=set)
    told_of: dict[int, set[str]] = field(default_factory=dict)
    """Occurrence -> who has truly been told of it, or has taken it."""
    seen_since: int | None = None
    """Since when the level contact stood in alarm, read, with its circuit alive and read."""

    def step(self, event: Event) -> Outcome:
        """Step, and hold against the outcome what holds for every step."""
        outcome = super().step(event)
        if not isinstance(event, TimePassed):
            assert outcome == super().step(event), "not deterministic"
        assert outcome.state.counter >= self.state.counter, "numbers may repeat"
        assert [each.body for each in _records(outcome, FAULTS)] == []
        self._words_reach_whom_they_say(outcome)
        return outcome

    def give(self, event: Event) -> list[Effect]:
        """Take the step, then look whether every alarm goes on."""
        effects = super().give(event)
        self._alarms_go_on()
        return effects

    def all_inputs(self) -> list[Input]:
        """Every input of the plan."""
        panels = [each for panel in self.plan.panels.values() for each in panel.inputs]
        return [*self.plan.inputs, *panels]

    def begin(self, planned: bool = True) -> "Unit":
        """Start, and read every input that can be read."""
        self.give(Started(planned))
        for each in self.all_inputs():
            self.closed.setdefault(each.id, each.in_alarm is Position.OPEN)
            if each.id in self.lost:
                self.give(InputLost(each.id, "no such chip"))
            else:
                self.give(LevelRead(each.id, self.closed[each.id], self.up))
        self.seen_since = None
        self.watch()
        return self

    def watch(self) -> None:
        """Note since when the alarm can be seen, and hold that it is raised in time."""
        if not self._visible():
            self.seen_since = None
        elif self.seen_since is None:
            self.seen_since = self.up
        elif self.up - self.seen_since >= SEEN_LONG_ENOUGH:
            assert self.process("high-level") in ("UNACK", "ACKED"), "a raise was lost"

    def _visible(self) -> bool:
        level = self.plan.input(LEVEL)
        assert level is not None
        if LEVEL in self.lost or self.closed[LEVEL] != (level.in_alarm is Position.CLOSED):
            return False
        needed = [each.id for each in self.all_inputs() if each.means in REFERENCES]
        needed += [CIRCUIT] if self.plan.input(CIRCUIT) else []
        return all(each not in self.lost and self.closed[each] for each in needed)

    def check(self) -> None:
        """The promises about all that is owed."""
        self._nobody_is_forgotten()
        self._numbers_are_given_once()

    # After every step

    def _alarms_go_on(self) -> None:
        for owner in self.state.subjects.values():
            for alarm in owner.alarms.values():
                if alarm.process in ACTIVE:
                    self._goes_on(owner, alarm)
                for person, at in alarm.held.items():
                    assert at <= self.up + LONGEST_HOLD, f"{person} is held for ever"

    def _goes_on(self, owner: Subject, alarm: Alarm) -> None:
        """An active alarm has a next step, or a reason for none that has an end."""
        what = f"{alarm.condition} stands"
        why, ends = self._silence(owner, alarm)
        if why:
            for end in ends:
                assert end > self.up, f"{what}: {why} is over"
                assert self.due is not None, f"{what}: {why} will be slept through"
                assert self.due <= end, f"{what}: {why} will be slept through"
            return
        calls = alarm.call.due if alarm.call else None
        steps = [each for each in (calls, alarm.realarm) if each is not None]
        if alarm.process is Process.UNACK and alarm.chattering is None:
            steps = [] if calls is None else [calls]
        assert steps, f"{what} and nobody will be told"
        assert min(steps) > self.up, f"{what} and was not told in time"
        assert self.due is not None, f"{what} and nothing is due"
        assert self.due <= min(steps), f"{what} and will be slept through"
        self._is_told(owner, alarm)

    def _silence(self, owner: Subject, alarm: Alarm) -> tuple[str, list[int]]:
        """Why nobody else is told of an active alarm now, and when that ends by itself."""
        why = quiet(alarm, owner)
        if why:
            found = [each.until for each in (alarm.shelved, alarm.out, owner.out) if each]
            return why, found
        if alarm.priority is Priority.RECORD_ONLY:
            return "record only", []
        desk = Draft(self.plan, self.state, self.now())
        waits = alarm.call is None or alarm.call.due is None
        if alarm.process is Process.UNACK and waits and visits.only_visitor(desk, owner.id, alarm):
            assert owner.visit is not None
            assert owner.visit.person in alarm.told, "the visitor was not told"
            return "a visit", [owner.visit.until]
        return "", []

    def _is_told(self, owner: Subject, alarm: Alarm) -> None:
        """A high alarm that nobody has acknowledged has reached somebody by its list's first step.

        By itself, or in the next message that names several.
        """
        call = alarm.call
        if alarm.process is not Process.UNACK or alarm.priority is not Priority.HIGH:
            return
        if call is None or alarm.chattering is not None:
            return
        first = calls_for(self.plan, owner.id, alarm.condition, alarm.priority).steps[0].after
        if self.up > call.began + first + GATHER + PAUSE:
            number = f".{alarm.occurrence}]"
            about = [
                each
                for each in self.made.values()
                if each.occurrence == alarm.occurrence
                or (each.kind is NoticeKind.DIGEST and number in each.long)
            ]
            tries = [send.tries for each in about for send in each.sends]
            assert any(tries), f"{alarm.condition} was raised and nobody was told"

    def _words_reach_whom_they_say(self, outcome: Outcome) -> None:
        """Whoever counts as told was told in that very step; only such a person is stood down."""
        after = outcome.state
        new = {**after.notices, **{each.id: each for each in after.closed}}
        words = [each for key, each in new.items() if key > self.state.counter]
        about = {
            (each.occurrence, each.person)
            for each in words
            if each.kind is not NoticeKind.STAND_DOWN
        }
        digests = {each.person for each in words if each.kind is NoticeKind.DIGEST}
        took = {
            (each.subject, each.body["condition"], each.body["person"])
            for each in _records(outcome, "acknowledged")
        }
        for name, condition, alarm in _alarms(after):
            known = self.told_of.setdefault(alarm.occurrence, set())
            for person in set(alarm.told) - known:
                has_it = alarm.taken is not None and alarm.taken.person == person
                really = has_it or (alarm.occurrence, person) in about or person in digests
                assert really or (name, condition, person) in took, f"{person} was never told"
            known |= set(alarm.told)
        for each in words:
            if each.kind is NoticeKind.STAND_DOWN:
                known = self.told_of.get(each.occurrence, set())
                told = each.person in known or each.person in digests
                assert told, f"{each.person} was stood down of {each.condition} untold"

    # After every happening

    def _nobody_is_forgotten(self) -> None:
        for notice in self.notices():
            for send in notice.sends:
                if send.state in OPEN_SENDS:
                    assert notice.id in self.state.notices, f"{notice.id} was forgotten"
                    assert send.due is not None, f"{send.id} will never be tried again"
                else:
                    assert send.state is SendState.TAKEN or send.detail, "withdrawn for no reason"

    def _numbers_are_given_once(self) -> None:
        numbers = [each.id for each in self.notices()]
        numbers += [send.id for each in self.notices() for send in each.sends]
        numbers += list({each.occurrence for each in self.notices()} - {0})
        assert len(numbers) == len(set(numbers)), "a number was given twice"
        assert max(numbers, default=0) <= self.state.counter


def _records(outcome: Outcome, kind: str) -> list[Record]:
    return [each for each in outcome.effects if isinstance(each, Record) and each.kind == kind]


def _alarms(state: State) -> list[tuple[str, str, Alarm]]:
    return [
        (owner.id, name, alarm)
        for owner in state.subjects.values()
        for name, alarm in owner.alarms.items()
    ]
