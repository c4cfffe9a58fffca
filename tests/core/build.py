"""Inputs, panels and plans of any kind for tests of the core: invented, as everything here."""

from dataclasses import replace

from relayd.core.conditions import usual_delays
from relayd.core.plan import (
    ALARM_CONTACTS,
    MINUTE,
    REFERENCES,
    SUPPLIES,
    CallList,
    Follows,
    Input,
    Kind,
    Means,
    Panel,
    Person,
    Plan,
    Position,
    Reach,
    Step,
    Unpowered,
)

_OPEN_IN_ALARM = SUPPLIES | REFERENCES | {Means.AIR_SUPPLY}


def contact(
    means: Means, pump: int = 0, panel: str = "cabin", name: str = "", **changes: object
) -> Input:
    """An input of that means, as the trade wires it: supplies and references open in alarm."""
    name = name or (f"{means.value}-{pump}" if pump else means.value)
    on, off = usual_delays(means, Kind.SEWAGE_EJECTOR)
    made = Input(
        f"{panel}.{name}",
        panel,
        means,
        Position.OPEN if means in _OPEN_IN_ALARM else Position.CLOSED,
        Unpowered.OPEN,
        Follows.LEVEL if means in ALARM_CONTACTS else Follows.UNKNOWN,
        on_delay=on,
        off_delay=off,
        pump=pump,
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def panel(name: str, *inputs: Input, **changes: object) -> Panel:
    """A panel with those inputs; `changes` are fields of Panel."""
    made = Panel(name, f"Panel {name}", "behind the shed", Kind.SEWAGE_EJECTOR, "night", inputs)
    return replace(made, hoa=Reach.OUTSIDE, **changes)  # type: ignore[arg-type]


def people() -> dict[str, Person]:
    """Anna owns, Ben responds and is qualified, Carla manages."""
    return {
        "anna": Person("anna", "Anna", ("anna.mail",), "555-0101"),
        "ben": Person(
            "ben", "Ben", ("ben.mail", "ben.push"), "555-0102", responds=True, qualified=True
        ),
        "carla": Person("carla", "Carla", ("carla.mail",), "555-0103"),
    }


def plan_of(*panels: Panel, **changes: object) -> Plan:
    """A plan with those panels and the three people; `changes` are fields of Plan."""
    who = people()
    steps = (Step(0, ("anna",)), Step(3 * MINUTE, ("anna",)), Step(8 * MINUTE, ("ben",)))
    made = Plan(
        unit="creek-1",
        unit_name="Creek",
        zone="UTC",
        offsets=(),
        call_list="night",
        panels={each.id: each for each in panels},
        people=who,
        call_lists={"night": CallList("night", steps)},
        channels={name: each.id for each in who.values() for name in each.channels},
        remote_commands=True,
    )
    return replace(made, **changes)  # type: ignore[arg-type]
