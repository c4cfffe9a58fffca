"""What becomes of a mail: an act, word to the person why not, or a record; never a loop."""

from dataclasses import replace

import pytest

from relayd.core.events import Act, AnswerUnused, Unused
from relayd.core.plan import HOUR, MINUTE
from tests.answering.afar import Afar


def unused(afar: Afar) -> list[AnswerUnused]:
    return [each for each in afar.posted if isinstance(each, AnswerUnused)]


def test_seen_is_seen_and_the_call_list_goes_on() -> None:
    afar = Afar()
    (answer,) = afar.take(afar.mail("seen"))
    assert (answer.ok, answer.code) == (True, "seen")
    assert "anna" in afar.world.open_alarm().seen
    assert afar.world.open_alarm().taken is None


def test_ok_means_what_the_person_s_standing_says() -> None:
    afar = Afar()
    (answer,) = afar.take(afar.mail("OK", "anna"))
    assert answer.code == "seen"
    (answer,) = afar.take(afar.mail("OK", "ben"))
    assert answer.code == "taken"


def test_taken_until_a_time_of_day_is_the_next_one_in_the_site_s_zone() -> None:
    afar = Afar()
    now = afar.world.now()
    clock = (now.wall + 3 * HOUR) % (24 * HOUR) // MINUTE * MINUTE
    hour, minute = divmod(clock // MINUTE, 60)
    (answer,) = afar.take(afar.mail(f"taken {hour}:{minute:02d}"))
    assert answer.ok
    taken = afar.world.open_alarm().taken
    assert taken is not None
    assert 0 <= now.up + 3 * HOUR - taken.until < MINUTE


def test_taken_stops_the_call_list_and_the_answer_is_confirmed_with_the_next_code() -> None:
    afar = Afar()
    first = afar.code()
    afar.take(afar.mail("taken 2 h"))
    taken = afar.world.open_alarm().taken
    assert taken is not None
    assert taken.person == "anna"
    confirmed = afar.world.tells()[-1]
    assert "Your answer came: you have it." in confirmed.body
    afar.filling.tell(confirmed)
    assert afar.code() in afar.told[0].body
    assert first != afar.code()


def test_the_same_code_serves_for_seen_and_then_for_taken() -> None:
    afar = Afar()
    code = afar.code()
    answers = [afar.take(afar.mail(each, code=code))[0].code for each in ("seen", "taken")]
    assert answers == ["seen", "taken"]


def test_what_was_done_is_not_done_again_with_the_same_code() -> None:
    afar = Afar()
    code = afar.code()
    afar.take(afar.mail("taken 2 h", code=code))
    until = afar.world.open_alarm().taken
    afar.world.run(60)
    assert afar.take(afar.mail("taken 20 h", code=code)) == []
    assert afar.world.open_alarm().taken == until
    assert afar.world.records("answer not used")[-1].body["why"] == "code-served"


def test_what_the_core_refuses_may_be_asked_again_and_the_person_hears_of_it() -> None:
    afar = Afar()
    afar.world.trusted = False
    (no,) = afar.take(afar.mail("taken 14:00"))
    assert (no.ok, no.code) == (False, "bad-time")
    assert "Your answer was not taken" in afar.world.tells()[-1].body
    (yes,) = afar.take(afar.mail("taken 2 h"))
    assert yes.ok


NOT_USED = {
    "a machine": ({"automatic": "it is a report"}, "seen", Unused.AUTOMATIC, ""),
    "no code": ({"codes": ()}, "seen", Unused.NO_CODE, "anna"),
    "no code and a stranger": (
        {"codes": (), "sender": "eve@example.org"},
        "seen",
        Unused.NO_CODE,
        "",
    ),
    "a wrong code": ({"codes": ("b0000000",)}, "seen", Unused.UNKNOWN, "anna"),
    "another address": ({"sender": "eve@example.org"}, "seen", Unused.SENDER, "anna"),
    "no sender": ({"sender": ""}, "seen", Unused.SENDER, "anna"),
    "other words": ({}, "who is it?", Unused.WORDS, "anna"),
    "no words": ({}, "", Unused.WORDS, "anna"),
}


@pytest.mark.parametrize(("changes", "line", "why", "told"), NOT_USED.values(), ids=NOT_USED)
def test_what_cannot_be_used_acts_in_nothing_and_is_told_to_whose_it_is(
    changes: dict[str, object], line: str, why: Unused, told: str
) -> None:
    afar = Afar()
    mail = replace(afar.mail(line), **changes)  # type: ignore[arg-type]
    assert afar.answers.take(mail) == ""
    (event,) = unused(afar)
    assert (event.why, event.person) == (why, told)
    before = afar.world.open_alarm()
    sends = len(afar.world.tells())
    afar.settle()
    assert afar.world.open_alarm() == before
    assert len(afar.world.tells()) == sends + (1 if told else 0)


def test_a_person_without_an_address_in_the_plan_answers_from_anywhere() -> None:
    afar = Afar()
    (answer,) = afar.take(afar.mail("seen", "ben", sender="ben@phone.example"))
    assert answer.ok


def test_who_is_told_is_told_three_times_an_hour_and_what_follows_is_counted() -> None:
    afar = Afar()
    for _ in range(100):
        afar.answers.take(afar.mail("what?"))
    events = unused(afar)
    assert sum(1 for each in events if each.person) == 3
    assert len(events) == 33
    afar.settle()
    afar.world.up += HOUR
    afar.answers.take(afar.mail("what?"))
    assert unused(afar)[0].left_out == 67


def test_a_flood_in_a_person_s_name_leaves_word_for_that_person_s_true_answer() -> None:
    afar = Afar()
    for number in range(200):
        afar.answers.take(afar.mail("seen", code=f"b{number:07d}"))
    flood = [each for each in unused(afar) if each.person]
    assert [each.last for each in flood] == [False, False, True]
    afar.posted.clear()
    afar.answers.take(afar.mail("taken"))  # her own, with the code that only she has
    (word,) = unused(afar)
    assert (word.why, word.person, word.occurrence) == (Unused.LOCKED, "anna", afar.occurrence)
    assert afar.commands() == []


def test_a_good_code_that_is_sent_again_and_again_leaves_that_word_too() -> None:
    afar = Afar()
    old = afar.code()
    afar.take(afar.mail("taken"))
    for _ in range(100):
        afar.answers.take(afar.mail("taken", code=old))
    afar.posted.clear()
    afar.answers.take(afar.mail("on Monday, maybe"))
    assert [(each.why, each.person) for each in unused(afar)] == [(Unused.WORDS, "anna")]


def test_what_is_not_recorded_singly_is_counted_and_the_count_is_recorded() -> None:
    afar = Afar()
    for _ in range(2500):
        afar.answers.take(afar.mail("OK", automatic="it says that it was sent by itself"))
    told = [each.left_out for each in unused(afar) if each.why is Unused.LEFT_OUT]
    assert told == [1000, 1000]
    afar.answers.look()  # the hour's room is used up
    assert len(unused(afar)) == 32
    afar.world.up += HOUR
    afar.answers.look()
    afar.answers.look()
    assert [each.left_out for each in unused(afar)[32:]] == [470]


def test_an_auto_responder_s_storm_changes_nothing_and_tells_nobody() -> None:
    afar = Afar()
    for _ in range(1000):
        afar.answers.take(afar.mail("OK", automatic="it says that it was sent by itself"))
    sends = len(afar.world.tells())
    afar.settle()
    assert len(afar.world.tells()) == sends
    assert len(afar.world.records("answer not used")) == 30


def test_unreadable_and_repeated_mails_are_recorded() -> None:
    afar = Afar()
    afar.answers.unreadable("it took longer than 5 s")
    afar.answers.again()
    assert [each.why for each in unused(afar)] == [Unused.UNREADABLE, Unused.AGAIN]


def test_an_answer_to_what_nobody_asked_by_mail_is_passed_over() -> None:
    afar = Afar()
    afar.answers.answered("mailbox:99", False)
    assert afar.codes.find(afar.code()) is not None


def test_seen_by_mail_takes_act_from_the_words_and_not_from_standing() -> None:
    afar = Afar()
    (answer,) = afar.take(afar.mail("seen", "ben"))
    assert answer.code == Act.SEEN.value
