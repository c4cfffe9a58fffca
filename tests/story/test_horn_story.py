"""The story of the horn's wire on the real daemon, with a real broker and a real mail server.

Two runs, side by side. In one the clock is set, Ben answers over MQTT, and the level's contact
holds without the alarm circuit; in the other nobody has set the clock, he types what his mail tells
him to type, and the contact drops with the circuit, as it does at most panels.
"""

import re
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

import pytest

from relayd.core.plan import HOUR, SECOND
from tests.channels.watcher import Watcher
from tests.servers.broker import mosquitto
from tests.servers.mail import MailServer, exim
from tests.story import table
from tests.story.acts import Mail, number, seconds
from tests.story.horn_acts import Answer, answer_by_command, answer_over_mqtt, play
from tests.story.horn_stage import CABIN, PANEL, Played, Seen, Story
from tests.story.journal import Record
from tests.story.plans import AT_REST, ON_DELAY, Site, plan
from tests.story.scripted import CLOCK
from tests.story.unit import Scripted, Unit, closing

ZONE = ZoneInfo("America/Chicago")
OFF = "the horn's wire is disconnected: the next alarm will be silent at the panel"
ASKED = "horn: was its wire taken off? Nobody has answered yet"
SETTLES = 10.0
"""Seconds after which a contact in alarm is believed behind a circuit that came back (Trade 1.16)."""

pytestmark = [
    pytest.mark.untraced,
    pytest.mark.slow,
    pytest.mark.timeout(200),
    pytest.mark.skipif(exim() is None, reason="no Exim here (Debian: exim4-daemon-light)"),
]


@dataclass(frozen=True, slots=True)
class Run:
    """In what one run differs from the other."""

    version: str
    answer: Answer
    clock_set: bool
    drops: bool
    delay: float


RUNS = {
    "over MQTT 5, clock set": Run("5", answer_over_mqtt, True, False, 1.0),
    "by command, clock not set": Run("3.1.1", answer_by_command, False, True, ON_DELAY),
}


def tell(folder: Path, run: Run) -> Played:
    """Everything around one unit, the unit, and its story."""
    folder.mkdir()
    with ExitStack() as around:
        mail = around.enter_context(MailServer())
        broker = around.enter_context(mosquitto(folder))
        watcher = around.enter_context(Watcher(broker.port))
        unit = Unit(folder / "unit", Scripted(folder / "wires.json", AT_REST))
        around.enter_context(closing(unit))
        people = {name: {"mail": mail.address(name)} for name in ("anna", "ben")}
        steps = ((0, ("anna",)), (2, ("ben",)))
        at = (broker.port, run.version)
        wires = unit.wires
        unpowered = "open" if run.drops else "holds"
        site = Site(people, wires.chip, wires.lines(), at, steps, unpowered, run.delay)
        unit.environment["SSL_CERT_FILE"] = str(mail.ca)
        # Its plan is there, and so is a clock that is set; or no such file.
        unit.environment[CLOCK] = str(unit.plan if run.clock_set else folder / "nothing")
        unit.write_plan(plan(site))
        unit.start()
        watcher.until(watcher.ready, "ready")
        story = Story(unit, watcher, mail, run.drops, run.version == "5")
        played = play(story, run.answer)
        assert unit.stop() == 0, unit.said_last()
        return played


@pytest.fixture(scope="module")
def plays() -> dict[str, Played]:
    """Both runs, side by side: they wait most of the time."""
    # A folder of a short name: the path of a Unix socket is at most 107 bytes long.
    with TemporaryDirectory(prefix="h") as folder, ThreadPoolExecutor() as pool:
        runs = {
            name: pool.submit(tell, Path(folder) / run.version[0], run)
            for name, run in RUNS.items()
        }
        return {name: run.result() for name, run in runs.items()}


@pytest.fixture(params=RUNS)
def run(request: pytest.FixtureRequest) -> Run:
    return RUNS[request.param]


@pytest.fixture
def played(plays: dict[str, Played], run: Run) -> Played:
    return next(plays[name] for name, each in RUNS.items() if each is run)


# The question


def test_r19_those_told_are_asked_once_when_the_circuit_is_back_and_the_alarm_still_there(
    played: Played,
) -> None:
    asked = played.one("asked", what="horn-wire")
    assert asked["body"]["persons"] == ["anna", "ben"]
    after = seconds(asked["up"] - played.on)
    assert SETTLES <= after <= 2 * SETTLES + 5
    assert [each.to for each in played.questions] == ["anna@example.org", "ben@example.org"]
    # Two questions, and to Anna what Ben has answered.
    assert len(played.found("notice made", why="question")) == 3
    assert [each["body"]["persons"] for each in played.found("answer told")] == [["anna"]]
    table.add(table.Row("the horn's circuit was off for 16 s", "both are asked", after))


