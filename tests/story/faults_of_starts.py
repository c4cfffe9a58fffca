"""Faults around starting and ending, played on the real daemon: a copy, plans, reload, kills."""

import os
import random
import subprocess
from collections.abc import Callable
from dataclasses import replace
from threading import Event as Flag

from relayd.clock import boottime
from relayd.core.plan import SECOND
from tests.story.journal import Record
from tests.story.plans import LEVEL, plan
from tests.story.stage import Stage
from tests.story.unit import ROOT, Unit

KILLS = 20


def a_second_daemon_starts_on_the_same_directory(stage: Stage) -> None:
    """It ends with 75 and says who holds it; the first goes on."""
    unit = stage.unit
    stage.begin(stage.site())
    began = boottime()
    ended = _run_beside(unit)
    assert unit.process is not None
    assert ended.returncode == 75
    assert f"in use by another relayd (process {unit.process.pid})" in ended.stderr
    stage.note(f"exit 75: ...{ended.stderr.strip()[-55:]}", began)
    assert unit.lives()
    stage.rises()
    stage.mail.until("anna", "HIGH LEVEL")


def the_plan_is_broken_at_a_start(stage: Stage) -> None:
    """Without a last good plan: exit 78. With one: it runs, and says so."""
    unit = stage.unit
    site = stage.site()
    good = plan(site)
    broken = good.replace('in_alarm = "closed"', 'in_alarm = "shut"')
    unit.write_plan(broken)
    began = boottime()
    unit.begin()
    assert unit.ends() == 78
    line = broken[: broken.index('in_alarm = "shut"')].count("\n") + 1
    assert f"{unit.plan}:{line}: " in unit.said_last()
    stage.note("no last good plan: exit 78, file and line named", began)
    unit.write_plan(good)
    unit.start()
    assert unit.stop() == 0
    unit.write_plan(broken)
    began = boottime()
    unit.start()
    refused = stage.mail.until("anna", "PLAN REFUSED")
    stage.note("last good plan: runs, Anna is told 'plan refused'", began, refused.at)
    assert "shut" in refused.mail.text
    stage.rises()
    stage.mail.until("anna", "HIGH LEVEL")
    unit.write_plan(good)
    assert unit.relayd("reload").returncode == 0
    stage.mail.until("anna", "Alarm over: Plan refused")


def a_changed_plan_is_loaded_during_an_alarm(stage: Stage) -> None:
    """The same process begins anew; the alarm is still open, and is not raised twice."""
    unit = stage.unit
    site = stage.site(steps=((0, ("anna",)), (60, ("ben",))))
    stage.begin(site)
    stage.rises()
    stage.mail.until("anna", "HIGH LEVEL")
    before = unit.alarm("high-level")
    unit.write_plan(plan(replace(site, name="Elder pond cabins", delay=-1)))
    refused = unit.relayd("reload")
    assert refused.returncode != 0
    assert "on_delay" in refused.stdout + refused.stderr
    stage.note("a bad plan: reload refused, the unit goes on")
    assert unit.process is not None
    pid = unit.process.pid
    unit.write_plan(
        plan(replace(site, name="Elder pond cabins", steps=((0, ("anna",)), (5, ("ben",)))))
    )
    began, mark = boottime(), unit.mark()
    assert unit.relayd("reload").returncode == 0
    unit.await_watching()
    stage.note("reload: watches again with the new plan", began)
    assert unit.lives()
    assert unit.process.pid == pid
    assert unit.ask("status")["unit"]["name"] == "Elder pond cabins"
    after = unit.alarm("high-level")
    assert (after["occurrence"], after["state"]) == (before["occurrence"], before["state"])
    assert unit.said("started", after=mark)["body"]["planned"]
    stage.mail.until("ben", "HIGH LEVEL", seconds=70)
    assert len([each for each in stage.mail.to("anna") if "HIGH LEVEL" in each.mail.title]) == 1
    stage.falls()
    stage.mail.until("ben", "Alarm over")
    assert len(unit.found("raised", condition="high-level")) == 1


def it_is_ended_in_order_and_not_in_order(stage: Stage) -> None:
    """SIGTERM: exit 0 and the next start is planned. `kill -9`: the next start says so."""
    unit = stage.unit
    broker, watcher = stage.broker()
    stage.begin(stage.site(broker=broker))
    watcher.until(watcher.ready, "ready")
    began = boottime()
    assert unit.stop() == 0
    stage.note("SIGTERM: exit 0, the broker shows 'disconnected'", began)
    watcher.until(lambda: watcher.tree["homie/5/pumphouse/$state"] == "disconnected", "left")
    assert not (unit.run / "control.sock").exists()
    mark = unit.mark()
    unit.start()
    assert unit.said("started", after=mark)["body"]["planned"] is True
    unit.kill()
    mark = unit.mark()
    unit.start()
    started = unit.said("started", after=mark)
    assert started["body"]["planned"] is False
    stage.note(f"kill -9: next start not planned: {started['body']['why']}")
    assert unit.relayd("log", "--last", "5").returncode == 0


