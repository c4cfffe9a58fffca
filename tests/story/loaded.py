"""`kill -9` of the real daemon under load: twenty panels that move, people who answer, and what must be true.

What is judged here is what people read: every alarm that was told to somebody is named to each who
was owed word of it, by itself or in a message of several, and so is its end.
"""

import random
from collections.abc import Iterable
from itertools import count
from threading import Event as Flag

from relayd.clock import boottime
from relayd.core.plan import SECOND
from relayd.errors import RelaydError
from tests.story import kills
from tests.story.journal import Record
from tests.story.kills import Figures
from tests.story.plans import UNIT, channels, high_level
from tests.story.stage import Stage
from tests.story.unit import Unit

PANELS = tuple(f"tank-{number:02}" for number in range(1, 21))
AT_REST = {f"{panel}.high-level": "open" for panel in PANELS}
REST = 240
"""Seconds until nothing is owed any more: messages of several wait for half a minute each."""


def plan(stage: Stage) -> str:
    """Twenty tanks and two people; Anna has two ways."""
    mail = stage.mail.address
    ways = {"anna": {"mail": mail("anna"), "post": mail("anna.post")}, "ben": {"mail": mail("ben")}}
    lines = stage.unit.wires.lines()
    panels = "".join(_panel(panel, lines[f"{panel}.high-level"]) for panel in PANELS)
    people = "".join(_person(name, its) for name, its in ways.items())
    steps = "".join(
        f'[[call_list.step]]\nafter = "{after} s"\ntell = ["{name}"]\n\n'
        for after, name in ((0, "anna"), (2, "ben"))
    )
    return f"""\
[unit]
id = "{UNIT}"
name = "Alder pond cabins"
zone = "America/Chicago"
chip = "{stage.unit.wires.chip}"
call_list = "quick"

{panels}{people}[[call_list]]
id = "quick"

{steps}"""


def _panel(name: str, line: int) -> str:
    return f"""\
[[panel]]
id = "{name}"
name = "{name.title()}"
where = "behind the wood shed"
kind = "effluent-demand"
settle = "10 s"
hoa = "dead-front"

{high_level(line, 1)}
"""


def _person(name: str, ways: dict[str, str]) -> str:
    head = f'[[person]]\nid = "{name}"\nname = "{name.title()}"\nwaking = ["00:00", "24:00"]\n\n'
    return head + channels(ways)


def play(stage: Stage, times: int, seed: int) -> Figures:
    """Kill it so often, let it come to rest, and judge; what was counted."""
    unit, lives, chance = stage.unit, list[int](), random.Random(seed)
    print(f"seed {seed}: RELAYD_SEED={seed} repeats the moments")
    stage.mail.slow = lambda: chance.uniform(0.0, 0.5)
    unit.write_plan(plan(stage))
    turns = count()
    for _ in range(times):
        unit.begin()
        _live(unit, chance, turns)
        unit.records()
        unit.kill()
        lives.append(boottime())
    stage.mail.slow = lambda: 0.0
    unit.start()
    _everything_closed_is_raised(unit, seed)
    for each in AT_REST:
        unit.move(each, "open")
    unit.until(lambda: kills.at_rest(unit), "at rest", REST)
    kills.nothing_committed_is_lost(unit, seed)
    made, repeats = kills.told_and_remembered(stage, seed)
    _all_is_told(stage, seed)
    most = kills.most_at_once(stage, lives)
    assert most <= 1, f"seed {seed}: one kill repeated {most} over one channel"
    figures = Figures(times, made, repeats, most, len(unit.records()))
    stage.note(f"{figures.words()}, seed {seed}")
    return figures


def _live(unit: Unit, chance: random.Random, turns: "count[int]") -> None:
    """Move and answer for a while. A moment is what is under test here, so it is a time that passes."""
    never, end = Flag(), boottime() + int(chance.uniform(0.3, 7.0) * SECOND)
    while boottime() < end:
        panel = PANELS[next(turns) % len(PANELS)]
        unit.move(f"{panel}.high-level", "closed" if chance.random() < 0.6 else "open")
        never.wait(chance.uniform(0.2, 1.0))
        if chance.random() < 0.3:
            _answer(unit, chance)


def _answer(unit: Unit, chance: random.Random) -> None:
    """Somebody has seen an alarm, if the unit is there to hear it."""
    try:
        active = _high(unit, "UNACK")
        if active:
            unit.ask("acknowledge", {"panel": chance.choice(active), "act": "seen"}, "anna")
    except (RelaydError, OSError):
        return


def _everything_closed_is_raised(unit: Unit, seed: int) -> None:
    """What is still closed at the last start is an alarm soon after it."""
    unit.move(f"{PANELS[0]}.high-level", "closed")
    closed = {panel for panel in PANELS if unit.wires.stands(f"{panel}.high-level") == "closed"}
    unit.until(lambda: closed <= {*_high(unit)}, f"seed {seed}: {sorted(closed)} active")


def _high(unit: Unit, state: str = "") -> list[str]:
    """The panels whose high level is not over, or is in that state."""
    return [
        panel["id"]
        for panel in unit.ask("status")["panels"]
        for each in panel["alarms"]
        if each["condition"] == "high-level" and each["state"] in (state or each["state"])
    ]


def _all_is_told(stage: Stage, seed: int) -> None:
    """Each alarm that was told, and its end, is named to everybody who was owed word of it."""
    unit = stage.unit
    made = unit.found("notice made")
    for kind in ("raised", "stand-down"):
        owed = [each for each in made if each["body"].get("why") == kind]
        for person, panel, at in _latest(owed):
            named = [
                each
                for each in stage.mail.came
                if kills.person(each.mail.to) == person
                and panel in each.mail.title + each.mail.text
            ]
            assert any(each.at >= at for each in named), f"seed {seed}: {kind} {panel} to {person}"


def _latest(notices: Iterable[Record]) -> Iterable[tuple[str, str, int]]:
    """Of each person and panel the last notice: person, panel's name, boot time."""
    last: dict[tuple[str, str], int] = {}
    for each in notices:
        panel = each["subject"].partition(".")[0]
        if panel in PANELS:
            last[each["body"]["person"], panel.title()] = each["up"]
    return [(person, panel, up) for (person, panel), up in last.items()]
