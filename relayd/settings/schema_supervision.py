"""The shape of [supervision] and the tables within it: who watches the watcher."""

from typing import Annotated

from pydantic import Field

from relayd.core.plan import HOUR, MINUTE, SECOND
from relayd.settings import values as one
from relayd.settings.table import Clock, Credential, Id, Table, Weekday, Words, reader

Grace = Annotated[int | None, reader(one.span(3 * SECOND, 24 * HOUR))]


class PeerTable(Table):
    """[[supervision.peer]]: another unit that this one watches by its heartbeat."""

    id: Id = Field(description="the id of the other unit, as its own plan has it")
    name: Words = None
    grace: Grace = 15 * MINUTE


class DeadManTable(Table):
    """[supervision.dead_man]: an address outside that is visited while this unit lives."""

    address_from: Credential = Field(
        description="the name of a credential that holds one http:// or https:// address"
    )
    every: Annotated[int | None, reader(one.span(10 * SECOND, 24 * HOUR))] = 5 * MINUTE
    grace: Grace = 15 * MINUTE
    ca: Annotated[str | None, reader(one.path)] = None


class AllWellTable(Table):
    """[supervision.all_well]: the weekly message over every channel."""

    day: Weekday = 0
    at: Clock = 9 * HOUR
    keeper: Id = None


class SupervisionTable(Table):
    """[supervision]: the heartbeat, and what watches this unit and others."""

    heartbeat: Annotated[int | None, reader(one.span(SECOND, 10 * MINUTE))] = MINUTE
    peer: list[PeerTable] | None = Field(default_factory=list)
    dead_man: DeadManTable | None = None
    all_well: AllWellTable | None = None
