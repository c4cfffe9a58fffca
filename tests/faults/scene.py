"""Where a fault of the network is played: two people with two ways each, mail and a web hook, and a broker.

Everything works until `breaks` is called. What comes over each way is kept with its time.
"""

import ssl
from collections.abc import Callable
from dataclasses import dataclass, replace
from email import message_from_string
from pathlib import Path

from relayd.clock import boottime
from tests.channels.reader import Reader, kept
from tests.channels.watcher import Watcher
from tests.faults import wire
from tests.faults.wire import Manners, Wire, answers
from tests.servers.broker import Mosquitto
from tests.servers.certificates import Authority, Pair
from tests.servers.network import Network, network
from tests.servers.web import web
from tests.story import acts, scripted
from tests.story.acts import Mail
from tests.story.plans import plan
from tests.story.stage import Stage

PEOPLE = ("anna", "ben")
MAIL_NAME, BROKER_NAME = "mail.example.org", "broker.example.org"
HURRY = {scripted.LIMIT: "4", scripted.KEEPALIVE: "3"}
"""Limits of a quick play, in seconds: 40 and 20 in earnest."""


@dataclass(frozen=True, slots=True)
class Came:
    """A mail and the boot time (ns) at which the server had it."""

    at: int
    mail: Mail


class Changing:
    """A mail server whose manners change; a connection keeps those with which it began."""

    def __init__(self, well: Manners) -> None:
        self.now = self.well = well

    def __call__(self, line: Wire) -> None:
        self.now(line)


class Scene:
    """A stage with a healthy and a faulty way; `breaks` and `mends` are the fault's own."""

    def __init__(self, stage: Stage, quick: bool) -> None:
        self.stage, self.unit = stage, stage.unit
        self.mails: list[Came] = []
        self.server = Changing(answers({}, self._keep))
        self.mail_port = stage.around.enter_context(wire.server(self.server))
        self.web = stage.around.enter_context(web())
        self.broker = Mosquitto(stage.folder, ["allow_anonymous true", *kept(stage.folder)])
        self.broker.start()
        stage.around.callback(self.broker.kill)
        self.watcher = stage.around.enter_context(Watcher(self.broker.port))
        self.reader = stage.around.enter_context(Reader(self.broker.port))
        self.mail = ("mailto", "127.0.0.1", self.mail_port)
        self.hook = ("127.0.0.1", self.web.port)
        self.broker_at = ("127.0.0.1", self.broker.port)
        self.breaks: Callable[[], object] = lambda: None
        self.mends: Callable[[], object] = lambda: None
        if quick:
            self.unit.environment.update(HURRY)

    def begin(self) -> None:
        """Start the unit with its plan."""
        kind, name, at = self.mail
        hook = "json://{}:{}".format(*self.hook)
        mail = f"{kind}://{name}:{at}?mode={'ssl' if kind == 'mailtos' else 'insecure'}&verify=yes"
        people = "&from=relayd@example.org&to={}@example.org"
        ways = {
            each: {"mail": mail + people.format(each), "hook": f"{hook}/{each}"} for each in PEOPLE
        }
        host, port = self.broker_at
        site = self.stage.site(ways, ((0, PEOPLE),))
        self.unit.write_plan(plan(replace(site, broker=(port, "5"), host=host)))
        self.unit.start()

    def apart(self) -> Network:
        """Put the unit into a network of its own, where every place is behind a cable."""
        made = self.stage.around.enter_context(network())
        made.call(MAIL_NAME, "mail")
        made.call(BROKER_NAME, "broker")
        self.mail = ("mailto", MAIL_NAME, made.leads("mail", self.mail_port))
        self.hook = (made.at("hook"), made.leads("hook", self.web.port))
        self.broker_at = (made.at("broker"), made.leads("broker", self.broker.port))
        self.unit.within = made.inside
        return made

    def to(self, person: str, since: int = 0) -> list[Came]:
        """The mails to a person since that time (boot ns), in the order in which they came."""
        whose = f"{person}@example.org"
        return [each for each in self.mails if each.mail.to == whose and each.at >= since]

    def memory(self) -> dict[str, int]:
        """Resident memory of daemon and sender, in KiB."""
        assert self.unit.process is not None
        sender = self.unit.until(self.unit.sender, "a sender runs")
        return {"daemon": resident(self.unit.process.pid), "sender": resident(sender)}

    def _keep(self, text: str) -> None:
        self.mails.append(Came(boottime(), acts.read(message_from_string(text))))


def resident(pid: int) -> int:
    """Resident memory of a process, in KiB (proc(5))."""
    status = Path(f"/proc/{pid}/status").read_text()
    return int(status.partition("VmRSS:")[2].split()[0])


# ---- what can happen ----------------------------------------------------------------------------

Happens = Callable[[Scene], None]


def server(bad: Manners) -> Happens:
    """The mail server has these manners while it lasts."""

    def set_up(scene: Scene) -> None:
        scene.breaks = lambda: setattr(scene.server, "now", bad)
        scene.mends = lambda: setattr(scene.server, "now", scene.server.well)

    return set_up


def certificate(scene: Scene) -> None:
    """The mail server shows the certificate of another host."""
    authority = Authority(scene.stage.folder)
    right, other = authority.issue("right"), authority.issue("other", "elsewhere.example")
    well = scene.server.well
    scene.server.now = scene.server.well = wire.secured(_shown(right), well)
    scene.unit.environment["SSL_CERT_FILE"] = str(authority.file)
    scene.mail = ("mailtos", "localhost", scene.mail_port)
    server(wire.secured(_shown(other), well))(scene)


def resolver_silent(scene: Scene) -> None:
    """Questions for names go out, and nothing comes back."""
    made = scene.apart()
    scene.breaks, scene.mends = lambda: made.cut("names"), lambda: made.mend("names")


def resolver_gone(scene: Scene) -> None:
    """Nobody listens where names are asked for."""
    made = scene.apart()
    scene.breaks, scene.mends = made.names_end, made.names_begin


def name_gone(scene: Scene) -> None:
    """The name service says that there is no such name."""
    made = scene.apart()
    scene.breaks = lambda: made.forget(MAIL_NAME)
    scene.mends = lambda: made.call(MAIL_NAME, "mail")


def mail_half_open(scene: Scene) -> None:
    """The path dies while a mail is under way, and says nothing."""
    made = scene.apart()
    server(wire.mid_session(lambda: made.cut("mail")))(scene)
    well = scene.mends

    def mends() -> None:
        well()
        made.mend("mail")

    scene.mends = mends


def broker_gone(scene: Scene) -> None:
    """The broker is killed; connections to it are refused."""
    scene.breaks, scene.mends = scene.broker.kill, scene.broker.start


def broker_half_open(scene: Scene) -> None:
    """The path to the broker dies and says nothing."""
    made = scene.apart()
    scene.breaks, scene.mends = lambda: made.cut("broker"), lambda: made.mend("broker")


def broker_not_named(scene: Scene) -> None:
    """The broker begins anew, and nobody answers where it is."""
    made = scene.apart()
    scene.broker_at = (BROKER_NAME, scene.broker_at[1])
    scene.mail = ("mailto", made.at("mail"), scene.mail[2])  # it needs no name here

    def breaks() -> None:
        made.cut("names")
        scene.broker.kill()
        scene.broker.start()

    scene.breaks, scene.mends = breaks, lambda: made.mend("names")


def _shown(pair: Pair) -> ssl.SSLContext:
    made = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    made.load_cert_chain(pair.certificate, pair.key)
    return made
