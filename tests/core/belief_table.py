"""What is concluded when the alarm circuit dies and the contact moves: `python -m tests.core.belief_table`.

Played on the core, row by row; combinations and edge times with one outcome are one line.
"""

from collections.abc import Iterator
from itertools import groupby

from relayd.core.plan import Follows, Position
from tests.core.power_cut import END, Cause, Cut, Story, Wiring, cuts, told, wirings

HEAD = (
    "without power | circuit | contact moves because | at (s, loss = 0) | row at 30 s"
    " | high level raised at | returned at | loss told at | row at the end"
)


def table() -> list[str]:
    """The table's lines, in Markdown."""
    lines = [f"| {HEAD} |", "|" + " --- |" * (HEAD.count("|") + 1)]
    return lines + list(dict.fromkeys(_lines()))


def _lines() -> Iterator[str]:
    # A contact that closes in alarm: one that opens behaves alike (the tests show it).
    for wiring in wirings():
        if wiring.in_alarm is Position.CLOSED and wiring.follows in (Follows.LEVEL, Follows.HORN):
            for cause, group in groupby(cuts(wiring), key=lambda each: each.cause):
                yield from _spans(wiring, cause, list(group))


def _spans(wiring: Wiring, cause: Cause, group: list[Cut]) -> Iterator[str]:
    stands = wiring.declared + (
        f" (really {wiring.really.value})" if wiring.declared == "unknown" else ""
    )
    circuit = "wired" if wiring.wired else "not wired"
    follows = (
        f", contact follows {wiring.follows.value}"
        if cause in (Cause.FALLS, Cause.SILENCED)
        else ""
    )
    for outcome, run in groupby(group, key=lambda cut: _outcome(cut, told(cut))):
        times = [each.edge for each in run]
        span = f"{times[0]:+g}" if len(times) == 1 else f"{times[0]:+g} to {times[-1]:+g}"
        yield f"| {stands} | {circuit} | {cause.value}{follows} | {span} | {outcome} |"


def _outcome(cut: Cut, story: Story) -> str:
    raised, returned = ([at for at, _ in each] for each in (story.raised, story.returned))
    high = "before" if cut.high_first else _at(raised, cut.edge, 10.05)
    together = bool(raised) and story.circuit[:1] == raised[:1]
    loss = "with high level" if together else _at(story.circuit)
    return f"{story.rows[30.0]} | {high} | {_at(returned, cut.edge, 63.05)} | {loss} | {story.rows[END]}"


def _at(times: list[float], edge: float = 0, usual: float | None = None) -> str:
    """'never', seconds after the loss, or 'edge + usual' where the edge decides."""
    if not times:
        return "never"
    return f"edge + {usual:g}" if round(times[0] - edge, 2) == usual else f"{times[0]:g}"


if __name__ == "__main__":
    print("\n".join(table()))
