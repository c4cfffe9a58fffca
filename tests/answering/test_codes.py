"""A code is of one occurrence and one person, serves once for each act, and is kept nowhere."""

import re

from relayd.answering.codes import LETTERS, Codes, Meant
from relayd.core.events import Act
from relayd.core.saying.replying import CODE
from tests.answering.afar import KEY, Afar
from tests.core import world


def test_a_code_has_eight_letters_and_digits_none_of_which_look_alike() -> None:
    afar = Afar()
    assert re.fullmatch(rf"[{LETTERS}]{{8}}", afar.code())
    assert len(set(LETTERS)) == 32
    assert not set("ilou") & set(LETTERS)


def test_a_code_holds_a_letter_and_a_digit_so_that_a_text_shows_it() -> None:
    afar = Afar()
    for number in range(2000):
        code = afar.codes.of(f"creek-1.k.{number}", "anna")
        assert any(each.isdigit() for each in code)
        assert any(each.isalpha() for each in code)


def test_each_person_and_each_occurrence_has_another() -> None:
    afar = Afar()
    made = {afar.codes.of(f"creek-1.k.{n}", who) for n in range(500) for who in ("anna", "ben")}
    assert len(made) == 1000


def test_the_same_message_sent_again_carries_the_same_code() -> None:
    afar = Afar()
    again = Codes(afar.plan, KEY, afar.kept, lambda: afar.world.state)
    assert again.of(afar.occurrence, "anna") == afar.code()


def test_another_unit_s_key_makes_other_codes() -> None:
    afar = Afar()
    other = Codes(afar.plan, b"another key", afar.kept, lambda: afar.world.state)
    assert other.of(afar.occurrence, "anna") != afar.code()


def test_a_code_is_known_again_however_it_is_written() -> None:
    afar = Afar()
    meant = Meant(afar.occurrence, "anna", 0)
    assert afar.codes.find(afar.code()) == meant
    assert afar.codes.find(afar.code().upper()) == meant
    assert afar.codes.find("") is None
    assert afar.codes.find("\ud800") is None


def test_a_code_serves_once_for_each_act_and_then_there_is_another() -> None:
    afar = Afar()
    first = afar.codes.find(afar.code())
    assert first is not None
    assert [afar.codes.serve(first, act) for act in (Act.SEEN, Act.SEEN)] == [True, False]
    old = afar.code()
    assert [afar.codes.serve(first, act) for act in (Act.TAKEN, Act.TAKEN)] == [True, False]
    assert afar.code() != old
    assert afar.codes.find(old) == Meant(afar.occurrence, "anna", 0, used=True)


def test_what_was_refused_may_be_asked_again_with_the_same_code() -> None:
    afar = Afar()
    first = afar.codes.find(afar.code())
    assert first is not None
    for act in (Act.SEEN, Act.TAKEN):
        assert afar.codes.serve(first, act)
        afar.codes.give_back(first, act)
    afar.codes.give_back(first, Act.SEEN)
    assert afar.codes.find(afar.code()) == first
    assert afar.codes.serve(first, Act.SEEN)


def test_how_far_codes_have_served_is_kept_over_a_restart() -> None:
    afar = Afar()
    first = afar.codes.find(afar.code())
    assert first is not None
    afar.codes.serve(first, Act.TAKEN)
    again = Codes(afar.plan, KEY, afar.kept, lambda: afar.world.state)
    assert again.of(afar.occurrence, "anna") == afar.code()
    assert not again.serve(first, Act.TAKEN)


def test_a_code_means_nothing_once_the_occurrence_is_over() -> None:
    afar = Afar()
    code = afar.code()
    afar.world.ack("anna")
    assert afar.codes.find(code) is not None
    afar.world.alarm(world.LEVEL, on=False)
    afar.world.run(600)
    assert afar.codes.find(code) is None
    afar.codes.serve(Meant("creek-1.k3f9ab.99", "anna", 0), Act.SEEN)
    assert afar.kept.texts["answers.served"] == "{}"


def test_the_code_is_written_in_on_the_way_out_and_the_core_never_sees_it() -> None:
    afar = Afar()
    tell = next(each for each in afar.world.tells() if CODE in each.body)
    assert (tell.about, tell.person) == (afar.occurrence, "anna")
    afar.filling.tell(tell)
    assert f"\nCode {afar.code()}\n" in afar.told[0].body
    assert CODE not in afar.told[0].body
    assert afar.code() not in repr(afar.world.state)
    afar.filling.withdraw(tell.send)
    assert afar.told == []


def test_a_message_without_room_for_a_code_goes_out_as_it_is() -> None:
    afar = Afar()
    tell = next(each for each in afar.world.tells() if CODE in each.body)
    from dataclasses import replace

    plain = replace(tell, about="", person="", body="######## is a line of the site's own text")
    afar.filling.tell(plain)
    assert afar.told == [plain]
