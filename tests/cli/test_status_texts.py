"""The status of a real site in each of its states: one example each, in whole lines.

Each text is what the core itself tells, put into words; scenes are those of the reasons for silence.
What never changes is left out: the lines of the inputs, and how the unit's ways do.
"""

from collections.abc import Callable

import pytest

from relayd.cli.status import lines
from relayd.core.events import GoAway, HornWire, Settled, Wire
from relayd.core.plan import HOUR, Means
from relayd.core.showing import view
from tests.core.build import contact, panel, plan_of
from tests.core.showing import test_quietness as scenes
from tests.core.showing.test_quietness import up, world
from tests.core.world import World

HEAD = "Panel cabin (cabin), behind the shed, sewage ejector"
NORMAL = "  level: The level is below the alarm float, as far as its contact tells."
HIGH = "  level: The water stands at or above the alarm float."
NOT_KNOWN = "  horn: not known"
ALWAYS = ("  input ", "  clock: ", "  journal: ", "  sender: ", "  mqtt: ")
UNIT = ["", "unit Creek (creek-1)"]


def told(at: World) -> list[str]:
    """The whole status without what never changes."""
    found = [each.text for each in lines(view.status(at.plan, at.state, at.now()))]
    return [each for each in found if not each.startswith(ALWAYS)]


def horn_off(at: World) -> None:
    assert at.ask(HornWire("cabin", Wire.OFF, "noise at night")).ok


def horn_off_without_a_word(at: World) -> None:
    assert at.ask(HornWire("cabin", Wire.OFF)).ok


def horn_back(at: World) -> None:
    horn_off(at)
    assert at.ask(HornWire("cabin", Wire.BACK)).ok


def away_alone(at: World) -> None:
    assert at.ask(GoAway("carla", within=5 * HOUR)).ok


