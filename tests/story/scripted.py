"""The real `relayd`, with contacts that a test moves: `python -m tests.story.scripted run --plan ...`.

Where the contacts stand is a file beside the unit, as the wires are in the world: it outlives every
process. A line on the standard input says: look again. All else is what a unit runs.
"""

import json
import os
import sys
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from threading import Thread
from typing import NoReturn

from relayd import clock, daemon
from relayd.__main__ import main as relayd
from relayd.channels import client, mqtt, post
from relayd.contacts.scripted import ScriptedContacts
from relayd.rig import Line

MODULE = "tests.story.scripted"
WIRES = "STORY_WIRES"
"""Names the file: input -> `open`, `closed` or `lost`."""
CLOCK = "STORY_CLOCK"
"""Names a file: while it is there, this machine's clock is taken as set by its time service."""
LIMIT = "STORY_LIMIT"
"""Seconds that a send may take, where it is to be less than in earnest."""
KEEPALIVE = "STORY_KEEPALIVE"
"""Seconds of a broker's silence, likewise; then the longest pause between two tries is 2 s."""
LOST = "lost"


def standing() -> Mapping[str, str]:
    """Where each contact stands now."""
    found: dict[str, str] = json.loads(Path(os.environ[WIRES]).read_text())
    return found


def contacts(lines: Sequence[Line], _poll: int) -> ScriptedContacts:
    """Contacts for the inputs of the rig, which follow the file."""
    now = standing()
    made = ScriptedContacts({each.input: now[each.input] == "closed" for each in lines})
    look(made, [each.input for each in lines])
    names = [each.input for each in lines]
    Thread(target=follow, args=(made, names), name="wires", daemon=True).start()
    return made


def look(made: ScriptedContacts, names: Sequence[str]) -> None:
    """Let the contacts stand as the file says."""
    now = standing()
    for name in names:
        if now[name] == LOST:
            made.lose(name, "its wire is off")
        else:
            made.find(name, now[name] == "closed")


def follow(made: ScriptedContacts, names: Sequence[str]) -> None:
    """Look again at each line, until there are no more."""
    while os.read(0, 4096):
        look(made, names)


def anew(program: str, words: Sequence[str], execv: object = os.execv) -> NoReturn:
    """What a reload begins is this module again, where it would be `-m relayd`."""
    assert words[1:3] == ["-m", "relayd"]
    assert callable(execv)
    execv(program, [program, "-m", MODULE, *words[3:]])
    raise AssertionError("exec came back")


def hurry(environment: Mapping[str, str]) -> None:
    """Shorten the limits that the environment shortens."""
    if limit := environment.get(LIMIT):
        vars(post)["COMMAND"] = (*post.COMMAND, "--limit", limit, "--room", limit)
    if keepalive := environment.get(KEEPALIVE):
        vars(mqtt)["Timing"] = partial(client.Timing, keepalive=int(keepalive), retry_most=2)


if __name__ == "__main__":
    hurry(os.environ)
    vars(daemon)["PinContacts"] = contacts
    if CLOCK in os.environ:
        vars(clock)["SYNCHRONISED"] = Path(os.environ[CLOCK])
    vars(os)["execv"] = anew
    sys.exit(relayd())
