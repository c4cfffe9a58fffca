"""The commands and their options. Each imports what it needs when it is called."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from relayd import __version__
from relayd.cli import asides, panel_work, persons
from relayd.cli.asking import RUN, By, Json, Plan, Run, RunOrUsual, State, ask, person, say, socket
from relayd.errors import RelaydError

MOST = 200
"""Records at once: an answer fits one line of the control socket."""

app = typer.Typer(
    name="relayd",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


class Level(StrEnum):
    """What somebody at the panel says of the water."""

    NORMAL = "normal"
    HIGH = "high"


def _version(asked: bool) -> None:
    if asked:
        print(f"relayd {__version__}")
        raise typer.Exit


@app.callback()
def relayd(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Watches pump panels' alarm contacts and tells people until one of them acknowledges.

    It never controls a pump, and it must never be the only alarm.
    """


@app.command()
def run(plan: Plan = None, state: State = None, run: RunOrUsual = None) -> None:
    """Watch the contacts, here, until told to stop."""
    from relayd import daemon
    from relayd.settings import places

    raise typer.Exit(daemon.main(places(plan=plan, state=state, run=run)))


@app.command()
def check(
    plan: Annotated[
        Path | None, typer.Argument(metavar="PLAN", envvar="RELAYD_PLAN", help="The plan's file.")
    ] = None,
    json: Json = False,
) -> None:
    """Say all that is wrong with a plan; exit 1 if refused."""
    from relayd.cli.check import check

    raise typer.Exit(check(plan, json))


@app.command()
def status(
    panel: Annotated[str | None, typer.Argument(help="Only this panel.")] = None,
    run: Run = RUN,
    json: Json = False,
) -> None:
    """Show panels, inputs and open alarms, and who was told."""
    from relayd.cli import out
    from relayd.cli.status import lines

    told = ask(run, "status", {"panel": panel} if panel else {})
    if panel:
        told = _only(told, panel)
    out.show_json(told) if json else out.show(lines(told))


@app.command()
def ack(
    what: Annotated[
        str | None,
        typer.Argument(
            metavar="[PANEL|OCCURRENCE]",
            help="Where, or which one; not needed if only one place has open alarms.",
        ),
    ] = None,
    by: By = None,
    taken: Annotated[
        bool | None,
        typer.Option(
            "--taken/--seen",
            help="You have it; or you noticed it, and others are told on.",
            show_default=False,
        ),
    ] = None,
    until: Annotated[
        str | None, typer.Option("--until", metavar="HH:MM", help="You have it until then.")
    ] = None,
    within: Annotated[
        str | None,
        typer.Option(
            "--within", metavar="TIME", help="You have it for that long, such as '45 min'."
        ),
    ] = None,
    run: Run = RUN,
) -> None:
    """Say that you have seen an alarm, or that you have it."""
    from relayd.cli import acknowledge

    asked = acknowledge.asked(what, taken, until, within, lambda: ask(run, "status", {}))
    say(ask(run, "acknowledge", asked, person(by)))


@app.command()
def looked(
    panel: Annotated[str, typer.Argument(help="The panel at which you are.")],
    level: Annotated[
        Level, typer.Option("--level", help="The water is below the alarm float, or it is not.")
    ],
    by: By = None,
    run: Run = RUN,
) -> None:
    """Say what you saw of the water at a panel."""
    say(ask(run, "looked", {"panel": panel, "level": level.value}, person(by)))


for _commands in (asides.app, panel_work.app, persons.app):
    app.registered_commands += _commands.registered_commands


@app.command()
def log(
    panel: Annotated[str | None, typer.Option("--panel", help="Only this panel.")] = None,
    since: Annotated[
        str | None,
        typer.Option(
            "--since", metavar="TIME", help="From then on: 02:10, 2026-11-24, or '2 h' ago."
        ),
    ] = None,
    last: Annotated[int, typer.Option("--last", min=1, max=MOST, help="At most so many.")] = 50,
    why: Annotated[bool, typer.Option("--why", help="Why is nobody told right now?")] = False,
    follow: Annotated[bool, typer.Option("--follow", help="Go on as things happen.")] = False,
    run: Run = RUN,
    json: Json = False,
) -> None:
    """Show what happened and what was decided, in its order."""
    from relayd.cli import journal

    if why:
        journal.why(socket(run), panel, json)
    else:
        journal.show(socket(run), panel, since, last, json)
        if follow:
            journal.follow(socket(run), panel, json)


@app.command()
def tree(
    plan: Annotated[
        Path | None, typer.Argument(metavar="PLAN", envvar="RELAYD_PLAN", help="The plan's file.")
    ] = None,
    collected: Annotated[
        Path | None,
        typer.Option(
            "--collected",
            metavar="FILE",
            help="Instead of a plan: lines 'topic payload' of a subscriber; - reads standard input.",
        ),
    ] = None,
    check: Annotated[
        bool, typer.Option("--check", help="Say what in it breaks the Homie convention; exit 1.")
    ] = False,
    json: Json = False,
) -> None:
    """Show the topics that a broker gets from a plan."""
    from relayd.cli.tree import tree

    raise typer.Exit(tree(plan, collected, check, json))


@app.command()
def reload(run: Run = RUN) -> None:
    """Let the daemon use the plan that is on the disk now."""
    say(ask(run, "reload", {}))


@app.command()
def adopt(run: Run = RUN) -> None:
    """Say that this memory card belongs to this board from now on."""
    say(ask(run, "adopt", {}))


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The new file; it is made 0600.")],
    state: State = None,
    run: Run = RUN,
) -> None:
    """Copy the journal into a file; the daemon may go on."""
    from relayd.cli import keeping

    keeping.backup(file, state, socket(run))


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="What 'relayd backup' made.")],
    state: State = None,
) -> None:
    """Put a backup in the journal's place; stop the daemon first."""
    from relayd.cli import keeping

    keeping.restore(file, state)


@app.command()
def demo(
    script: Annotated[
        bool, typer.Option("--script", help="Play the story by itself instead of taking keys.")
    ] = False,
) -> None:
    """Show the real daemon at work, without any hardware."""
    from relayd import demo

    raise typer.Exit(demo.main(script))


def _only(told: dict[str, object], panel: str) -> dict[str, object]:
    from relayd.cli.tell import parts, text

    known = parts(told, "panels")
    found = [each for each in known if text(each, "id") == panel]
    if not found:
        names = ", ".join(text(each, "id") for each in known)
        raise RelaydError(f"no panel is called '{panel}'; the plan knows: {names}")
    return {"panels": found}
