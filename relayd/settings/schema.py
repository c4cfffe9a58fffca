"""The shape of the plan file: its tables, their keys, what each key takes and by default means.

A value that was refused is None in the tables, so that the rules (settings/rules.py) can go on
and everything wrong is said at once. A default that depends on other keys is None too, and is
filled in by inputs.py and build.py. Times in nanoseconds.
"""

from enum import StrEnum
from typing import Annotated

from pydantic import BaseModel, Field
from pydantic_settings import BaseSettings, SettingsConfigDict

from relayd.core.events import Act
from relayd.core.plan import (
    DAY,
    HOUR,
    MINUTE,
    SECOND,
    Circuits,
    FedBy,
    Follows,
    Kind,
    Limit,
    Means,
    Position,
    Reach,
    Unpowered,
)
from relayd.settings import moments, presets, values as one
from relayd.settings.schema_mailbox import MailboxTable
from relayd.settings.schema_mqtt import AlsoTable, AnnounceTable, MqttTable
from relayd.settings.schema_supervision import (
    AllWellTable,
    DeadManTable,
    PeerTable,
    SupervisionTable,
)
from relayd.settings.table import (
    Chip,
    Clock,
    Credential,
    Day,
    Delay,
    Flag,
    Id,
    Language,
    Least,
    LineNumber,
    Moment,
    Pause,
    Realarm,
    Switch,
    Table,
    Urgency,
    Weekday,
    Words,
    reader,
    sure as sure,
)
from relayd.settings.values import Level, Pull
from relayd.words import MS, one_of


class Change(StrEnum):
    """How often an on-call schedule goes on to the next person."""

    WEEKLY = "weekly"
    DAILY = "daily"


class InputTable(Table):
    """[[panel.input]] or [[unit.input]]: one isolated input and the contact behind it."""

    means: Annotated[Means | None, reader(one.choice(Means))] = Field(
        description="what it tells: " + one_of(Means)
    )
    line: LineNumber = Field(description="the number of the line on its chip")
    pump: Annotated[int | None, reader(one.number(0, 4))] = None
    name: Id = None
    chip: Chip = None
    closed_when: Annotated[Level | None, reader(one.choice(Level))] = Level.LOW
    pull: Annotated[Pull | None, reader(one.choice(Pull))] = Pull.NONE
    second_line: LineNumber = None
    in_alarm: Annotated[Position | None, reader(one.choice(Position))] = None
    unpowered: Annotated[Unpowered | None, reader(one.choice(Unpowered))] = None
    contact_follows: Annotated[Follows | None, reader(one.choice(Follows))] = None
    pulsing: Flag = None
    close_time: Annotated[int | None, reader(one.span(MS, SECOND))] = None
    open_time: Annotated[int | None, reader(one.span(MS, 5 * SECOND))] = None
    release_hold: Annotated[int | None, reader(one.span(3 * SECOND, MINUTE))] = None
    on_delay: Delay = None
    off_delay: Delay = None
    carries: list[Annotated[Means | None, reader(one.choice(Means))]] | None = None
    preset: Annotated[presets.Preset | None, reader(one.choice(presets.Preset))] = None
    text: Words = None
    priority: Urgency = None
    latch: Flag = None


class UnitTable(Table):
    """[unit]: this computer, and what holds for all of its panels."""

    id: Id = Field(description='an id such as "cabin"')
    name: Words = Field(description="what people call this place")
    zone: Annotated[str | None, reader(one.zone)] = Field(
        description='an IANA time zone such as "Europe/Vienna"'
    )
    call_list: Id = Field(description="the id of the [[call_list]] for all that has no other")
    medium_list: Id = None
    low_list: Id = None
    chip: Chip = None
    poll: Annotated[int | None, reader(one.span(50 * MS, 5 * SECOND))] = SECOND
    empty: Flag = False
    hours: Id = None
    medium_waits: Flag = False
    keep_days: Annotated[int | None, reader(one.number(30, 7300))] = 1825
    keep_size: Annotated[int | None, reader(one.number(16, 4096))] = 256
    input: list[InputTable] | None = Field(default_factory=list)


