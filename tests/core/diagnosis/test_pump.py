"""The pump table. Rules are Trade's trade practice: common practice, no source."""

from dataclasses import replace
from itertools import product

import pytest

from relayd.core import conditions as c
from relayd.core.diagnosis import pump
from relayd.core.diagnosis.belief import Seen
from relayd.core.diagnosis.site import Site
from relayd.core.plan import HOUR, MINUTE, Circuits, Kind, Means, Panel, Priority
from relayd.core.state import Alarm, Fact, Process, Signal, Stamp, Subject
from tests.core.build import contact, panel

YES, NO, UNKNOWN = Fact.ALARM, Fact.NORMAL, Fact.UNKNOWN
ALL = (
    contact(Means.HIGH_LEVEL),
    contact(Means.PUMP_CALLED),
    contact(Means.PUMP_RUNNING),
    contact(Means.PUMP_POWER),
    contact(Means.IN_HAND),
    contact(Means.IN_OFF),
)
SIMPLEX = panel("cabin", *ALL)
DUPLEX = panel(
    "cabin",
    contact(Means.HIGH_LEVEL),
    *(
        contact(means, number)
        for number in (1, 2)
        for means in (
            Means.PUMP_CALLED,
            Means.PUMP_RUNNING,
            Means.PUMP_POWER,
            Means.OVERLOAD,
            Means.OVER_TEMPERATURE,
            Means.SEAL_LEAK,
            Means.IN_OFF,
        )
    ),
    pumps=2,
    alternates=True,
)
NOBODY = Subject("panel:cabin")


def stamp(at: int = HOUR) -> Stamp:
    return Stamp(at, at, True)


def said(
    spec: Panel,
    facts: dict[str, Fact],
    before: Subject = NOBODY,
    high: bool = False,
    at: int = HOUR,
    site: Site | None = None,
) -> pump.Pumps:
    """The table's answer; `facts` by the input's name, all others normal."""
    seen = {each.id: Seen(facts.get(each.id.partition(".")[2], NO)) for each in spec.inputs}
    return pump.diagnose(spec, seen, before, {c.HIGH_LEVEL: high}, site or Site(), stamp(at))


SWITCHES = {"auto": (NO, NO), "hand": (YES, NO), "off": (NO, YES), "unknown": (UNKNOWN, UNKNOWN)}


def contradicted(high: bool, called: Fact, current: Fact, power: Fact, switch: str) -> set[str]:
    """In words: what the pump's own contacts say against each other."""
    found: set[str] = set()
    if called is YES and current is NO and power is not YES:
        found.add("pump-no-current")
    if current is YES and called is NO and not high and power is not YES and switch != "hand":
        found.add("pump-uncalled")
    if power is YES and YES in (called, current):
        found.add("pump-contradiction")
    return found


def oracle(
    high: bool, called: Fact, current: Fact, power: Fact, switch: str, timed: bool
) -> tuple[set[str], set[str]]:
    """In words: what is present, and the rows that explain a high level."""
    found = contradicted(high, called, current, power, switch)
    notes: set[str] = set()
    if not high:
        return found, notes
    if current is YES:
        found.add("level-not-falling")
    if switch in ("hand", "off"):
        notes.add(f"R1-{switch}")
    if power is YES:
        notes.add("R2")
    if "pump-no-current" in found:
        notes.add("R3")
    if power is NO and switch == "auto" and called is NO and current is not YES:
        notes.add("R5-timed" if timed else "R5")
    idle = (
        current is NO and called is not YES and power is not YES and switch not in ("hand", "off")
    )
    if idle and not timed and "R5" not in notes:
        notes.add("R5-idle")
    return found, notes


THREE = (YES, NO, UNKNOWN)


@pytest.mark.parametrize("timed", [True, False], ids=["timed", "demand"])
@pytest.mark.parametrize("high", [True, False], ids=["high", "level fine"])
def test_every_combination_has_exactly_its_findings_and_notes(high: bool, timed: bool) -> None:
    spec = replace(SIMPLEX, kind=Kind.EFFLUENT_TIMED if timed else Kind.LIFT_STATION)
    for called, current, power, switch in product(THREE, THREE, THREE, SWITCHES):
        hand, off = SWITCHES[switch]
        facts = {
            "pump-called": called,
            "pump-running": current,
            "pump-power": power,
            "in-hand": hand,
            "in-off": off,
        }
        got = said(spec, facts, high=high)
        present = {
            name
            for name, each in got.findings.items()
            if each.signal is Signal.PRESENT and name not in ("in-hand", "in-off")
        }
        expected = oracle(high, called, current, power, switch, timed)
        assert (present, set(got.notes)) == expected, (called, current, power, switch)


