"""The thread that senses posts what has changed, and first of all that all is well."""

from pathlib import Path

import pytest

from relayd.core.events import UnitSensed
from relayd.supervision.senses import Senses
from relayd.supervision.sensing import Sensing
from tests.channels.watcher import Posted


class Script(Senses):
    """Senses that tell what a test wrote, look by look; the last for ever."""

    def __init__(self, *looks: str) -> None:
        super().__init__(Path("/"))
        self._looks, self.count = list(looks), 0

    def look(self) -> list[UnitSensed]:
        self.count += 1
        why = self._looks.pop(0) if len(self._looks) > 1 else self._looks[0]
        return [UnitSensed("unit-hot", why), UnitSensed("unit-disk")]


def test_only_what_changed_is_posted() -> None:
    posted = Posted()
    made = Sensing(Script("", "", "80", "80", "82", ""), posted, every=0.001)
    made.start()
    posted.awaited(UnitSensed, 5)
    made.stop()
    assert posted.of(UnitSensed) == [
        UnitSensed("unit-hot"),
        UnitSensed("unit-disk"),
        UnitSensed("unit-hot", "80"),
        UnitSensed("unit-hot", "82"),
        UnitSensed("unit-hot"),
    ]


@pytest.mark.slow
def test_a_board_is_sensed_at_once_and_the_room_on_its_disk_is_known(tmp_path: Path) -> None:
    posted = Posted()
    made = Sensing(Senses(tmp_path), posted)
    made.start()
    posted.awaited(UnitSensed, 6)
    assert made.alive()
    assert made.beat() > 0
    assert made.free is not None
    made.stop()