TEXTS: dict[str, tuple[Callable[[World], object], list[str]]] = {
    "nothing is wrong": (
        lambda at: at,
        ["open alarms: none", "", HEAD, NORMAL, NOT_KNOWN, *UNIT],
    ),
    "paused while it stands": (
        scenes.paused,
        [
            "open alarms: 1",
            "",
            HEAD,
            "  ALARM Overload tripped (high): nobody has answered yet",
            "    since 08:03, for 59 s, creek-1.k3f9ab.1",
            "    The overload of the pump has tripped: it stays out until somebody resets it.",
            "    paused until 09:04 by Ben (new motor)",
            "    told: Anna",
            NORMAL,
            NOT_KNOWN,
            "  still open: paused:overload: 'Overload tripped' is paused (since 08:04, Ben)",
            *UNIT,
        ],
    ),
    "paused while nothing is wrong": (
        scenes.paused_at_rest,
        [
            "open alarms: none",
            "",
            HEAD,
            "  Overload tripped: paused until 09:03 by Ben",
            NORMAL,
            NOT_KNOWN,
            "  still open: paused:overload: 'Overload tripped' is paused (since 08:03, Ben)",
            *UNIT,
        ],
    ),
    "one alarm is out of service": (
        scenes.alarm_out,
        [
            "open alarms: 1",
            "",
            HEAD,
            "  ALARM Overload tripped (high): nobody has answered yet",
            "    since 08:03, for 59 s, creek-1.k3f9ab.1",
            "    The overload of the pump has tripped: it stays out until somebody resets it.",
            "    out of service until 09:03 by Ben",
            "    told: nobody yet",
            NORMAL,
            NOT_KNOWN,
            "  still open: out-of-service:overload: 'Overload tripped' is out of service: it is not"
            " told (since 08:03, Ben)",
            *UNIT,
        ],
    ),
    "the panel is out of service": (
        scenes.panel_out,
        [
            "open alarms: 1",
            "",
            HEAD,
            "  ALARM High level (high): nobody has answered yet",
            "    since 08:03, for 59 s, creek-1.k3f9ab.1",
            "    The water stands at or above the alarm float.",
            "    its panel is out of service until 09:03 by Ben (tank is empty)",
            "    told: nobody yet",
            "  out of service until 09:03 by Ben (tank is empty)",
            HIGH,
            NOT_KNOWN,
            "  still open: out-of-service: the whole panel is out of service: no alarm of it is told"
            " (since 08:03, Ben)",
            *UNIT,
        ],
    ),
    "not shown because": (
        lambda at: up(at, "cabin.alarm-power", 90),
        [
            "open alarms: 1",
            "",
            HEAD,
            "  ALARM Alarm circuit lost (high): nobody has answered yet",
            "    since 08:03, for 1 min, creek-1.k3f9ab.1",
            "    Lamp, horn and alarm contact at the panel are dead. Whether the pump has power is"
            " not known; without it the level will rise."
            " The alarm circuit is dead: the level is not known.",
            "    told: Anna",
            "    next to be told: Anna, in 2 min",
            "  High level: not shown because the alarm circuit is dead",
            "  level: The alarm circuit is dead: the level is not known.",
            NOT_KNOWN,
            *UNIT,
        ],
    ),
    "held for hours": (
        scenes.held,
        [
            "open alarms: 1",
            "",
            HEAD,
            "  ALARM Seal leak (low): nobody has answered yet",
            "    since 18:03, for 1 min, creek-1.k3f9ab.1",
            "    The seal of the pump leaks: it goes on working; plan the repair within weeks.",
            "    stays until reset",
            "    told: nobody yet",
            "    held for Anna until 18 Jan 08:00",
            "    next to be told: Anna, in 3 d 13 h",
            NORMAL,
            NOT_KNOWN,
            *UNIT,
        ],
    ),
    "chattering": (
        scenes.chattering,
        [
            "open alarms: 1",
            "",
            HEAD,
            "  ALARM Overload tripped (high): over, not acknowledged",
            "    since 08:04, for 19 s, creek-1.k3f9ab.11",
            "    The overload is no longer tripped: the pump may start by itself at any time.",
            "    it comes and goes, for 34 s: repeats are not told",
            "    told: Anna",
            NORMAL,
            NOT_KNOWN,
            *UNIT,
        ],
    ),
    "it stays until it is reset": (
        scenes.latched,
        [
            "open alarms: 1",
            "",
            HEAD,
            "  ALARM Seal leak (low): over, but it stays until it is reset;"
            " nobody has answered yet",
            "    since 08:03, for 21 min, creek-1.k3f9ab.1",
            "    Seal leak: over.",
            "    stays until reset",
            "    told: Anna",
            NORMAL,
            NOT_KNOWN,
            *UNIT,
        ],
    ),
    "seen": (
        scenes.seen,
        [
            "open alarms: 1",
            "",
            HEAD,
            "  ALARM High level (high): seen by Anna; nobody has taken it yet",
            "    since 08:03, for 59 s, creek-1.k3f9ab.1",
            "    The water stands at or above the alarm float.",
            "    told: Anna",
            "    next to be told: nobody (away, or has seen it), in 2 min",
            HIGH,
            NOT_KNOWN,
            *UNIT,
        ],
    ),
    "taken": (
        scenes.taken,
        [
            "open alarms: 1",
            "",
            HEAD,
            "  ALARM High level (high): taken by Ben until 09:34",
            "    since 08:03, for 59 s, creek-1.k3f9ab.1",
            "    The water stands at or above the alarm float.",
            "    told: Anna, Ben",
            HIGH,
            NOT_KNOWN,
            *UNIT,
        ],
    ),
    "a visit": (
        scenes.visit,
        [
            "open alarms: 1",
            "",
            HEAD,
            "  ALARM High level (high): nobody has answered yet",
            "    since 08:03, for 59 s, creek-1.k3f9ab.1",
            "    The water stands at or above the alarm float.",
            "    told: Ben",
            HIGH,
            NOT_KNOWN,
            "  Ben is at the panel until 10:03: its alarms go to Ben alone",
            *UNIT,
        ],
    ),
    "who is away, and who stands in": (
        scenes.away,
        [
            "open alarms: 1",
            "",
            HEAD,
            "  ALARM High level (high): nobody has answered yet",
            "    since 08:03, for 59 s, creek-1.k3f9ab.1",
            "    The water stands at or above the alarm float.",
            "    told: Carla",
            "    next to be told: Carla, in 2 min",
            HIGH,
            NOT_KNOWN,
            *UNIT,
            "  Anna is away until 13:03; Carla is told instead",
        ],
    ),
    "who is away, and nobody stands in": (
        away_alone,
        [
            "open alarms: none",
            "",
            HEAD,
            NORMAL,
            NOT_KNOWN,
            *UNIT,
            "  Carla is away until 13:03; nobody stands in",
        ],
    ),
    "the horn is disconnected": (
        horn_off,
        [
            "open alarms: none",
            "",
            HEAD,
            NORMAL,
            "  horn: disconnected, since 08:03: noise at night",
            "  still open: horn-wire: the horn's wire is disconnected: the next alarm will be silent"
            " at the panel (since 08:03, Ben)",
            *UNIT,
        ],
    ),
    "the horn is disconnected, nobody said why: who said so, by name": (
        horn_off_without_a_word,
        [
            "open alarms: none",
            "",
            HEAD,
            NORMAL,
            "  horn: disconnected, since 08:03: declared by Ben",
            "  still open: horn-wire: the horn's wire is disconnected: the next alarm will be silent"
            " at the panel (since 08:03, Ben)",
            *UNIT,
        ],
    ),
    "the horn's wire is back and not proved": (
        horn_back,
        [
            "open alarms: none",
            "",
            HEAD,
            NORMAL,
            "  horn: not known, since 08:03: its wire is said to be back; not proved until it was"
            " heard: press Test at the panel and listen (contact test, step 5)",
            *UNIT,
        ],
    ),
    "a loose end is put off": (
        scenes.put_off,
        [
            "open alarms: none",
            "",
            HEAD,
            NORMAL,
            "  horn: disconnected, since 08:03: declared by Ben",
            "  still open: horn-wire: the horn's wire is disconnected: the next alarm will be silent"
            " at the panel (since 08:03, Ben); put off until 09:03",
            *UNIT,
        ],
    ),
}


