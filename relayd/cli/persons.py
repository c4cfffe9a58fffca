"""`relayd away`, `back`, `who`: who is told, and who is not."""

from enum import StrEnum
from typing import Annotated

import typer

from relayd.cli.asking import RUN, By, Json, Run, Until, Within, ask, end, tell

app = typer.Typer()

Whom = Annotated[str, typer.Argument(metavar="PERSON", help="Whose id; often your own.")]


class Priority(StrEnum):
    """How urgent an alarm would be."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


@app.command()
def away(
    whom: Whom,
    until: Until = None,
    within: Within = None,
    stand_in: Annotated[
        str, typer.Option("--stand-in", metavar="PERSON", help="Who is told instead.")
    ] = "",
    by: By = None,
    run: Run = RUN,
) -> None:
    """Say who is away, until when, and who stands in."""
    asked = {"person": whom, "stand-in": stand_in}
    tell(run, "away", asked | end(until, within, run), by)


@app.command()
def back(whom: Whom, by: By = None, run: Run = RUN) -> None:
    """Say that a person is there again."""
    tell(run, "back", {"person": whom}, by)


@app.command()
def who(
    panel: Annotated[str, typer.Argument(help="At this panel; else of the unit itself.")] = "",
    priority: Annotated[
        Priority | None, typer.Option("--priority", help="Only of this priority.")
    ] = None,
    run: Run = RUN,
    json: Json = False,
) -> None:
    """Show who would be told of an alarm now, and who next."""
    from relayd.cli import out
    from relayd.cli.foreseen import lines

    asked = {"panel": panel} if panel else {}
    told = ask(run, "who", asked | ({"priority": priority.value} if priority else {}))
    out.show_json(told) if json else out.show(lines(told))
