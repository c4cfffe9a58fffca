"""Every command line that a message tells somebody to write is one that the command line takes."""

import re
import shlex
from collections.abc import Iterator
from functools import cache

import pytest
import typer
from typer.core import TyperGroup

from relayd.cli import times
from relayd.cli.app import app
from relayd.core import conditions as c
from relayd.core.events import Now
from relayd.core.plan import HOUR, MINUTE, Plan
from relayd.core.saying import texts
from relayd.core.state import Horn, HornStanding, LooseEnd, Subject, Visit
from tests.core.saying.test_texts_other import KEYS
from tests.core.spoken import LANGUAGES, UP, WALL, Case, alarm_of, cases, made, now, plan_for, stamp
from tests.house.english import english

PLACE = "panel:cabin"
NAMED = re.compile(r"(?<!in )(?<!en )\brelayd (?=[a-z])")
"""Where a command line begins; 'Fault in relayd' names the program alone."""
WORD = re.compile(r"'[^']*'|[^\s()']+")
COMMANDS = typer.main.get_command(app)


def lines(text: str) -> Iterator[str]:
    """The command lines in a text: each ends where its sentence does, or at a bracket."""
    for found in NAMED.finditer(text):
        words = ["relayd"]
        at = found.end()
        while word := WORD.match(text, at):
            words.append(word.group().rstrip(".,;:"))
            at = word.end() + 1
            if word.group()[-1] in ".,;:" or text[at - 1 : at] != " ":
                break
        yield " ".join(words)


def alarms(language: str) -> Iterator[texts.Text]:
    horn = Horn(HornStanding.DISCONNECTED, stamp(HOUR), "ben")
    for case in cases():
        if case.language == language:
            yield made(case)
    yield made(Case(language=language), owner=Subject(PLACE, horn=horn))


def others(plan: Plan, at: Now) -> Iterator[texts.Text]:
    for key in KEYS:
        end = LooseEnd(key, stamp(HOUR), "ben", "part on order")
        yield texts.reminder(
            plan, {PLACE: Subject(PLACE, loose={key: end})}, PLACE, end, "anna", at
        )
    horn = Horn(circuit_off=stamp(15 * MINUTE), circuit_on=stamp(10 * MINUTE))
    yield texts.question(plan, {PLACE: Subject(PLACE, horn=horn)}, PLACE, "anna", at)
    taken_off = {"alarm-breaker": LooseEnd("alarm-breaker", stamp(HOUR), "ben")}
    yield texts.breaker(plan, {PLACE: Subject(PLACE, loose=taken_off)}, PLACE, "anna", at)
    visit = Visit("anna", stamp(HOUR), UP + HOUR, WALL + UP + HOUR)
    owner = Subject(PLACE, {c.HIGH_LEVEL: alarm_of(Case())}, visit=visit)
    for what in ("begun", "ending", "ended", "left"):
        yield texts.of_visit(plan, {PLACE: owner}, PLACE, what, "anna", at)
    items = ((PLACE, c.HIGH_LEVEL), (PLACE, c.STARTS))
    yield texts.digest(plan, {PLACE: owner}, items, "anna", at, str)


@cache
def found(language: str) -> tuple[str, ...]:
    """Every command line that is told in that language, once."""
    made_ = [*alarms(language), *others(plan_for(Case(language=language)), now())]
    told = {line for each in made_ for form in (each.short, each.long) for line in lines(form)}
    return tuple(sorted(told))


def taken(line: str) -> dict[str, object]:
    """What the parser makes of it. Raises what the parser raises."""
    assert isinstance(COMMANDS, TyperGroup)
    _, name, *words = shlex.split(line)
    return COMMANDS.commands[name].make_context(name, words).params


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_command_line_of_a_message_is_taken(language: str) -> None:
    for line in found(language):
        values = taken(line)
        if values.get("within"):
            assert times.span(str(values["within"])) > 0, line
        assert values.get("by") == "anna" or line in ("relayd check", "relayd adopt"), line


@pytest.mark.untraced
@pytest.mark.parametrize("language", LANGUAGES)
def test_messages_tell_the_commands_that_answer_them(language: str) -> None:
    commands = {each.split()[1] for each in found(language)}
    wanted = {"ack", "looked", "later", "settled", "visit", "unshelve", "in-service", "horn-wire"}
    assert commands == wanted | {"check", "adopt"}


def test_every_language_tells_the_same_commands() -> None:
    assert len({found(each) for each in LANGUAGES}) == 1


def test_every_text_that_names_a_command_is_made_here() -> None:
    heads = {line.split()[1] for text in english() for line in lines(text)}
    assert heads <= {each.split()[1] for each in found("en")}


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("Say so: relayd ack --by anna. Do not reply.", "relayd ack --by anna"),
        ("(relayd ack a.b.7 --by anna (on the unit).", "relayd ack a.b.7 --by anna"),
        ("relayd later x y --why 'a b. c' --by anna", "relayd later x y --why 'a b. c' --by anna"),
        ("relayd check\nThen look.", "relayd check"),
    ],
)
def test_a_command_line_ends_where_its_sentence_does(text: str, line: str) -> None:
    assert list(lines(text)) == [line]


@pytest.mark.parametrize(
    "line",
    [
        "relayd put-off cabin in-off --by anna",
        "relayd horn-wire cabin off|back --by anna",
        "relayd visit cabin end --by anna",
        "relayd later cabin",
    ],
)
def test_a_command_line_that_does_not_exist_is_refused(line: str) -> None:
    with pytest.raises(Exception, match=r".") as refused:
        taken(line)
    assert type(refused.value).__name__ in {
        *("KeyError", "BadParameter", "UsageError", "MissingParameter")
    }
