"""Addresses, the brokers' passwords and keys, from the plan or from files that only we may read.

In: the tables and the credentials folder. Out: secrets, and problems that never show one: not
even the name of a file that is not there, since it may be the secret itself, written at the
wrong key.
"""

import os
import re
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from relayd.rig import Secret
from relayd.settings import brokers, mailbox, supervision
from relayd.settings.brokers import Papers, Place
from relayd.settings.files import read_whole
from relayd.settings.schema import ChannelTable, PlanTable
from relayd.words import Loc, Problem, did_you_mean

LARGEST = 16 * 1024
"""Bytes of a credential."""
PREFIX = "relayd_"
"""systemd puts this before the names of a folder that is loaded as the credential `relayd`."""

AddressProblem = Callable[[str], str | None]
"""What is wrong with an address, in words that do not repeat it; None where it can be used."""

_ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://\S+")


@dataclass(slots=True)
class Secrets:
    """What was found: addresses by full channel id, papers by broker, what is wrong or doubtful."""

    addresses: dict[str, Secret] = field(default_factory=dict)
    papers: dict[str, Papers] = field(default_factory=dict)
    mailbox: Secret | None = None
    """The password of the mailbox."""
    dead_man: Secret | None = None
    problems: list[Problem] = field(default_factory=list)
    doubts: list[Problem] = field(default_factory=list)


def collect(plan: PlanTable, folder: Path, check: AddressProblem | None, wall: int = 0) -> Secrets:
    """Every secret of the plan at `wall` (UTC, ns); one problem for each that cannot be used."""
    found = Secrets()
    for loc, channel_id, channel in channels(plan):
        address = _address(found, loc, channel, folder, check)
        if address is not None:
            found.addresses[channel_id] = Secret(address)
    for place in brokers.places(plan):
        found.problems += brokers.file_problems(place)
        password, key = _password(found, place, folder), _key(found, place, folder, wall)
        found.papers[place.name] = Papers(password, key)
    found.problems += mailbox.file_problems(plan)
    if plan.mailbox is not None and (name := plan.mailbox.password_from) is not None:
        value = _credential(found, (mailbox.KEY, "password_from"), folder, name)
        found.mailbox = None if value is None else Secret(value)
    found.dead_man = _dead_man(found, plan, folder)
    return found


def made_up(plan: PlanTable) -> Secrets:
    """An address that leads nowhere for each channel: to look at a plan away from its unit."""
    nowhere = Secret("json://127.0.0.1:9")
    visited = plan.supervision is not None and plan.supervision.dead_man is not None
    away = Secret("http://127.0.0.1:9/") if visited else None
    ways = {channel: nowhere for _, channel, _ in channels(plan)}
    return Secrets(ways, mailbox=Secret("-"), dead_man=away)


def channels(plan: PlanTable) -> Iterator[tuple[Loc, str, ChannelTable]]:
    """Each channel with its place and its full id."""
    for n, person in enumerate(plan.person or []):
        for m, channel in enumerate(person.channel or []):
            yield ("person", n, "channel", m), f"{person.id}.{channel.name}", channel


def _address(
    found: Secrets, loc: Loc, channel: ChannelTable, folder: Path, check: AddressProblem | None
) -> str | None:
    if channel.address_from is not None:
        key = "address_from"
        address = _credential(found, (*loc, key), folder, channel.address_from)
    else:
        key, address = "address", channel.address
    if address is None:
        return None
    say = _wrong(address, check)
    if say is not None:
        found.problems.append(Problem((*loc, key), say))
        return None
    return address


def _wrong(address: str, check: AddressProblem | None) -> str | None:
    if not _ADDRESS.fullmatch(address):
        return "is no address (not shown); write scheme://… without blanks, such as mailto://…"
    say = check(address) if check else None
    if say is None:
        return None
    return f"cannot be used (not shown): {say.replace(address, '…')}"


def _dead_man(found: Secrets, plan: PlanTable, folder: Path) -> Secret | None:
    """The address that tells a service outside that this unit lives: whoever has it can lie to it."""
    given = plan.supervision.dead_man if plan.supervision else None
    if given is None or given.address_from is None:
        return None
    loc = ("supervision", "dead_man", "address_from")
    address = _credential(found, loc, folder, given.address_from)
    if address is not None and (say := supervision.address_problem(address)):
        found.problems.append(Problem(loc, say))
        return None
    return None if address is None else Secret(address)


def _password(found: Secrets, place: Place, folder: Path) -> Secret | None:
    name = place.table.password_from
    if name is None:
        return None
    password = _credential(found, (*place.loc, "password_from"), folder, name)
    return None if password is None else Secret(password)


def _key(found: Secrets, place: Place, folder: Path, wall: int) -> Path | None:
    """Where the key lies; None after saying what is wrong with it, or where there is none."""
    name = place.table.key_from
    if name is None:
        return None
    path = Path(name) if name.startswith("/") else _file(folder, name)
    if path is None:
        found.problems.append(Problem((*place.loc, "key_from"), _not_there(folder, name)))
        return None
    wrong, doubtful = brokers.key_problems(place, path, wall)
    found.problems += wrong
    found.doubts += doubtful
    return None if wrong else path


def _file(folder: Path, name: str) -> Path | None:
    """The credential's file, under its name or as systemd names it."""
    return next((each for each in (folder / name, folder / (PREFIX + name)) if _there(each)), None)


def _credential(found: Secrets, loc: Loc, folder: Path, name: str) -> str | None:
    """The one line of a credential's file, or None after saying what is wrong with it."""
    path = _file(folder, name)
    if path is None:
        found.problems.append(Problem(loc, _not_there(folder, name)))
        return None
    say = ""
    try:
        raw, mode = read_whole(path, LARGEST)
        if mode & stat.S_IRWXO:
            say = f"the file is open to everybody (mode {stat.S_IMODE(mode):04o}); run: chmod 600 {path}"
        value = raw.decode("utf-8").strip()
        if not say and (not value or not value.isprintable()):
            say = f"the file must hold one line of text; write it again: {path}"
    except UnicodeDecodeError:
        value, say = "", f"the file is not UTF-8 text; write it again: {path}"
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else str(error)
        value, say = "", f"the file cannot be read: {why}: {path}"
    if say:
        found.problems.append(Problem(loc, say))
        return None
    return value


def _there(path: Path) -> bool:
    """Whether something is there, be it readable or not."""
    return os.path.lexists(path)


def _not_there(folder: Path, name: str) -> str:
    try:
        names = sorted(each.name.removeprefix(PREFIX) for each in folder.iterdir())
    except OSError as error:
        return f"there is no file of that name: {folder} cannot be read: {error.strerror}"
    there = ", ".join(names) if names else "nothing"
    what = f"there is no file of that name in {folder}"
    return f"{what}; it holds {there}{did_you_mean(name, names)}"
