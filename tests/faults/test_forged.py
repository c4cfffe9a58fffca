"""Forged and replayed answers over real servers, into the real daemon: none is taken, by no way.

A small share in every run; RELAYD_FORGED says how many (10,000 in tests/long), RELAYD_SEED repeats a
run. Mails are put into Dovecot's maildir as its own delivery does: written whole, then renamed.
"""

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from threading import Event, Thread
from time import monotonic

import pytest

from tests.channels.watcher import ANSWER, COMMAND, TICKET
from tests.faults import forged_commands
from tests.faults.forged_commands import ROUND, Heard
from tests.faults.forged_mails import BEN, Forger, Known
from tests.faults.forged_stage import Besieged, asked, besieged, code, held
from tests.mailbox.mails import answer
from tests.servers.imap import dovecot
from tests.story.acts import command

pytestmark = [
    pytest.mark.untraced,
    pytest.mark.slow,
    pytest.mark.timeout(150),
    pytest.mark.skipif(dovecot() is None, reason="no Dovecot here, or not as root (dovecot-imapd)"),
]
COUNTS = [
    pytest.param(200, id="a few"),
    pytest.param(10_000, id="10,000", marks=[pytest.mark.long, pytest.mark.timeout(3600)]),
]
REMAIN = "It still goes over MQTT or on the unit (relayd ack)"


@pytest.mark.parametrize("usual", COUNTS)
def test_forged_answers_by_mail_are_not_taken_and_the_ways_that_remain_work(usual: int) -> None:
    many, seed = asked(usual)
    with TemporaryDirectory(prefix="f") as folder, besieged(Path(folder)) as at:
        known = earlier(at)
        truly = [("anna", "seen", "panel:cabin"), ("anna", "taken", "panel:barn")]
        assert at.acknowledged() == truly
        had, mails = at.memory(), list(Forger(Random(seed), known).mails(many))
        began = monotonic()
        flood = Thread(target=put, args=(at, mails))
        flood.start()
        mill, to_dora, after = at.alarm_in_time("mill")
        late = true_answer_is_not_lost(at, mill, flood, seconds=many)
        took = monotonic() - began
        assert at.acknowledged() == truly
        at.locked()
        assert REMAIN in at.came("cleo", 0, "ANSWERS LOCKED", "wrong codes came by mail").mail.text
        escalated(at, ("cabin", "mill"))
        print(f"{many} mails in {took:.0f} s, {many / took:.0f} a second; Ben's answer {late}")
        print(f"first message after {after:.2f} s; {at.lags.words()}; {at.memory_held(had)}")
        print(counted(at, many))
        takes_over_mqtt(at, code(to_dora), "dora", "mill")
        at.command_line(at.occurrence("cabin"), "ben")
        pond, _, _ = at.alarm_in_time("pond")
        at.unit.ask("acknowledge", {"occurrence": pond, "act": "taken"}, "ben")
        truly += [("dora", "taken", "panel:mill"), ("ben", "taken", "panel:cabin")]
        assert at.acknowledged() == [*truly, ("ben", "taken", "panel:pond")]
        assert at.unit.stop() == 0, at.unit.said_last()


def put(at: Besieged, mails: Iterable[bytes]) -> None:
    """Deliver all of them, as fast as they can be written."""
    for each in mails:
        at.box.put(each)


def earlier(at: Besieged) -> Known:
    """Two alarms that were truly answered by mail, one of which is over; what a forger can have of it."""
    _, first = at.raises("cabin")
    seen = answer("seen", code(first), "anna@example.org", "<1@example.org>")
    at.box.put(seen)
    at.unit.said("command done", way="mailbox", by="anna", code="seen")
    _, second = at.raises("barn")
    taken = answer("taken", code(second), "anna@example.org", "<2@example.org>")
    at.box.put(taken)
    at.unit.said("command done", way="mailbox", by="anna", code="taken")
    at.ends("barn")
    to_ben = at.came("ben", 0, "HIGH LEVEL - cabin")
    return Known((seen, taken), code(first), code(second), code(to_ben))


