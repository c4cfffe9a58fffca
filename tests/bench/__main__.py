"""Measures all rows and prints the table. See README.md beside this file."""

import argparse
import compileall
import json
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from time import monotonic

from tests.bench import publish, sizes, story
from tests.bench.figures import Row, table
from tests.bench.inside import ROW
from tests.kernel.guest import ROOT, Disk, Guest, make_disk, program

FULL = {
    "seed": 1, "starts": 5, "settle": 8, "idle": 30, "warm": 20, "rounds": 5, "edges": 100,
    "flushes": 20, "alarm rounds": 4, "alarms": 12, "stalls": 3, "load": 30,
    "size rounds": 7, "size moves": 300, "records": 100_000, "journal rounds": 7, "commits": 60,
    "mqtt rounds": 5, "events": 3_000, "changes": 300,
}  # fmt: skip
QUICK = {
    "seed": 1, "starts": 1, "settle": 1, "idle": 2, "warm": 2, "rounds": 1, "edges": 5,
    "flushes": 2, "alarm rounds": 1, "alarms": 2, "stalls": 1, "load": 2,
    "size rounds": 1, "size moves": 5, "records": 2_000, "journal rounds": 1, "commits": 3,
    "mqtt rounds": 1, "events": 50, "changes": 5,
}  # fmt: skip
PARTS = ("guest", "bytes", "size", "mqtt")


def measure(parts: list[str], counts: dict[str, int], seconds: float) -> Iterator[Row]:
    """The rows of those parts; `seconds` bounds the guest."""
    with tempfile.TemporaryDirectory(prefix="relayd-bench-") as name:
        folder = Path(name)
        if "guest" in parts and program() is not None:
            yield from guest_rows(folder, counts, seconds)
        elif "guest" in parts:
            print("bench: no kernel with pins (tests/kernel/build): most rows are left out")
        if "bytes" in parts:
            yield from story.alarm_rows(folder)
        if "size" in parts:
            rounds, moves = counts["size rounds"], counts["size moves"]
            yield from sizes.size_rows(sizes.SIZES, rounds, moves)
            many, commits = counts["records"], counts["commits"]
            yield sizes.journal_row(folder, many, counts["journal rounds"], commits)
        if "mqtt" in parts:
            rounds, moves = counts["mqtt rounds"], counts["changes"]
            yield from publish.rows(folder, rounds, counts["events"], moves)


def guest_rows(folder: Path, counts: dict[str, int], seconds: float) -> Iterator[Row]:
    """Boot the kernel and read its rows."""
    stage = staged(folder / "stage")
    disk = Disk(folder / "disk.img", folder / "mounted")
    disk.at.mkdir()
    make_disk(disk.image)
    args: list[str | Path] = ["-m", "tests.bench.inside", disk.at, stage, json.dumps(counts)]
    path = os.pathsep.join([str(stage), str(ROOT)])
    end = monotonic() + seconds
    with Guest(args, {"PYTHONPATH": path}, disk) as guest:
        done = guest.finish(end - monotonic())
    for line in done.output.splitlines():
        if line.startswith(ROW):
            yield Row(**json.loads(line.removeprefix(ROW)))
        else:
            print(f"bench: {line}")
    if done.status != 0:
        raise SystemExit(f"bench: the guest ended with {done.status}")


def staged(stage: Path) -> Path:
    """relayd as an installation has it: alone in its folder, and compiled."""
    shutil.copytree(ROOT / "relayd", stage / "relayd", ignore=shutil.ignore_patterns("__pycache__"))
    compileall.compile_dir(stage, quiet=1)
    return stage


def main() -> None:
    words = argparse.ArgumentParser(prog="tests/bench/run")
    words.add_argument("--quick", action="store_true", help="tiny counts: is every row there?")
    words.add_argument("--only", default=",".join(PARTS), help=f"of {', '.join(PARTS)}")
    asked = words.parse_args()
    began = monotonic()
    counts = QUICK if asked.quick else FULL
    rows = list(measure(asked.only.split(","), counts, 600))
    print(table(rows))
    cores = os.cpu_count()
    print(f"\n{monotonic() - began:.0f} s, {cores} cores, Python {sys.version.split()[0]}", end="")
    print(f", load at the end {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
