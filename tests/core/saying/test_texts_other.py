"""Reminders, the question of the horn, visits and digests: what they say, and that they fit."""

from dataclasses import replace

import pytest

from relayd.core import conditions as c
from relayd.core.plan import HOUR, MINUTE
from relayd.core.saying import texts
from relayd.core.saying.gsm7 import ONE_MESSAGE, septets
from relayd.core.state import Horn, LooseEnd, Process, Subject, Visit
from tests.core.spoken import LANGUAGES, UP, WALL, Case, alarm_of, now, plan_for, stamp

KEYS = (
    *("horn-wire", "horn-unknown", "horn-unproved", "silence-switch", "in-hand", "in-off-2"),
    *("not-in-auto", "panel-door", "tank-lid", "alarm-breaker", "control-breaker"),
    *("pump-breaker-1", "out-of-service", "out-of-service:overload-2", "paused:high-level", "odd"),
)
SEEN = ("alarm-breaker",)
"""What this panel's own contacts show: no word settles it, and none is asked for."""
every_language = pytest.mark.parametrize("language", LANGUAGES)


def fits(text: texts.Text) -> None:
    assert septets(text.short) <= ONE_MESSAGE
    assert text.short.endswith(("Do not reply here.", "No responda aqui."))
    assert "{" not in text.title + text.short + text.long


@every_language
@pytest.mark.parametrize("key", KEYS)
def test_a_reminder_names_what_is_left_and_how_to_say_that_it_is_done(
    key: str, language: str
) -> None:
    end = LooseEnd(key, stamp(HOUR), "ben", reminded=2)
    owner = Subject("panel:cabin", loose={key: end})
    plan = plan_for(Case(language=language))
    text = texts.reminder(plan, {"panel:cabin": owner}, "panel:cabin", end, "anna", now())
    fits(text)
    assert f"relayd later cabin {key} --within '24 h' --why '...' --by anna" in text.long
    assert ("--by anna" in text.short) == (key not in SEEN)
    assert ("Esta unidad ve por sí sola" in text.long or "sees by itself" in text.long) == (
        key in SEEN
    )


@every_language
def test_trade_1_30_whoever_took_the_wire_off_is_asked_whether_the_alarm_circuit_is_on_again(
    language: str,
) -> None:
    loose = {"horn-wire": LooseEnd("horn-wire", stamp(HOUR), "ben")}
    loose["alarm-breaker"] = LooseEnd("alarm-breaker", stamp(0), "ben", "it was used")
    owner, plan = Subject("panel:cabin", loose=loose), plan_for(Case(language=language))
    text = texts.breaker(plan, {"panel:cabin": owner}, "panel:cabin", "ben", now())
    fits(text)
    assert "relayd settled cabin alarm-breaker --by ben" in text.long
    assert "relayd settled cabin alarm-breaker --by ben" in text.short
    claims = {"en": "the alarm circuit is off", "es": "el circuito de alarma no tiene corriente"}
    assert claims[language] not in text.title + text.short + text.long
    assert "?" in text.title


@every_language
@pytest.mark.parametrize("trusted", [True, False])
def test_r19_the_question_gives_both_times_and_both_answers(language: str, trusted: bool) -> None:
    horn = Horn(circuit_off=stamp(15 * MINUTE, trusted), circuit_on=stamp(10 * MINUTE, trusted))
    plan = plan_for(Case(language=language))
    owner = Subject("panel:cabin", horn=horn)
    text = texts.question(plan, {"panel:cabin": owner}, "panel:cabin", "anna", now())
    fits(text)
    assert "relayd horn-wire cabin off --by anna" in text.long
    assert "relayd horn-wire cabin back --by anna" in text.long
    assert "relayd horn-wire cabin off --by anna" in text.short
    assert "relayd horn-wire cabin back --by anna" in text.short
    assert text.long.count("not known") + text.long.count("No se sabe") <= 1
    assert ("15 min" in text.long) == (not trusted)


@pytest.mark.parametrize("times", [0, 2])
def test_a_reminder_counts_those_that_nobody_answered(times: int) -> None:
    end = LooseEnd("tank-lid", stamp(HOUR), reminded=times)
    plan = plan_for(Case())
    text = texts.reminder(plan, {}, "panel:cabin", end, "anna", now())
    assert ("Reminders that nobody answered: 2." in text.long) == (times == 2)


@every_language
def test_r19_a_question_without_times_says_that_they_are_not_known(language: str) -> None:
    plan = plan_for(Case(language=language))
    text = texts.question(plan, {}, "panel:cabin", "anna", now())
    fits(text)
    assert text.long.count("an unknown time" if language == "en" else "una hora desconocida") == 2


@every_language
@pytest.mark.parametrize("what", ["begun", "ending", "ended", "left"])
def test_word_of_a_visit_fits_and_lists_what_is_left(what: str, language: str) -> None:
    visit = Visit("anna", stamp(HOUR), UP + HOUR, WALL + UP + HOUR)
    alarm = alarm_of(Case())
    loose = {"in-off": LooseEnd("in-off", stamp(HOUR))}
    owner = Subject("panel:cabin", {c.HIGH_LEVEL: alarm}, visit=visit, loose=loose)
    plan = plan_for(Case(language=language))
    text = texts.of_visit(plan, {"panel:cabin": owner}, "panel:cabin", what, "anna", now())
    fits(text)
    assert "Off" in text.long
    assert ("relayd visit cabin --end --by anna" in text.long) == (what in ("begun", "ending"))


@every_language
def test_a_digest_names_every_item_and_what_nobody_answered(language: str) -> None:
    gone = replace(alarm_of(Case()), process=Process.RTNUN, returned=stamp(MINUTE))
    stands = alarm_of(Case(c.SEAL_LEAK, ""))
    owner = Subject("panel:cabin", {c.HIGH_LEVEL: gone, c.SEAL_LEAK: stands})
    plan = plan_for(Case(language=language))
    items = tuple(("panel:cabin", each) for each in (c.HIGH_LEVEL, c.SEAL_LEAK, c.STARTS))
    text = texts.digest(plan, {"panel:cabin": owner}, items, "anna", now(), str)
    fits(text)
    assert [f"{number}. " in text.long for number in (1, 2, 3)] == [True] * 3
    if language == "en":
        assert "it was there from" in text.long
        assert text.long.count("Nobody answered: look at it.") == 1


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("Tank full at $panel since $since, $$5", ""),
        ("", "is empty"),
        ("costs $ 5", "begins no name"),
        ("$panell is full", "names $panell"),
        ("With the breaker off, look.", "without its label"),
        ("Switch off the breaker labelled 3.", ""),
        ("With ALL breakers off, look.", ""),
        ("Switch off the breaker and look.", "without its label"),
        ("Con el interruptor desconectado, mire.", "without its label"),
        ("Los interruptores están apagados.", "without its label"),
        ("Desconecte el interruptor y mire.", "without its label"),
        ("Apague los disyuntores.", "without its label"),
        ("Baje la pastilla.", "without its label"),
        ("Desconecte el interruptor rotulado 3.", ""),
        ("Con TODOS los interruptores desconectados, mire.", ""),
        ("Desconecte TODOS los interruptores.", ""),
        ("Abra la llave del agua.", ""),
    ],
)
def test_trade_1_17_a_site_s_own_text_is_checked(text: str, says: str) -> None:
    problem = texts.template_problem(text)
    assert says in problem
    assert bool(problem) == bool(says)