def true_answer_is_not_lost(at: Besieged, mill: str, flood: Thread, seconds: float) -> str:
    """Ben's own answer comes behind the flood: he hears that it was not taken, and the way that remains."""
    to_ben = at.came("ben", 0, "HIGH LEVEL - mill")
    flood.join()
    before = len(at.mail.to("ben"))
    at.box.put(answer("taken", code(to_ben), BEN, "<3@example.org>"))
    end, never = monotonic() + 60 + seconds, Event()
    while not at.unit.found("answer not used", person="ben", occurrence=mill):
        assert monotonic() < end, "Ben's answer was not read"
        at.lag()
        never.wait(0.5)
    told = at.came("ben", before, "Your answer was not taken: too many wrong codes came", "Mill")
    assert "It always goes on the unit: relayd ack --by ben." in told.mail.text
    return "was refused by the lock, and he was told"


def escalated(at: Besieged, places: Sequence[str]) -> None:
    """What nobody took went on to everybody of the call list, locked ways or not."""
    for place in places:
        for person in ("ben", "cleo"):
            at.came(person, 0, f"HIGH LEVEL - {place}")


def takes_over_mqtt(at: Besieged, code: str, person: str, place: str) -> None:
    """With the code of the message, at the broker."""
    ticket = at.watcher.answers()[-1]["ticket"] if at.watcher.answers() else ""
    ticket = at.watcher.tree.get("homie/5/pumphouse/commands/ticket", ticket)
    said = at.watcher.asks(f'{{"ticket": "{ticket}", "code": "{code}", "act": "taken"}}')
    assert (said["ok"], said["person"]) == (True, person), said
    at.unit.said("acknowledged", person=person, act="taken", subject=f"panel:{place}")


def counted(at: Besieged, many: int) -> str:
    """That every mail, and Ben's own, is recorded or counted exactly once."""
    found = at.unit.found("answer not used")
    singly = [each for each in found if each["body"]["why"] != "left-out"]
    whole = len(singly) + sum(each["body"].get("left_out", 0) for each in found)
    assert whole == many + 1, f"{whole} of {many + 1}"
    assert len(found) < 100
    reasons = sorted({each["body"]["why"] for each in singly})
    return f"{len(found)} records stand for {whole} answers that were not used: {reasons}"


@pytest.mark.parametrize("version", ["5", "3.1.1"])
@pytest.mark.parametrize("usual", COUNTS)
def test_forged_commands_over_mqtt_are_not_taken_and_the_ways_that_remain_work(
    usual: int, version: str
) -> None:
    many, seed = asked(usual)
    with TemporaryDirectory(prefix="f") as folder, besieged(Path(folder), version) as at:
        heard = overheard(at)
        truly = [("anna", "taken", "panel:barn"), ("anna", "seen", "panel:cabin")]
        assert at.acknowledged() == truly
        had, began, after, mill = at.memory(), monotonic(), 0.0, ""
        forger = forged_commands.Forger(Random(seed), heard)
        for number in range(0, many, ROUND):
            heard.ticket = at.watcher.tree[TICKET]
            flood(at, forger.payloads(min(ROUND, many - number)))
            if not mill and number >= (many - ROUND) // 2:
                mill, to_dora, after = at.alarm_in_time("mill")
            at.lag()
            through(at, number)
        took = monotonic() - began
        assert at.acknowledged() == truly
        at.locked()
        lock = at.came("cleo", 0, "ANSWERS LOCKED", "wrong codes came over MQTT").mail.text
        assert "It still goes by mail or on the unit (relayd ack)" in lock
        print(f"MQTT {version}: {many} commands in {took:.0f} s, {many / took:.0f} a second")
        print(f"first message after {after:.2f} s; {at.lags.words()}; {at.memory_held(had)}")
        escalated(at, ("cabin", "mill"))
        refused_by_the_lock(at, code(to_dora))
        at.box.put(answer("taken", code(to_dora), "dora@example.org", "<4@example.org>"))
        at.unit.said("acknowledged", person="dora", act="taken", subject="panel:mill")
        at.command_line(at.occurrence("cabin"), "ben")
        truly += [("dora", "taken", "panel:mill"), ("ben", "taken", "panel:cabin")]
        at.raises("pond")
        a_good_one_among_many_is_answered(at, forger)
        truly += [("ben", "taken", "panel:pond")]
        assert at.acknowledged() == truly
        a_retained_one_is_refused_at_each_start(at, heard)
        print(f"a retained one of 64 MB: {a_large_one_costs_nothing(at)}")
        assert at.acknowledged() == truly
        assert at.unit.stop() == 0, at.unit.said_last()