def test_trade_1_20_a_call_is_no_current() -> None:
    found = said(SIMPLEX, {"pump-called": YES}).findings["pump-no-current"]
    assert (found.signal, found.row) == (Signal.PRESENT, "R3")


@pytest.mark.parametrize(
    ("name", "priority"),
    [("overload", Priority.MEDIUM), ("seal-leak", None), ("over-temperature", None)],
)
def test_trade_1_21_each_fault_has_its_own_urgency(name: str, priority: Priority | None) -> None:
    found = said(DUPLEX, {f"{name}-1": YES}).findings[f"{name}-1"]
    assert (found.signal, found.priority) == (Signal.PRESENT, priority)


def test_trade_1_21_too_hot_with_a_leaking_seal_is_high() -> None:
    facts = {"over-temperature-1": YES, "seal-leak-1": YES}
    assert said(DUPLEX, facts).findings["over-temperature-1"].priority is Priority.HIGH


def test_trade_1_21_too_hot_three_times_in_a_day_is_high() -> None:
    before, got = NOBODY, None
    for at in (HOUR, 2 * HOUR, 3 * HOUR):
        alarm = Alarm("over-temperature-1", Priority.MEDIUM, Process.UNACK, raised=stamp(at))
        before = replace(before, alarms={alarm.condition: alarm})
        got = said(DUPLEX, {"over-temperature-1": YES}, before, at=at)
        before = replace(before, hot=got.hot)
    assert got is not None
    found = got.findings["over-temperature-1"]
    assert (found.row, found.priority) == ("R18-repeats", Priority.HIGH)


def test_trade_1_22_with_both_pumps_out_neither_is_relieved() -> None:
    found = said(DUPLEX, {"overload-1": YES, "in-off-2": YES}).findings
    assert found["overload-1"].priority is None
    assert found["in-off-2"].priority is None


def test_trade_1_22_one_runs_and_the_other_did_not_come() -> None:
    got = said(DUPLEX, {"pump-called-1": YES, "pump-running-1": YES}, high=True)
    assert got.notes == ("R6-2",)


def test_trade_1_22_both_run() -> None:
    running = {f"pump-{each}-{n}": YES for each in ("called", "running") for n in (1, 2)}
    got = said(DUPLEX, running, high=True)
    assert got.notes == ("R7",)
    assert got.findings[c.NOT_FALLING].row == "R7"


