"""`relayd shelve` and its like: alarms put aside, brought back, let go."""

from typing import Annotated

import typer

from relayd.cli.asking import RUN, By, Place, Run, Until, Why, Within, end, tell

app = typer.Typer()

Condition = Annotated[str, typer.Argument(help="The alarm's condition, such as high-level.")]
AnyCondition = Annotated[
    str, typer.Argument(help="Only this condition, such as high-level; else the whole panel.")
]


@app.command()
def shelve(
    panel: Place,
    condition: Condition,
    until: Until = None,
    within: Within = None,
    why: Why = "",
    by: By = None,
    run: Run = RUN,
) -> None:
    """Pause one alarm until a time that you say.

    It is watched and recorded on, and nobody is told of it.
    """
    asked = {"panel": panel, "condition": condition, "why": why}
    tell(run, "shelve", asked | end(until, within, run), by)


@app.command()
def unshelve(panel: Place, condition: Condition, by: By = None, run: Run = RUN) -> None:
    """End a pause now."""
    tell(run, "unshelve", {"panel": panel, "condition": condition}, by)


@app.command("out-of-service")
def out_of_service(
    panel: Place,
    condition: AnyCondition = "",
    until: Until = None,
    within: Within = None,
    why: Why = "",
    by: By = None,
    run: Run = RUN,
) -> None:
    """Take an alarm or a panel out of service, until a time."""
    asked = {"panel": panel, "condition": condition, "why": why}
    tell(run, "out-of-service", asked | end(until, within, run), by)


@app.command("in-service")
def in_service(panel: Place, condition: AnyCondition = "", by: By = None, run: Run = RUN) -> None:
    """Return it to service now."""
    tell(run, "in-service", {"panel": panel, "condition": condition}, by)


@app.command()
def reset(panel: Place, condition: AnyCondition = "", by: By = None, run: Run = RUN) -> None:
    """Let go alarms that stay until reset.

    The panel itself is reset at the panel alone.
    """
    tell(run, "reset", {"panel": panel, "condition": condition}, by)
