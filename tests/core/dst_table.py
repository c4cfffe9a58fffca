"""Who is told when in the nights in which the clocks change: three zones, a holiday, a rota change.

`python -m tests.core.dst_table` prints the table. The zones' rules are stated here by hand:

- America/New_York: to daylight saving time at 02:00 (EST, UTC-5) of the second Sunday of March,
  back at 02:00 (EDT, UTC-4) of the first Sunday of November.
- Europe/Vienna: both ways at 01:00 UTC, on the last Sundays of March and October (CET UTC+1,
  CEST UTC+2).
- Australia/Lord_Howe: by half an hour; to +11 at 02:00 (+10:30) of the first Sunday of October,
  back at 02:00 (+11) of the first Sunday of April.

In each of these nights, told in local time: at 01:30 a low level (medium) and a seal leak (low);
at 01:50 a high level; at 01:59 Ben takes it for an hour. It is not done by then and calls again
half an hour after the promise. One minute after that has reached whoever is on duty, that person
takes it; 21 minutes later the water falls. On duty is Ben, from Sunday 03:00 on Carla, from
Tuesday 00:00 on Ben again. Anna takes the low level at 07:05, and it is over at 09:00. In autumn
the Monday is a holiday.
"""

from dataclasses import dataclass, replace
from datetime import UTC, datetime

from relayd.core.calling import hours
from relayd.core.events import Acknowledge, Act
from relayd.core.plan import (
    DAY,
    HOUR,
    MINUTE,
    SECOND,
    CallList,
    Hours,
    Means,
    Offset,
    OnCall,
    Plan,
    Step,
    Turn,
)
from relayd.core.saying.when import civil
from tests.core.build import contact, panel, plan_of
from tests.core.world import World

_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def utc(text: str) -> int:
    """'2026-03-08 07:00' in UTC, as nanoseconds since 1970."""
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * SECOND


def day_of(text: str) -> int:
    """'2026-03-09' as days since 1970-01-01."""
    return utc(f"{text} 00:00") // DAY


ZONES: dict[str, tuple[Offset, ...]] = {
    "America/New_York": (
        Offset(utc("2025-11-02 06:00"), -5 * 3600, "EST"),
        Offset(utc("2026-03-08 07:00"), -4 * 3600, "EDT"),
        Offset(utc("2026-11-01 06:00"), -5 * 3600, "EST"),
        Offset(utc("2027-03-14 07:00"), -4 * 3600, "EDT"),
    ),
    "Europe/Vienna": (
        Offset(utc("2025-10-26 01:00"), 3600, "CET"),
        Offset(utc("2026-03-29 01:00"), 2 * 3600, "CEST"),
        Offset(utc("2026-10-25 01:00"), 3600, "CET"),
        Offset(utc("2027-03-28 01:00"), 2 * 3600, "CEST"),
    ),
    "Australia/Lord_Howe": (
        Offset(utc("2025-10-04 15:30"), 11 * 3600, "+11"),
        Offset(utc("2026-04-04 15:00"), 10 * 3600 + 1800, "+1030"),
        Offset(utc("2026-10-03 15:30"), 11 * 3600, "+11"),
        Offset(utc("2027-04-03 15:00"), 10 * 3600 + 1800, "+1030"),
    ),
}
"""Every change of local time from 2025 to 2027, by the rules above."""


@dataclass(frozen=True)
class Night:
    """The Sunday of a change, and the Monday after it where that is a holiday."""

    zone: str
    sunday: str
    holiday: str = ""


NIGHTS = {
    "spring, New York": Night("America/New_York", "2026-03-08"),
    "autumn, New York": Night("America/New_York", "2026-11-01", "2026-11-02"),
    "spring, Vienna": Night("Europe/Vienna", "2026-03-29"),
    "autumn, Vienna": Night("Europe/Vienna", "2026-10-25", "2026-10-26"),
    "spring, Lord Howe": Night("Australia/Lord_Howe", "2026-10-04"),
    "autumn, Lord Howe": Night("Australia/Lord_Howe", "2026-04-05", "2026-04-06"),
}

Row = tuple[str, str, str, str, str]
"""Local time with its label, UTC, person, kind of notice, condition."""


