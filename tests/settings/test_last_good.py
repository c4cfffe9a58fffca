"""A plan that was good once is kept, and used when the plan of today is not."""

import os
import stat
from pathlib import Path

import pytest

from relayd.errors import PlanRefused
from relayd.settings import LAST_GOOD, Places, load, load_or_last_good, remember
from tests.settings.plans import SOUND, WALL, changed, loaded, written

BAD = changed(('"sewage-ejector"', '"sewer"'))


def places(folder: Path) -> Places:
    return Places(plan=folder / "plan.toml", credentials=folder, state=folder, run=folder)


def kept(folder: Path, text: str) -> Path:
    return remember(loaded(folder, text), folder)


def test_a_good_plan_is_used_and_nothing_is_refused(tmp_path: Path) -> None:
    kept(tmp_path, SOUND.replace('"Cabin"', '"Old"'))
    written(tmp_path, SOUND)
    found, refused = load_or_last_good(places(tmp_path), WALL)
    assert found.plan.unit_name == "Cabin"
    assert refused is None


def test_a_bad_plan_gives_the_last_good_one_and_why(tmp_path: Path) -> None:
    kept(tmp_path, SOUND)
    written(tmp_path, BAD)
    found, refused = load_or_last_good(places(tmp_path), WALL)
    assert found.plan == loaded(tmp_path, SOUND).plan
    assert refused is not None
    assert [each.split(": ")[1] for each in refused.problems] == ["panel.kind"]


def test_a_plan_that_is_gone_gives_the_last_good_one(tmp_path: Path) -> None:
    kept(tmp_path, SOUND)
    (tmp_path / "plan.toml").unlink()
    found, refused = load_or_last_good(places(tmp_path), WALL)
    assert found.plan.unit == "cabin"
    assert refused is not None


def test_without_a_last_good_one_the_plan_is_refused(tmp_path: Path) -> None:
    written(tmp_path, BAD)
    with pytest.raises(PlanRefused) as refused:
        load_or_last_good(places(tmp_path), WALL)
    assert len(refused.value.problems) == 1


def test_if_both_are_bad_the_faults_of_both_are_told(tmp_path: Path) -> None:
    written(tmp_path, BAD)
    (tmp_path / LAST_GOOD).write_text("[")
    with pytest.raises(PlanRefused) as refused:
        load_or_last_good(places(tmp_path), WALL)
    files = [Path(each.split(":")[0]).name for each in refused.value.problems]
    assert files == ["plan.toml", LAST_GOOD]


def test_a_lost_credential_does_not_silence_the_other_ways(tmp_path: Path) -> None:
    (tmp_path / "anna-mail").write_text("mailto://mail.example.org")
    (tmp_path / "anna-mail").chmod(0o600)
    text = changed(('address = "mailto://mail.example.org"', 'address_from = "anna-mail"'))
    kept(tmp_path, text)
    (tmp_path / "anna-mail").unlink()
    found, refused = load_or_last_good(places(tmp_path), WALL)
    assert refused is not None
    assert found.plan.people["anna"].channels == ()
    assert found.plan.channels == {"ben.push": "ben"}
    assert list(found.rig.addresses) == ["ben.push"]
    assert any("there is no file of that name" in each for each in found.warnings)


def test_a_lost_password_costs_the_broker_and_no_person(tmp_path: Path) -> None:
    (tmp_path / "pass").write_text("hunter2")
    (tmp_path / "pass").chmod(0o600)
    kept(tmp_path, changed(("[mqtt]", '[mqtt]\nuser = "unit"\npassword_from = "pass"')))
    (tmp_path / "pass").unlink()
    found, _ = load_or_last_good(places(tmp_path), WALL)
    assert found.rig.brokers == ()
    assert len(found.rig.addresses) == 2


def test_a_call_list_that_reaches_nobody_any_more_is_not_forgiven(tmp_path: Path) -> None:
    text = changed(
        ('address = "mailto://mail.example.org"', 'address_from = "a"'),
        ('address = "json://push.example.org"', 'address_from = "b"'),
    )
    path = written(tmp_path, text)
    with pytest.raises(PlanRefused) as refused:
        load(path, tmp_path, wall=WALL, forgiving=True)
    assert len(refused.value.problems) == 2


def test_the_last_good_plan_is_ours_alone_and_whole(tmp_path: Path) -> None:
    path = kept(tmp_path, SOUND)
    assert path == tmp_path / LAST_GOOD
    assert path.read_text() == SOUND
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_what_was_validated_is_kept_and_not_what_the_file_says_later(tmp_path: Path) -> None:
    good = loaded(tmp_path, SOUND)
    written(tmp_path, BAD)
    assert remember(good, tmp_path).read_text() == SOUND


def test_the_same_plan_is_not_written_again(tmp_path: Path) -> None:
    first = kept(tmp_path, SOUND).stat().st_ino
    assert kept(tmp_path, SOUND).stat().st_ino == first


def test_a_copy_that_others_may_read_is_written_anew(tmp_path: Path) -> None:
    kept(tmp_path, SOUND).chmod(0o644)
    assert stat.S_IMODE(kept(tmp_path, SOUND).stat().st_mode) == 0o600


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_fault_while_writing_leaves_the_old_plan_and_no_litter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    kept(tmp_path, SOUND)
    newer = loaded(tmp_path, changed(('"Cabin"', '"Hut"')))

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, step, full)
    with pytest.raises(OSError, match="No space"):
        remember(newer, tmp_path)
    assert (tmp_path / LAST_GOOD).read_text() == SOUND
    assert sorted(each.name for each in tmp_path.iterdir()) == [LAST_GOOD, "plan.toml"]


def test_a_plan_with_windows_line_ends_is_kept_byte_for_byte(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(SOUND.replace("\n", "\r\n").encode())
    kept_file = remember(load(path, tmp_path, wall=WALL), tmp_path)
    assert kept_file.read_bytes() == path.read_bytes()
