"""`relayd demo`: the real daemon on invented panels, with everything around it made on the spot.

Pins are gpiozero's mock pins; the broker is mosquitto where it is installed, else an embedded one;
the mailbox takes real SMTP. Nothing is sent anywhere else, nothing is left behind.
"""

import os
import tempfile
from pathlib import Path


def main(script: bool = False, colour: bool = True) -> int:
    """Play the story (`script`) or take keys; the exit status."""
    from relayd.demo.stage import Stage  # what a demo needs is not always installed
    from relayd.demo.story import keys, play

    with tempfile.TemporaryDirectory(prefix="relayd-demo-") as folder:
        os.chmod(folder, 0o700)
        with Stage(Path(folder), colour) as stage:
            return play(stage) if script else keys(stage)
