"""A thread that died is started again once; one that hangs is told, once."""

from relayd.core.events import FaultFound
from relayd.core.plan import SECOND
from relayd.supervision.threads import Guarded, Threads


class Part:
    """A part whose thread a test ends and starts."""

    def __init__(self, mends: bool = True) -> None:
        self.lives, self.mends, self.starts, self.turned = True, mends, 0, 0

    def alive(self) -> bool:
        return self.lives

    def beat(self) -> int:
        return self.turned

    def start(self) -> None:
        self.starts += 1
        if not self.mends:
            raise RuntimeError("no more threads")
        self.lives = True


def watched(part: Part, restart: bool = True) -> tuple[Threads, list[FaultFound]]:
    told: list[FaultFound] = []
    guarded = Guarded(lambda: part, part.start if restart else None, part.beat, 60 * SECOND)
    return Threads({"sender": guarded}, told.append), told


def test_a_thread_that_lives_and_turns_is_nothing_to_tell() -> None:
    part = Part()
    threads, told = watched(part)
    assert threads.look(10 * SECOND) == []
    assert (told, part.starts) == ([], 0)


def test_a_dead_thread_is_started_again_once_and_then_only_a_new_process_helps() -> None:
    part = Part()
    threads, told = watched(part)
    part.lives = False
    assert threads.look(0) == []
    assert told == [FaultFound("sender", "its thread died; started again")]
    assert threads.look(1) == []
    part.lives = False
    assert threads.look(2) == ["sender"]
    assert part.starts == 1
    assert len(told) == 1


def test_a_thread_that_cannot_be_started_again_is_dead() -> None:
    part = Part(mends=False)
    threads, told = watched(part)
    part.lives = False
    assert threads.look(0) == ["sender"]
    assert told[0].what == "its thread died and cannot be started again: no more threads"


def test_a_part_that_knows_no_second_life_is_dead_at_once() -> None:
    part = Part()
    threads, told = watched(part, restart=False)
    part.lives = False
    assert threads.look(0) == ["sender"]
    assert told == []


def test_a_thread_that_hangs_is_told_once_until_it_turns_again() -> None:
    part = Part()
    threads, told = watched(part)
    for second in (60, 61, 62, 200):
        threads.look(second * SECOND)
    assert told == [FaultFound("sender", "its thread has not turned for 61 s")]
    part.turned = 200 * SECOND
    threads.look(201 * SECOND)
    threads.look(261 * SECOND)
    assert len(told) == 2
