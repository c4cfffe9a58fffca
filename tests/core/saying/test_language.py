"""What is said in a reader's language, and what is said where nobody translated it."""

from dataclasses import replace

import pytest

from relayd.core.saying import language
from relayd.core.saying.language import ENGLISH, Speech, marked
from tests.core.spoken import READERS, Case, plan_for

SPANISH = Speech("es", {"Use no water.": "No use agua.", "for {time}": "durante {time}"})


def test_a_text_is_said_in_the_reader_s_language() -> None:
    assert SPANISH("Use no water.") == "No use agua."
    assert SPANISH("for {time}", time="12 min") == "durante 12 min"


def test_a_text_that_nobody_translated_is_said_in_english_and_never_lost() -> None:
    assert SPANISH("Call now.") == "Call now."
    assert SPANISH("since {time}", time="02:10") == "since 02:10"


def test_a_text_without_values_keeps_its_brackets() -> None:
    assert ENGLISH("{not a name}") == "{not a name}"


def test_a_value_is_said_as_it_is_also_where_it_looks_like_a_name_to_fill_in() -> None:
    assert ENGLISH("{who} has it.", who="{reserve}") == "{reserve} has it."


def test_marked_changes_nothing() -> None:
    assert marked("Use no water.") == "Use no water."


@pytest.mark.parametrize("spoken", ["en", "es"])
def test_a_reader_is_spoken_to_in_that_person_s_language(spoken: str) -> None:
    plan = plan_for(Case(language=spoken))
    said = language.of(plan, plan.people["anna"])
    assert said.language == spoken
    assert (said("Use no water.") == "No use agua.") == (spoken == "es")


def test_whose_language_has_no_catalogue_is_told_in_english() -> None:
    plan = replace(plan_for(Case()), languages={})
    said = language.of(plan, replace(READERS["owner"], language="es"))
    assert said("Use no water.") == "Use no water."


def test_where_nobody_reads_it_is_english() -> None:
    assert language.of(plan_for(Case()), None)("Use no water.") == "Use no water."
