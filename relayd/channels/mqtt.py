"""The client of one MQTT broker, on paho; only this module and client.py know that library.

Threads: paho's reads and writes the socket and calls `_on_...`; the teller (teller.py) publishes.
paho's own queue is emptied at every connection, so that there is one truth: the tree. MQTT 5 keeps
a session for some minutes, so that the last will can wait out a short break; with 3.1.1 the will
comes at once and no session is kept.
"""

import sys
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import replace
from threading import Thread
from typing import Protocol

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import LogLevel, MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from relayd.answering.proving import Proving
from relayd.channels import command, event, homie, reasons
from relayd.channels.client import Sent, Timing, is_five, leave, made
from relayd.channels.standing import Standing
from relayd.channels.stream import Receipt, Stream
from relayd.channels.teller import FAREWELL, OnSaid, Teller
from relayd.channels.tickets import Tickets
from relayd.clock import boottime, now
from relayd.contacts import Post
from relayd.core.effects import Answer
from relayd.core.events import Commanded, FaultFound
from relayd.core.plan import SECOND, Plan
from relayd.rig import Broker

TAKEN_OVER = 0x8E
"""'Session taken over': MQTT 5.0, section 3.14.2.1."""
CAUGHT = "Caught exception"
"""How paho's line about an error in one of our functions begins."""
SHORT = 10 * SECOND
REFUSED_KEPT = 64
"""More than can be on their way at once."""


class Listens(Protocol):
    """Whoever hears other units over a broker. Called from paho's thread; must not wait."""

    @property
    def topics(self) -> Sequence[str]:
        """What is listened to."""

    def linked(self, way: str, up: bool) -> None:
        """That way stands, or is lost."""

    def heard(self, way: str, topic: str, payload: bytes) -> None:
        """Something came on one of the topics."""


def _nothing_said(topic: str, stands: bool) -> None:
    """For a client whose topics nobody keeps."""


