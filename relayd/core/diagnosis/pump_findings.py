"""What the pumps' contacts conclude: rows R3, R4 and R9 to R18 of the pump table.

In: a view of the panel, its pumps' memory. Out: findings by condition. Knows nothing of delays,
alarms or people. Only what the wired inputs can tell is told, and what is not known concludes
nothing: the signal is then KEEP.
"""

from collections.abc import Iterator, Mapping

from relayd.core import conditions as c
from relayd.core.diagnosis import cycles, pump_memory, pump_rows
from relayd.core.diagnosis.belief import Seen
from relayd.core.diagnosis.pump_reads import input_for, known
from relayd.core.diagnosis.pump_rows import Reading, Switch
from relayd.core.diagnosis.pump_view import View
from relayd.core.findings import Finding
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import DAY, SECOND, Input, Means, Priority
from relayd.core.saying import when
from relayd.core.state import Alarm, Fact, PumpLog, Signal, Stamp

_YES, _NO, _KEEP = Signal.PRESENT, Signal.ABSENT, Signal.KEEP
_SIGNAL = {Fact.ALARM: _YES, Fact.NORMAL: _NO, Fact.UNKNOWN: _KEEP}
Logs = Mapping[int, PumpLog]
Hot = Mapping[int, tuple[Stamp, ...]]

_ROWS = {
    c.OVERLOAD: "R18-overload",
    c.OVER_TEMPERATURE: "R18-hot",
    c.SEAL_LEAK: "R18-seal",
    c.PUMP_FAULT: "R18-fault",
    c.IN_HAND: "R1-hand",
    c.IN_OFF: "R1-off",
    c.NOT_IN_AUTO: "R1",
    c.LAG_CALLED: "R16",
    c.LOW_LEVEL: "low",
    c.REDUNDANT_OFF: "R11",
}
"""Conditions that one input tells by itself -> the row that says so; 'low' has the condition's words."""
_TRIPPED = (c.OVERLOAD, c.PUMP_FAULT)
_BOTTOM = (c.LOW_LEVEL, c.REDUNDANT_OFF)


def of_inputs(view: View, hot: Hot) -> Iterator[tuple[str, Finding]]:
    """Rows R10, R11, R16 and R18, and the switch: what one input tells by itself."""
    for spec in view.panel.inputs:
        base = c.BY_MEANS.get(spec.means, "")
        if base in _ROWS and not spec.throw_of:
            yield c.condition_of(view.panel, spec), _by_itself(view, spec, base, hot)


def _by_itself(view: View, spec: Input, base: str, hot: Hot) -> Finding:
    signal = _SIGNAL[view.facts.get(spec.id, Seen(Fact.UNKNOWN)).fact]
    if base == c.LAG_CALLED and signal is _YES and view.high:
        return Finding(_KEEP, "R16")
    if base == c.OVER_TEMPERATURE:
        return _too_hot(view, spec, signal, hot)
    row, detail = _ROWS[base], ""
    running = [each for each, now in view.watched.items() if now.current]
    if base in _BOTTOM and running:
        row = view.row("R10", running[0])
    if base == c.PUMP_FAULT and spec.carries:
        detail = f"one of {', '.join(each.value for each in spec.carries)}"
    pump = spec.pump if view.panel.pumps > 1 else 1
    return Finding(signal, row, detail, priority=view.relieved(base, pump))


def _too_hot(view: View, spec: Input, signal: Signal, hot: Hot) -> Finding:
    """Three times a day, or with a leaking seal of the same pump, it is urgent."""
    about = [each for each in view.pumps if spec.pump in (0, each) or view.panel.pumps == 1]
    if any(_times_hot(view, hot, each) >= 3 for each in about):
        return Finding(signal, "R18-repeats", priority=Priority.HIGH)
    if any(known(view.panel, view.facts, Means.SEAL_LEAK, each) for each in about):
        return Finding(signal, "R18-wet", priority=Priority.HIGH)
    return Finding(signal, "R18-hot")


def _times_hot(view: View, hot: Hot, pump: int) -> int:
    """How often within a day, the time included that is about to be raised."""
    earlier = sum(each.up > view.stamp.up - DAY for each in hot.get(pump, ()))
    return earlier + (pump_memory.hot_since(view, pump) is None)


