"""Who would be told now and next, in lines for people."""

from collections.abc import Iterator

from relayd.cli.out import Line, Tone
from relayd.cli.tell import Told, names, part, parts, text


def lines(told: Told) -> Iterator[Line]:
    """One call list after the other, step by step."""
    for each in parts(told, "lists"):
        head = f"a {text(each, 'priority')} alarm at {text(each, 'place')} that began now"
        yield Line(head, Tone.HEAD)
        steps = parts(each, "steps")
        if not any(names(step, "who") for step in steps):
            yield Line("  nobody would be told", Tone.WARN)
        for number, step in enumerate(steps, 1):
            yield _step(number, step)


def _step(number: int, step: Told) -> Line:
    when = text(step, "in")
    when = when if when == "now" else f"after {when}"
    waits = ", ".join(f"held for {who} {end}" for who, end in part(step, "held").items())
    who = names(step, "who") or "nobody on duty"
    said = f"  step {number}, {when}: {who}"
    return Line(f"{said} ({waits})" if waits else said)