class Mqtt:
    """One connection to one broker, kept up until `stop`. One object lives once."""

    def __init__(
        self,
        post: Post,
        broker: Broker,
        plan: Plan,
        unit: str,
        said: set[str] | None = None,
        on_said: OnSaid = _nothing_said,
        timing: Timing | None = None,
        stream: Stream | None = None,
        greetings: Mapping[str, str] | None = None,
        proving: Proving | None = None,
        listens: Listens | None = None,
    ) -> None:
        """`said`: topics that an earlier process said. `on_said(topic, stands)` is called from the
        teller's thread: before a topic is first published, and after the broker took its clearing.
        `greetings`: what is published at each connection once the tree is there, not retained.
        """
        # Where this broker may bring no commands, the plan says so to all that follows.
        plan = replace(plan, remote_commands=plan.remote_commands and broker.commands)
        self._post, self._broker, self._plan, self._unit = post, broker, plan, unit
        self._timing = timing or Timing()
        self._standing = Standing(broker.way, post)
        self._tickets = Tickets(plan, broker.way, proving)
        self._replay = (event.replay_topic(unit),) if stream is not None else ()
        self._kinds = {f"{homie.command_topic(unit, each)}/set": each for each in command.KINDS}
        self._listens = listens
        self._client: Client | None = None
        self._connections = 0
        self._session = 0
        self._began = self._short = self._proved = 0
        self._denied = self._heard = ""
        self._refused: deque[int] = deque(maxlen=REFUSED_KEPT)
        self._teller = Teller(
            self,
            unit,
            self._tickets,
            plan.remote_commands,
            set(said or ()),
            on_said,
            stream,
            greetings or {},
        )

    # ---- what the daemon calls ------------------------------------------------------------

    def start(self) -> None:
        """Begin to connect. Waits for no broker; what is wrong is posted as ChannelDown."""
        self._teller.start(self._post)

    def stop(self) -> None:
        """Say `disconnected`, leave the broker, end the threads; waits a few seconds at most."""
        self._teller.stop()

    def show(self, tree: Mapping[str, str]) -> None:
        """From now on the broker is to show `tree`. Never waits; safe from any thread."""
        self._teller.show(tree)

    def answer(self, answer: Answer) -> None:
        """Publish the answer to a command that came this way; others are not for us."""
        if self._tickets.gave(answer.token):
            self._tickets.answered(answer)
            self._teller.answer(answer)

    def pulse(self, topic: str, payload: str) -> None:
        """Publish a heartbeat, now or never. Never waits; safe from any thread."""
        self._teller.pulse(topic, payload)

    def deaf(self, why: str) -> None:
        """From now on this connection counts as one that is denied something."""
        self._denied = why
        self._standing.down(why, definite=True)

    def wake(self) -> None:
        """The journal holds more records than before. Never waits; safe from any thread."""
        self._teller.recorded()

    def beat(self) -> int:
        """Boot time (ns) of the teller's last turn: every 5 s at least while it lives."""
        return self._teller.beat()

    def alive(self) -> bool:
        """Whether the teller's thread runs, and paho's where there is a client."""
        client = self._client
        if client is None:
            return self._teller.alive()
        # paho has no public way to ask; its thread ends for ever at an error it did not foresee.
        network = client._thread
        return self._teller.alive() and network is not None and network.is_alive()

    # ---- what the teller calls ------------------------------------------------------------

    def open(self) -> None:
        """Make the client and begin to connect; a file that cannot be used is tried again later."""
        if self._client is not None:
            return
        try:
            client = self._made()
        except (OSError, ValueError) as error:
            self._standing.down(reasons.unusable(error, self._broker), definite=True)
            return
        client.loop_start()
        self._client = client

    def session(self) -> int:
        """The number of the connection that stands now; 0 where none does."""
        return self._session

    def publish(
        self, topic: str, payload: str, retain: bool, qos: int | None = None
    ) -> Receipt | None:
        """Hand a message to paho; None where no connection stands.

        Without `qos`, what is not retained goes with QoS 0, as the convention asks: now or never.
        """
        if self._client is None:
            return None
        quality = qos if qos is not None else int(retain)
        info = self._client.publish(topic, payload.encode(), qos=quality, retain=retain)
        if info.rc is not MQTTErrorCode.MQTT_ERR_SUCCESS:
            return None
        return Sent(info, self._refused)

    def caught_up(self) -> None:
        """Say that the way works, unless something was denied or the name is in doubt."""
        if self._denied:
            self._standing.down(self._denied, definite=True)
        elif boottime() >= self._proved:
            self._standing.up()

    def close(self) -> None:
        """Leave for good, within a few seconds."""
        client, self._client, self._session = self._client, None, 0
        if client is None:
            return
        client.drop_out_messages()
        leave(client, self._broker)
        # paho's own join has no limit: a socket that takes nothing must not hold up the end.
        ending = Thread(target=client.loop_stop, name="mqtt-ending", daemon=True)
        ending.start()
        ending.join(FAREWELL)

    # ---- paho -----------------------------------------------------------------------------

    def _made(self) -> Client:
        client = made(self._broker, self._unit, self._timing)
        client.on_log = self._on_log
        client.on_connect, client.on_connect_fail = self._on_connect, self._on_connect_fail
        client.on_disconnect, client.on_message = self._on_disconnect, self._on_message
        client.on_publish, client.on_subscribe = self._on_publish, self._on_subscribe
        return client

    def _on_connect(
        self,
        client: Client,
        userdata: object,
        flags: ConnectFlags,
        reason: ReasonCode,
        properties: Properties | None,
    ) -> None:
        if reason.is_failure:
            self._standing.down(reasons.refused(_said(reason), self._broker), definite=True)
            return
        client.drop_out_messages()
        client.reconnect_delay_set(self._timing.retry, self._timing.retry_most)
        self._tickets.renew()
        self._denied = self._heard = ""
        self._began = boottime()
        heard = self._listens.topics if self._listens else ()
        for topic in (*self._kinds, *self._replay, *heard):
            if is_five(self._broker):
                # The flag as it was published: a retained command is known at its first coming.
                client.subscribe(topic, options=SubscribeOptions(qos=1, retainAsPublished=True))
            else:
                client.subscribe(topic, qos=1)
        self._connections += 1
        self._session = self._connections
        if self._listens:
            self._listens.linked(self._broker.way, True)
        self._teller.wake()

    def _on_connect_fail(self, client: Client, userdata: object) -> None:
        # paho calls this while it handles the error, and hands it over in no other way.
        why, definite = reasons.not_reached(sys.exception(), self._broker, now(False).wall)
        self._standing.down(why, definite)

    def _on_disconnect(
        self,
        client: Client,
        userdata: object,
        flags: DisconnectFlags,
        reason: ReasonCode,
        properties: Properties | None,
    ) -> None:
        """paho may call this twice for one loss: the second finds no session."""
        stood, self._session = self._session, 0
        heard, self._heard = self._heard, ""
        if stood and self._listens:
            self._listens.linked(self._broker.way, False)
        if self._teller.leaving:
            return
        self._teller.wake()
        if stood and (reason.value == TAKEN_OVER or self._cut_short()):
            self._share_name(client, reason)
        elif stood:
            self._standing.down(reasons.lost(_said(reason), heard, self._broker))
        else:
            self._standing.down(*reasons.unanswered(_said(reason), heard, self._broker))

    def _cut_short(self) -> bool:
        """Whether this connection, like those before it, was cut soon after it began.

        MQTT 3.1.1 does not say that another client took the name; this is what it looks like.
        """
        self._short = self._short + 1 if boottime() - self._began < SHORT else 0
        return self._short >= self._timing.short_ones

    def _share_name(self, client: Client, reason: ReasonCode) -> None:
        certain = reason.value == TAKEN_OVER
        why = reasons.name_shared(self._unit, certain, _said(reason))
        self._standing.down(why, definite=True)
        self._proved = boottime() + self._timing.proving * SECOND
        # A mere suspicion must not silence a unit for minutes: it may be the network.
        pause = self._timing.back_off if certain else self._timing.retry_most
        client.reconnect_delay_set(pause, pause)

    def _on_message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        if self._listens and message.topic in self._listens.topics:
            self._listens.heard(self._broker.way, message.topic, bytes(message.payload))
            return
        if message.retain and not message.payload:
            return  # somebody clears a retained command, which is right
        if message.topic in self._replay:
            self._teller.replay(bytes(message.payload), message.retain)
            return
        taken = self._tickets.take(
            bytes(message.payload),
            message.retain,
            self._kinds.get(message.topic, command.ACKNOWLEDGE),
        )
        if isinstance(taken, Commanded):
            self._post(taken)
            self._teller.wake()
        else:
            self._teller.answer(taken)

    def _on_publish(
        self,
        client: Client,
        userdata: object,
        mid: int,
        reason: ReasonCode,
        properties: Properties,
    ) -> None:
        if reason.is_failure:
            self._refused.append(mid)
            self._deny("keep what this unit publishes", reason)

    def _on_subscribe(
        self,
        client: Client,
        userdata: object,
        mid: int,
        codes: list[ReasonCode],
        properties: Properties,
    ) -> None:
        failed = [each for each in codes if each.is_failure]
        if failed and self._plan.remote_commands:
            self._deny("let this unit hear commands", failed[0])
        elif failed and self._listens and self._listens.topics:
            self._deny("let this unit hear its peers", failed[0])

    def _deny(self, what: str, reason: ReasonCode) -> None:
        self._denied = reasons.denied(what, _said(reason), self._unit)
        self._standing.down(self._denied, definite=True)

    def _on_log(self, client: Client, userdata: object, level: int, text: str) -> None:
        """paho goes on after an error in one of the functions above; it is posted, not lost.

        Other errors that it logs are those of the network: `_on_disconnect` is not told which.
        """
        if level == LogLevel.MQTT_LOG_ERR and text.startswith(CAUGHT):
            self._post(FaultFound("mqtt", text))
        elif level == LogLevel.MQTT_LOG_ERR:
            self._heard = text.partition(": ")[2] or text


def _said(reason: ReasonCode) -> str:
    return str(reason).lower()
