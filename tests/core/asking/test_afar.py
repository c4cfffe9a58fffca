"""Answers from afar in the core: their texts, their room, and what the person hears."""

from dataclasses import replace

import pytest

from relayd import languages
from relayd.core.conditions import of_itself
from relayd.core.effects import Answer
from relayd.core.events import (
    Acknowledge,
    Act,
    AnswerUnused,
    ChannelDown,
    ChannelUp,
    Commanded,
    Looked,
    Unused,
)
from relayd.core.plan import Plan, Step
from relayd.core.saying import gsm7, texts_afar
from relayd.core.saying.replying import CODE
from relayd.core.state import outside_id
from tests.core import world
from tests.core.world import World


def afar(**changes: object) -> Plan:
    base = replace(
        world.plan(), remote_commands=False, mailbox=True, answers=frozenset({"anna.mail"})
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def spanish(plan: Plan) -> Plan:
    people = {name: replace(each, language="es") for name, each in plan.people.items()}
    return replace(plan, people=people, languages={"es": languages.catalogue("es")})


def ref(at: World) -> str:
    return outside_id(at.plan.unit, at.state, at.open_alarm().occurrence)


def body(at: World, channel: str = "anna.mail") -> str:
    return next(each.body for each in at.tells() if each.channel == channel)


def test_a_channel_that_takes_replies_asks_for_one_and_leaves_room_for_a_code() -> None:
    at = world.high(afar())
    assert f"\nCode {CODE}\n" in body(at)
    assert "Or reply to this message: on the first line one word" in body(at)
    assert "Do not reply" not in body(at)
    tell = at.tells()[0]
    assert (tell.about, tell.person) == (ref(at), "anna")


def test_a_channel_that_takes_none_says_so_and_shows_the_code_all_the_same() -> None:
    at = world.high(afar(answers=frozenset()))
    assert f"\nCode {CODE}\n" in body(at)
    assert "Do not reply to this message: nobody reads it." in body(at)


def test_where_no_answers_come_from_afar_no_message_has_room_for_a_code() -> None:
    at = world.high(afar(mailbox=False, answers=frozenset()))
    tell = at.tells()[0]
    assert CODE not in tell.body
    assert (tell.about, tell.person) == ("", "")


@pytest.mark.parametrize("tongue", ["en", "es"])
def test_a_text_message_that_takes_replies_says_how_within_its_160_septets(tongue: str) -> None:
    plan = afar(short_forms=frozenset({"anna.mail"}))
    at = world.high(spanish(plan) if tongue == "es" else plan)
    text = body(at)
    assert text.endswith(f"{'Reply' if tongue == 'en' else 'Responda'}: {CODE} OK.")
    assert gsm7.septets(text) <= gsm7.ONE_MESSAGE


def test_a_text_message_whose_person_has_a_very_long_id_says_it_as_well() -> None:
    plan = afar(short_forms=frozenset({"anna.mail"}))
    name = "a" * 150
    people = {name: replace(plan.people["anna"], id=name), **plan.people}
    lists = {"night": replace(plan.call_lists["night"], steps=(Step(0, (name,)),))}
    at = world.high(replace(plan, people=people, call_lists=lists, channels={"anna.mail": name}))
    assert body(at).endswith(f"Reply: {CODE} OK.")


def test_a_text_message_that_takes_none_stays_as_it_was() -> None:
    plan = afar(short_forms=frozenset({"anna.mail"}), answers=frozenset())
    assert body(world.high(plan)).endswith("relayd ack --by anna. Do not reply here.")


def test_what_asks_for_nothing_asks_for_no_reply() -> None:
    at = world.high(afar())
    at.ack("ben", Act.TAKEN)
    taken = at.tells()[-1]
    assert taken.channel == "anna.mail"
    assert CODE not in taken.body
    assert "Do not reply" in taken.body


def by_mail(at: World, act: Act, by: str = "anna", occurrence: str = "") -> Answer:
    command = Acknowledge(occurrence or ref(at), act=act)
    return at.ask(command, by, "mailbox")


@pytest.mark.parametrize(
    ("act", "said"), [(Act.SEEN, "you have seen it"), (Act.TAKEN, "you have it")]
)
def test_who_answers_by_mail_hears_that_it_came_with_the_next_code(act: Act, said: str) -> None:
    at = world.high(afar())
    assert by_mail(at, act).ok
    last = at.tells()[-1]
    assert f"Your answer came: {said}." in last.body
    assert CODE in last.body
    assert "It always goes on the unit: relayd ack --by anna." in last.body


def test_who_answers_what_is_over_hears_it_without_a_code() -> None:
    at = world.high(afar())
    open_ = ref(at)
    at.alarm(world.LEVEL, on=False)
    at.run(120)
    assert at.process("high-level") == "RTNUN"
    assert by_mail(at, Act.SEEN, occurrence=open_).ok
    assert "Your answer came" in at.tells()[-1].body
    assert CODE not in at.tells()[-1].body


def test_who_answers_elsewhere_is_answered_there() -> None:
    at = world.high(afar())
    sends = len(at.tells())
    assert at.ask(Acknowledge(ref(at), act=Act.SEEN), "anna", "mqtt").ok
    assert not at.ask(Acknowledge("creek-1.x.9", act=Act.SEEN), "anna", "mqtt").ok
    assert len(at.tells()) == sends


def test_other_wishes_by_mail_are_told_nobody() -> None:
    at = world.high(afar())
    sends = len(at.tells())
    assert at.ask(Looked("cabin", False), "anna", "mailbox").ok
    assert len([e for e in at.tells()[sends:] if "Your answer" in e.body]) == 0


def test_a_refusal_is_told_to_who_answered() -> None:
    at = world.high(afar())
    assert not by_mail(at, Act.SEEN, occurrence="creek-1.x.9").ok
    last = at.tells()[-1]
    assert "Your answer was not taken: the alarm is over, or" in last.body
    assert at.records("answer not used")[-1].body["say"] == "not-active"


def test_an_acknowledgement_by_mail_of_no_occurrence_tells_nobody_where() -> None:
    at = world.high(afar())
    done = at.ask(Acknowledge(panel="cabin", act=Act.SEEN), "anna", "mailbox")
    assert done.ok
    refused = at.ask(Acknowledge(panel="nowhere", act=Act.SEEN), "anna", "mailbox")
    assert not refused.ok


@pytest.mark.parametrize("why", list(Unused))
@pytest.mark.parametrize("tongue", ["en", "es"])
def test_each_reason_is_said_in_the_person_s_language_and_fits(why: Unused, tongue: str) -> None:
    plan = afar(short_forms=frozenset({"anna.mail"}))
    at = world.high(spanish(plan) if tongue == "es" else plan)
    occurrence = at.open_alarm()
    at.give(AnswerUnused("mailbox", why, "for the record", "anna", ref(at), 3))
    last = at.tells()[-1]
    assert gsm7.septets(last.body) <= gsm7.ONE_MESSAGE
    assert last.body.startswith("Your answer" if tongue == "en" else "Su respuesta")
    assert at.open_alarm() == occurrence
    record = at.records("answer not used")[-1]
    assert (record.subject, record.body["left_out"]) == ("panel:cabin", 3)


def test_the_last_word_of_an_hour_says_that_it_is_the_last_and_what_counts() -> None:
    at = world.high(afar())
    at.give(AnswerUnused("mailbox", Unused.LOCKED, "x", "anna", ref(at)))
    assert "Of more such answers" not in at.tells()[-1].body
    at.give(AnswerUnused("mailbox", Unused.LOCKED, "x", "anna", ref(at), last=True))
    assert "an answer counts only once that is confirmed." in at.tells()[-1].body


def test_an_answer_of_nobody_is_recorded_and_told_nobody() -> None:
    at = world.high(afar())
    sends = len(at.tells())
    at.give(AnswerUnused("mailbox", Unused.UNKNOWN, "that code is of no open alarm"))
    at.give(AnswerUnused("mailbox", Unused.UNKNOWN, "x", "somebody-else"))
    assert len(at.tells()) == sends
    assert [each.subject for each in at.records("answer not used")] == ["unit", "unit"]


def test_word_of_an_answer_takes_no_notice_of_the_alarm_back() -> None:
    at = world.high(afar(), deaf=frozenset({"anna.mail"}))
    owed = len(at.state.notices)
    at.give(AnswerUnused("mailbox", Unused.WORDS, "x", "anna", ref(at)))
    assert len(at.state.notices) == owed + 1
    assert at.records("send withdrawn") == []


def test_who_may_not_answer_so_is_told_who_may() -> None:
    plan = afar()
    people = {**plan.people, "ben": replace(plan.people["ben"], may=("seen",))}
    at = world.high(replace(plan, people=people))
    assert at.ack("ben", Act.TAKEN).code == "may-not"
    assert at.ack("ben").code == "seen"  # he responds, and may only see
    nobody = {name: replace(each, may=()) for name, each in plan.people.items()}
    at = world.high(replace(plan, people=nobody))
    assert at.ack("anna").say == "by the plan Anna may not answer with 'seen'; that may: nobody"


def test_every_reason_of_which_a_person_is_told_has_its_words() -> None:
    silent = {Unused.AUTOMATIC, Unused.UNREADABLE, Unused.AGAIN, Unused.LEFT_OUT}
    assert set(texts_afar.SAYS) == set(Unused) - silent


def test_a_command_by_mail_that_the_core_fails_at_is_answered() -> None:
    at = world.high(afar())
    answers = [
        each
        for each in at.give(Commanded("mailbox:1", Acknowledge(ref(at)), "nobody", "mailbox"))
        if isinstance(each, Answer)
    ]
    assert [each.code for each in answers] == ["unknown-person"]


def test_a_text_message_that_confirms_shows_the_next_code_as_well() -> None:
    at = world.high(afar(short_forms=frozenset({"anna.mail"})))
    assert by_mail(at, Act.TAKEN).ok
    last = at.tells()[-1]
    assert last.body.startswith("Your answer came: you have it.")
    assert last.body.endswith(f"Reply: {CODE} OK.")
    assert gsm7.septets(last.body) <= gsm7.ONE_MESSAGE


def test_a_mail_without_a_good_code_wakes_nobody_who_is_not_asked_for_an_answer() -> None:
    quiet = World(afar()).start().run(10)
    quiet.give(AnswerUnused("mailbox", Unused.NO_CODE, "x", "anna"))
    assert quiet.tells() == []
    assert len(quiet.records("answer not used")) == 1
    at = world.high(afar())
    sends = len(at.tells())
    at.give(AnswerUnused("mailbox", Unused.NO_CODE, "x", "ben"))  # he was not told yet
    assert len(at.tells()) == sends
    at.give(AnswerUnused("mailbox", Unused.NO_CODE, "x", "anna"))
    assert len(at.tells()) == sends + 1


def test_a_mailbox_that_nobody_looks_into_is_an_alarm_told_with_its_reason() -> None:
    at = World(afar()).start().run(10)
    at.give(ChannelDown("mailbox", "it refuses the login: NO"))
    at.run(299)
    assert at.tells() == []
    at.run(2)
    told = at.tells()[0]
    assert told.title.startswith("MAILBOX NOT REACHED")
    assert "nobody reads replies by mail" in told.body
    assert "it refuses the login: NO" in told.body
    at.give(ChannelUp("mailbox"))
    at.run(10)
    assert at.process("mailbox-down", "unit") == "RTNUN"


def test_a_plan_without_a_mailbox_has_no_condition_of_one() -> None:
    without = afar(mailbox=False, answers=frozenset())
    assert not {"mailbox-down", "answers-locked"} & set(of_itself(without))
    assert {"mailbox-down", "answers-locked"} <= set(of_itself(afar()))
