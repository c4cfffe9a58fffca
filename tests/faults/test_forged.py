"""Forged and replayed answers over real servers, into the real daemon: none is taken, by no way.

A small share in every run; RELAYD_FORGED says how many (10,000 in tests/long), RELAYD_SEED repeats a
run. Mails are put into Dovecot's maildir as its own delivery does: written whole, then renamed.
"""

from collections.abc import Sequence
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from threading import Thread
from time import monotonic

import pytest

from tests.faults.forged_mails import BEN, Forger, Known
from tests.faults.forged_stage import Besieged, asked, besieged, code
from tests.mailbox.mails import answer
from tests.servers.imap import dovecot

pytestmark = [
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
        flood = Thread(target=lambda: [at.box.put(each) for each in mails])
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
    while flood.is_alive():
        at.lag()
        flood.join(0.2)
    before = len(at.mail.to("ben"))
    at.box.put(answer("taken", code(to_ben), BEN, "<3@example.org>"))
    at.unit.until(
        lambda: at.lag() and at.unit.found("answer not used", person="ben", occurrence=mill),
        "Ben's answer was read",
        60 + seconds,
    )
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
    """That every mail was recorded or counted, but for what waits for the next hour's room."""
    found = at.unit.found("answer not used")
    whole = len(found) + sum(each["body"].get("left_out", 0) for each in found)
    assert whole > many - 1000, f"{whole} of {many}"
    assert len(found) < 100
    reasons = sorted({each["body"]["why"] for each in found})
    return f"{len(found)} records stand for {whole} answers that were not used: {reasons}"
