"""Everything the demo stands on: broker, mailbox, mock pins, and the real daemon in between."""

import os
import threading
from contextlib import ExitStack
from pathlib import Path
from string import Template
from typing import Any, Self

from gpiozero.pins.mock import MockFactory

from relayd import clock, daemon, logs
from relayd.control import client
from relayd.demo.broker import broker
from relayd.demo.mailbox import Mailbox
from relayd.demo.onlooker import Onlooker
from relayd.demo.screen import Screen
from relayd.errors import NotReachable, RelaydError
from relayd.journal import lock
from relayd.pins.inputs import PinContacts
from relayd.settings import Places, load

LINES = {"float": 17, "circuit": 27}
FOLLOWED = {
    "raised": "alarm",
    "returned": "alarm",
    "row changed": "alarm",
    "occurrence ended": "alarm",
    "acknowledged": "unit",
    "call list stopped": "unit",
    "not told": "unit",
    "send failed": "unit",
    "fault in relayd": "unit",
}
"""What is shown of the unit's records; the rest is in `relayd log`."""
PATIENCE = 20.0
AT_THE_HORN = 12.0
"""Seconds: a circuit that is off for less than 15 in an alarm is no sign of anybody at work."""


class Stage:
    """Sets everything up on entering and takes it all away again."""

    def __init__(self, folder: Path, colour: bool) -> None:
        self.screen = Screen(colour)
        self._folder = folder
        self._things = ExitStack()
        self._factory = MockFactory()
        self.up, self.on, self.wire = False, True, "back"

    def __enter__(self) -> Self:
        port, version, kind = self._things.enter_context(broker(self._folder))
        mailbox = Mailbox(self.screen)
        mailbox.start()
        self._things.callback(mailbox.stop)
        self.onlooker = Onlooker(self.screen, port, version)
        self.onlooker.start()
        self._things.callback(self.onlooker.stop)
        self.screen.say(
            "story", f"broker: {kind}, MQTT {version}; mailbox: SMTP on port {mailbox.port}"
        )
        self._start_daemon(self._plan(port, version, mailbox.port))
        return self

    def __exit__(self, *_error: object) -> None:
        self._things.close()

    def float_up(self, up: bool) -> None:
        """Raise or lower the alarm float: its contact closes or opens."""
        self.screen.say(
            "you",
            f"the water {'rises: the alarm float tips' if up else 'falls: the float hangs down'}",
        )
        self.up = up
        self._stand()

    def circuit_on(self, on: bool) -> None:
        """Open or close the breaker of the alarm circuit, which feeds the float's contact as well."""
        self.screen.say("you", f"the alarm circuit is switched {'on' if on else 'off'}")
        self.on = on
        self._stand()

    def horn_off(self) -> None:
        """Somebody takes the wire off, which takes a while, and closes the breaker again."""
        self.screen.say("you", "the wire of the horn is taken off, which nobody tells the unit")
        threading.Event().wait(AT_THE_HORN)
        self.circuit_on(True)

    def acknowledge(self, person: str, act: str) -> None:
        """Acknowledge as `relayd ack` does."""
        self.screen.say("you", f"relayd ack cabin --by {person} --{act}")
        self.ask("acknowledge", {"panel": "cabin", "act": act}, person)

    def horn_wire(self, person: str, wire: str) -> None:
        """Say that the horn's wire is `off` or `back`, as `relayd horn-wire` does."""
        self.wire = wire
        self.screen.say("you", f"relayd horn-wire cabin {wire} --by {person}")
        self.ask("horn-wire", {"panel": "cabin", "wire": wire}, person)

    def occurrence(self) -> str:
        """The id of the alarm that stands at the cabin, or ''."""
        panels: Any = client.ask(self._socket, "status", {})["panels"]
        alarms = [each for panel in panels for each in panel["alarms"]]
        return str(alarms[0]["occurrence"]) if alarms else ""

    def ask(self, do: str, body: dict[str, object], person: str) -> None:
        """Ask the daemon and show its answer."""
        try:
            answer = client.ask(self._socket, do, body, by=person)
            self.screen.say("unit", str(answer.get("say", answer)))
        except RelaydError as error:
            self.screen.say("unit", f"refused: {error}")

    def show_status(self) -> None:
        """What `relayd status` would show, in short."""
        panels: Any = client.ask(self._socket, "status", {})["panels"]
        for panel in panels:
            inputs = [f"{each['id']} {each['reads']}" for each in panel["inputs"]]
            alarms = [f"{each['name']}: {each['state']}" for each in panel["alarms"]]
            self.screen.say("unit", panel["level"], [*inputs, *alarms])

    def _stand(self) -> None:
        """Let the contacts stand as water and breaker have it."""
        self._drive("float", closed=self.up and self.on)
        self._drive("circuit", closed=self.on)

    def _drive(self, name: str, closed: bool) -> None:
        pin = self._factory.pin(LINES[name])
        if closed:
            pin.drive_low()
        else:
            pin.drive_high()

    def _plan(self, mqtt: int, version: str, smtp: int) -> Places:
        text = Template((Path(__file__).parent / "plan.toml").read_text())
        path = self._folder / "plan.toml"
        path.write_text(text.substitute(mqtt=mqtt, version=version, smtp=smtp))
        os.chmod(path, 0o600)
        state = self._folder / "state"
        lock.take(state)
        return Places(plan=path, credentials=self._folder, state=state, run=self._folder)

    def _start_daemon(self, places: Places) -> None:
        logs.configure(level="ERROR")
        loaded = load(places.plan, places.credentials, wall=clock.now(False).wall)
        self._socket = places.run / "control.sock"
        self._stand()
        contacts = PinContacts(loaded.rig.lines, loaded.rig.poll, factory=self._factory)
        unit = daemon.build(places, loaded, contacts)
        unit.trust = lambda: True
        unit.trusted = True
        thread = threading.Thread(target=unit.run, name="unit", daemon=True)
        thread.start()
        self._things.callback(thread.join, PATIENCE)
        self._things.callback(unit.ask_to_stop)
        self._await_daemon()
        threading.Thread(target=self._watch, name="follow", daemon=True).start()

    def _await_daemon(self) -> None:
        pause = threading.Event()
        for _ in range(int(PATIENCE / 0.05)):
            try:
                client.ask(self._socket, "status", {})
                return
            except NotReachable:
                pause.wait(0.05)
        raise RelaydError("the demo's daemon did not start")

    def _watch(self) -> None:
        """Show what the unit says of itself until it ends."""
        try:
            for line in client.follow(self._socket):
                self._show(dict(line))
        except RelaydError as error:
            self.screen.say("unit", f"{error}")

    def _show(self, line: dict[str, Any]) -> None:
        what = str(line.pop("what", ""))
        if what == "input":
            self.screen.say("contact", f"{line['input']} is {line['reads']}")
        elif what == "send":
            self.screen.say("notice", f"{line['ref']} over {line['channel']}: {line['title']}")
        elif what in FOLLOWED:
            rest = ", ".join(
                f"{name} {value}" for name, value in line.items() if value not in ("", [], None)
            )
            self.screen.say(FOLLOWED[what], f"{what}: {rest}")