@pytest.mark.parametrize(("scene", "text"), TEXTS.values(), ids=TEXTS)
def test_the_status_reads(scene: Callable[[World], object], text: list[str]) -> None:
    at = world()
    scene(at)
    assert told(at) == text


def test_what_explains_an_alarm_is_said_before_it() -> None:
    """Of two pumps one was left Off: the high level says so first, and names the pump."""
    inputs = (
        contact(Means.HIGH_LEVEL),
        contact(Means.IN_OFF, pump=1, name="in-off-1"),
        contact(Means.IN_OFF, pump=2, name="in-off-2"),
    )
    at = world(plan_of(panel("cabin", *inputs, pumps=2)))
    up(at, "cabin.in-off-2", 300)
    up(at, "cabin.high-level", 60)
    assert told(at)[:7] == [
        "open alarms: 1",
        "",
        HEAD,
        "  ALARM High level (high): nobody has answered yet",
        "    since 08:08, for 59 s, creek-1.k3f9ab.1",
        "    The switch of pump 2 is in Off."
        " The level contact is in alarm: the water stands at or above the alarm float.",
        "    told: Anna",
    ]


def test_an_alarm_burst_is_shown_with_the_unit() -> None:
    names = [f"p{number}" for number in range(12)]
    panels = [panel(each, contact(Means.HIGH_LEVEL, panel=each)) for each in names]
    at = world(plan_of(*panels))
    for each in names:
        at.alarm(f"{each}.high-level")
    at.run(60)
    assert told(at)[-3:] == [*UNIT, "  alarm burst: it has gone on for 49 s"]
    assert told(at)[0] == "open alarms: 12"


def test_the_question_about_the_horn_s_wire_is_shown_until_it_is_answered() -> None:
    inputs = (contact(Means.HIGH_LEVEL), contact(Means.ALARM_POWER))
    at = world(plan_of(panel("cabin", *inputs)))
    up(at, "cabin.high-level", 60)
    up(at, "cabin.alarm-power", 300)
    at.alarm("cabin.alarm-power", False)
    at.run(60)
    asked = "  horn: was its wire taken off? Nobody has answered yet"
    assert asked in told(at)
    assert at.ask(HornWire("cabin", Wire.BACK)).ok
    assert asked not in told(at)


def test_a_loose_end_of_a_switch_is_shown_until_it_is_settled() -> None:
    inputs = (contact(Means.HIGH_LEVEL), contact(Means.ALARM_POWER))
    at = world(plan_of(panel("cabin", *inputs)))
    horn_off(at)
    open_ = [each for each in told(at) if each.startswith("  still open: ")]
    assert len(open_) == 1
    assert not at.ask(Settled("cabin", "horn-wire")).ok
    assert at.ask(HornWire("cabin", Wire.BACK)).ok
    assert not [each for each in told(at) if "is disconnected" in each]
