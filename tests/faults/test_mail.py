"""Faults of a mail server, met by the real sender: each ends in words and in time, and holds up nobody.

A resolver that does not answer, and a path that swallows packets, need a network of their own and
are played in test_network.py.
"""

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from time import monotonic

import pytest

from relayd.channels.post import COMMAND
from relayd.core.events import Outcome
from tests.channels.posted import NUMBER, Running, children_of, posting, tell
from tests.faults import wire
from tests.faults.wire import Manners, answers
from tests.servers.mail import MailServer, exim
from tests.servers.web import refusing_port, web
from tests.story import table
from tests.story.table import Row

LIMIT = 4.0
"""Seconds a send may take here; 40 s in earnest."""
FAILED, REFUSED, TAKEN = Outcome.FAILED, Outcome.REFUSED, Outcome.TAKEN
TOO_LONG = f"took longer than {LIMIT:g} s"

FAULTS: dict[str, tuple[Manners, Outcome, str]] = {
    "mail server: well": (answers({}), TAKEN, ""),
    "mail server: 421 at once": (answers({"": "421 too busy"}), FAILED, "421 too busy"),
    "mail server: 451 recipient": (answers({"RCPT": "451 come later"}), FAILED, "451 come later"),
    "mail server: 452 after the text": (answers({".": "452 disk full"}), FAILED, "452 disk full"),
    "mail server: 550 recipient": (answers({"RCPT": "550 nobody"}), REFUSED, "550 nobody"),
    "mail server: 554 after the text": (answers({".": "554 spam"}), REFUSED, "554 spam"),
    "mail server: never says a word": (wire.hangs, FAILED, TOO_LONG),
    "mail server: a byte a second": (wire.trickles, FAILED, TOO_LONG),
    "mail server: falls silent": (wire.falls_silent, FAILED, TOO_LONG),
    "mail server: hangs up in the text": (wire.hangs_up, FAILED, "onnection"),
}

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def sender() -> Iterator[Running]:
    """A sender that knows every one of these servers, and a healthy service."""
    with ExitStack() as around:
        ports = {
            name: around.enter_context(wire.server(each)) for name, (each, _, _) in FAULTS.items()
        }
        ports["nobody listens"] = refusing_port()
        people = "from=relayd@example.org&to=anna@example.org"
        addresses = {
            name: f"mailto://127.0.0.1:{port}?{people}" for name, port in ports.items()
        } | {
            "no such name": f"mailto://mail.invalid?{people}",
            "hook": around.enter_context(web()).address(),
        }
        yield around.enter_context(posting(addresses, LIMIT, LIMIT))


def ends(sender: Running, channel: str) -> tuple[Outcome, str, float]:
    """How a send over that channel ends, and after how many seconds."""
    post, posted = sender
    number, began = next(NUMBER), monotonic()
    post.tell(tell(number, channel))
    outcome, detail = posted.outcome(number)
    return outcome, detail, monotonic() - began


def noted(fault: str, outcome: Outcome, detail: str, after: float) -> None:
    table.add(Row(fault, f"{outcome.value}: {detail}".removesuffix(": "), after))


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_of_a_mail_server_is_said(sender: Running, fault: str) -> None:
    _, wanted, words = FAULTS[fault]
    outcome, detail, after = ends(sender, fault)
    noted(fault, outcome, detail, after)
    assert outcome is wanted
    assert words in detail


@pytest.mark.parametrize(("fault"), ["nobody listens", "no such name"])
def test_a_mail_server_that_is_not_there_is_said(sender: Running, fault: str) -> None:
    outcome, detail, after = ends(sender, fault)
    noted(fault, outcome, detail, after)
    assert outcome is FAILED
    assert detail


def test_all_faults_at_once_hold_up_no_healthy_channel_and_leave_nothing_behind(
    sender: Running,
) -> None:
    post, posted = sender
    ends(sender, "hook")
    before = _memory(post.pid())
    hung = [next(NUMBER) for _ in range(3 * len(FAULTS))]
    for number, fault in zip(hung, 3 * [*FAULTS], strict=True):
        post.tell(tell(number, fault))
    outcome, detail, after = ends(sender, "hook")
    noted("all of them at once, thrice: a web hook", outcome, detail, after)
    assert outcome is TAKEN
    assert len(posted.sent(*hung)) == len(hung)
    posted.watch(lambda: not children_of(post.pid()))
    grown = _memory(post.pid()) - before
    table.add(Row("all of them at once, thrice", f"the sender grew by {grown / 1024:.1f} MiB"))
    assert grown < 4096


@pytest.mark.skipif(exim() is None, reason="no Exim here (Debian: exim4-daemon-light)")
def test_a_wrong_certificate_is_said() -> None:
    with MailServer() as mail:
        trusting = ["env", f"SSL_CERT_FILE={mail.ca}", *COMMAND]
        addresses = {"right": mail.address(), "other name": mail.address(host="127.0.0.1")}
        with posting(addresses, command=trusting) as sender:
            assert ends(sender, "right")[0] is TAKEN
            outcome, detail, after = ends(sender, "other name")
        noted("mail server: certificate of another name", outcome, detail, after)
        with posting({"unknown": mail.address()}) as sender:
            outcome, detail, after = ends(sender, "unknown")
        noted("mail server: unknown authority", outcome, detail, after)
    assert outcome is FAILED
    assert "certificate not accepted" in detail


def _memory(pid: int | None) -> int:
    """Resident memory of a process, in KiB."""
    status = Path(f"/proc/{pid}/status").read_text()
    return int(status.partition("VmRSS:")[2].split()[0])