def test_r19_the_question_says_from_when_to_when_and_how_to_answer(
    played: Played, run: Run
) -> None:
    for each in played.questions:
        person = each.to.partition("@")[0]
        assert each.title == "Was the horn's wire taken off? - Cabin tank"
        assert f"relayd horn-wire cabin off --by {person}." in each.text
        assert f"relayd horn-wire cabin back --by {person}." in each.text
        found = re.search(r"was off from (.+) to (.+) during the alarm", each.text)
        assert found is not None
        clock = r"\d\d:\d\d" if run.clock_set else r"\d+ s ago \(clock not set\)"
        assert re.fullmatch(clock, found[1])
        assert re.fullmatch(clock, found[2])


def test_status_says_that_nobody_has_answered_yet(played: Played) -> None:
    assert ASKED in played.waits
    assert "horn: not known" in played.waits


def test_the_alarm_goes_on_while_its_circuit_is_off(played: Played) -> None:
    first, second = played.found("raised", condition="high-level")
    assert first["up"] < played.off < played.on < second["up"]
    back, _ = played.found("returned", condition="high-level")
    assert back["up"] > played.on
    asked = played.one("asked")
    assert first["up"] < asked["up"] < back["up"]


# The answer

REFUSED = {
    "cut short": "not-json",
    "a word too many": "unknown-key",
    "old ticket": "old-ticket",
    "nobody of that name": "unknown-person",
    "no such panel": "unknown-panel",
    "no such word": "bad-wire",
    "retained": "retained",
    "retained, at the next start": "retained",
}
"""What was sent to the broker -> why it was refused."""


def test_a_word_over_mqtt_that_is_not_of_now_and_whole_is_refused_and_answered(
    played: Played, run: Run
) -> None:
    told = dict(played.refused)
    codes = REFUSED | ({} if run.version == "5" else {"retained": "old-ticket"})
    assert {what: answer["code"] for what, answer in told.items()} == codes
    assert [what for what, answer in told.items() if answer["ok"]] == []
    assert [what for what, answer in told.items() if not (answer["say"] and answer["ticket"])] == []
    assert len(played.found("command done", code="wire-off")) == 1


def test_ben_answers_once_and_is_told_what_follows(played: Played) -> None:
    assert played.answered.startswith("wire-off: noted: the horn at Cabin tank is disconnected")
    off = played.one("horn wire", wire="off")
    assert off["body"]["person"] == "ben"
    noted = played.one("loose end", key="horn-wire")
    assert noted["body"]["by"] == "ben"
    assert noted["up"] == off["up"] > played.one("asked")["up"]


def shows_off(seen: Seen) -> None:
    """Status, log, broker and journal agree that the wire is off, by Ben."""
    assert re.search(r"^  horn: disconnected, .*: declared by Ben$", seen.status, re.M)
    assert re.search(rf"^  still open: horn-wire: {OFF} \(.*Ben\)$", seen.status, re.M)
    assert ASKED not in seen.status
    assert seen.log.count("horn wire off (said by ben)") == 1
    assert seen.log.count("to be undone: horn-wire") == 1
    assert seen.horn[f"{CABIN}/horn/standing"] == "disconnected"
    assert seen.horn[f"{CABIN}/horn/says"] == "declared by Ben"
    assert seen.horn[f"{CABIN}/work/loose-keys"] == '["horn-wire"]'
    assert seen.horn[f"{CABIN}/work/loose-says"] == OFF
    assert seen.kept["horn"]["standing"] == "disconnected"
    assert seen.kept["loose"]["horn-wire"]["by"] == "ben"


def test_status_log_broker_and_journal_show_that_it_is_off(played: Played) -> None:
    shows_off(played.declared)


def test_it_is_reminded_of_at_the_next_nine_that_is_at_least_6_h_away(
    played: Played, run: Run
) -> None:
    """Trade 4 and 8: reminders by day. Six hours from now where no clock says when it is day."""
    end = played.declared.kept["loose"]["horn-wire"]
    since = end["since"]
    assert since["trusted"] == run.clock_set
    away = end["due"] - since["up"]
    if not run.clock_set:
        assert away == 6 * HOUR
        return
    due = datetime.fromtimestamp((since["wall"] + away) / SECOND, ZONE)
    assert round_to_second(due) == next_nine(datetime.fromtimestamp(since["wall"] / SECOND, ZONE))


def next_nine(now: datetime) -> datetime:
    """Worked out with zoneinfo, which relayd's core does not use."""
    least = now.astimezone(ZoneInfo("UTC")) + timedelta(hours=6)
    days = (now.date() + timedelta(days=each) for each in range(3))
    nines = (datetime(each.year, each.month, each.day, 9, tzinfo=ZONE) for each in days)
    return min(each for each in nines if each >= least)


def round_to_second(moment: datetime) -> datetime:
    return (moment + timedelta(microseconds=500_000)).replace(microsecond=0)


# kill -9


