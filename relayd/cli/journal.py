"""`relayd log`: records of the journal, why it is quiet, and what happens from now on."""

from collections.abc import Iterator
from datetime import UTC
from pathlib import Path

from relayd import clock
from relayd.cli import out, records, times
from relayd.cli.out import Line, Tone
from relayd.cli.tell import Told, number, part, parts, text
from relayd.control import client


def show(socket: Path, panel: str | None, since: str | None, last: int, json: bool) -> None:
    """Print the last records, those of one panel or since a time if asked. Raises RelaydError."""
    name = text(part(client.ask(socket, "status"), "unit"), "zone")
    asked: dict[str, object] = {"last": last}
    if panel:
        asked["panel"] = panel
    if since is not None:
        asked["since"] = times.past(since, times.site_zone(name), clock.now(False).wall)
    answer = client.ask(socket, "log", asked)
    if json:
        out.show_json(answer)
        return
    out.show(records.lines(answer, times.site_zone(name) if name else UTC))
    if len(parts(answer, "records")) >= last:
        out.show([Line(f"(only the last {last}; --last shows more)", Tone.QUIET)])


def why(socket: Path, panel: str | None, json: bool) -> None:
    """Print why nobody is told right now. Raises RelaydError."""
    answer = client.ask(socket, "why", {"panel": panel} if panel else {})
    out.show_json(answer) if json else out.show(records.why_lines(answer))


def follow(socket: Path, panel: str | None, json: bool) -> None:
    """Print what happens until somebody presses Ctrl-C. Raises NotReachable when the daemon ends."""
    try:
        for event in _events(socket, panel):
            out.show_json_line(event) if json else out.show([records.line(event)])
    except KeyboardInterrupt:
        # That is how one leaves it.
        return


def _events(socket: Path, panel: str | None) -> Iterator[Told]:
    for event in client.follow(socket):
        about = text(event, "subject") or text(event, "input")
        mine = about == f"panel:{panel}" or about.startswith(f"{panel}.")
        if panel is None or mine or number(event, "missed"):
            yield event