def it_is_killed_again_and_again(stage: Stage) -> None:
    """`kill -9` at random moments of a story: nobody owed is forgotten, repeats keep their ids."""
    unit = stage.unit
    seed = int(os.environ.get("RELAYD_SEED") or random.SystemRandom().randrange(1_000_000))
    print(f"seed {seed}: RELAYD_SEED={seed} repeats the moments")
    chance = random.Random(seed)
    stage.mail.slow = lambda: chance.uniform(0.0, 1.0)
    ways = {"mail": stage.mail.address("anna"), "post": stage.mail.address("anna")}
    people = {"anna": ways, "ben": {"mail": stage.mail.address("ben")}}
    unit.write_plan(plan(stage.site(people, ((0, ("anna",)), (2, ("ben",))))))
    for _ in range(KILLS):
        unit.begin()
        _until_a_moment(stage, chance)
        unit.kill()
    stage.mail.slow = lambda: 0.0
    unit.start()
    unit.move(LEVEL, "closed")
    unit.until(lambda: "high-level" in {each["condition"] for each in unit.alarms()}, "high level")
    unit.move(LEVEL, "open")
    unit.until(lambda: _at_rest(unit), "at rest", 60)
    made, repeats = _judge(stage, seed)
    stage.note(
        f"{KILLS} kills, seed {seed}: {made} notices, none lost, {repeats} repeats, same ids"
    )


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


def _at_rest(unit: Unit) -> bool:
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


def _judge(stage: Stage, seed: int) -> tuple[int, int]:
    """How many notices were made, and how many mails came more than once."""
    unit, mails = stage.unit, [each.mail for each in stage.mail.came]
    made = {each["body"]["notice"]: each for each in unit.found("notice made")}
    assert len(made) == len(unit.found("notice made")), f"seed {seed}: an id was given twice"
    texts: dict[str, set[tuple[str, str, str]]] = {}
    for each in mails:
        assert each.id in made, f"seed {seed}: {each} was told and is not in the journal"
        owed = made[each.id]["body"]["person"]
        assert each.to == f"{owed}@example.org", f"seed {seed}: {each} was told and not remembered"
        texts.setdefault(each.id, set()).add((each.to, each.title, each.text))
    assert all(len(found) == 1 for found in texts.values()), f"seed {seed}: a repeat differs"
    taken = {each["body"]["notice"] for each in unit.found("send taken")}
    assert taken <= texts.keys(), f"seed {seed}: said to be taken, and never came"
    _nobody_is_forgotten(unit, made, set(texts), seed)
    return len(made), len(mails) - len(texts)


def _chatters(unit: Unit, end: int) -> bool:
    """Whether high level was held to chatter at that record."""
    began = [each["n"] for each in unit.found("chattering", condition="high-level")]
    over = [each["n"] for each in unit.found("chattering ended", condition="high-level")]
    return bool(sum(each < end for each in began) > sum(each < end for each in over))


def _nobody_is_forgotten(unit: Unit, made: dict[str, Record], came: set[str], seed: int) -> None:
    """Whoever was owed word of an alarm got it, or got word that it was over; and all got that."""
    raised = [each for each in unit.found("raised") if each["body"]["condition"] == "high-level"]
    assert raised, f"seed {seed}: no alarm at all"
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
            assert set(over.values()) <= came, f"seed {seed}: a stand-down never came"
            continue
        assert over.keys() == told, f"seed {seed}: told {told}, stood down {over}"
        assert "anna" in told or alarm["body"].get("not_told") == "it chatters"
        assert set(over.values()) <= came, f"seed {seed}: a stand-down never came"


def _follows(record: Record, end: int, ends: list[int]) -> bool:
    """Whether a record belongs to the return with that number, and not to a later one."""
    later = [each for each in ends if each > end]
    return bool(end < record["n"] < min(later, default=record["n"] + 1))


def _run_beside(unit: Unit) -> "subprocess.CompletedProcess[str]":
    """Another daemon on the same plan and state."""
    return subprocess.run(
        unit.command("run"),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        cwd=ROOT,
        env={**unit.surroundings(), "NOTIFY_SOCKET": ""},
        timeout=30,
        check=False,
    )
