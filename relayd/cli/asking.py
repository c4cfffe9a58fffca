"""What the commands share: their options, and one question to the daemon."""

from pathlib import Path
from typing import Annotated, Any

import typer

from relayd.errors import Usage

RUN = Path("/run/relayd")
"""Where the control socket lies, if nothing else is said (the plan's loader has the same)."""
Plan = Annotated[Path | None, typer.Option("--plan", envvar="RELAYD_PLAN", help="The plan's file.")]
State = Annotated[
    Path | None, typer.Option("--state", envvar="RELAYD_STATE", help="The journal's folder.")
]
_RUN = typer.Option("--run", envvar="RELAYD_RUN", help="The control socket's folder.")
Run = Annotated[Path, _RUN]
RunOrUsual = Annotated[Path | None, _RUN]
Json = Annotated[bool, typer.Option("--json", help="Print JSON, for programs.")]
By = Annotated[
    str | None, typer.Option("--by", envvar="RELAYD_PERSON", help="Who you are: a person's id.")
]
Until = Annotated[
    str | None, typer.Option("--until", metavar="HH:MM", help="Until then, at the site's clock.")
]
Within = Annotated[
    str | None, typer.Option("--within", metavar="TIME", help="For that long, such as '4 h'.")
]
Why = Annotated[str, typer.Option("--why", metavar="TEXT", help="Why, for whoever asks later.")]
Place = Annotated[str, typer.Argument(metavar="PANEL", help="The panel's id, or the unit's.")]


def socket(run: Path) -> Path:
    """The control socket in that folder."""
    return run / "control.sock"


def ask(run: Path, do: str, what: dict[str, Any], by: str | None = None) -> dict[str, object]:
    """The daemon's answer. Raises Refused, NotReachable."""
    from relayd.control import client

    return client.ask(socket(run), do, what, by)


def say(answer: dict[str, object]) -> None:
    """Print what was done."""
    from relayd.cli.out import Line, show

    show([Line(str(answer.get("say", "done")))])


def person(by: str | None) -> str:
    """Who asks. Raises Usage where nobody said."""
    if not by:
        raise Usage("who are you? Add --by and your id from the plan, or set RELAYD_PERSON to it")
    return by


def end(until: str | None, within: str | None, run: Path) -> dict[str, object]:
    """The end that was given, as the daemon takes it; none where none was. Raises Usage."""
    from relayd.cli import acknowledge

    if until is None and within is None:
        return {}
    return acknowledge.time(until, within, lambda: ask(run, "status", {}))


def tell(run: Path, do: str, what: dict[str, Any], by: str | None) -> None:
    """Ask for it in a person's name and print what was done; what is blank is left out."""
    given = {key: value for key, value in what.items() if value not in ("", None, [])}
    say(ask(run, do, given, person(by)))