class PanelTable(Table):
    """[[panel]]: one pump control panel."""

    id: Id = Field(description='an id such as "pump-house"')
    name: Words = Field(description="what people call this panel")
    kind: Annotated[Kind | None, reader(one.choice(Kind))] = Field(
        description="it decides what may be advised first: " + one_of(Kind)
    )
    where: Words = None
    call_list: Id = None
    medium_list: Id = None
    low_list: Id = None
    pumps: Annotated[int | None, reader(one.number(1, 4))] = 1
    alternates: Flag = False
    reserve: Annotated[int | None, reader(one.span(MINUTE, 30 * DAY))] = None
    pump_down: Annotated[int | None, reader(one.span(10 * SECOND, 4 * HOUR))] = None
    circuits: Annotated[Circuits | None, reader(one.choice(Circuits))] = Circuits.UNKNOWN
    control_fed_by: Annotated[FedBy | None, reader(one.choice(FedBy))] = FedBy.UNKNOWN
    shares_breaker: Flag = False
    settle: Annotated[int | None, reader(one.span(10 * SECOND, 10 * MINUTE))] = MINUTE
    silence_time: Annotated[int | None, reader(one.span(10 * SECOND, 24 * HOUR))] = None
    run_limit: Annotated[int | None, reader(one.span_or_never(MINUTE, 24 * HOUR))] = None
    starts_limit: Annotated[int | None, reader(one.number(2, 240))] = None
    hoa: Switch = Reach.UNKNOWN
    silence: Switch = Reach.UNKNOWN
    alarm_breaker: Switch = Reach.UNKNOWN
    labels: dict[str, Words] | None = Field(default_factory=dict)
    realarm: dict[str, Realarm] | None = Field(default_factory=dict)
    input: list[InputTable] | None = Field(default_factory=list)


class ChannelTable(Table):
    """[[person.channel]]: one way to reach a person."""

    name: Id = Field(description='an id such as "mail" or "push"')
    address: Annotated[str | None, reader(one.address)] = None
    address_from: Credential = None
    short: Flag = False
    wakes: Flag = False
    least: Least = None
    answers: Flag = False
    at_most: Annotated[Limit | None, reader(one.limit)] = None


class PersonTable(Table):
    """[[person]]: somebody who is told."""

    id: Id = Field(description='an id such as "anna"')
    name: Words = Field(description="how others know this person")
    phone: Words = None
    language: Language = "en"
    waking: Annotated[tuple[int, int] | None, reader(moments.waking)] = (7 * HOUR, 22 * HOUR)
    hours: Id = None
    responds: Flag = False
    qualified: Flag = False
    may: list[Annotated[Act | None, reader(one.choice(Act))]] | None = Field(
        default_factory=lambda: [*Act]
    )
    answers_from: list[Annotated[str | None, reader(one.mail_address)]] | None = None
    channel: list[ChannelTable] | None = Field(default_factory=list)


class StepTable(Table):
    """[[call_list.step]]: who is told, how long after the start."""

    after: Annotated[int | None, reader(one.span(0, 24 * HOUR))] = Field(
        description='the time from the start of the alarm, such as "8 min"'
    )
    tell: list[Id] | None = Field(description='the ids of persons, such as ["anna"]')


class CallListTable(Table):
    """[[call_list]]: in which order people are told."""

    id: Id = Field(description='an id such as "everybody"')
    tell: list[Id] | None = None
    repeat: Pause = 15 * MINUTE
    slow_after: Pause = 2 * HOUR
    slow: Pause = 30 * MINUTE
    step: list[StepTable] | None = Field(default_factory=list)


