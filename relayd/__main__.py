"""`python -m relayd` and the command `relayd`."""

import sys

from relayd.cli import main as main

if __name__ == "__main__":
    sys.exit(main())
