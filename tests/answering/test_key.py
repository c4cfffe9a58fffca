"""The key lies in a file of its own that only the unit may read."""

from pathlib import Path

from relayd.answering import key


def test_it_is_made_once_and_kept(tmp_path: Path) -> None:
    first = key.kept(tmp_path)
    assert len(first) == key.LENGTH
    assert key.kept(tmp_path) == first
    assert (tmp_path / key.NAME).stat().st_mode & 0o777 == 0o600


def test_one_that_is_damaged_is_made_anew(tmp_path: Path) -> None:
    (tmp_path / key.NAME).write_bytes(b"short")
    assert len(key.kept(tmp_path)) == key.LENGTH
    assert key.kept(tmp_path) == (tmp_path / key.NAME).read_bytes()


def test_where_it_cannot_be_kept_there_is_one_all_the_same(tmp_path: Path) -> None:
    assert len(key.kept(tmp_path / "nowhere")) == key.LENGTH