class HoursTable(Table):
    """[[hours]]: working hours and the days without work."""

    id: Id = Field(description='an id such as "office"')
    days: list[Weekday] | None = Field(
        description='the days of work, such as ["mon", "tue", "wed", "thu", "fri"]'
    )
    from_: Clock = Field(alias="from", description='a time of day such as "08:00"')
    until: Clock = Field(description='a time of day such as "17:00"')
    holidays: Annotated[str | None, reader(moments.holiday_code)] = None
    holidays_list: list[Day] | None = Field(default_factory=list)


class InsteadTable(Table):
    """[[on_call.instead]]: somebody else for a while."""

    from_: Moment = Field(alias="from", description="a local time such as 2026-12-24T08:00:00")
    until: Moment = Field(description="a local time such as 2026-12-27T08:00:00")
    person: Id = Field(description="the id of a person")


class OnCallTable(Table):
    """[[on_call]]: an on-call schedule; call lists name it as they name a person."""

    id: Id = Field(description='an id such as "standby"')
    persons: list[Id] | None = Field(description='the ids of persons, such as ["anna", "ben"]')
    begins: Day = Field(description="the day on which the first of them begins, such as 2026-01-05")
    change: Annotated[Change | None, reader(one.choice(Change))] = Change.WEEKLY
    day: Weekday = None
    at: Clock = 8 * HOUR
    instead: list[InsteadTable] | None = Field(default_factory=list)


class TextTable(Table):
    """[[text]]: the site's own words for one condition in one language."""

    condition: Id = Field(description='a condition such as "high-level"')
    language: Language = "en"
    short: Annotated[str | None, reader(one.template)] = None
    long: Annotated[str | None, reader(one.template)] = None


class PlanTable(BaseSettings):
    """The whole file. Its only source is the parsed text: no environment, no other file."""

    model_config = SettingsConfigDict(extra="forbid", hide_input_in_errors=True, frozen=True)

    unit: UnitTable | None = Field(description="write [unit] with id, name, zone and call_list")
    panel: list[PanelTable] | None = []
    person: list[PersonTable] | None = []
    call_list: list[CallListTable] | None = []
    on_call: list[OnCallTable] | None = []
    hours: list[HoursTable] | None = []
    text: list[TextTable] | None = []
    mqtt: MqttTable | None = None
    mailbox: MailboxTable | None = None
    supervision: SupervisionTable | None = None


TABLES: dict[tuple[str, ...], type[BaseModel]] = {
    (): PlanTable,
    ("unit",): UnitTable,
    ("unit", "input"): InputTable,
    ("panel",): PanelTable,
    ("panel", "input"): InputTable,
    ("person",): PersonTable,
    ("person", "channel"): ChannelTable,
    ("call_list",): CallListTable,
    ("call_list", "step"): StepTable,
    ("on_call",): OnCallTable,
    ("on_call", "instead"): InsteadTable,
    ("hours",): HoursTable,
    ("text",): TextTable,
    ("mqtt",): MqttTable,
    ("mailbox",): MailboxTable,
    ("mqtt", "also"): AlsoTable,
    ("mqtt", "announce"): AnnounceTable,
    ("supervision",): SupervisionTable,
    ("supervision", "peer"): PeerTable,
    ("supervision", "dead_man"): DeadManTable,
    ("supervision", "all_well"): AllWellTable,
}
FREE = {("panel", "labels"), ("panel", "realarm")}
"""Tables whose keys the plan's owner chooses among many: the rules look at them."""
SINGLE = {
    *(("unit",), ("mqtt",), ("mailbox",), ("supervision",)),
    *(("supervision", "dead_man"), ("supervision", "all_well")),
    *FREE,
}
"""The tables that are written with one bracket."""


def keys(table: type[BaseModel]) -> list[str]:
    """The keys of a table as they are written."""
    return [each.alias or name for name, each in table.model_fields.items()]


def means_of(table: type[BaseModel], key: str) -> str:
    """What the key that is written so is for."""
    fields = table.model_fields.items()
    return next(str(each.description) for name, each in fields if (each.alias or name) == key)
