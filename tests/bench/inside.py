"""The rows that need a kernel with pins and a disk. `python -m tests.bench.inside FOLDER STAGE COUNTS`.

Prints each row as JSON behind ROW, and how it goes on as plain lines.
"""

import json
import os
import random
import sys
from contextlib import ExitStack
from pathlib import Path
from time import monotonic, monotonic_ns

from tests.bench import latency, plans, under
from tests.bench.bare import database, imports
from tests.bench.figures import Row, kib, ms, quantile, spread
from tests.bench.latency import Bench, Pin
from tests.bench.subscriber import Subscriber
from tests.kernel.inside import Sim, freeze, thaw
from tests.servers.broker import mosquitto

DAY = 86_400
ROW = "ROW "
IDLE_LINES = 16
PACE = 0.020, 0.046
"""Seconds between two edges under load: three inputs that chatter as fast as the usual filter lets pass."""


class Rows:
    """Counts in, rows out."""

    def __init__(self, folder: Path, stage: Path, counts: dict[str, int]) -> None:
        self.folder, self.stage, self.counts = folder, stage, counts
        self.chance = random.Random(counts["seed"])
        self.stack = ExitStack()
        self._late: dict[str, list[tuple[float, ...]]] = {}

    def run(self) -> None:
        with self.stack:
            self._set_up()
            try:
                for part in (self._start, self._idle, self._latency, self._stall, self._loop):
                    part()
            except AssertionError:
                print(self._unit.said_last())
                raise

    def _set_up(self) -> None:
        self.sim = Sim("bench")
        self.stack.callback(self.sim.close)
        for line in range(32):
            self.sim.move(line, False)
        for name, line in plans.LINES.items():
            self.sim.move(line, not name.endswith("alarm-power"))
        run = Path("/run/broker")
        run.mkdir()
        self.broker = self.stack.enter_context(mosquitto(run)).port
        self.service = self.stack.enter_context(under.process(under.bare("serve")))
        self.plan = plans.plan(self.sim.label, self.broker, int(under.said(self.service)[1]))
        self._unit = self._made("unit", "relayd")
        self.subscriber = Subscriber(self.broker)
        self.bench = Bench(self.sim, self.subscriber, self.chance)

    def _made(self, name: str, module: str) -> under.Unit:
        unit = under.Unit(self.folder / name, self.stage, module)
        unit.plan.write_text(self.plan)
        unit.plan.chmod(0o600)
        return unit

    def _start(self) -> None:
        """Starts and bare imports in turn; the first of each warms what is read from disks."""
        unit, ours, floor = self._unit, [], []
        for number in range(self.counts["starts"] + 1):
            floor.append(under.start_of(imports("run", "print('ready', flush=True)")))
            ours.append(unit.start())
            if number < self.counts["starts"]:
                unit.stop()
        ours, floor = ours[1:] or ours, floor[1:] or floor
        ratios = [a / b for a, b in zip(ours, floor, strict=True)]
        middle = sorted(ratios)[len(ratios) // 2]
        say(
            "start to all inputs watched, beside the bare imports",
            f"{spread([each / 1e6 for each in ours], 0)} ms",
            f"{spread([each / 1e6 for each in floor], 0)} ms",
            spread(ratios),
            "1.5",
            middle <= 1.5,
        )

    def _idle(self) -> None:
        """Nothing moves: processor, wake-ups, memory, and what is written."""
        line, seconds = IDLE_LINES, self.counts["idle"]
        floor = self.stack.enter_context(
            under.process(under.bare("watch", self.sim.label, line, self.broker))
        )
        imported = {
            name: self.stack.enter_context(under.process(imports(name)))
            for name in ("run", "sender")
        }
        for each in (floor, *imported.values()):
            assert under.said(each) == ["ready"]
        under.until(lambda: _idle_and_ready(self.subscriber))
        self.subscriber.idle(self.counts["settle"])
        pids = {"run": self._unit.pid, "sender": self._unit.sender(), "floor": floor.pid}
        written, flushes = under.disk()
        before = {name: (under.processor(pid), under.wakeups(pid)) for name, pid in pids.items()}
        began = monotonic()
        self.subscriber.idle(seconds)
        took = monotonic() - began
        rate = {
            name: (
                (under.processor(pid) - before[name][0]) / took / 1e7,
                (under.wakeups(pid) - before[name][1]) / took,
            )
            for name, pid in pids.items()
        }
        now, flushed = under.disk()
        self._idle_rows(rate)
        day = (now - written) / took * DAY
        say("written to the disk on an idle day", f"{kib(day)}", "", "", "4 MiB", day <= 4 << 20)
        print(f"idle for {took:.0f} s: {now - written} bytes, {flushed - flushes} flushes")
        self._memory(
            {"run": pids["run"], "sender": pids["sender"]},
            {name: each.pid for name, each in imported.items()},
        )
        for each in (floor, *imported.values()):
            each.kill()

    def _idle_rows(self, rate: dict[str, tuple[float, float]]) -> None:
        share, wakes = rate["floor"]
        for name, budgets in (("run", (0.2, 4.0)), ("sender", (None, None))):
            for n, (what, unit, digits) in enumerate(
                (("share of a core", " %", 3), ("wake-ups", " a second", 2))
            ):
                value, bare, most = rate[name][n], (share, wakes)[n], budgets[n]
                say(
                    f"idle, 8 inputs, {name}: {what}",
                    f"{value:.{digits}f}{unit}",
                    f"{bare:.{digits}f}{unit}",
                    f"{value / bare:.2f}",
                    f"{most:g}{unit}" if most else "",
                    value <= most if most else None,
                )

    def _memory(self, ours: dict[str, int], floor: dict[str, int]) -> None:
        """All four at the same time, so that each shares with the same others."""
        for name in ours:
            mine, bare = under.memory(ours[name]), under.memory(floor[name])
            for n, kind in enumerate(("resident", "proportional")):
                ratio = mine[n] / bare[n]
                say(
                    f"memory of {name}, {kind}",
                    f"{mine[n] / 2**20:.1f} MiB",
                    f"{bare[n] / 2**20:.1f} MiB",
                    f"{ratio:.2f}",
                    "1.25",
                    ratio <= 1.25,
                )

    def _latency(self) -> None:
        bench, counts = self.bench, self.counts
        bench.start_bare(self.stack, self.broker, self.folder)
        line = plans.LINES[f"{plans.EDGES}.alarm-power"]
        edge = Pin(line, latency.EDGE, plans.FILTER, closed=True)
        bench.round([edge, *bench.bare], counts["warm"])
        edge.rounds.clear()
        for _ in range(counts["rounds"]):
            bench.round([edge, *bench.bare], counts["edges"])
        self._flushes([edge, *bench.bare])
        for row in latency.rows("edge to its input at the broker", edge.rounds, bench.bare):
            put(row)
        alarms = latency.alarm_pins()
        for _ in range(counts["alarm rounds"]):
            bench.alarms(alarms, counts["alarms"])
        what = "alarm's deadline to its state at the broker"
        for row in latency.rows(what, alarms[0].rounds, bench.late):
            put(row)
        self.subscriber.idle(plans.RELEASE / 1e9 + 2)

    def _flushes(self, pins: list[Pin]) -> None:
        """How often the disk is flushed for one edge: that it was committed before it was told."""
        for pin in pins:
            kept, before = list(pin.rounds), under.disk()
            self.bench.round([pin], self.counts["flushes"])
            after = under.disk()
            pin.rounds = kept
            each = (after[1] - before[1]) / self.counts["flushes"]
            size = (after[0] - before[0]) / self.counts["flushes"]
            print(f"{pin.topic}: {each:.2f} flushes and {kib(size)} an edge")

    def _stall(self) -> None:
        """The disk stands still from half a second before an alarm is due; and the same without."""
        for _what, budget in (("well", False), ("stalls for 5 s", True)):
            raised = [self._raised(stalls=budget) for _ in range(self.counts["stalls"])]
            for way, values in zip(
                ("broker", "message service"), zip(*raised, strict=True), strict=True
            ):
                self._late.setdefault(way, []).append(values)
        for way, (well, stalled) in self._late.items():
            say(
                f"alarm at the {way} while the disk stalls for 5 s, beside one that does not",
                f"{spread(stalled)} s",
                f"{spread(well)} s",
                "",
                "2 s",
                max(stalled) <= 2,
            )

    def _raised(self, stalls: bool) -> tuple[float, float]:
        """Seconds from an alarm's deadline to its state at the broker and to its notice."""
        panel = plans.ALARMS[0]
        line = plans.LINES[f"{panel}.high-level"]
        state = latency.alarm_topic(panel)
        self._drain()
        self.subscriber.forget(state)
        due = monotonic_ns() + plans.FILTER + plans.ON_DELAY
        self.sim.move(line, False)
        self.subscriber.idle(0.5)
        end = monotonic() + 5
        if stalls:
            freeze(self.folder)
        try:
            shown = self.subscriber.until(state, "UNACK") - due
            told = int(self._title("HIGH LEVEL")) - due
            if stalls:
                self.subscriber.idle(max(0.0, end - monotonic()))
        finally:
            if stalls:
                thaw(self.folder)
        self.sim.move(line, True)
        self.subscriber.idle(plans.RELEASE / 1e9 + 2)
        return shown / 1e9, told / 1e9

    def _drain(self) -> None:
        """Read away what the service got so far: nothing more is under way."""
        marker = f"end-{monotonic_ns()}"
        import urllib.request

        port = self.plan.split("json://127.0.0.1:")[1].split("/")[0]
        data = json.dumps({"title": marker}).encode()
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/", data, 30) as answer:
            answer.read()
        self._title(marker)

    def _title(self, begins: str) -> str:
        while True:
            came, title = under.said_line(self.service)
            if title.startswith(begins):
                return came

    def _loop(self) -> None:
        """Edges on one line, alarms on the others, somebody asking: how long is a turn at most?"""
        turns = self.folder / "turns.json"
        os.environ["BENCH_TURNS"] = str(turns)
        os.environ["PYTHONPATH"] = f"{self.stage}{os.pathsep}{under.ROOT}"
        self._unit.stop()
        unit = self._unit = self._made("loaded", "tests.bench.watched")
        unit.start()
        self.subscriber.idle(self.counts["settle"])
        began, end = monotonic_ns(), monotonic_ns() + self.counts["load"] * 1_000_000_000
        moves, line = 0, plans.LINES[f"{plans.EDGES}.alarm-power"]
        while monotonic_ns() < end:
            self.sim.move(line, moves % 2 == 0)
            if moves % 20 == 0:
                panel = plans.ALARMS[moves // 20 % len(plans.ALARMS)]
                self.sim.move(plans.LINES[f"{panel}.high-level"], moves // 120 % 2 == 1)
            moves += 1
            self.subscriber.idle(self.chance.uniform(*PACE))
        ended = monotonic_ns()
        unit.stop()
        lengths = [length for at, length in json.loads(turns.read_text()) if began < at < ended]
        floor = self._inserts(moves)
        high, bare = quantile(lengths, 0.999), quantile(floor, 0.999)
        say(
            "the loop away from its queue under load, beside one bare insert at a time",
            f"p50 {ms(quantile(lengths, 0.5))}, p99.9 {ms(high)}",
            f"p50 {ms(quantile(floor, 0.5))}, p99.9 {ms(bare)}",
            f"p99.9 {high / bare:.2f}",
            "p99.9 50 ms",
            high < 50e6,
        )
        print(f"{len(lengths)} turns for {moves} edges; the longest {ms(max(lengths))}")

    def _inserts(self, count: int) -> list[int]:
        """How long each of so many bare inserts takes, at the same pace."""
        base, times = database(self.folder), []
        for _ in range(count):
            self.subscriber.idle(self.chance.uniform(*PACE))
            began = monotonic_ns()
            base.execute("INSERT INTO edge VALUES (?, ?)", (began, 1))
            times.append(monotonic_ns() - began)
        base.close()
        return times


def say(what: str, measured: str, floor: str, ratio: str, budget: str, within: bool | None) -> None:
    put(Row(what, measured, floor, ratio, budget, within))


def put(row: Row) -> None:
    print(ROW + json.dumps(row.as_dict()), flush=True)


def _idle_and_ready(subscriber: Subscriber) -> bool:
    subscriber.idle(0.2)
    return subscriber.shows.get(f"homie/5/{plans.UNIT}/$state") == "ready"


if __name__ == "__main__":
    Rows(Path(sys.argv[1]), Path(sys.argv[2]), json.loads(sys.argv[3])).run()
