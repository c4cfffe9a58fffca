"""The demo's story, and its keys."""

import select
import sys
import termios
import tty
from collections.abc import Callable

from relayd.demo.stage import Stage

STEP_PATIENCE = 45.0
HELP = (
    "f  float up or down        a  Anna has seen it (over MQTT)",
    "c  alarm circuit on or off b  Ben has it (command line)",
    "h  horn's wire off or back s  status",
    "                           q  end",
)


def play(stage: Stage) -> int:
    """The whole story without anybody at the keys: 0 where everything came as told, else 1."""
    screen = stage.screen
    missing: list[str] = []

    def expect(where: str, part: str, mark: int) -> None:
        if not screen.wait_for(where, part, mark, STEP_PATIENCE):
            missing.append(f"{where}: {part}")
            screen.say("story", f"this did not come within {STEP_PATIENCE:.0f} s: {where} '{part}'")

    def act(title: str, deed: Callable[[], None], *expected: tuple[str, str]) -> None:
        mark = screen.mark()
        screen.say("story", f"-- {title}")
        deed()
        for where, part in expected:
            expect(where, part, mark)

    act(
        "1. The water rises; Anna is told first.",
        lambda: stage.float_up(True),
        ("alarm", "raised"),
        ("mail", "anna@alder.example: HIGH LEVEL"),
        ("mqtt", "$alert"),
    )
    act(
        "2. Anna has read it. That is seen, not taken: the call list goes on, to Ben.",
        lambda: stage.onlooker.answer(stage.occurrence(), "anna", "seen"),
        ("mqtt", "answer"),
        ("mail", "ben@alder.example: HIGH LEVEL"),
    )
    act(
        "3. Ben takes it: the call list stops, Anna is told who has it.",
        lambda: stage.acknowledge("ben", "taken"),
        ("unit", "Ben has it"),
        ("mail", "anna@alder.example: High level: somebody has it"),
    )
    act(
        "4. Somebody opens the alarm circuit's breaker: told apart from the water that fell.",
        lambda: stage.circuit_on(False),
        ("mail", "anna@alder.example: ALARM CIRCUIT LOST"),
        ("mail", "ben@alder.example: ALARM CIRCUIT LOST"),
    )
    act(
        "5. It is on again, and the alarm still there: was the horn's wire taken off meanwhile?",
        stage.horn_off,
        ("mail", "anna@alder.example: Alarm over: Alarm circuit lost"),
        ("mail", "ben@alder.example: Was the horn's wire taken off?"),
    )
    act(
        "6. Ben says that it was. From now on every message of this panel says so.",
        lambda: stage.horn_wire("ben", "off"),
        ("unit", "is disconnected, by Ben"),
        ("mqtt", "horn/standing = disconnected"),
    )
    act(
        "7. The water falls: those who were told hear that it is over, and what is still undone.",
        lambda: stage.float_up(False),
        ("alarm", "returned"),
        ("mail", "anna@alder.example: Alarm over: High level"),
        ("mail", "ben@alder.example: Alarm over: High level"),
    )
    act(
        "8. Ben puts the wire back. Whether the horn sounds is not known until it was heard.",
        lambda: stage.horn_wire("ben", "back"),
        ("unit", "until it has been heard"),
        ("mqtt", "horn/standing = not-known"),
    )
    screen.say("story", "end" if not missing else f"{len(missing)} things did not come as told")
    return 1 if missing else 0


def keys(stage: Stage) -> int:
    """Let somebody play: one key a deed."""
    screen = stage.screen
    if not sys.stdin.isatty():
        screen.say("story", "no keyboard here: use --script")
        return 2
    screen.say("story", "keys:", HELP)
    deeds = _deeds(stage)
    before = termios.tcgetattr(sys.stdin)
    tty.setcbreak(sys.stdin)
    try:
        while True:
            select.select([sys.stdin], [], [])
            key = sys.stdin.read(1)
            if key in ("q", "\x04"):
                return 0
            deeds.get(key, lambda: screen.say("story", "keys:", HELP))()
    finally:
        termios.tcsetattr(sys.stdin, termios.TCSADRAIN, before)


def _deeds(stage: Stage) -> dict[str, Callable[[], None]]:
    """Key -> what it does."""
    return {
        "f": lambda: stage.float_up(not stage.up),
        "c": lambda: stage.circuit_on(not stage.on),
        "a": lambda: stage.onlooker.answer(stage.occurrence(), "anna", "seen"),
        "b": lambda: stage.acknowledge("ben", "taken"),
        "h": lambda: stage.horn_wire("ben", "back" if stage.wire == "off" else "off"),
        "s": stage.show_status,
    }