def overheard(at: Besieged) -> Heard:
    """Two commands that were truly given and taken, and what a listener has of them."""
    tickets, accepted, occurrences = [], [], []
    for place, act in (("barn", "taken"), ("cabin", "seen")):
        occurrence, _ = at.raises(place)
        tickets.append(at.watcher.tree[TICKET])
        accepted.append(command(tickets[-1], occurrence, "anna", act).encode())
        assert at.watcher.asks(accepted[-1])["ok"]
        occurrences.append(occurrence)
        if place == "barn":
            at.ends(place)
    over, stands = occurrences
    return Heard(stands, over, accepted, tickets)


def flood(at: Besieged, payloads: Iterable[tuple[bytes, bool]]) -> None:
    """Send all of them, as fast as the broker takes them."""
    sent = [at.watcher.client.publish(COMMAND, *each_of(raw, kept)) for raw, kept in payloads]
    for each in sent:
        each.wait_for_publish(60)
    at.watcher.send(b"", retain=True)  # what is retained is cleared, so that the next is news


def each_of(payload: bytes, retained: bool) -> tuple[bytes, int, bool]:
    return payload, 1, retained


def through(at: Besieged, number: int) -> None:
    """Wait until the unit has judged everything so far: it refuses a key that only this one has."""
    key, before = f"mark{number}", len(at.watcher.came)
    at.unit.until(lambda: at.watcher.client.is_connected(), "connected")
    at.watcher.send(json.dumps({key: ""}))
    at.watcher.until(
        lambda: any(key in said for topic, said in at.watcher.came[before:] if topic == ANSWER),
        f"{key} is refused",
    )


def refused_by_the_lock(at: Besieged, good: str) -> None:
    """A good code at the locked way: refused, and told in the answer which ways remain."""
    ticket = at.watcher.tree[TICKET]
    said = at.watcher.asks(json.dumps({"ticket": ticket, "code": good, "act": "taken"}))
    assert (said["ok"], said["code"]) == (False, "locked")
    assert "It still goes by mail or on the unit (relayd ack)" in said["say"]


def a_good_one_among_many_is_answered(at: Besieged, forger: "forged_commands.Forger") -> None:
    """Its answer is not pushed out by all the refusals around it."""
    occurrence, ticket = at.occurrence("pond"), at.watcher.tree[TICKET]
    junk = [(b"no command", False)] * 150
    before = len(at.watcher.answers())
    good = command(ticket, occurrence, "ben", "taken").encode()
    flood(at, [*junk, (good, False), *junk])
    at.watcher.until(
        lambda: any(
            each["ok"] and each["person"] == "ben" for each in at.watcher.answers()[before:]
        ),
        "the good one is answered",
    )
    at.unit.said("acknowledged", person="ben", act="taken", subject="panel:pond")


def a_retained_one_is_refused_at_each_start(at: Besieged, heard: Heard) -> None:
    """A good command of before that stands retained comes again with each connection, and is refused."""
    at.watcher.send(heard.accepted[1], retain=True)
    assert at.unit.stop() == 0, at.unit.said_last()
    before = len(at.watcher.answers())
    at.unit.start()
    at.watcher.until(
        lambda: any(each["code"] == "retained" for each in at.watcher.answers()[before:]),
        "the retained one is refused",
    )
    at.watcher.send(b"", retain=True)


def a_large_one_costs_nothing(at: Besieged) -> str:
    """A command of 64 MB that stands retained at the broker: the unit begins and works all the same."""
    assert at.unit.stop() == 0, at.unit.said_last()
    before = at.watcher.tree[TICKET]
    at.watcher.send(b"x" * 64_000_000, retain=True)
    at.unit.start()
    # A fresh ticket is shown once the unit hears commands again.
    at.watcher.until(lambda: at.watcher.tree.get(TICKET, before) != before, "connected")
    through(at, -1)
    assert at.unit.process is not None
    most = held(at.unit.process.pid)
    assert most < 96 * 1024, f"{most} KiB"
    at.watcher.send(b"", retain=True)
    return f"daemon at most {most} KiB"