def cycled(spec: Panel, starts: list[int], run: int = HOUR // 60, number: str = "") -> Subject:
    before = replace(NOBODY, pumps=said(spec, {}, at=starts[0] - 1).pumps)
    for at in starts:
        facts = {f"pump-{each}{number}": YES for each in ("called", "running")}
        before = replace(before, pumps=said(spec, facts, before, at=at).pumps)
        before = replace(before, pumps=said(spec, {}, before, at=at + run).pumps)
    return before


def watched(spec: Panel, before: Subject, until: int, site: Site | None = None) -> pump.Pumps:
    """Follow its due times until then, as the machine does."""
    got = said(spec, {}, before, at=before.pumps[1].running or HOUR, site=site)
    at = max(each.known.up for each in before.pumps.values() if each.known)
    while True:
        got = said(spec, {}, before, at=at, site=site)
        before = replace(before, pumps=got.pumps)
        assert got.due is None or got.due > at
        if at >= until or got.due is None:
            return got
        at = min(got.due, until)


@pytest.mark.parametrize(
    ("idle", "signal", "priority"),
    [
        (11, Signal.ABSENT, None),
        (13, Signal.PRESENT, None),
        (25, Signal.PRESENT, Priority.MEDIUM),
    ],
)
def test_trade_1_23_no_start_for_too_long(
    idle: int, signal: Signal, priority: Priority | None
) -> None:
    before = cycled(SIMPLEX, [HOUR, 2 * HOUR, 3 * HOUR])
    found = watched(SIMPLEX, before, (3 + idle) * HOUR).findings["no-pump-cycle"]
    assert (found.signal, found.priority) == (signal, priority)


def test_trade_1_23_an_empty_site_needs_no_cycles() -> None:
    before = cycled(SIMPLEX, [HOUR, 2 * HOUR])
    got = said(SIMPLEX, {}, before, at=90 * HOUR, site=Site(empty=True))
    assert got.findings["no-pump-cycle"].signal is Signal.ABSENT


@pytest.mark.parametrize(
    ("hours", "signal"),
    [((1, 5, 9), Signal.PRESENT), ((1, 5), Signal.ABSENT), ((1, 30, 60), Signal.PRESENT)],
)
def test_trade_1_24_the_level_keeps_reaching(hours: tuple[int, ...], signal: Signal) -> None:
    before, found = NOBODY, None
    for hour in hours:
        alarm = Alarm("high-level", Priority.HIGH, Process.RTNUN, returned=stamp(hour * HOUR))
        before = replace(before, alarms={"high-level": alarm})
        got = said(SIMPLEX, {}, before, at=hour * HOUR)
        before, found = replace(before, highs=got.highs), got.findings[c.KEEPS_REACHING]
    assert found is not None
    assert found.signal is signal
    assert (f"{hours[-1] % 24:02}:00" in found.detail) == (signal is Signal.PRESENT)


def test_trade_1_24_without_a_clock_the_times_are_said_to_be_unknown() -> None:
    highs = tuple(Stamp(each * HOUR, 0, False) for each in (30, 55, 80))
    got = said(SIMPLEX, {}, replace(NOBODY, highs=highs), at=81 * HOUR)
    found = got.findings[c.KEEPS_REACHING]
    assert (found.signal, found.detail) == (
        Signal.PRESENT,
        "at an unknown time, an unknown time, an unknown time",
    )


@pytest.mark.parametrize("high", [True, False], ids=["high", "level fine"])
def test_r16_during_a_high_level_the_second_pump_s_call_is_no_alarm_of_its_own(high: bool) -> None:
    spec = panel("cabin", *ALL, contact(Means.LAG_CALLED), pumps=2)
    found = said(spec, {"lag-called": YES}, high=high).findings[c.LAG_CALLED]
    assert found.signal is (Signal.KEEP if high else Signal.PRESENT)


PAIRS = [
    ((Means.IN_OFF, Means.NOT_IN_AUTO), (NO, YES), "R1-hand"),
    ((Means.IN_HAND, Means.NOT_IN_AUTO), (NO, YES), "R1-off"),
    ((Means.IN_HAND, Means.IN_OFF), (YES, YES), "R1"),
    ((Means.IN_HAND,), (NO,), ""),
]


@pytest.mark.parametrize(("means", "facts", "row"), PAIRS, ids=lambda each: str(each))
def test_r1_the_switch_by_two_contacts_of_three(
    means: tuple[Means, ...], facts: tuple[Fact, ...], row: str
) -> None:
    spec = panel("cabin", contact(Means.HIGH_LEVEL), *map(contact, means))
    names = dict(zip((each.value for each in means), facts, strict=True))
    assert said(spec, names, high=True).notes == ((row,) if row else ())


@pytest.mark.parametrize("name", ["pump-power", "in-off"])
def test_trade_1_23_a_pump_without_power_or_in_off_is_not_held_to_start(name: str) -> None:
    before = cycled(SIMPLEX, [HOUR, 2 * HOUR])
    got = said(SIMPLEX, {name: YES}, before, at=4 * HOUR)
    assert got.findings[c.NO_CYCLE].signal is Signal.KEEP


@pytest.mark.parametrize("spec", [SIMPLEX, DUPLEX], ids=["simplex", "duplex"])
def test_every_finding_is_a_condition_of_the_catalogue(spec: Panel) -> None:
    shared = replace(DUPLEX, inputs=ALL)
    for each in (spec, shared):
        assert set(said(each, {}).findings) <= set(c.of_panel(each))
    told = {c.of_pump(each, shared, 0) for each in (c.RUN_LONG, c.STARTS, c.NO_CYCLE, c.NO_CURRENT)}
    assert told <= set(said(shared, {}).findings)


YEAR = 365 * 24 * HOUR
STARTS = range(HOUR, YEAR - 2 * HOUR, 100 * MINUTE)


@pytest.mark.untraced
@pytest.mark.slow
def test_a_year_of_a_duplex_panel_is_counted_and_remembered_in_bounds() -> None:
    before, starts, largest = NOBODY, {1: 0, 2: 0}, 0
    for number, at in enumerate(STARTS):
        pump = number % 2 + 1
        running = {f"pump-{each}-{pump}": YES for each in ("called", "running")}
        for facts, moment in ((running, at), ({}, at + HOUR // 20)):
            got = said(DUPLEX, facts, before, at=moment)
            starts = {
                n: starts[n] + (n in before.pumps and log.last != before.pumps[n].last)
                for n, log in got.pumps.items()
            }
            alarm = Alarm("high-level", Priority.HIGH, Process.RTNUN, returned=stamp(moment))
            before = replace(before, pumps=got.pumps, highs=got.highs, alarms={"high-level": alarm})
            sizes = [len(each.starts) + len(each.gaps) for each in got.pumps.values()]
            largest = max(largest, *sizes, len(got.highs))
    # The very first run was under way when it was first seen, and is no start.
    assert starts == {1: len(STARTS) // 2, 2: len(STARTS) // 2}
    assert largest <= 32
    assert {len(each.gaps) for each in before.pumps.values()} == {8}
    assert {gap for each in before.pumps.values() for gap in each.gaps} == {200 * MINUTE}
    assert [each.row for each in before.pumps.values()].count(1) == 1


@pytest.mark.parametrize(
    ("means", "current", "row"),
    [
        (Means.LOW_LEVEL, YES, "R10"),
        (Means.REDUNDANT_OFF, YES, "R10"),
        (Means.REDUNDANT_OFF, NO, "R11"),
        (Means.LOW_LEVEL, NO, "low"),
    ],
)
def test_trade_1_25_low_level_is_two_things(means: Means, current: Fact, row: str) -> None:
    spec = panel("cabin", *ALL, contact(means))
    found = said(spec, {means.value: YES, "pump-running": current}).findings[means.value]
    assert (found.signal, found.row) == (Signal.PRESENT, row)


def test_a_run_above_its_limit_and_too_many_starts_are_told() -> None:
    spec = replace(SIMPLEX, run_limit=HOUR, starts_limit=2)
    before = cycled(spec, [HOUR + each * HOUR // 10 for each in range(3)])
    assert said(spec, {}, before, at=HOUR * 13 // 10).findings[c.STARTS].signal is Signal.PRESENT
    assert said(spec, {}, before, at=4 * HOUR).findings[c.STARTS].signal is Signal.ABSENT
    first = said(spec, {"pump-called": YES, "pump-running": YES}, at=HOUR)
    under_way = replace(NOBODY, pumps=first.pumps)
    got = said(spec, {"pump-called": YES, "pump-running": YES}, under_way, at=2 * HOUR)
    assert got.findings[c.RUN_LONG].signal is Signal.PRESENT


def test_five_starts_of_one_pump_stop_the_alternation() -> None:
    before = cycled(DUPLEX, [HOUR * each for each in range(1, 6)], number="-1")
    assert said(DUPLEX, {}, before, at=6 * HOUR).findings[c.ALTERNATION].signal is Signal.PRESENT
    four = cycled(DUPLEX, [HOUR * each for each in range(1, 5)], number="-1")
    assert said(DUPLEX, {}, four, at=6 * HOUR).findings[c.ALTERNATION].signal is Signal.ABSENT


def test_after_the_power_came_back_a_high_level_is_expected_for_a_time() -> None:
    belief = replace(NOBODY.belief, circuit_back=HOUR)
    before = replace(NOBODY, belief=belief)
    running = {"pump-called": YES, "pump-running": YES}
    # The alarm circuit alone says nothing of the pump's supply, unless they are one circuit.
    assert said(SIMPLEX, running, before, True, 2 * HOUR).notes == ()
    one = replace(SIMPLEX, circuits=Circuits.SHARED)
    assert said(one, running, before, True, 2 * HOUR).notes == ("R8",)
    assert said(one, running, before, True, 4 * HOUR).notes == ()
