"""A memory card belongs to the board it was made on: the same board, another one, and doubt."""

import json
import os
import shutil
import stat
from pathlib import Path

import pytest

from relayd.supervision.identity import NAME, Standing, adopt, standing

SERIAL = "sys/firmware/devicetree/base/serial-number"


class Board:
    """The root of one board; `serial` with the zero byte that a device tree ends it with."""

    def __init__(self, root: Path, serial: str = "", nets: tuple[str, ...] = ()) -> None:
        self.root = root
        root.mkdir()
        if serial:
            self._write(SERIAL, f"{serial}\0")
        self._write("etc/machine-id", "ab" * 16)
        for number, address in enumerate(nets):
            self.net(f"eth{number}", address)

    def net(self, name: str, address: str, bus: str = "platform") -> None:
        device = self.root / "devices" / bus / name
        device.mkdir(parents=True)
        self._write(f"sys/class/net/{name}/address", address)
        (self.root / "sys/class/net" / name / "device").symlink_to(device)

    def _write(self, name: str, text: str) -> None:
        path = self.root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)


@pytest.fixture
def state(tmp_path: Path) -> Path:
    made = tmp_path / "state"
    made.mkdir()
    return made


def test_the_first_start_makes_a_secret_that_only_we_may_read(state: Path, tmp_path: Path) -> None:
    board = Board(tmp_path / "a", "100000004c5d6e7f", ("02:00:00:00:00:01",))
    assert standing(state, board.root) == Standing(False, True, "serial")
    path = state / NAME
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    told = path.read_text()
    assert len(json.loads(told)["secret"]) == 64
    assert "4c5d6e7f" not in told
    assert "02:00" not in told
    assert sorted(each.name for each in state.iterdir()) == [NAME]


def test_two_first_starts_make_two_secrets(tmp_path: Path) -> None:
    board = Board(tmp_path / "a", "1")
    for each in ("x", "y"):
        (tmp_path / each).mkdir()
        standing(tmp_path / each, board.root)
    assert (tmp_path / "x" / NAME).read_text() != (tmp_path / "y" / NAME).read_text()


@pytest.mark.parametrize(
    ("serial", "nets", "by"),
    [("77", (), "serial"), ("", ("02:00:00:00:00:01",), "network"), ("", (), "machine-id")],
)
def test_the_same_board_is_known_again(
    state: Path, tmp_path: Path, serial: str, nets: tuple[str, ...], by: str
) -> None:
    board = Board(tmp_path / "a", serial, nets)
    standing(state, board.root)
    before = (state / NAME).read_text()
    assert standing(state, board.root) == Standing(False, True, by)
    assert (state / NAME).read_text() == before


@pytest.mark.parametrize(
    ("serial", "nets", "by"),
    [("78", (), "serial"), ("", ("02:00:00:00:00:02",), "network")],
)
def test_a_copied_card_is_known_though_it_brings_its_machine_id_along(
    state: Path, tmp_path: Path, serial: str, nets: tuple[str, ...], by: str
) -> None:
    first = Board(tmp_path / "a", serial and "77", ("02:00:00:00:00:01",) if nets else ())
    other = Board(tmp_path / "b", serial, nets)
    standing(state, first.root)
    assert standing(state, other.root) == Standing(True, True, by)
    assert standing(state, first.root) == Standing(False, True, by)


def test_adopted_it_belongs_to_the_new_board_and_no_longer_to_the_old_one(
    state: Path, tmp_path: Path
) -> None:
    first, other = Board(tmp_path / "a", "77"), Board(tmp_path / "b", "78")
    standing(state, first.root)
    before = json.loads((state / NAME).read_text())["secret"]
    assert adopt(state, other.root)
    assert not standing(state, other.root).copied
    assert standing(state, first.root).copied
    assert json.loads((state / NAME).read_text())["secret"] != before


def test_an_interface_that_comes_late_or_hangs_on_a_cable_makes_no_other_board(
    state: Path, tmp_path: Path
) -> None:
    board = Board(tmp_path / "a", nets=("02:00:00:00:00:01",))
    standing(state, board.root)
    board.net("wlan0", "02:00:00:00:00:09")
    board.net("usb0", "02:00:00:00:00:0a", bus="usb1")
    assert not standing(state, board.root).copied
    shutil.rmtree(board.root / "sys/class/net/eth0")
    # All that was known has gone, and the one that is there was never seen: that is another board.
    assert standing(state, board.root) == Standing(True, True, "network")
    shutil.rmtree(board.root / "sys/class/net/wlan0")
    # With none at all the weaker mark decides: no proof of another board.
    assert standing(state, board.root) == Standing(False, True, "machine-id")


def test_where_nothing_tells_boards_apart_no_card_is_called_copied(
    state: Path, tmp_path: Path
) -> None:
    bare = tmp_path / "bare"
    bare.mkdir()
    assert standing(state, bare) == Standing(False, True, "")
    assert standing(state, bare) == Standing(False, True, "")


@pytest.mark.parametrize(
    "text",
    [
        *("", "{}", "[]", "null", '{"secret": "zz", "board": {}}', '{"secret": "ab", "board": {}}'),
        *('{"secret": 3, "board": {}}', f'{{"secret": "{"ab" * 32}", "board": {{"serial": 3}}}}'),
    ],
)
def test_an_identity_that_cannot_be_read_is_left_as_it_is_and_silences_nothing(
    state: Path, tmp_path: Path, text: str
) -> None:
    (state / NAME).write_text(text)
    assert standing(state, Board(tmp_path / "a", "77").root) == Standing(False, False)
    assert (state / NAME).read_text() == text


def test_a_disk_that_takes_nothing_is_said(state: Path, tmp_path: Path) -> None:
    assert standing(state / "nowhere", Board(tmp_path / "a", "77").root) == Standing(
        False, False, "serial"
    )
    assert not adopt(state / "nowhere")


def test_a_crash_while_it_is_adopted_leaves_the_old_one(
    state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    board = Board(tmp_path / "a", "77")
    standing(state, board.root)
    before = (state / NAME).read_text()

    def full(*_: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr(os, "fsync", full)
    assert not adopt(state, board.root)
    assert (state / NAME).read_text() == before
