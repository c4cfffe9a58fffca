"""The sender: a process of its own, `python -m relayd.channels.sender`, that talks to services.

It loads Apprise once and forks one child a send, so that a service that hangs, leaks or crashes
takes down one send and nothing else. JSON objects, one a line. In:

    {"send": 12, "channel": "anna-mail", "address": "mailto://…", "title": "…", "body": "…",
     "priority": "high"}
    {"withdraw": 12}    {"ping": 3}

Out: {"ready": true} once, then {"send": 12, "outcome": "taken|refused|failed", "detail": "…"},
with "again": 30 where the service asked to be left alone for so many seconds, {"withdrawn": 12}
where a send had not begun, {"beat": 3}. When its input is closed it forgets what waits, gives what
runs 3 s, and ends. A detail is one line of at most 300 characters and holds nothing of the address. With `--check` it says of each address (a JSON string
a line) what makes it unusable, or null.
"""

import argparse
import gc
import json
import logging
import os
import re
import signal
import sys
import warnings
from dataclasses import replace
from typing import Any

import requests
from apprise import Apprise, AppriseAsset, NotifyType

from relayd.channels import verdict
from relayd.channels.children import Children, die_with_parent
from relayd.channels.redact import redact
from relayd.channels.turns import MAKE_ROOM, Job
from relayd.channels.verdict import Verdict
from relayd.core.events import Outcome
from relayd.core.plan import SECOND, seconds

LIMIT = 40.0
"""Seconds a send may take."""
KINDS = {
    "high": NotifyType.FAILURE,
    "medium": NotifyType.WARNING,
    "low": NotifyType.INFO,
    "over": NotifyType.SUCCESS,
}
"""What a service is told of a message's weight; many show it as a colour, a sign or a sound."""


class _Heard(logging.Handler):
    """Keeps what Apprise logs of one send: the exceptions it swallows, and its warnings."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self.problems: list[BaseException] = []
        self.warnings: list[str] = []
        self.again = 0
        """Seconds that the last answer asked to wait."""

    def watch(self) -> None:
        """Look at each HTTP answer of this process: the library says of it no more than its status."""
        send = requests.Session.send

        def watched(session: Any, request: Any, **settings: Any) -> Any:
            answer = send(session, request, **settings)
            held = answer.headers
            self.again = verdict.asked_to_wait(
                answer.status_code, held.get("Retry-After", ""), held.get("Date", "")
            )
            return answer

        # In the child of this one send: the library makes its own sessions and shows none of them.
        requests.Session.send = watched  # type: ignore[method-assign, assignment]

    def emit(self, record: logging.LogRecord) -> None:
        problem = sys.exc_info()[1]
        if problem is not None:
            self.problems.append(problem)
        if record.levelno >= logging.WARNING:
            self.warnings.append(record.getMessage())

    def verdict(self) -> Verdict:
        """Why the send was not taken, and when it may be tried again."""
        return replace(self._why(), again=self.again)

    def _why(self) -> Verdict:
        """Why the send was not taken, from the plainest witness."""
        if self.problems:
            return verdict.of_exception(self.problems[-1])
        for line in reversed(self.warnings):
            if found := verdict.of_status(line):
                return found
        return Verdict(Outcome.FAILED, "; ".join(self.warnings) or "the service did not take it")


def _listen() -> _Heard:
    heard, logger = _Heard(), logging.getLogger("apprise")
    logger.handlers, logger.propagate = [heard], False
    logger.setLevel(logging.DEBUG)
    return heard


def _service(address: str, heard: _Heard) -> tuple[Any, str]:
    """The service behind an address, or None and why it is unusable."""
    if not re.match(r"[a-z][a-z0-9+.-]*://", address, re.I):
        return None, "this is no address: it begins with a service's name, as in mailto://"
    # A new object each time: it spaces its sends by the wall clock, and holds back what comes soon.
    asset = AppriseAsset(app_id="relayd", storage_mode="memory", service_timeout=0)
    try:
        service = Apprise.instantiate(_plain(address), asset=asset, suppress_exceptions=False)
    except Exception as problem:  # noqa: BLE001  a service's constructor may raise anything
        return None, str(problem) or type(problem).__name__
    return service, "" if service else "; ".join(heard.warnings) or "no service takes this address"


def _plain(address: str) -> str:
    """Ask for mail as plain text: HTML is shown last, or not at all, where it is needed most."""
    if not re.match("mailtos?://", address, re.I) or re.search("[?&]format=", address, re.I):
        return address
    return f"{address}{'&' if '?' in address else '?'}format=text"


def problem_of(address: str) -> str | None:
    """Why this address is unusable, or None. Nothing is sent and nobody is asked."""
    service, why = _service(address, _listen())
    if service is None:
        return redact(why, [address])
    if len(service) > 1:
        return "it names more than one recipient: give each a channel of its own"
    return None if len(service) else "it names no recipient"


def deliver(job: Job) -> Verdict:
    """Send it, and say how that ended. Raises nothing; takes as long as the service likes."""
    heard = _listen()
    service, why = _service(job.address, heard)
    if service is None:
        return Verdict(Outcome.REFUSED, f"the address is unusable: {why}")
    messages = Apprise(asset=service.asset)
    messages.add(service)
    heard.watch()
    try:
        taken = messages.notify(
            body=job.body,
            title=" ".join(job.title.split()),
            notify_type=KINDS.get(job.priority, NotifyType.INFO),
            body_format="text",
        )
    except Exception as problem:  # noqa: BLE001  whatever a service raises is that send's outcome
        return verdict.of_exception(problem)
    return Verdict(Outcome.TAKEN) if taken else heard.verdict()


def _serve(limit: float, room: float) -> None:
    # Lines go out through a descriptor of our own: what a library prints must not be one of them.
    out = os.dup(1)
    os.dup2(2, 1)
    Apprise.instantiate("json://127.0.0.1/")  # loads every plugin
    gc.freeze()  # children share these pages; the collector must not write to them
    Children(deliver, out, seconds(limit), seconds(room)).run()


def main() -> None:
    """Serve, or check addresses."""
    die_with_parent()
    words = argparse.ArgumentParser(prog="relayd.channels.sender")
    words.add_argument("--check", action="store_true", help="say what is wrong with addresses")
    words.add_argument("--limit", type=float, default=LIMIT, help="seconds a send may take")
    words.add_argument("--room", type=float, default=MAKE_ROOM / SECOND, help="… while others wait")
    asked = words.parse_args()
    warnings.simplefilter("ignore")
    if asked.check:
        for line in sys.stdin:
            sys.stdout.write(json.dumps(problem_of(json.loads(line))) + "\n")
        return
    signal.signal(signal.SIGTERM, signal.SIG_IGN)  # the end of its input is what stops it
    _serve(asked.limit, asked.room)


if __name__ == "__main__":
    main()
