"""What a plan may say, and should not without knowing what it costs.

In: tables that broke no rule, and the plan that was made of them. Out: warnings; the plan is used
all the same. What is not wired is looked at here, who is not reached in doubts.py.
"""

import stat
from collections.abc import Iterator

from relayd.core.plan import ALARM_CONTACTS, Follows, Means, Plan, Position, Unpowered
from relayd.settings import brokers, doubts, mailbox
from relayd.settings.inputs import in_alarm
from relayd.settings.schema import InputTable, PanelTable, PlanTable
from relayd.words import Loc, Problem


def warnings(tables: PlanTable, mode: int, plan: Plan) -> Iterator[Problem]:
    """Every doubt about this plan; `mode` is that of its file."""
    yield from _unit(tables)
    for n, panel in enumerate(tables.panel or []):
        yield from _panel(panel, ("panel", n))
    yield from doubts.doubts(tables, plan)
    yield from _open_addresses(tables, mode)
    for each in brokers.places(tables):
        yield from brokers.doubts(each)
    yield from mailbox.doubts(tables)


def _unit(tables: PlanTable) -> Iterator[Problem]:
    wired = {each.means for each in (tables.unit.input or [] if tables.unit else [])}
    place: Loc = ("unit", "input")
    if Means.WETTING_SUPPLY not in wired:
        say = 'has none with means = "wetting-supply": when the supply of the inputs fails, each contact'
        yield Problem(
            place, f"{say} that closes in an alarm reads normal for ever, and that is SILENT"
        )
    if Means.UNIT_POWER not in wired:
        say = 'has none with means = "unit-power": an outage of the whole site cannot be told from'
        yield Problem(
            place,
            f"{say} the loss of a panel's feed, and nobody hears that the unit runs on its battery",
        )


def _panel(panel: PanelTable, loc: Loc) -> Iterator[Problem]:
    inputs = panel.input or []
    wired = {each.means for each in inputs}
    sensed = Means.ALARM_POWER in wired
    for n, each in enumerate(inputs):
        if each.means in ALARM_CONTACTS:
            place = (*loc, "input", n)
            yield from _unpowered(each, (*place, "unpowered"), sensed)
            yield from _follows(each, (*place, "contact_follows"), panel)
            yield from _cut_wire(each, (*place, "in_alarm"), Means.CABLE_LOOP in wired)
    yield from _kinds(wired, (*loc, "input"))
    if panel.alternates and not wired & {Means.PUMP_RUNNING, Means.PUMP_CALLED}:
        say = "is written, and no pump-called or pump-running input shows whether the pumps take turns"
        yield Problem((*loc, "alternates"), say)


def _kinds(wired: set[Means | None], loc: Loc) -> Iterator[Problem]:
    if Means.COMMON_ALARM in wired and not wired & {Means.HIGH_LEVEL, Means.HIGH_HIGH_LEVEL}:
        say = "has a common-alarm as the only contact about water: no message can say which alarm it is;"
        yield Problem(loc, f"{say} ask the panel's builder for a contact of the high level alone")
    if not wired & {Means.PUMP_RUNNING, Means.PUMP_CALLED}:
        say = "has no pump-running or pump-called: nothing notices that the pump has not run for days,"
        yield Problem(loc, f"{say} and that is the only witness of an alarm float that is stuck")


def _cut_wire(contact: InputTable, loc: Loc, looped: bool) -> Iterator[Problem]:
    """A contact that closes in an alarm needs something that tells of its wires."""
    if in_alarm(contact) is Position.OPEN or contact.second_line is not None or looped:
        return
    say = '"closed": a cut wire reads normal, and that is SILENT; best is a relay with two throws on two'
    more = "inputs (second_line), next the throw that opens in an alarm, third a cable-loop"
    yield Problem(loc, f"{say} {more}")


def _unpowered(contact: InputTable, loc: Loc, sensed: bool) -> Iterator[Problem]:
    """Is a dead alarm circuit seen, and is the contact's place known then?"""
    where = contact.unpowered or Unpowered.UNKNOWN
    advice = "wire an alarm-power input"
    if where is Unpowered.UNKNOWN:
        silent = "" if sensed else f", and a dead alarm circuit may be SILENT ({advice})"
        say = f"is not known: the worse is taken: power and level cannot be told apart{silent}"
        yield Problem(loc, f"{say}; open the alarm breaker and look (contact test)")
    elif where is Unpowered.HOLDS and not sensed:
        say = "this contact goes on without the alarm circuit, but lamp and horn die with it"
        yield Problem(loc, f"{say}, and that is SILENT; {advice}")
    elif where.value != (contact.in_alarm or "") and not sensed:
        say = "with the alarm circuit dead this contact stands as if all were well"
        yield Problem(loc, f"{say}: a dead alarm circuit is SILENT, high water too; {advice}")


def _follows(contact: InputTable, loc: Loc, panel: PanelTable) -> Iterator[Problem]:
    if (contact.contact_follows or Follows.UNKNOWN) is not Follows.UNKNOWN:
        return
    ends = "until a person says that the level is down"
    if panel.silence_time is not None:
        ends = "until the silence time and 15 min are over, or a person says that the level is down"
    say = f"is not known: a contact that goes back may be somebody's Silence, so the alarm stays {ends}"
    yield Problem(loc, f"{say}; press Silence in an alarm and look (contact test)")


def _open_addresses(tables: PlanTable, mode: int) -> Iterator[Problem]:
    if not mode & stat.S_IROTH:
        return
    for n, person in enumerate(tables.person or []):
        for m, channel in enumerate(person.channel or []):
            if channel.address is not None and _names_a_user(channel.address):
                say = "may hold a password, and everybody can read this file; use address_from, or chmod 640"
                yield Problem(("person", n, "channel", m, "address"), say)


def _names_a_user(address: str) -> bool:
    """Whether there is a user, and so perhaps a password, before the host."""
    host, _, _ = address.partition("://")[2].partition("?")
    return "@" in host.partition("/")[0]