def plan(night: Night) -> Plan:
    """One panel; Anna owns it, Ben and Carla take turns."""
    means = (Means.HIGH_LEVEL, Means.ALARM_POWER, Means.LOW_LEVEL, Means.SEAL_LEAK)
    inputs = (contact(each) for each in means)
    cabin = panel("cabin", *inputs, medium_list="day", low_list="work")
    zone = plan_of(cabin, zone=night.zone, offsets=ZONES[night.zone])
    sunday = day_of(night.sunday)
    turns = (
        Turn(hours.instant(zone, sunday - 3, 12 * HOUR), "ben"),
        Turn(hours.instant(zone, sunday, 3 * HOUR), "carla"),
        Turn(hours.instant(zone, sunday + 2, 0), "ben"),
    )
    holidays = frozenset({day_of(night.holiday)} if night.holiday else ())
    people = {**zone.people, "carla": replace(zone.people["carla"], responds=True)}
    return replace(
        zone,
        people=people,
        call_lists={
            "night": CallList("night", (Step(0, ("anna",)), Step(8 * MINUTE, ("duty",)))),
            "day": CallList("day", (Step(0, ("anna",)),)),
            "work": CallList("work", (Step(0, ("duty",)),)),
        },
        on_call={"duty": OnCall("duty", turns)},
        hours={"office": Hours("office", dict.fromkeys(range(5), (8 * HOUR, 17 * HOUR)), holidays)},
        work="office",
    )


class Story:
    """One of the nights, from the evening before to the working morning after."""

    def __init__(self, night: Night) -> None:
        self.night = night
        self.plan = plan(night)
        self.sunday = day_of(night.sunday)
        self.world = World(self.plan)
        evening = hours.instant(self.plan, self.sunday - 1, 20 * HOUR)
        self.world.wall_offset = evening - self.world.up
        self.world.start()

    def until(self, day: int, time_of_day: int) -> None:
        """Let time pass until that local time."""
        wall = hours.instant(self.plan, day, time_of_day)
        self.world.run_to(wall - self.world.wall_offset)

    def take(self, condition: str, by: str, within: int) -> None:
        """That person has that alarm."""
        occurrence = self.world.open_alarm(condition).occurrence
        ref = f"creek-1.{self.world.state.epoch}.{occurrence}"
        act = Act.TAKEN
        assert self.world.ask(Acknowledge(occurrence=ref, act=act, within=within), by).ok

    def lived(self) -> "Story":
        """All that happens in that night and on the days after it."""
        world = self.world
        self.until(self.sunday, HOUR + 30 * MINUTE)
        world.alarm("cabin.low-level")
        world.alarm("cabin.seal-leak")
        self.until(self.sunday, HOUR + 50 * MINUTE)
        world.alarm("cabin.high-level")
        self.until(self.sunday, HOUR + 59 * MINUTE)
        self.take("high-level", "ben", HOUR)
        world.run(99 * 60)
        self.take("high-level", world.notices()[-1].person, 6 * HOUR)
        world.run(21 * 60)
        world.alarm("cabin.high-level", on=False)
        self.until(self.sunday, 7 * HOUR + 5 * MINUTE)
        self.take("low-level", "anna", 6 * HOUR)
        self.until(self.sunday, 9 * HOUR)
        world.alarm("cabin.low-level", on=False)
        self.until(self.sunday + (2 if self.night.holiday else 1), 8 * HOUR + 5 * MINUTE)
        return self

    def rows(self) -> list[Row]:
        """Every notice in its order."""
        return [
            (
                self.there(each.made.wall),
                self.clock(each.made.wall),
                each.person,
                each.kind.value,
                each.condition,
            )
            for each in self.world.notices()
        ]

    def there(self, wall: int) -> str:
        """'Sun 01:50 EST'."""
        day, time_of_day = hours.local(self.plan, wall)
        label = [each.label for each in self.plan.offsets if each.begins <= wall][-1]
        return f"{_WEEKDAYS[hours.weekday(day)]} {_clock(time_of_day)} {label}"

    def clock(self, wall: int) -> str:
        """'8 06:50': day of the month and time of day in UTC."""
        day, time_of_day = divmod(wall, DAY)
        return f"{civil(day)[2]} {_clock(time_of_day)}"


def _clock(time_of_day: int) -> str:
    return f"{time_of_day // HOUR:02d}:{time_of_day % HOUR // MINUTE:02d}"


def printed() -> str:
    """The whole table."""
    lines = []
    for name, night in NIGHTS.items():
        lines.append(f"{name} ({night.zone}, {night.sunday})")
        for local, world, person, kind, condition in Story(night).lived().rows():
            lines.append(f"  {local:15} {world:9} {person:6} {kind:10} {condition}")
    return "\n".join(lines)


if __name__ == "__main__":
    print(printed())
