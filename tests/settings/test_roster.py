"""People, hours, on-call schedules, call lists and own texts: what does not fit is told with its line."""

from pathlib import Path

import pytest

from tests.settings.plans import SOUND, Case, changed, refusals

HOURS = '[[hours]]\nid = "office"\ndays = ["mon"]\nfrom = "08:00"\nuntil = "17:00"\n'
CALL = '[[on_call]]\nid = "standby"\npersons = ["anna", "ben"]\nbegins = 2026-01-05\nday = "mon"\n'
SWAP = '[[on_call.instead]]\nfrom = 2026-07-01\nuntil = 2026-07-08\nperson = "ben"\n'
TEXT = '[[text]]\ncondition = "high-level"\nshort = "High water at $panel"\n'
END = len(SOUND.splitlines())
"""Lines of the sound plan; what is added begins on the next one."""
DAYS = 'one of "mon", "tue", "wed", "thu", "fri", "sat", "sun"'

PEOPLE = [
    Case("an unknown language", "responds = true", 'language = "ess"', [
        'plan.toml:27: person.language: "ess" is no language of the messages; one of "en", "es"; did you mean "es"?'
    ]),
    Case("waking hours the wrong way round", "responds = true", 'waking = ["22:00", "07:00"]', [
        'plan.toml:27: person.waking: ends before it begins; the hours of one day, such as ["07:00", "22:00"]'
    ]),
    Case("one waking hour", "responds = true", 'waking = ["07:00"]', [
        'plan.toml:27: person.waking: must be two times of day, such as ["07:00", "22:00"]'
    ]),
    Case("a time of day with pm", "responds = true", 'waking = ["07:00", "10 pm"]', [
        'plan.toml:27: person.waking: "10 pm" is no time of day; write it such as "08:00"; did you mean "22:00"?'
    ]),
    Case("hours that are not there", "responds = true", 'hours = "office"', [
        'plan.toml:27: person.hours: there is no hours "office"; write a [[hours]] of that id'
    ]),
    Case("a channel for what nobody is told", '"push", address', '"push", least = "record-only", address', [
        'plan.toml:36: person.channel.least: "record-only" is not known; one of "high", "medium", "low"'
    ]),
    Case("a limit without a time", '"push", address', '"push", at_most = "20", address', [
        'plan.toml:36: person.channel.at_most: must be a number and a time in quotes, such as "20 per hour"; '
        'one of "minute", "hour", "day"'
    ]),
    Case("a limit of nothing", '"push", address', '"push", at_most = "0 per day", address', [
        'plan.toml:36: person.channel.at_most: must be a number and a time in quotes, such as "20 per hour"; '
        'one of "minute", "hour", "day"'
    ]),
    Case("a limit that is none", '"push", address', '"push", at_most = "501 per minute", address', [
        "plan.toml:36: person.channel.at_most: is out of bounds; 1 to 500 per minute, hour or day"
    ]),
    Case("a channel that wakes perhaps", "wakes = true", 'wakes = "perhaps"', [
        "plan.toml:36: person.channel.wakes: must be true or false, without quotes"
    ]),
    Case("steps beside names alone", 'id = "all"', 'id = "all"\ntell = ["anna"]', [
        "plan.toml:40: call_list.tell: stands beside [[call_list.step]]; tell alone is told in the usual steps; "
        "keep one of the two"
    ]),
    Case("a name twice in a list", "[mqtt]", '[[call_list]]\nid = "more"\ntell = ["ben", "ben"]\n\n[mqtt]', [
        'plan.toml:51: call_list.tell: "ben" is named twice in this list; once is enough'
    ]),
    Case("a list of nobody", "[mqtt]", '[[call_list]]\nid = "more"\ntell = []\n\n[mqtt]', [
        'plan.toml:51: call_list.tell: names nobody; the ids of persons, such as ["anna"]'
    ]),
]  # fmt: skip

