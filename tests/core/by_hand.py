"""Acts of the life cycle done straight on a world's state, as a command would have them done."""

from collections.abc import Callable
from dataclasses import replace

from relayd.core.draft import Draft
from relayd.core.effects import Tell
from relayd.core.events import Outcome, Sent, TimePassed
from relayd.core.life import lifecycle, marks
from relayd.core.plan import seconds
from relayd.core.refusal import Refused
from relayd.core.state import Live
from tests.core.world import World

CABIN = "panel:cabin"


def act(world: World, do: Callable[[Draft], Refused | None], subject: str = CABIN) -> str:
    """Do it in one step; the code of its refusal, '' where it was done."""
    draft = Draft(world.plan, world.state, world.now())
    refused = do(draft)
    if refused is not None:
        assert draft.effects == [], "a refused wish changed something"
        assert refused.say
        return refused.code
    draft.put_live(subject, replace(draft.live.get(subject, Live()), due=world.up))
    world.state, effects = draft.finished()
    world.made |= world.state.notices
    world.effects += [(world.up, each) for each in effects]
    world.give(TimePassed())
    for effect in effects:
        if isinstance(effect, Tell) and effect.channel not in world.deaf:
            world.give(Sent(effect.send, Outcome.TAKEN))
    return ""


def shelve(world: World, condition: str, for_s: float, by: str = "ben", why: str = "") -> str:
    """Shelve it for so many seconds."""
    until = world.up + seconds(for_s)
    return act(world, lambda draft: marks.shelve(draft, CABIN, condition, by, until, why))


def unshelve(world: World, condition: str, by: str = "ben") -> str:
    """End its shelving."""
    return act(world, lambda draft: marks.unshelve(draft, CABIN, condition, by))


def take_out(world: World, condition: str, for_s: float, by: str = "ben", why: str = "") -> str:
    """Take it ('' = the panel) out of service for so many seconds."""
    until = world.up + seconds(for_s)
    return act(world, lambda draft: marks.take_out(draft, CABIN, condition, by, until, why))


def put_back(world: World, condition: str, by: str = "ben") -> str:
    """Return it to service."""
    return act(world, lambda draft: marks.put_back(draft, CABIN, condition, by))


def suppress(world: World, condition: str, why: str) -> str:
    """Suppress it by design, as the diagnosis would."""

    def do(draft: Draft) -> None:
        marks.suppress(draft, CABIN, condition, why)

    return act(world, do)


def reset(world: World, condition: str = "", by: str = "ben") -> str:
    """Reset what is latched."""
    return act(world, lambda draft: lifecycle.reset(draft, CABIN, condition, by))


def shown(world: World, condition: str = "high-level") -> str:
    """The state that is shown."""
    owner = world.state.subjects[CABIN]
    alarm = owner.alarms.get(condition)
    return marks.shown(alarm, owner) if alarm else ("OOSRV" if owner.out else "NORM")
