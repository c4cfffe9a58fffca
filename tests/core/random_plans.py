"""Plans of many kinds for random histories: inputs, lists, hours and schedules drawn by chance."""

from dataclasses import replace

from hypothesis import strategies as st

from relayd.core.plan import (
    DAY,
    HOUR,
    MINUTE,
    CallList,
    Follows,
    Hours,
    Input,
    Kind,
    Means,
    Offset,
    OnCall,
    Plan,
    Position,
    Priority,
    Step,
    Turn,
    Unpowered,
)
from tests.core.build import contact, panel, plan_of
from tests.core.world import WALL, circuit_input, level_input, pump_input

PANEL_MEANS = (
    Means.HIGH_HIGH_LEVEL,
    Means.COMMON_ALARM,
    Means.CONTROL_POWER,
    Means.PUMP_CALLED,
    Means.PUMP_RUNNING,
    Means.OVERLOAD,
    Means.IN_HAND,
    Means.IN_OFF,
    Means.HORN_DRIVEN,
    Means.HORN_HEARD,
    Means.HORN_WIRE_PARKED,
    Means.CABLE_LOOP,
    Means.PANEL_DOOR,
    Means.AIR_SUPPLY,
    Means.TEST_PRESSED,
    Means.OTHER,
)
UNIT_MEANS = (Means.UNIT_POWER, Means.WETTING_SUPPLY, Means.ON_GENERATOR)
DAYS = dict.fromkeys(range(5), (9 * HOUR, 15 * HOUR))
FRIDAY = WALL // DAY
"""The histories begin on a Friday at 08:00 UTC."""
TURNS = (Turn(WALL - DAY, "ben"), Turn(WALL + 6 * HOUR, "carla"), Turn(WALL + 30 * HOUR, "anna"))


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """Any declared properties, with and without what may be wired beside the level contact."""
    pumps = draw(st.sampled_from([1, 1, 2]))
    place = panel(
        "cabin",
        *_inputs(draw, pumps),
        kind=draw(st.sampled_from([Kind.EFFLUENT_DEMAND, Kind.SUMP, Kind.LIFT_STATION])),
        pumps=pumps,
        alternates=draw(st.booleans()),
        reserve=draw(st.sampled_from([None, None, HOUR, 6 * HOUR])),
        silence_time=draw(st.sampled_from([None, 10 * MINUTE])),
        run_limit=draw(st.sampled_from([None, 30 * MINUTE])),
        medium_list=draw(st.sampled_from(["", "day"])),
        low_list=draw(st.sampled_from(["", "day"])),
        realarm=draw(st.sampled_from([{}, {"high-level": 20 * MINUTE}])),
    )
    return _with_people(draw, plan_of(place, inputs=_unit_inputs(draw)))


def _inputs(draw: st.DrawFn, pumps: int) -> list[Input]:
    level = level_input(
        in_alarm=draw(st.sampled_from(Position)),
        unpowered=draw(st.sampled_from(Unpowered)),
        follows=draw(st.sampled_from(Follows)),
        latch=draw(st.sampled_from([False, False, True])),
        priority=draw(st.sampled_from([None, None, None, Priority.MEDIUM])),
    )
    inputs = [level]
    inputs += [circuit_input()] if draw(st.booleans()) else []
    inputs += [pump_input()] if pumps == 1 and draw(st.booleans()) else []
    for means in draw(st.lists(st.sampled_from(PANEL_MEANS), unique=True, max_size=6)):
        numbered = pumps > 1 and means in (Means.PUMP_RUNNING, Means.PUMP_CALLED, Means.OVERLOAD)
        each = contact(means, 1 if numbered else 0)
        inputs.append(replace(each, latch=draw(st.sampled_from([False, False, True]))))
    return inputs


def _unit_inputs(draw: st.DrawFn) -> tuple[Input, ...]:
    wired = draw(st.sampled_from([(), (), UNIT_MEANS[:1], UNIT_MEANS[1:2], UNIT_MEANS]))
    return tuple(contact(means, panel="unit") for means in wired)


def _with_people(draw: st.DrawFn, plan: Plan) -> Plan:
    last = draw(st.sampled_from(["ben", "ben", "duty"]))
    steps = (Step(0, ("anna",)), Step(3 * MINUTE, ("anna",)), Step(8 * MINUTE, (last,)))
    by_day = (Step(0, ("carla",)), Step(30 * MINUTE, ("duty", "anna")))
    return replace(
        plan,
        call_lists={"night": CallList("night", steps), "day": CallList("day", by_day)},
        on_call={"duty": OnCall("duty", TURNS)},
        hours={"shop": Hours("shop", DAYS, frozenset({FRIDAY + 3}))},
        work=draw(st.sampled_from(["", "shop"])),
        medium_waits=draw(st.booleans()),
        empty=draw(st.booleans()),
        least=draw(st.sampled_from([{}, {"ben.push": Priority.HIGH, "anna.mail": Priority.HIGH}])),
        offsets=draw(
            st.sampled_from([(), (Offset(0, 3600, "A"), Offset(WALL + 20 * HOUR, 7200, "B"))])
        ),
    )
