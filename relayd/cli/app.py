"""The commands and their options. Each imports what it needs when it is called."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from relayd import __version__
from relayd.errors import RelaydError, Usage

RUN = Path("/run/relayd")
"""Where the control socket lies, if nothing else is said (the plan's loader has the same)."""
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
    """Say all that is wrong with a plan; exit 1 if it is refused."""
    from relayd.cli.check import check

    raise typer.Exit(check(plan, json))


@app.command()
def status(
    panel: Annotated[str | None, typer.Argument(help="Only this panel.")] = None,
    run: Run = RUN,
    json: Json = False,
) -> None:
    """Show panels, inputs and open alarms, and who has been told."""
    from relayd.cli import out
    from relayd.cli.status import lines

    told = _ask(run, "status", {"panel": panel} if panel else {})
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
    """Acknowledge: say that you have seen an alarm, or that you have it."""
    from relayd.cli import acknowledge

    asked = acknowledge.asked(what, taken, until, within, lambda: _ask(run, "status", {}))
    _say(_ask(run, "acknowledge", asked, _person(by)))


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
    _say(_ask(run, "looked", {"panel": panel, "level": level.value}, _person(by)))


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
    """Show what happened and what was decided, in the order it was."""
    from relayd.cli import journal

    if why:
        journal.why(_socket(run), panel, json)
    else:
        journal.show(_socket(run), panel, since, last, json)
        if follow:
            journal.follow(_socket(run), panel, json)


@app.command()
def reload(run: Run = RUN) -> None:
    """Let the daemon use the plan that is on the disk now."""
    _say(_ask(run, "reload", {}))


@app.command()
def demo(
    script: Annotated[
        bool, typer.Option("--script", help="Play the story by itself instead of taking keys.")
    ] = False,
) -> None:
    """Show the real daemon at work, without any hardware."""
    from relayd import demo

    raise typer.Exit(demo.main(script))


def _socket(run: Path) -> Path:
    return run / "control.sock"


def _ask(run: Path, do: str, what: dict[str, Any], by: str | None = None) -> dict[str, object]:
    from relayd.control.client import ask

    return ask(_socket(run), do, what, by)


def _say(answer: dict[str, object]) -> None:
    from relayd.cli.out import Line, show

    show([Line(str(answer.get("say", "done")))])


def _person(by: str | None) -> str:
    if not by:
        raise Usage("who are you? Add --by and your id from the plan, or set RELAYD_PERSON to it")
    return by


def _only(told: dict[str, object], panel: str) -> dict[str, object]:
    from relayd.cli.tell import parts, text

    known = parts(told, "panels")
    found = [each for each in known if text(each, "id") == panel]
    if not found:
        names = ", ".join(text(each, "id") for each in known)
        raise RelaydError(f"no panel is called '{panel}'; the plan knows: {names}")
    return {"panels": found}
