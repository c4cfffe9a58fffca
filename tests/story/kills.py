"""`kill -9` of the real daemon at random moments of a story, and what must be true afterwards."""

import os
import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from threading import Event as Flag

from relayd.clock import boottime
from relayd.core.plan import SECOND
from tests.story import journal
from tests.story.journal import Record
from tests.story.plans import LEVEL, plan
from tests.story.stage import Stage
from tests.story.unit import Unit


@dataclass(frozen=True, slots=True)
class Figures:
    """What a campaign counted. Nothing in it was lost, or it would have failed."""

    kills: int
    notices: int
    repeats: int
    most: int
    """Repeats over one channel by one kill, at most."""
    records: int

    def words(self) -> str:
        """The figures in a line."""
        return (
            f"{self.kills} kills: {self.records} records and {self.notices} notices, none lost,"
            f" {self.repeats} repeats (at most {self.most} a kill and channel), same ids"
        )


def play(stage: Stage, kills: int, seed: int | None = None) -> Figures:
    """Kill it so often, let it come to rest, and judge; what was counted."""
    unit, lives = stage.unit, list[int]()
    if seed is None:
        seed = int(os.environ.get("RELAYD_SEED") or random.SystemRandom().randrange(1_000_000))
    print(f"seed {seed}: RELAYD_SEED={seed} repeats the moments")
    chance = random.Random(seed)
    stage.mail.slow = lambda: chance.uniform(0.0, 1.0)
    ways = {"mail": stage.mail.address("anna"), "post": stage.mail.address("anna.post")}
    people = {"anna": ways, "ben": {"mail": stage.mail.address("ben")}}
    unit.write_plan(plan(stage.site(people, ((0, ("anna",)), (2, ("ben",))))))
    for _ in range(kills):
        unit.begin()
        _until_a_moment(stage, chance)
        unit.records()
        unit.kill()
        lives.append(boottime())
    stage.mail.slow = lambda: 0.0
    unit.start()
    unit.move(LEVEL, "closed")
    unit.until(lambda: "high-level" in {each["condition"] for each in unit.alarms()}, "high level")
    unit.move(LEVEL, "open")
    unit.until(lambda: at_rest(unit), "at rest", 60)
    nothing_committed_is_lost(unit, seed)
    made, repeats = told_and_remembered(stage, seed)
    _nobody_is_forgotten(stage, seed)
    most = most_at_once(stage, lives)
    # The next leaves when what became of the one before is on the disk.
    assert most <= 1, f"seed {seed}: one kill repeated {most} over one channel"
    figures = Figures(kills, made, repeats, most, len(unit.records()))
    stage.note(f"{figures.words()}, seed {seed}")
    return figures


def _until_a_moment(stage: Stage, chance: random.Random) -> None:
    """Wait for a random moment, most of them soon after a notice was made or a mail came.

    The float moves meanwhile. A moment is what is under test here, so it is a time that passes.
    """
    unit, never = stage.unit, Flag()
    counts: dict[str, Callable[[], int]] = {
        "made": lambda: _count(unit),
        "came": lambda: len(stage.mail.came),
        "any": lambda: 0,
    }
    count, soon = counts[chance.choice(list(counts))], chance.choice((0.01, 0.1, 0.8))
    before, end = count(), boottime() + int(chance.uniform(0.2, 6.0) * SECOND)
    unit.move(LEVEL, "closed" if chance.random() < 0.6 else "open")
    turn = boottime() + int(chance.uniform(1.0, 4.0) * SECOND)
    while boottime() < end:
        if boottime() > turn:
            unit.move(LEVEL, "closed" if chance.random() < 0.5 else "open")
            turn = end
        if count() > before:
            never.wait(chance.uniform(0.0, soon))
            return
        never.wait(0.005)


def _count(unit: Unit) -> int:
    """How many notices were made so far."""
    return len(unit.found("notice made"))


def at_rest(unit: Unit) -> bool:
    """Nothing active but word that the level was high again and again, which stays for a day, and
    that the unit began anew by itself, which stays for an hour."""
    active = [each for each in unit.alarms() if each["state"] in ("UNACK", "ACKED")]
    stays = all(each["condition"] in ("level-keeps-reaching", "unwatched") for each in active)
    return stays and not _open(unit)


def _open(unit: Unit) -> set[str]:
    """The notices that were made and neither taken nor withdrawn."""
    made = {each["body"]["notice"] for each in unit.found("notice made")}
    ends = [*unit.found("send taken"), *unit.found("send withdrawn")]
    return made - {each["body"]["notice"] for each in ends}


