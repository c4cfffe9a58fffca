"""Faults below a mail server, met by the real sender in a network of its own: names and packets.

Each send ends at its own limit at the latest, whatever the library and the resolver do; a web hook
over another cable does not notice; and when the fault is over the next mail is taken.
"""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from time import monotonic

import pytest

from relayd.channels.post import COMMAND
from relayd.channels.sender import LIMIT
from relayd.core.events import Outcome
from tests.channels.posted import NUMBER, Running, posting, tell
from tests.faults import wire
from tests.faults.scene import MAIL_NAME, Changing
from tests.faults.wire import answers
from tests.servers import network
from tests.servers.network import Network
from tests.servers.web import web
from tests.story import table
from tests.story.table import Row

SHORT = 4.0
"""Seconds that a send may take in the quick tests."""
AT_ONCE = 2.0
"""Seconds that a healthy web hook may take meanwhile."""

pytestmark = [
    pytest.mark.untraced,
    pytest.mark.slow,
    pytest.mark.skipif(bool(network.missing()), reason=network.missing() or "none"),
]


@dataclass
class Path:
    """A sender, and what lies between it and two services."""

    net: Network
    server: Changing
    sender: Running

    def gives(self, channel: str) -> int:
        """Hand out a send; its number."""
        number = next(NUMBER)
        self.sender[0].tell(tell(number, channel))
        return number

    def ends(self, channel: str) -> tuple[Outcome, str, float]:
        """How a send ends, and after how many seconds."""
        began = monotonic()
        outcome, detail = self.sender[1].outcome(self.gives(channel))
        return outcome, detail, monotonic() - began


def paths(limit: float) -> Iterator[Path]:
    """A path of which every part is well; a send over it may take so many seconds."""
    with ExitStack() as around:
        net = around.enter_context(network.network())
        server = Changing(answers({}))
        mail = net.leads("mail", around.enter_context(wire.server(server)))
        hook = net.leads("hook", around.enter_context(web()).port)
        net.call(MAIL_NAME, "mail")
        people = "from=relayd@example.org&to=anna@example.org"
        addresses = {
            "mail": f"mailto://{MAIL_NAME}:{mail}?{people}",
            "hook": f"json://{net.at('hook')}:{hook}/anna",
        }
        words = [*net.inside, *COMMAND, "--limit", f"{limit}", "--room", f"{limit}"]
        running = around.enter_context(posting(addresses, command=words))
        made = Path(net, server, running)
        assert made.ends("mail")[0] is Outcome.TAKEN
        yield made


@pytest.fixture
def path() -> Iterator[Path]:
    """A path for sends that may take little time."""
    yield from paths(SHORT)


@pytest.fixture
def patient() -> Iterator[Path]:
    """A path for sends that may take as long as in earnest."""
    yield from paths(LIMIT)


def resolver_silent(path: Path) -> Callable[[], None]:
    path.net.cut("names")
    return lambda: path.net.mend("names")


def resolver_gone(path: Path) -> Callable[[], None]:
    path.net.names_end()
    return path.net.names_begin


def name_gone(path: Path) -> Callable[[], None]:
    path.net.forget(MAIL_NAME)
    return lambda: path.net.call(MAIL_NAME, "mail")


def no_path(path: Path) -> Callable[[], None]:
    path.net.cut("mail")
    return lambda: path.net.mend("mail")


def half_open(path: Path) -> Callable[[], None]:
    path.server.now = wire.mid_session(lambda: path.net.cut("mail"))

    def over() -> None:
        path.server.now = path.server.well
        path.net.mend("mail")

    return over


Fault = Callable[[Path], Callable[[], None]]
"""Begins, and gives back what ends it."""
SILENT = {
    "resolver silent": resolver_silent,
    "no packet passes": no_path,
    "path dies in mid-session": half_open,
}
SAID = {
    "resolver gone": (resolver_gone, "Temporary failure in name resolution"),
    "name gone": (name_gone, "Name or service not known"),
}


def judged(path: Path, fault: Fault, name: str) -> tuple[Outcome, str, float]:
    """How a mail ends under a fault, while a web hook is served, and that the next is taken."""
    over = fault(path)
    began = monotonic()
    number = path.gives("mail")
    hooked = path.ends("hook")
    outcome, detail = path.sender[1].outcome(number)
    after = monotonic() - began
    over()
    again = path.ends("mail")
    table.add(
        Row(name, f"{outcome.value}: {detail}", after),
        Row(name, f"meanwhile a web hook: {hooked[0].value}", hooked[2]),
        Row(name, f"afterwards a mail: {again[0].value}", again[2]),
    )
    assert hooked[0] is Outcome.TAKEN
    assert hooked[2] < AT_ONCE
    assert again[0] is Outcome.TAKEN
    return outcome, detail, after


@pytest.mark.parametrize("name", SILENT)
def test_silence_ends_at_the_limit_of_the_send_and_holds_up_nobody(path: Path, name: str) -> None:
    outcome, detail, after = judged(path, SILENT[name], name)
    assert outcome is Outcome.FAILED
    assert detail == f"took longer than {SHORT:g} s"
    assert SHORT <= after < SHORT + 3


@pytest.mark.parametrize("name", SAID)
def test_a_name_that_is_not_found_is_said_so(path: Path, name: str) -> None:
    fault, words = SAID[name]
    outcome, detail, after = judged(path, fault, name)
    assert outcome is Outcome.FAILED
    assert words in detail
    assert after < SHORT + 1


@pytest.mark.long
@pytest.mark.parametrize("name", SILENT)
def test_silence_ends_within_the_limit_that_holds_in_earnest(patient: Path, name: str) -> None:
    outcome, detail, after = judged(patient, SILENT[name], f"{name}, whole limit")
    assert outcome is Outcome.FAILED
    assert detail
    assert after < LIMIT + 3
