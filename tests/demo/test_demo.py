"""The demo's story, whole, on either broker; and what it does without a keyboard."""

import subprocess
import sys

import pytest

STORY = "from relayd.demo import main; raise SystemExit(main(script=True))"
EMBEDDED = f"import relayd.demo.broker as b; b.SBIN = '/nowhere'; b.shutil.which = lambda _name: None; {STORY}"
BESIDE = "mail     to ben@alder.example: Alarm over: High level"
"""Goes out together with Anna's: whose comes first is chance."""
COMES = (
    "-- 1. The water rises",
    "mail     to anna@alder.example: HIGH LEVEL - Cabin tank",
    "Anna has seen it; the call list goes on",
    "mail     to ben@alder.example: HIGH LEVEL - Cabin tank",
    "Ben has it until",
    "mail     to anna@alder.example: High level: somebody has it",
    "mail     to anna@alder.example: ALARM CIRCUIT LOST",
    "mail     to anna@alder.example: Alarm over: Alarm circuit lost",
    "mail     to ben@alder.example: Was the horn's wire taken off?",
    "the horn at Cabin tank is disconnected, by Ben",
    "mail     to anna@alder.example: Alarm over: High level",
    "Still to be undone: the horn's wire is disconnected",
    "the horn is not known until it has been heard",
    "story    end",
)


@pytest.mark.slow
@pytest.mark.timeout(150)
@pytest.mark.parametrize(
    ("code", "broker"), [(STORY, "broker: "), (EMBEDDED, "an embedded broker, MQTT 3.1.1")]
)
def test_the_story_comes_in_its_order_and_ends_by_itself(code: str, broker: str) -> None:
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=140)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stderr == ""
    assert broker in done.stdout
    assert BESIDE in done.stdout
    place = 0
    for line in COMES:
        found = done.stdout.find(line, place)
        assert found >= 0, f"'{line}' did not come, or not in its order:\n{done.stdout}"
        place = found


@pytest.mark.slow
def test_without_a_keyboard_it_says_what_to_use_instead() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from relayd.demo import main; raise SystemExit(main())"],
        capture_output=True,
        text=True,
        timeout=60,
        stdin=subprocess.DEVNULL,
    )
    assert done.returncode == 2
    assert "use --script" in done.stdout
