"""What is done with a request: commands go to the daemon, questions and acts to its functions.

In: lines of clients, answers of the daemon. Out: lines to clients. Every refusal is an answer.
Knows no selector and never waits.
"""

import logging
from collections.abc import Callable, Mapping
from typing import NoReturn

from relayd.control import meanings, wire
from relayd.control.connection import Connection
from relayd.control.listening import Owner
from relayd.control.wire import Refusal, Request
from relayd.core.effects import Answer
from relayd.core.events import Commanded, Event, FaultFound
from relayd.errors import PlanRefused, RelaydError

PENDING = 16
"""Commands of one client that may wait for their answers."""
WAY = "command line"

Post = Callable[[Event], None]
Read = Callable[[str, Mapping[str, object]], Mapping[str, object]]
Act = Callable[[str, Mapping[str, object]], str | None]
log = logging.getLogger(__name__)


class Requests:
    """Answers requests; used by the control thread only."""

    def __init__(self, post: Post, read: Read, act: Act) -> None:
        self._post, self._read, self._act = post, read, act
        self._askers: dict[str, tuple[Connection, int]] = {}
        self._counter = 0

    def take(self, client: Connection, line: bytes, owner: Owner) -> None:
        """Do what a line asks for, or say why not; `owner` is whose the socket file is."""
        try:
            self._obey(client, wire.request(line), owner)
        except Refusal as refusal:
            client.say(wire.no(refusal.id, refusal.code, refusal.say))

    def answered(self, answer: Answer) -> None:
        """Hand the daemon's answer to the client that waits for it."""
        client, id = self._askers.pop(answer.token, (None, 0))
        if client is None:
            log.debug("nobody waits for the answer to %s", answer.token)
            return
        client.pending.discard(answer.token)
        if not answer.ok:
            client.say(wire.no(id, answer.code, answer.say))
            return
        try:
            client.say(wire.yes(id, {**answer.body, "code": answer.code, "say": answer.say}))
        except (TypeError, ValueError) as error:
            self.fault("control: an answer", error)
            client.say(wire.no(id, "fault", f"done, but the answer was spoilt: {answer.say}"))

    def forget(self, client: Connection) -> None:
        """The client has gone: its answers find nobody."""
        for token in client.pending:
            self._askers.pop(token, None)

    def fault(self, where: str, error: Exception) -> None:
        """Something of relayd's own failed: log it and let the daemon tell people."""
        log.error("fault in %s", where, exc_info=error)
        self._post(FaultFound(where, f"{type(error).__name__}: {error}"))

    def _obey(self, client: Connection, asked: Request, owner: Owner) -> None:
        if asked.do in wire.COMMANDS:
            self._command(client, asked, owner)
        elif asked.do in wire.ACTS:
            _may_act(client, asked, owner)
            client.say(self._asked(client, asked, self._begun))
        elif asked.do == wire.FOLLOW:
            client.follows = True
            client.say(wire.yes(asked.id, {}))
        else:
            client.say(self._asked(client, asked, self._read))

    def _command(self, client: Connection, asked: Request, owner: Owner) -> None:
        command = meanings.command(asked)
        _may_act(client, asked, owner)
        if asked.by is None:
            _refuse(asked, "nobody", "'by' must name the person who asks")
        if len(client.pending) >= PENDING:
            _refuse(asked, "busy", f"{PENDING} commands wait for their answers already")
        self._counter += 1
        token = f"control:{self._counter}"
        client.pending.add(token)
        self._askers[token] = (client, asked.id)
        self._post(Commanded(token, command, asked.by, WAY))

    def _asked(self, client: Connection, asked: Request, read: Read) -> bytes:
        what = {**asked.what, "uid": client.peer.uid, "gid": client.peer.gid}
        try:
            return wire.yes(asked.id, read(asked.do, what))
        except PlanRefused as refused:
            return wire.no(asked.id, "plan-refused", str(refused))
        except RelaydError as error:
            return wire.no(asked.id, "refused", str(error))
        except Exception as error:  # noqa: BLE001 - said, told to people, and the others go on
            self.fault(f"control: {asked.do}", error)
            return wire.no(asked.id, "fault", "this is a fault of relayd: its log says more")

    def _begun(self, do: str, what: Mapping[str, object]) -> Mapping[str, object]:
        return {"say": self._act(do, what) or f"{do} has begun"}


def _may_act(client: Connection, asked: Request, owner: Owner) -> None:
    if not client.peer.may_act(owner.uid, owner.gid):
        peer = client.peer
        log.warning("'%s' refused: asked by uid %d, gid %d", asked.do, peer.uid, peer.gid)
        say = f"only root and members of the group {owner.group} may do this"
        _refuse(asked, "not-allowed", say)


def _refuse(asked: Request, code: str, say: str) -> NoReturn:
    raise Refusal(code, say, asked.id)
