"""Faults around starting and ending, played on the real daemon: a copy, plans, reload, kills."""

import subprocess
from dataclasses import replace

from relayd.clock import boottime
from tests.story import kills
from tests.story.plans import plan
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
    kills.play(stage, KILLS)


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