def told_and_remembered(stage: Stage, seed: int) -> tuple[int, int]:
    """How many notices were made, and how many mails came more than once over a channel."""
    unit = stage.unit
    # In this order: what is taken had come, and what came was made, also while more comes.
    taken = {each["body"]["notice"] for each in unit.found("send taken")}
    mails = [each.mail for each in stage.mail.came]
    made = {each["body"]["notice"]: each for each in unit.found("notice made")}
    assert len(made) == len(unit.found("notice made")), f"seed {seed}: an id was given twice"
    texts: dict[str, set[tuple[str, str, str]]] = {}
    for each in mails:
        assert each.id in made, f"seed {seed}: {each} was told and is not in the journal"
        owed = made[each.id]["body"]["person"]
        assert person(each.to) == owed, f"seed {seed}: {each} was told and not remembered"
        # What names several says at each try what is true then.
        several = made[each.id]["body"]["why"] == "digest"
        said = ("", "") if several else (each.title, each.text)
        texts.setdefault(each.id, set()).add((owed, *said))
    assert all(len(found) == 1 for found in texts.values()), f"seed {seed}: a repeat differs"
    assert taken <= texts.keys(), f"seed {seed}: said to be taken, and never came"
    return len(made), len(mails) - len({(each.id, each.to) for each in mails})


def person(to: str) -> str:
    """Whose address it is; `anna.post` is Anna's second one."""
    return to.partition("@")[0].partition(".")[0]


def _chatters(unit: Unit, end: int) -> bool:
    """Whether high level was held to chatter at that record."""
    began = [each["n"] for each in unit.found("chattering", condition="high-level")]
    over = [each["n"] for each in unit.found("chattering ended", condition="high-level")]
    return bool(sum(each < end for each in began) > sum(each < end for each in over))


def _nobody_is_forgotten(stage: Stage, seed: int) -> None:
    """Whoever was owed word of an alarm got it, or got word that it was over; and all got that."""
    unit, came = stage.unit, {each.mail.id for each in stage.mail.came}
    made = {each["body"]["notice"]: each for each in unit.found("notice made")}
    raised = [each for each in unit.found("raised") if each["body"]["condition"] == "high-level"]
    assert raised, f"seed {seed}: no alarm at all"
    outdated = _outdated(unit, made, came, seed)
    ends = [each["n"] for each in unit.found("returned", condition="high-level")]
    assert len(ends) == len(raised)
    for alarm, end in zip(raised, ends, strict=True):
        own = [each for each in made.values() if each["body"]["condition"] == "high-level"]
        told = {
            each["body"]["person"]
            for each in own
            if alarm["n"] <= each["n"] < end and each["body"]["why"] == "raised"
        }
        over = {
            each["body"]["person"]: each["body"]["notice"]
            for each in own
            if each["body"]["why"] == "stand-down" and _follows(each, end, ends)
        }
        if _chatters(unit, end):
            # Three raisings in a minute: it stays one occurrence, which ends ten quiet minutes later.
            assert set(over.values()) <= came | outdated, f"seed {seed}: a stand-down never came"
            continue
        assert over.keys() == told, f"seed {seed}: told {told}, stood down {over}"
        assert "anna" in told or alarm["body"].get("not_told") == "it chatters"
        assert set(over.values()) <= came | outdated, f"seed {seed}: a stand-down never came"


def _outdated(unit: Unit, made: dict[str, Record], came: set[str], seed: int) -> set[str]:
    """Notices that were withdrawn because a newer one to the same person says what is true, and that came."""
    why = "a newer notice says what is true now"
    withdrawn = {each["body"]["notice"] for each in unit.found("send withdrawn", why=why)}
    for each in withdrawn - came:
        person = made[each]["body"]["person"]
        newer = [name for name in made if made[name]["n"] > made[each]["n"]]
        told = [name for name in newer if made[name]["body"]["person"] == person and name in came]
        assert told, f"seed {seed}: {each} was withdrawn, and {person} was told nothing newer"
    return withdrawn


def _follows(record: Record, end: int, ends: list[int]) -> bool:
    """Whether a record belongs to the return with that number, and not to a later one."""
    later = [each for each in ends if each > end]
    return bool(end < record["n"] < min(later, default=record["n"] + 1))


def nothing_committed_is_lost(unit: Unit, seed: int) -> None:
    """Every record that was ever seen on the disk is there, as it was, under its number."""
    seen = unit.records()
    whole = journal.records(unit.state / "journal.db", 0, unit.state.parent / "whole")
    assert whole is not None
    assert whole[: len(seen)] == seen, f"seed {seed}: what was committed is lost or changed"
    assert [each["n"] for each in whole] == list(range(1, len(whole) + 1)), f"seed {seed}"
    assert not list(unit.state.glob("*.damaged-*")), f"seed {seed}: it was taken for damaged"


def most_at_once(stage: Stage, lives: list[int]) -> int:
    """How many mails over one channel one kill made come again, at most.

    A mail comes again because of the kill that followed it: what became of it was not yet on the disk.
    """
    came: dict[tuple[str, str], int] = {}
    again: Counter[tuple[str, int]] = Counter()
    for each in stage.mail.came:
        mail = each.mail.id, each.mail.to
        if mail in came:
            again[each.mail.to, sum(life < came[mail] for life in lives)] += 1
        came[mail] = each.at
    return max(again.values(), default=0)
