"""What a plan may say, and should not without knowing what it costs.

In: tables that broke no rule. Out: warnings; the plan is used all the same.
"""

import stat
from collections.abc import Iterator

from relayd.core.plan import Follows, Means, Unpowered
from relayd.settings.rules import on_call
from relayd.settings.schema import CallListTable, InputTable, MqttTable, PanelTable, PlanTable
from relayd.words import Loc, Problem

LOOPBACK = ("localhost", "127.0.0.1", "::1")


def warnings(plan: PlanTable, mode: int) -> Iterator[Problem]:
    """Every doubt about this plan; `mode` is that of its file."""
    for n, panel in enumerate(plan.panel or []):
        yield from _contact(panel, ("panel", n))
    for n, calls in enumerate(plan.call_list or []):
        yield from _call_list(calls, ("call_list", n), plan)
    yield from _never_told(plan)
    yield from _open_addresses(plan, mode)
    if plan.mqtt is not None:
        yield from _broker(plan.mqtt)


def _contact(panel: PanelTable, loc: Loc) -> Iterator[Problem]:
    inputs = panel.input or []
    sensed = any(each.means is Means.ALARM_POWER for each in inputs)
    for n, each in enumerate(inputs):
        if each.means is Means.HIGH_LEVEL:
            yield from _unpowered(each, (*loc, "input", n, "unpowered"), sensed)
            yield from _follows(each, (*loc, "input", n, "contact_follows"), panel)


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


def _call_list(calls: CallListTable, loc: Loc, plan: PlanTable) -> Iterator[Problem]:
    named = {person for step in calls.step or [] for person in step.tell or []}
    if not any(each.responds for each in plan.person or [] if each.id in named):
        say = "nobody on this call list is marked responds = true"
        yield Problem(loc, f"{say}: an acknowledgement then counts as seen, and the calls go on")
    used = {
        plan.unit.call_list if plan.unit else None,
        *(each.call_list for each in plan.panel or []),
    }
    if calls.id not in used:
        yield Problem((*loc, "id"), "is used by no panel and not by the unit")


def _never_told(plan: PlanTable) -> Iterator[Problem]:
    called = on_call(plan)
    for n, person in enumerate(plan.person or []):
        if person.id not in called:
            yield Problem(("person", n, "id"), "is on no call list: this person is never told")


def _open_addresses(plan: PlanTable, mode: int) -> Iterator[Problem]:
    if not mode & stat.S_IROTH:
        return
    for n, person in enumerate(plan.person or []):
        for m, channel in enumerate(person.channel or []):
            if channel.address is not None and _names_a_user(channel.address):
                say = "may hold a password, and everybody can read this file; use address_from, or chmod 640"
                yield Problem(("person", n, "channel", m, "address"), say)


def _names_a_user(address: str) -> bool:
    """Whether there is a user, and so perhaps a password, before the host."""
    host, _, _ = address.partition("://")[2].partition("?")
    return "@" in host.partition("/")[0]


def _broker(mqtt: MqttTable) -> Iterator[Problem]:
    safe = bool(mqtt.tls) or mqtt.ca is not None or mqtt.host in LOOPBACK
    if mqtt.commands and mqtt.user is None:
        say = "without a user: whoever reaches the broker can acknowledge; give the unit a user"
        yield Problem(("mqtt", "commands"), say)
    if mqtt.commands and not safe:
        say = "without tls: whoever is on the way can acknowledge; set tls = true"
        yield Problem(("mqtt", "commands"), say)
    if mqtt.password_from is not None and not safe:
        yield Problem(("mqtt", "password_from"), "is sent in clear without tls; set tls = true")