ADDED = [
    ("no day of work", HOURS.replace('["mon"]', "[]"), [
        '3: hours.days: names no day; such as ["mon", "tue", "wed", "thu", "fri"]'
    ]),
    ("a day by its whole name", HOURS.replace('"mon"', '"monday"'), [
        f'3: hours.days: "monday" is no day of the week; {DAYS}; did you mean "mon"?'
    ]),
    ("work that ends before it begins", HOURS.replace("17:00", "07:00"), [
        "5: hours.until: is not later than from; the hours of one day, such as from 08:00 until 17:00"
    ]),
    ("hours without from", HOURS.replace('from = "08:00"\n', ""), [
        '1: hours.from: is missing; a time of day such as "08:00"'
    ]),
    ("a misspelt key of hours", HOURS.replace("from", "form"), [
        '1: hours.from: is missing; a time of day such as "08:00"',
        "4: hours.form: there is no such key; allowed: id, days, from, until, holidays, holidays_list; "
        "did you mean from?",
    ]),
    ("a country in small letters", f'{HOURS}holidays = "us-ny"\n', [
        '6: hours.holidays: "us-ny" is no country that is known; write a country such as "AT", or a part of one '
        'such as "US-NY"; did you mean "US-NY"?'
    ]),
    ("a part of no country", f'{HOURS}holidays = "AT-X"\n', [
        '6: hours.holidays: there is no part "X" of AT; its parts: 1, 2, 3, 4, 5, 6, 7, 8, 9'
    ]),
    ("days as holidays", f"{HOURS}holidays = [2026-12-24]\n", [
        '6: hours.holidays: must be text in quotes; write a country such as "AT", or a part of one such as "US-NY"; '
        "days of your own go to holidays_list"
    ]),
    ("a day that does not exist", f'{HOURS}holidays_list = ["2026-02-30"]\n', [
        '6: hours.holidays_list: "2026-02-30" is no day; write it as year-month-day, such as 2026-12-24'
    ]),
    ("two hours of one id", HOURS + HOURS, [
        '7: hours.id: "office" is used twice, first on line {2}; each table of hours needs an id of its own'
    ]),
    ("an on-call schedule of nobody", CALL.replace('["anna", "ben"]', "[]"), [
        '3: on_call.persons: names nobody; the ids of persons, such as ["anna"]'
    ]),
    ("an unknown person on call", CALL.replace('"ben"', '"bem"'), [
        '3: on_call.persons: there is no person "bem"; one of "anna", "ben"; did you mean "ben"?'
    ]),
    ("a first day that is no change", CALL.replace("01-05", "01-07"), [
        '4: on_call.begins: 2026-01-07 is a wed, and the schedule changes on "mon"; did you mean 2026-01-12?'
    ]),
    ("a day of a daily change", f'{CALL}change = "daily"\n', [
        '5: on_call.day: says nothing where change = "daily"; take it out'
    ]),
    ("an unknown change", f'{CALL}change = "monthly"\n', [
        '6: on_call.change: "monthly" is not known; one of "weekly", "daily"'
    ]),
    ("a schedule called as a person", CALL.replace('"standby"', '"ben"'), [
        '2: on_call.id: "ben" is a person already, on line 34; a call list could mean either'
    ]),
    ("instead of nobody known", CALL + SWAP.replace('"ben"', '"carla"'), [
        '9: on_call.instead.person: there is no person "carla"; one of "anna", "ben"'
    ]),
    ("instead that ends before it begins", CALL + SWAP.replace("07-08", "06-08"), [
        "8: on_call.instead.until: is not later than from"
    ]),
    ("instead in a zone of its own", CALL + SWAP.replace("07-08", "07-08T08:00:00Z"), [
        "8: on_call.instead.until: has a zone; write the local time alone, such as 2026-12-24T08:00:00"
    ]),
    ("two at a time instead", CALL + SWAP + SWAP.replace("07-01", "07-05T12:00:00"), [
        "11: on_call.instead.from: overlaps the one on line {6}; one person at a time"
    ]),
    ("a text for no condition", TEXT.replace("high-level", "hi-level"), [
        '2: text.condition: there is no condition "hi-level"; such as high-level, pump-power or overload-2; '
        'did you mean "high-level"?'
    ]),
    ("a text that says nothing", TEXT.replace("short", "long").replace("long = ", "# long = "), [
        "1: text.short: is missing; a short form, a long one, or both"
    ]),
    ("two texts for one condition", TEXT + TEXT, [
        '5: text.condition: "high-level" in en is used twice, first on line {2}; one [[text]] for each condition '
        "and language"
    ]),
    ("a dollar that is no name", TEXT.replace("$panel", "$ 5"), [
        "3: text.short: holds a '$' that begins no name (write '$$' for a dollar sign)"
    ]),
    ("a short text that is long", TEXT.replace("High", "High " * 40), [
        "3: text.short: takes 216 characters of a text message; at most 160, its $names filled in"
    ]),
    ("a text that is a number", TEXT.replace('"High water at $panel"', "5"), [
        '3: text.short: must be text in quotes, such as "High water at $panel"'
    ]),
]  # fmt: skip


@pytest.mark.parametrize("case", PEOPLE, ids=lambda case: case.name)
def test_a_person_or_list_that_does_not_fit_is_told_with_its_line(
    tmp_path: Path, case: Case
) -> None:
    assert refusals(tmp_path, changed((case.old, case.new))) == case.says


@pytest.mark.parametrize(
    ("more", "says"), [each[1:] for each in ADDED], ids=[each[0] for each in ADDED]
)
def test_hours_schedules_and_texts_that_do_not_fit_are_told_with_their_line(
    tmp_path: Path, more: str, says: list[str]
) -> None:
    wanted = []
    for each in says:
        line, _, rest = each.partition(":")
        for inner in range(1, 12):
            rest = rest.replace(f"{{{inner}}}", str(END + inner))
        wanted.append(f"plan.toml:{END + int(line)}:{rest}")
    assert refusals(tmp_path, SOUND + more) == wanted


def test_a_text_that_names_what_there_is_not_is_refused(tmp_path: Path) -> None:
    """Choices H: site texts are templates with known names only."""
    (said,) = refusals(tmp_path, SOUND + TEXT.replace("$panel", "$secret"))
    assert said.startswith(f"plan.toml:{END + 3}: text.short: names $secret, which is none of ")
    assert "$panel" in said


def test_a_name_on_a_call_list_may_be_an_on_call_schedule(tmp_path: Path) -> None:
    text = changed(('["anna", "ben"]', '["anna", "standbye"]')) + CALL
    assert refusals(tmp_path, text) == [
        'plan.toml:47: call_list.step.tell: there is no person or on-call schedule "standbye"; '
        'one of "anna", "ben", "standby"; did you mean "standby"?'
    ]
