"""`relayd visit`, `horn-wire` and their like: what people do at a panel, and what they leave."""

from enum import StrEnum
from typing import Annotated

import typer

from relayd.cli.asking import RUN, By, Place, Run, Until, Why, Within, end, tell
from relayd.errors import Usage

app = typer.Typer()

Key = Annotated[
    str, typer.Argument(help="The loose end, as status calls it, such as horn-wire or in-off-2.")
]


class Wire(StrEnum):
    """What is said of the horn's wire."""

    OFF = "off"
    BACK = "back"


@app.command("horn-wire")
def horn_wire(
    panel: Place,
    wire: Annotated[Wire, typer.Argument(help="It was taken off, or it is back (or never off).")],
    why: Why = "",
    by: By = None,
    run: Run = RUN,
) -> None:
    """Say that the horn's wire was taken off, or is back."""
    tell(run, "horn-wire", {"panel": panel, "wire": wire.value, "why": why}, by)


@app.command()
def later(
    panel: Place,
    key: Key,
    until: Until = None,
    within: Within = None,
    why: Why = "",
    by: By = None,
    run: Run = RUN,
) -> None:
    """Put a loose end's reminders off, with a reason."""
    asked = {"panel": panel, "key": key, "why": why}
    tell(run, "put-off", asked | end(until, within, run), by)


@app.command()
def settled(panel: Place, key: Key, by: By = None, run: Run = RUN) -> None:
    """Say that a loose end is done away with."""
    tell(run, "settled", {"panel": panel, "key": key}, by)


@app.command()
def visit(
    panel: Place,
    within: Within = None,
    extend: Annotated[bool, typer.Option("--extend", help="You stay longer.")] = False,
    over: Annotated[bool, typer.Option("--end", help="You leave.")] = False,
    left: Annotated[
        list[str] | None,
        typer.Option(
            "--left", metavar="KEY", help="With --end: this stays as it is; again for more."
        ),
    ] = None,
    why: Why = "",
    by: By = None,
    run: Run = RUN,
) -> None:
    """Say that you work at a panel, stay there, or leave."""
    if extend and over:
        raise Usage("give --extend or --end, not both")
    if over and within is not None:
        raise Usage("--within goes with a visit that begins or goes on: --end is now")
    if (left or why) and not over:
        raise Usage("--left and --why go with --end")
    stage = "end" if over else "extend" if extend else "begin"
    asked = {"panel": panel, "stage": stage, "left": list(left or ()), "why": why}
    tell(run, "visit", asked | end(None, within, run), by)