def test_a_kill_after_the_answer_forgets_nothing_and_doubles_nothing(played: Played) -> None:
    starts = played.found("started")
    assert len(starts) == 2
    assert starts[1]["up"] > played.one("horn wire", wire="off")["up"]
    shows_off(played.returned)
    before, after = played.declared, played.returned
    assert after.kept["loose"] == before.kept["loose"], "since, by whom, and the reminder's time"
    for each in ("standing", "since", "by", "why", "asked_of"):
        assert after.kept["horn"][each] == before.kept["horn"][each]
    # That it began anew is told; where the clock is not set that waits for no working hours.
    again = [each for each in titles(after.mails) if not each[1].startswith("GAP IN THE WATCH")]
    assert again == titles(before.mails), "nobody hears of it again"
    assert len({each.id for each in played.end.mails}) == len(played.end.mails)


def titles(mails: list[Mail]) -> list[tuple[str, str]]:
    """To whom, and what of, in the order of their ids."""
    return [(each.to, each.title) for each in sorted(mails, key=lambda mail: number(mail.id))]


# Meanwhile


@pytest.mark.parametrize(
    ("title", "count"),
    [
        # Anna at the second alarm; each of both at an end, by itself or among several in one message.
        ("HIGH LEVEL - Cabin tank", 1),
        ("Alarm over: High level - Cabin tank", 2),
    ],
    ids=["the next notice", "the stand-downs"],
)
def test_each_notice_of_that_panel_names_the_wire(played: Played, title: str, count: int) -> None:
    asked = max(number(each.id) for each in played.questions)
    later = [m for m in played.again.mails if number(m.id) > asked]
    several = re.compile(r"\d+ messages")
    about = "High level, Cabin tank"
    found = [m for m in later if m.title == title or (several.match(m.title) and about in m.text)]
    assert len(found) >= count
    for each in found:
        assert re.search(rf"Still to be undone: {re.escape(OFF)} \(.*, Ben\)\.", each.text), each


def test_before_the_answer_no_notice_says_that_it_is_off(played: Played) -> None:
    asked = max(number(each.id) for each in played.questions)
    early = [each for each in played.end.mails if number(each.id) <= asked]
    assert len(early) >= 6
    assert [each for each in early if OFF in each.text] == []


# Ben goes there


def test_who_comes_to_the_panel_is_given_first_what_was_left_there(played: Played) -> None:
    """Trade 1.32 and 8.1: what was left is the first line."""
    said = played.said("visit cabin")
    assert said.done
    assert said.words.startswith(f"still to be undone there: 'horn-wire' ({OFF}); Ben is at")
    (mail,) = [each for each in played.end.mails if each.title == "Visit begun - Cabin tank"]
    assert mail.to == "ben@example.org"
    assert mail.text.startswith(f"Still to be undone: {OFF}")
    assert "To end it: relayd visit cabin --end --by ben." in mail.text


def test_a_visit_closes_only_when_all_is_as_it_was(played: Played) -> None:
    """Trade 8.1; after the wire is back the horn counts as not known until it was heard."""
    told = [(asked.partition(" #")[0], said.done, said.words) for asked, said in played.visit]
    assert [(asked, done) for asked, done, _ in told] == [
        ("visit cabin", True),
        ("visit cabin --end", False),
        ("settled cabin horn-wire", False),
        ("horn-wire cabin back", True),
        ("visit cabin --end", False),
        ("settled cabin horn-unproved", True),
        ("visit cabin --end", True),
    ]
    words = [each for _, _, each in told]
    assert "not as it was: horn-wire" in words[1]
    assert "put it back and say so with horn-wire back" in words[1]
    assert "put it back and say so with horn-wire back" in words[2]
    assert "the horn is not known until it has been heard" in words[3]
    assert "not as it was: horn-unproved" in words[4]
    assert "press Test at the panel, listen" in words[4]
    assert "everything is as it was" in words[6]


def test_at_the_end_the_horn_is_proved_by_bens_word_and_nothing_is_left(played: Played) -> None:
    end = played.end
    assert re.search(r"^  horn: proved, .*: heard by ben$", end.status, re.M)
    assert "still open" not in end.status
    assert end.horn[f"{CABIN}/horn/standing"] == "proved"
    assert end.horn[f"{CABIN}/work/loose-keys"] == "[]"
    assert end.horn[f"{CABIN}/work/visitor"] == "\0"
    assert "loose" not in end.kept
    wires = [each["body"]["wire"] for each in played.found("horn wire")]
    assert wires == ["off", "back"]
    done = played.one("loose end done", key="horn-wire")
    assert done["body"]["by"] == "ben"
    (over,) = played.found("visit ended")
    assert (over["subject"], over["body"]["left"]) == (PANEL, [])


def test_the_broker_was_shown_each_standing_in_its_order(played: Played) -> None:
    topic = f"{CABIN}/horn/standing"
    said = [payload for each, payload in played.published if each == topic]
    told = [each for each, before in zip(said, [None, *said[:-1]], strict=True) if each != before]
    assert told == ["not-known", "disconnected", "not-known", "proved"]


def test_nothing_went_wrong_on_the_way(played: Played) -> None:
    faults: list[Record] = [
        each
        for kind in ("fault in relayd", "send failed", "not told")
        for each in played.found(kind)
    ]
    assert faults == []
