"""The mailbox of a plan: its table's rules, its password, its doubts, what is made of it.

In: the tables, the credentials. Out: problems, doubts, and the mailbox for the rig; none where its
password is missing (only a forgiving load lets a plan come so far).
"""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from relayd.rig import Mailbox, Secret
from relayd.settings import certificates
from relayd.settings.brokers import LOOPBACK
from relayd.settings.schema import PersonTable, PlanTable, sure
from relayd.settings.schema_mailbox import MailboxTable, Secure
from relayd.words import Problem, quoted

KEY = "mailbox"


def problems(plan: PlanTable) -> Iterator[Problem]:
    """What must hold between the values of [mailbox] and those of persons."""
    box = plan.mailbox
    if box is not None and box.secure is Secure.NONE and box.host not in (None, *LOOPBACK):
        say = 'is "none", and the password would be sent in clear; "tls" or "starttls"'
        yield Problem((KEY, "secure"), say)
    shared = Counter(each.lower() for _, person in _people(plan) for each in _froms(person))
    for n, person in _people(plan):
        for m, channel in enumerate(person.channel or []):
            if channel.answers and box is None:
                say = "is true, and there is no [mailbox] that replies could reach; write one"
                yield Problem(("person", n, "channel", m, "answers"), say)
        for each in _froms(person):
            if shared[each.lower()] > 1:
                say = f"{quoted(each)} stands at two persons: nobody can tell who answers"
                yield Problem(("person", n, "answers_from"), say)


def file_problems(plan: PlanTable) -> Iterator[Problem]:
    """What is wrong with the file of the authority."""
    box = plan.mailbox
    if (
        box is not None
        and box.ca is not None
        and (why := certificates.authority(Path(box.ca), KEY))
    ):
        yield Problem((KEY, "ca"), why)


def doubts(plan: PlanTable) -> Iterator[Problem]:
    """What such a table may say, and should not without knowing what it costs."""
    if plan.mailbox is None:
        return
    people = list(_people(plan))
    ways = [each for _, person in people for each in person.channel or []]
    if not any(each.answers for each in ways):
        say = "is written, and no channel says answers = true: no message asks for a reply"
        yield Problem((KEY,), say)
    for n, person in people:
        if any(each.answers for each in person.channel or []) and not _froms(person):
            say = "is missing: whoever has the message can answer in this person's name, from any"
            yield Problem(("person", n, "answers_from"), f"{say} address")
    if not any("taken" in (person.may or ()) for _, person in people):
        yield Problem((KEY,), 'nobody may answer "taken": no answer stops a call list')


def built(plan: PlanTable, password: Secret | None) -> Mailbox | None:
    """The mailbox for the rig."""
    box = plan.mailbox
    if box is None or password is None:
        return None
    return Mailbox(
        host=sure(box.host),
        port=port(box),
        user=sure(box.user),
        password=password,
        secure=(box.secure or Secure.TLS).value,
        ca=None if box.ca is None else Path(box.ca),
        folder=box.folder or "INBOX",
        senders={
            sure(person.id): tuple(each.lower() for each in _froms(person))
            for _, person in _people(plan)
            if _froms(person)
        },
    )


def port(box: MailboxTable) -> int:
    """The port as given, else the usual one (IMAP's with IANA: RFC 8314 for TLS, RFC 3501)."""
    usual = 993 if box.secure is Secure.TLS else 143
    return box.port if box.port is not None else usual


def _people(plan: PlanTable) -> Iterator[tuple[int, PersonTable]]:
    yield from enumerate(plan.person or [])


def _froms(person: PersonTable) -> list[str]:
    return [each for each in person.answers_from or [] if each is not None]
