"""The nights of the clock changes, against a table worked by hand from the zones' rules.

Design 3: both changes alter no duration and lose no notice. Worked from the rules that dst_table
states: the promise of an hour ends, and half an hour later it calls again, in elapsed time; what
waits for somebody's hours comes at the local time of the new day.
"""

import pytest

from tests.core.dst_table import NIGHTS, Row, Story, printed

RAISED, TAKEN, OVER = "raised", "taken", "stand-down"
HIGH, LOW_LEVEL, SEAL = "high-level", "low-level", "seal-leak"

EXPECTED: dict[str, list[Row]] = {
    # EST is UTC-5, EDT UTC-4; 02:00 EST becomes 03:00 EDT at 07:00 UTC.
    "spring, New York": [
        ("Sun 01:50 EST", "8 06:50", "anna", RAISED, HIGH),
        ("Sun 01:58 EST", "8 06:58", "ben", RAISED, HIGH),
        ("Sun 01:59 EST", "8 06:59", "anna", TAKEN, HIGH),
        ("Sun 04:29 EDT", "8 08:29", "anna", RAISED, HIGH),
        ("Sun 04:37 EDT", "8 08:37", "carla", RAISED, HIGH),
        ("Sun 04:38 EDT", "8 08:38", "anna", TAKEN, HIGH),
        ("Sun 04:38 EDT", "8 08:38", "ben", TAKEN, HIGH),
        ("Sun 05:00 EDT", "8 09:00", "anna", OVER, HIGH),
        ("Sun 05:00 EDT", "8 09:00", "ben", OVER, HIGH),
        ("Sun 05:00 EDT", "8 09:00", "carla", OVER, HIGH),
        ("Sun 07:00 EDT", "8 11:00", "anna", RAISED, LOW_LEVEL),
        ("Sun 09:01 EDT", "8 13:01", "anna", OVER, LOW_LEVEL),
        ("Mon 08:00 EDT", "9 12:00", "carla", RAISED, SEAL),
    ],
    # 02:00 EDT becomes 01:00 EST at 06:00 UTC; Carla's turn begins at 08:00 UTC, after the second call.
    "autumn, New York": [
        ("Sun 01:50 EDT", "1 05:50", "anna", RAISED, HIGH),
        ("Sun 01:58 EDT", "1 05:58", "ben", RAISED, HIGH),
        ("Sun 01:59 EDT", "1 05:59", "anna", TAKEN, HIGH),
        ("Sun 02:29 EST", "1 07:29", "anna", RAISED, HIGH),
        ("Sun 02:37 EST", "1 07:37", "ben", RAISED, HIGH),
        ("Sun 02:38 EST", "1 07:38", "anna", TAKEN, HIGH),
        ("Sun 03:00 EST", "1 08:00", "anna", OVER, HIGH),
        ("Sun 03:00 EST", "1 08:00", "ben", OVER, HIGH),
        ("Sun 07:00 EST", "1 12:00", "anna", RAISED, LOW_LEVEL),
        ("Sun 09:01 EST", "1 14:01", "anna", OVER, LOW_LEVEL),
        ("Tue 08:00 EST", "3 13:00", "ben", RAISED, SEAL),
    ],
    # CET is UTC+1, CEST UTC+2; 02:00 CET becomes 03:00 CEST at 01:00 UTC.
    "spring, Vienna": [
        ("Sun 01:50 CET", "29 00:50", "anna", RAISED, HIGH),
        ("Sun 01:58 CET", "29 00:58", "ben", RAISED, HIGH),
        ("Sun 01:59 CET", "29 00:59", "anna", TAKEN, HIGH),
        ("Sun 04:29 CEST", "29 02:29", "anna", RAISED, HIGH),
        ("Sun 04:37 CEST", "29 02:37", "carla", RAISED, HIGH),
        ("Sun 04:38 CEST", "29 02:38", "anna", TAKEN, HIGH),
        ("Sun 04:38 CEST", "29 02:38", "ben", TAKEN, HIGH),
        ("Sun 05:00 CEST", "29 03:00", "anna", OVER, HIGH),
        ("Sun 05:00 CEST", "29 03:00", "ben", OVER, HIGH),
        ("Sun 05:00 CEST", "29 03:00", "carla", OVER, HIGH),
        ("Sun 07:00 CEST", "29 05:00", "anna", RAISED, LOW_LEVEL),
        ("Sun 09:01 CEST", "29 07:01", "anna", OVER, LOW_LEVEL),
        ("Mon 08:00 CEST", "30 06:00", "carla", RAISED, SEAL),
    ],
    # 03:00 CEST becomes 02:00 CET at 01:00 UTC; Carla's turn begins at 02:00 UTC.
    "autumn, Vienna": [
        ("Sun 01:50 CEST", "24 23:50", "anna", RAISED, HIGH),
        ("Sun 01:58 CEST", "24 23:58", "ben", RAISED, HIGH),
        ("Sun 01:59 CEST", "24 23:59", "anna", TAKEN, HIGH),
        ("Sun 02:29 CET", "25 01:29", "anna", RAISED, HIGH),
        ("Sun 02:37 CET", "25 01:37", "ben", RAISED, HIGH),
        ("Sun 02:38 CET", "25 01:38", "anna", TAKEN, HIGH),
        ("Sun 03:00 CET", "25 02:00", "anna", OVER, HIGH),
        ("Sun 03:00 CET", "25 02:00", "ben", OVER, HIGH),
        ("Sun 07:00 CET", "25 06:00", "anna", RAISED, LOW_LEVEL),
        ("Sun 09:01 CET", "25 08:01", "anna", OVER, LOW_LEVEL),
        ("Tue 08:00 CET", "27 07:00", "ben", RAISED, SEAL),
    ],
    # 02:00 (+10:30) becomes 02:30 (+11) at 15:30 UTC of the day before.
    "spring, Lord Howe": [
        ("Sun 01:50 +1030", "3 15:20", "anna", RAISED, HIGH),
        ("Sun 01:58 +1030", "3 15:28", "ben", RAISED, HIGH),
        ("Sun 01:59 +1030", "3 15:29", "anna", TAKEN, HIGH),
        ("Sun 03:59 +11", "3 16:59", "anna", RAISED, HIGH),
        ("Sun 04:07 +11", "3 17:07", "carla", RAISED, HIGH),
        ("Sun 04:08 +11", "3 17:08", "anna", TAKEN, HIGH),
        ("Sun 04:08 +11", "3 17:08", "ben", TAKEN, HIGH),
        ("Sun 04:30 +11", "3 17:30", "anna", OVER, HIGH),
        ("Sun 04:30 +11", "3 17:30", "ben", OVER, HIGH),
        ("Sun 04:30 +11", "3 17:30", "carla", OVER, HIGH),
        ("Sun 07:00 +11", "3 20:00", "anna", RAISED, LOW_LEVEL),
        ("Sun 09:01 +11", "3 22:01", "anna", OVER, LOW_LEVEL),
        ("Mon 08:00 +11", "4 21:00", "carla", RAISED, SEAL),
    ],
    # 02:00 (+11) becomes 01:30 (+10:30) at 15:00 UTC of the day before; Carla's turn begins at 16:30 UTC.
    "autumn, Lord Howe": [
        ("Sun 01:50 +11", "4 14:50", "anna", RAISED, HIGH),
        ("Sun 01:58 +11", "4 14:58", "ben", RAISED, HIGH),
        ("Sun 01:59 +11", "4 14:59", "anna", TAKEN, HIGH),
        ("Sun 02:59 +1030", "4 16:29", "anna", RAISED, HIGH),
        ("Sun 03:07 +1030", "4 16:37", "carla", RAISED, HIGH),
        ("Sun 03:08 +1030", "4 16:38", "anna", TAKEN, HIGH),
        ("Sun 03:08 +1030", "4 16:38", "ben", TAKEN, HIGH),
        ("Sun 03:30 +1030", "4 17:00", "anna", OVER, HIGH),
        ("Sun 03:30 +1030", "4 17:00", "ben", OVER, HIGH),
        ("Sun 03:30 +1030", "4 17:00", "carla", OVER, HIGH),
        ("Sun 07:00 +1030", "4 20:30", "anna", RAISED, LOW_LEVEL),
        ("Sun 09:01 +1030", "4 22:31", "anna", OVER, LOW_LEVEL),
        ("Tue 08:00 +1030", "6 21:30", "ben", RAISED, SEAL),
    ],
}


@pytest.mark.parametrize("name", NIGHTS)
def test_in_a_night_of_a_clock_change_everybody_is_told_when_the_hand_worked_table_says(
    name: str,
) -> None:
    assert Story(NIGHTS[name]).lived().rows() == EXPECTED[name]


@pytest.mark.parametrize("name", NIGHTS)
def test_what_waits_is_recorded_with_its_local_end(name: str) -> None:
    held = Story(NIGHTS[name]).lived().world.records("held")
    said = [(each.body["person"], str(each.body["until"])[-5:]) for each in held]
    low = "ben" if NIGHTS[name].holiday else "carla"
    assert said == [("anna", "07:00"), (low, "08:00")]


def test_the_printed_table_holds_every_row() -> None:
    lines = printed().splitlines()
    assert len(lines) == sum(len(rows) + 1 for rows in EXPECTED.values())
