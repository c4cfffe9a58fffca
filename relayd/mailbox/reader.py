"""The reader: a process of its own, `python -m relayd.mailbox.reader`, that looks into one mailbox.

One life is one connection. JSON objects, one a line. In: first the order,

    {"host": "…", "port": 993, "secure": "tls|starttls|none", "ca": null, "user": "…",
     "password": "…", "folder": "INBOX", "since": [validity, uid] or null}

then {"ping": 3}. Out: {"ready": true, "idle": true} once it looks, {"at": [validity, uid]} for
where it begins, before each mail {"looking": [validity, uid]}, then {"mail": {…}} or
{"unreadable": "why"} with "uid", {"beat": 3}; {"trouble": "why"} before it ends by itself. When its
input is closed it ends. It reads the begin of each mail, changes nothing, and deletes nothing.
"""

import json
import os
import select
import sys
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from relayd.channels.children import die_with_parent
from relayd.mailbox.imap import Broken, Imap, Refused, connected, context
from relayd.mailbox.mail import READ, Mail
from relayd.mailbox.parsing import apart, limit_memory

AGAIN = 240.0
"""Seconds of one IDLE: a dead line is found, and RFC 2177 asks for less than 29 minutes."""
POLL = 60.0
"""Seconds between two looks where the server has no IDLE."""
RENUMBERED = 200
"""Mails looked at again where the server numbers them anew; each counts once all the same."""


class Ended(Exception):
    """The daemon closed our input."""


class Orders:
    """Lines on the standard input."""

    def __init__(self) -> None:
        self._rest = b""

    def first(self) -> dict[str, Any]:
        """Wait for the first line."""
        while (line := self._line()) is None:
            self._read()
        found: dict[str, Any] = json.loads(line)
        return found

    def obey(self) -> None:
        """Answer what is asked by now; raises Ended."""
        while select.select([0], [], [], 0)[0]:
            self._read()
        while (line := self._line()) is not None:
            say({"beat": json.loads(line)["ping"]})

    def _line(self) -> bytes | None:
        line, end, rest = self._rest.partition(b"\n")
        if not end:
            return None
        self._rest = rest
        return line

    def _read(self) -> None:
        piece = os.read(0, 65536)
        if not piece:
            raise Ended
        self._rest += piece


def say(line: Mapping[str, object]) -> None:
    """One line to the daemon."""
    rest = json.dumps(line).encode() + b"\n"
    while rest:
        rest = rest[os.write(1, rest) :]


def opened(order: Mapping[str, Any]) -> tuple[Imap, frozenset[bytes]]:
    """A connection that is logged in, and what its server can do. Raises Broken or Refused."""
    host, secure = str(order["host"]), order["secure"]
    box = Imap(connected(host, int(order["port"])))
    checks = None if secure == "none" else context(Path(order["ca"]) if order["ca"] else None)
    if checks is not None and secure == "tls":
        box.secured(checks, host)
    box.greeted()
    if checks is not None and secure == "starttls":
        box.starttls(checks, host)
    try:
        box.login(order["user"], order["password"], box.can())
    except Refused as refusal:
        raise Refused(f"it refuses the login: {refusal}") from None
    return box, box.can()


def begins(box: Imap, order: Mapping[str, Any]) -> tuple[int, int]:
    """Where to begin: what the folder is numbered by, and the last mail that was looked at."""
    try:
        validity, following = box.examine(order["folder"])
    except Refused as refusal:
        raise Refused(f"it refuses the folder: {refusal}") from None
    since = order["since"]
    if since is None:
        return validity, following - 1
    if since[0] != validity:
        return validity, max(0, following - 1 - RENUMBERED)
    return validity, int(since[1])


def look(box: Imap, order: Mapping[str, Any], orders: Orders, can: frozenset[bytes]) -> None:
    """Tell of each new mail, for ever. Raises Broken, Refused or Ended."""
    validity, last = begins(box, order)
    idles = b"IDLE" in can
    say({"ready": True, "idle": idles})
    say({"at": [validity, last]})
    while True:
        for uid in box.newer(last):
            orders.obey()
            last = uid
            say({"looking": [validity, uid]})
            say({"uid": [validity, uid], **_told(apart(box.begin_of(uid, READ)))})
        orders.obey()
        if idles:
            box.idle(0, AGAIN)
        elif not select.select([0], [], [], POLL)[0]:
            box.ask(b"NOOP")


def _told(found: Mail | str) -> dict[str, object]:
    return {"unreadable": found} if isinstance(found, str) else {"mail": asdict(found)}


def main() -> int:
    """Look until the input is closed (0) or the connection is of no use (1)."""
    die_with_parent()
    limit_memory()
    orders = Orders()
    try:
        order = orders.first()
        box, can = opened(order)
        look(box, order, orders, can)
    except Ended:
        return 0
    except (Broken, Refused) as problem:
        say({"trouble": str(problem)})
    return 1


if __name__ == "__main__":
    sys.exit(main())
