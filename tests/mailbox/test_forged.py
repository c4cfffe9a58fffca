"""10,000 forged and replayed answers by mail: none is accepted, and the ways that remain work."""

import time
from dataclasses import replace
from random import Random

import pytest

from relayd.answering.codes import LETTERS, Meant
from relayd.core.events import ChannelDown
from relayd.core.plan import HOUR
from relayd.mailbox.mail import Mail, read
from relayd.mailbox.memory import Progress
from tests.answering.afar import Afar, Kept
from tests.mailbox.mails import answer

pytestmark = [pytest.mark.slow, pytest.mark.untraced]
COUNT = 10_000


def seeded() -> Random:
    seed = time.time_ns() % 1_000_000_000
    print(f"seed {seed}")
    return Random(seed)


def forged(random: Random, code: str) -> Mail:
    """A mail of somebody who guesses, as the reader would tell it."""
    guess = "".join(random.choice(LETTERS) for _ in range(8))
    near = code[:-1] + random.choice(LETTERS.replace(code[-1], ""))
    sender = random.choice(["anna@example.org", f"eve{random.randrange(10**6)}@example.org", "x"])
    words = random.choice(["seen", "taken", "taken 14:00", "OK", "taken 24 h"])
    return read(answer(words, code=random.choice([guess, near]), sender=sender))


@pytest.mark.parametrize("pause", [0, HOUR // 40], ids=["at once", "slower than the lock"])
def test_ten_thousand_forged_answers_by_mail_are_all_refused(pause: int) -> None:
    random, afar = seeded(), Afar()
    before = afar.world.open_alarm()
    for _ in range(COUNT):
        assert afar.answers.take(forged(random, afar.code())) == ""
        afar.world.up += pause
        assert afar.commands() == []
        if len(afar.posted) > 20:
            afar.posted.clear()
    assert afar.world.open_alarm() == before


def test_after_ten_thousand_the_way_is_locked_and_another_still_works() -> None:
    random, afar = seeded(), Afar()
    locks = []
    for _ in range(COUNT):
        afar.answers.take(forged(random, afar.code()))
        locks += [each for each in afar.posted if isinstance(each, ChannelDown)]
        afar.posted.clear()
    (lock,) = locks
    assert "It still goes over MQTT or on the unit (relayd ack)" in lock.why
    assert afar.take(afar.mail("taken")) == []  # the very code is not taken by a locked way
    found = afar.proving.prove("mqtt", "mqtt", [afar.code()])
    assert isinstance(found, Meant)
    assert afar.world.ack("ben").ok
    afar.world.up += HOUR
    (answer_,) = afar.take(afar.mail("seen"))
    assert answer_.ok


def test_ten_thousand_replayed_answers_are_all_refused() -> None:
    random, afar, progress = seeded(), Afar(), Progress(Kept())
    real = [read(answer(words, code=afar.code())) for words in ("seen", "taken 45 min")]
    for each in real:
        assert not progress.known(each.id)
        (done,) = afar.take(each)
        assert done.ok
    stands = afar.world.open_alarm()
    for number in range(COUNT):
        again = random.choice(real)
        anew = again if random.random() < 0.5 else replace(again, id=f"{number:032x}")
        if progress.known(anew.id):
            continue
        assert afar.answers.take(anew) == ""
        assert afar.commands() == []
        if len(afar.posted) > 20:
            afar.posted.clear()
    assert afar.world.open_alarm() == stands


def test_codes_of_one_person_and_one_alarm_are_of_no_use_for_another() -> None:
    afar = Afar()
    mail = afar.mail("taken", "ben", code=afar.code("anna"))
    assert afar.take(mail) == []  # it is Anna's code, and Ben's address
    foreign = afar.codes.of("creek-1.k3f9ab.9999", "anna")
    assert afar.take(afar.mail("taken", code=foreign)) == []
    assert afar.world.open_alarm().taken is None
