"""A small unit for the tests of the MQTT tree: two panels, two people; all of it invented."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from relayd.channels import devices
from relayd.convention import check_tree
from relayd.core.events import Now
from relayd.core.plan import (
    HOUR,
    MINUTE,
    SECOND,
    CallList,
    Input,
    Kind,
    Means,
    Offset,
    Panel,
    Person,
    Plan,
    Position,
    Priority,
    Step,
)
from relayd.core.state import (
    Alarm,
    Belief,
    Filter,
    InputState,
    Live,
    Process,
    Stamp,
    State,
    Subject,
    Take,
)

UNIT = "pumphouse"
WALL = 1_800_000_000 * SECOND
BOOT = "boot-1"
NOW = Now(BOOT, HOUR, WALL, True)
OCCURRENCE = f"{UNIT}.k7m2.12"


def plan(remote_commands: bool = True, panels: tuple[str, ...] = ("cabin", "lower-well")) -> Plan:
    """The unit; `cabin` has all three inputs, another panel only its level."""
    people = {
        "anna": Person("anna", "Anna", ("anna-mail",)),
        "ben": Person("ben", "Ben", ("ben-push",), responds=True),
    }
    return Plan(
        UNIT,
        "Pump house",
        "Etc/GMT+5",
        (Offset(0, -5 * 3600, "EST"),),
        "night",
        {each: _panel(each) for each in panels},
        people,
        {"night": CallList("night", (Step(0, ("anna",)), Step(10 * MINUTE, ("ben",))))},
        {"anna-mail": "anna", "ben-push": "ben"},
        remote_commands=remote_commands,
    )


def _panel(name: str) -> Panel:
    level = Input(f"{name}.float", name, Means.HIGH_LEVEL, Position.CLOSED)
    circuit = Input(f"{name}.alarm-breaker", name, Means.ALARM_POWER, Position.OPEN)
    pump = Input(f"{name}.pump-breaker", name, Means.PUMP_POWER, Position.OPEN)
    inputs = (level, circuit, pump) if name == "cabin" else (level,)
    return Panel(name, f"Tank {name}", "behind the shed", Kind.EFFLUENT_DEMAND, "night", inputs)


def quiet() -> State:
    """Nothing has happened."""
    return State("k7m2", BOOT)


def high(process: Process = Process.UNACK, **changes: object) -> State:
    """High level at the cabin, raised 20 minutes ago, Anna told."""
    raised = Stamp(NOW.up - 20 * MINUTE, WALL - 20 * MINUTE, True)
    alarm = Alarm(
        "high-level", Priority.HIGH, process, "L1", occurrence=12, raised=raised, told=("anna",)
    )
    alarm = replace(alarm, **changes)  # type: ignore[arg-type]
    subject = Subject("panel:cabin", {"high-level": alarm}, Belief("L1"))
    settled = Filter(raw=True, at=NOW.up, closed=True)
    live = Live({"cabin.float": InputState(settled, held=True)})
    return replace(quiet(), subjects={subject.id: subject}, live={subject.id: live})


def taken() -> State:
    """The same, and Ben has it until an hour from now."""
    take = Take("ben", Stamp(NOW.up, WALL, True), NOW.up + HOUR, WALL + HOUR)
    return high(Process.ACKED, told=("anna", "ben"), taken=take)


def faults(tree: Mapping[str, str], later: Iterable[str] = ()) -> list[str]:
    """Every rule of the convention that a tree breaks once each of its devices is ready."""
    states = {devices.state_topic(each): "ready" for each in devices.devices(tree)}
    whole = {topic: payload.encode() for topic, payload in {**states, **tree}.items()}
    return [str(each) for each in check_tree(whole, later)]
