"""The shape of the plan file: its tables, their keys, what each key takes and by default means.

A value that was refused is None in the tables, so that the rules (settings/rules.py) can go on
and everything wrong is said at once. Times in nanoseconds.
"""

from collections.abc import Callable
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, PlainValidator
from pydantic_settings import BaseSettings, SettingsConfigDict

from relayd.core.plan import (
    HOUR,
    MINUTE,
    SECOND,
    Circuits,
    Follows,
    Kind,
    Means,
    Position,
    Reach,
    Unpowered,
)
from relayd.settings import values as one
from relayd.settings.values import Level, Pull, Version
from relayd.words import MS, one_of


def _reader(read: Callable[[object], object]) -> Any:
    """A validator that lets the gap of a refused value pass."""
    return PlainValidator(lambda value: None if value is None else read(value))


Words = Annotated[str | None, _reader(one.words)]
Id = Annotated[str | None, _reader(one.id_of)]
Flag = Annotated[bool | None, _reader(one.flag)]
Chip = Annotated[str | None, _reader(one.chip)]
Credential = Annotated[str | None, _reader(one.credential)]
Delay = Annotated[int | None, _reader(one.span(SECOND, HOUR))]
Bounce = Annotated[int | None, _reader(one.span(MS, SECOND))]
Pause = Annotated[int | None, _reader(one.span(MINUTE, 24 * HOUR))]
Switch = Annotated[Reach | None, _reader(one.choice(Reach))]


class Table(BaseModel):
    """A table of the plan: unknown keys are refused, values are never shown."""

    model_config = ConfigDict(extra="forbid", hide_input_in_errors=True, frozen=True)


class UnitTable(Table):
    """[unit]: this computer, and what holds for all of its panels."""

    id: Id = Field(description='an id such as "cabin"')
    name: Words = Field(description="what people call this place")
    zone: Annotated[str | None, _reader(one.zone)] = Field(
        description='an IANA time zone such as "Europe/Vienna"'
    )
    call_list: Id = Field(description="the id of the [[call_list]] for all that has no other")
    chip: Chip = None
    poll: Annotated[int | None, _reader(one.span(50 * MS, 5 * SECOND))] = SECOND


class InputTable(Table):
    """[[panel.input]]: one isolated input and the contact behind it."""

    means: Annotated[Means | None, _reader(one.choice(Means))] = Field(
        description="what it tells: " + one_of(Means)
    )
    line: Annotated[int | None, _reader(one.number(0, 1023))] = Field(
        description="the number of the line on its chip"
    )
    name: Id = None
    chip: Chip = None
    closed_when: Annotated[Level | None, _reader(one.choice(Level))] = Level.LOW
    pull: Annotated[Pull | None, _reader(one.choice(Pull))] = Pull.NONE
    in_alarm: Annotated[Position | None, _reader(one.choice(Position))] = None
    unpowered: Annotated[Unpowered | None, _reader(one.choice(Unpowered))] = None
    contact_follows: Annotated[Follows | None, _reader(one.choice(Follows))] = None
    close_time: Bounce = 50 * MS
    open_time: Bounce = 50 * MS
    release_hold: Annotated[int | None, _reader(one.span(3 * SECOND, MINUTE))] = None
    on_delay: Delay = None
    off_delay: Delay = None


class PanelTable(Table):
    """[[panel]]: one pump control panel."""

    id: Id = Field(description='an id such as "pump-house"')
    name: Words = Field(description="what people call this panel")
    kind: Annotated[Kind | None, _reader(one.choice(Kind))] = Field(
        description="it decides what may be advised first: " + one_of(Kind)
    )
    where: Words = None
    call_list: Id = None
    settle: Annotated[int | None, _reader(one.span(10 * SECOND, 10 * MINUTE))] = MINUTE
    silence_time: Annotated[int | None, _reader(one.span(10 * SECOND, 24 * HOUR))] = None
    circuits: Annotated[Circuits | None, _reader(one.choice(Circuits))] = Circuits.UNKNOWN
    hoa: Switch = Reach.UNKNOWN
    silence: Switch = Reach.UNKNOWN
    input: list[InputTable] | None = []


class ChannelTable(Table):
    """[[person.channel]]: one way to reach a person."""

    name: Id = Field(description='an id such as "mail" or "push"')
    address: Annotated[str | None, _reader(one.address)] = None
    address_from: Credential = None
    short: Flag = False


class PersonTable(Table):
    """[[person]]: somebody who is told."""

    id: Id = Field(description='an id such as "anna"')
    name: Words = Field(description="how others know this person")
    phone: Words = None
    responds: Flag = False
    qualified: Flag = False
    channel: list[ChannelTable] | None = []


class StepTable(Table):
    """[[call_list.step]]: who is told, how long after the start."""

    after: Annotated[int | None, _reader(one.span(0, 24 * HOUR))] = Field(
        description='the time from the start of the alarm, such as "8 min"'
    )
    tell: list[Id] | None = Field(description='the ids of persons, such as ["anna"]')


class CallListTable(Table):
    """[[call_list]]: in which order people are told."""

    id: Id = Field(description='an id such as "everybody"')
    repeat: Pause = 15 * MINUTE
    slow_after: Pause = 2 * HOUR
    slow: Pause = 30 * MINUTE
    step: list[StepTable] | None = []


class MqttTable(Table):
    """[mqtt]: the broker."""

    host: Annotated[str | None, _reader(one.host)] = None
    port: Annotated[int | None, _reader(one.number(1, 65535))] = None
    version: Annotated[Version | None, _reader(one.choice(Version))] = Version.FIVE
    user: Words = None
    password_from: Credential = None
    tls: Flag = False
    ca: Annotated[str | None, _reader(one.path)] = None
    commands: Flag = False


class PlanTable(BaseSettings):
    """The whole file. Its only source is the parsed text: no environment, no other file."""

    model_config = SettingsConfigDict(extra="forbid", hide_input_in_errors=True, frozen=True)

    unit: UnitTable | None = Field(description="write [unit] with id, name, zone and call_list")
    panel: list[PanelTable] | None = []
    person: list[PersonTable] | None = []
    call_list: list[CallListTable] | None = []
    mqtt: MqttTable | None = None


TABLES: dict[tuple[str, ...], type[BaseModel]] = {
    (): PlanTable,
    ("unit",): UnitTable,
    ("panel",): PanelTable,
    ("panel", "input"): InputTable,
    ("person",): PersonTable,
    ("person", "channel"): ChannelTable,
    ("call_list",): CallListTable,
    ("call_list", "step"): StepTable,
    ("mqtt",): MqttTable,
}
SINGLE = {("unit",), ("mqtt",)}
"""The tables that are written with one bracket."""