def contradictions(view: View) -> Iterator[tuple[str, Finding]]:
    """Rows R3, R9 and R15, where the inputs that can tell are wired."""
    for pump, now in view.watched.items():
        called, running, power = (
            input_for(view.panel, each, pump) is not None
            for each in (Means.PUMP_CALLED, Means.PUMP_RUNNING, Means.PUMP_POWER)
        )
        if called and running:
            relieved = view.relieved(c.NO_CURRENT, pump)
            signal = _KEEP if _is_explained(view, pump, relieved) else pump_rows.no_current(now)
            dry = Finding(signal, _row(view, "R3", pump), priority=relieved)
            yield view.name(c.NO_CURRENT, pump), dry
            odd = Finding(pump_rows.uncalled(now, view.high), _row(view, "R9", pump))
            yield view.name(c.UNCALLED, pump), odd
        if power:
            odd = Finding(pump_rows.contradiction(now), _row(view, "R15", pump))
            yield view.name(c.CONTRADICTION, pump), odd


def _is_explained(view: View, pump: int, relieved: Priority | None) -> bool:
    """Whether an alarm that is told, as urgent as R3's own, says already why there is no current."""
    mine, stands = view.name(c.NO_CURRENT, pump), view.present
    if not view.pumps.get(pump, Reading()).called or stands.get(mine):
        return False
    causes = (view.before.alarms.get(view.name(each, pump)) for each in _TRIPPED)
    usual = relieved or c.character(c.NO_CURRENT).priority
    return any(
        each is not None
        and stands.get(each.condition, False)
        and not (each.shelved or each.out or view.before.out)
        and each.priority in (usual, Priority.HIGH)
        for each in causes
    )


def _row(view: View, row: str, pump: int) -> str:
    """The condition's name carries the number, unless it is about one of the pumps."""
    return row if pump else view.row(row, 0)


def of_cycles(view: View, logs: Logs) -> Iterator[tuple[str, Finding]]:
    """Rows R12 to R14."""
    at = view.stamp.up
    for pump, now in view.watched.items():
        log = logs.get(pump)
        long = starts = idle = Finding(_KEEP)
        if log is not None and now.runs is not None:
            over = run_over(view, log)
            many = len(cycles.starts_now(log, at)) > view.panel.starts_limit
            long = Finding(_YES if over is not None and at >= over else _NO)
            starts = Finding(_YES if many else _NO)
            idle = _idle(view, logs, pump, now)
        for condition, row, found in (
            (c.RUN_LONG, "R12", long),
            (c.STARTS, "R13", starts),
            (c.NO_CYCLE, "R14", idle),
        ):
            name, said = view.name(condition, pump), _row(view, row, pump)
            yield name, Finding(found.signal, said, priority=found.priority)


def run_over(view: View, log: PumpLog) -> int | None:
    """When the run that is under way is too long."""
    limit = view.panel.run_limit
    return log.running + limit if limit and log.running is not None else None


def _idle(view: View, logs: Logs, pump: int, now: Reading) -> Finding:
    """R14; a pump that is off or without power has an alarm of its own for that."""
    log, since = logs[pump], idle_since(view, logs, pump)
    if view.site.empty or log.running is not None or since is None:
        return Finding(_NO)
    if now.power is False or now.switch is Switch.OFF:
        return Finding(_KEEP)
    idle = view.stamp.up - since
    late = idle >= cycles.longest(log, 4)
    signal = _YES if idle >= cycles.longest(log, 2) else _NO
    return Finding(signal, priority=Priority.MEDIUM if late else None)


def idle_since(view: View, logs: Logs, pump: int) -> int | None:
    """Where pumps do not take turns, the start of any of them shows that the floats live."""
    mine = cycles.idle_since(logs[pump])
    if view.panel.alternates or mine is None:
        return mine
    return max(each for log in logs.values() if (each := cycles.idle_since(log)) is not None)


def of_panel(view: View, logs: Logs, highs: tuple[Stamp, ...]) -> Iterator[tuple[str, Finding]]:
    """Rows R4 and R17, and a level that keeps reaching the alarm."""
    wired = {each.means for each in view.panel.inputs if not each.throw_of}
    if Means.HIGH_LEVEL in wired:
        yield c.KEEPS_REACHING, _keeps(view, highs)
        if view.watched:
            yield c.NOT_FALLING, _not_falling(view, logs)
            yield c.PUMP_NOT_SEEN, not_seen(view, logs)
    if view.panel.alternates and view.panel.pumps > 1:
        yield c.ALTERNATION, _alternation(view, logs)


