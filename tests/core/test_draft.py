"""The workbench of one step: what did not change stays the same object, numbers are given once."""

from dataclasses import replace

from relayd.core.draft import UNIT, Draft
from relayd.core.effects import Publish, Record
from relayd.core.state import State, Subject, outside_id
from tests.core.world import World, plan


def bench() -> Draft:
    world = World(plan())
    return Draft(world.plan, world.state, world.now())


def test_a_step_that_did_nothing_changes_nothing() -> None:
    draft = bench()
    before = State("k3f9ab")
    state, effects = draft.finished()
    assert effects == ()
    assert state == before


def test_an_equal_subject_put_again_is_no_change() -> None:
    draft = bench()
    draft.put(Subject(UNIT))
    kept = draft.subjects[UNIT]
    draft.put(Subject(UNIT))
    assert draft.subjects[UNIT] is kept


def test_a_changed_subject_is_published_after_all_else_and_dates_the_state() -> None:
    draft = bench()
    draft.put(Subject(UNIT, said={"fault-in-relayd": "x"}))
    draft.record("said", UNIT)
    state, effects = draft.finished()
    assert effects == (Record("said", UNIT, {}), Publish(UNIT))
    assert state.stamp == draft.stamp


def test_another_boot_alone_dates_the_state() -> None:
    draft = bench()
    draft.boot = "boot-2"
    state, _ = draft.finished()
    assert (state.boot, state.stamp) == ("boot-2", draft.stamp)


def test_closing_a_notice_that_is_not_open_closes_nothing() -> None:
    draft = bench()
    draft.close_notice(17)
    assert draft.finished()[0].closed == ()


def test_numbers_count_up_and_the_world_sees_them_with_unit_and_epoch() -> None:
    draft = bench()
    assert [draft.number(), draft.number()] == [1, 2]
    state = replace(draft.finished()[0])
    assert state.counter == 2
    assert outside_id("creek-1", state, 2) == draft.ref(2) == "creek-1.k3f9ab.2"