_UNSEEN = frozenset({"L3", "L5", "L12", "L15", "L17", "L18"})
"""Rows in which high level stands though its contact cannot show where the water is now."""


def _not_falling(view: View, logs: Logs) -> Finding:
    """High level and a pump that runs; how long it may is the condition's on-delay."""
    if not view.high:
        return Finding(_NO)
    runs = {pump: view.runs(pump) for pump in view.pumps}
    running = [pump for pump, each in runs.items() if each]
    if view.some is not None and view.some.runs and not running:
        running = [0]
    if running and view.before.belief.row in _UNSEEN:
        return Finding(_KEEP)
    if running:
        every = len(runs) > 1 and all(runs.values())
        waited = f"for {when.lasted(cycles.patience(view.panel, logs))} or more"
        return Finding(_YES, "R7" if every else view.row("R4", running[0]), waited)
    return Finding(_KEEP if None in runs.values() else _NO)


def not_seen(view: View, logs: Logs) -> Finding:
    """L16: high level came back, and no pump was seen to run since it began; open until one is.

    It is found in the step in which the level returns. Nothing is said of a pump that nobody
    watches, of what a visitor did, and of what somebody has looked at.
    """
    lesser = Priority.LOW if len(view.pumps) > 1 else None
    mine, high = view.before.alarms.get(c.PUMP_NOT_SEEN), view.before.alarms.get(c.HIGH_LEVEL)
    if view.present.get(c.PUMP_NOT_SEEN, False) and mine is not None and mine.raised is not None:
        return Finding(_NO if _ran(view, logs, mine.raised.up) else _KEEP, "L16", priority=lesser)
    if high is None or high.raised is None or not _just_returned(view, high):
        return Finding(_NO, "L16")
    silent = all(view.runs(each) is False for each in view.pumps)
    told = view.before.visit is not None or view.before.belief.looked is not None
    if told or not silent or _ran(view, logs, high.raised.up):
        return Finding(_NO, "L16")
    return Finding(_YES, "L16", priority=lesser)


def _just_returned(view: View, alarm: Alarm) -> bool:
    back = alarm.returned if alarm.process not in ACTIVE else None
    return back is not None and back.up == view.stamp.up


def _ran(view: View, logs: Logs, since: int) -> bool:
    """Whether any pump that is watched was seen to run since then."""
    return any(cycles.has_run(logs[each], since) for each in view.watched if each in logs)


def _alternation(view: View, logs: Logs) -> Finding:
    alone = [pump for pump in view.pumps if pump in logs and logs[pump].row >= cycles.IN_A_ROW]
    if not alone:
        return Finding(_NO, "R17")
    others = [each for each in view.pumps if each not in alone]
    signal = _YES if any(view.able(each) for each in others) else _KEEP
    return Finding(signal, "R17", f"pump {alone[0]}")


def _keeps(view: View, highs: tuple[Stamp, ...]) -> Finding:
    """Three within 24 h, or on three of the last seven days, counted by the site's calendar."""
    at = view.stamp.up
    today = [each for each in highs if each.up > at - DAY]
    week = [each for each in highs if each.up > at - 7 * DAY]
    if len(today) < 3 and len({_day(view, each) for each in week}) < 3:
        return Finding(_NO, "keeps")
    times = [_clock(view, each) for each in (today if len(today) >= 3 else week)[-5:]]
    return Finding(_YES, "keeps", f"at {', '.join(times)}")


def _day(view: View, stamp: Stamp) -> int:
    """The local day; without a clock to be believed, days of boot time, which are none of those."""
    if not stamp.trusted:
        return -1 - stamp.up // DAY
    ahead = when.offset_in(view.site.offsets, stamp.wall).seconds * SECOND
    return (stamp.wall + ahead) // DAY


def _clock(view: View, stamp: Stamp) -> str:
    """Local date, hour and minute, or that they are not known."""
    return when.dated(view.site.offsets, stamp.wall) if stamp.trusted else "an unknown time"
