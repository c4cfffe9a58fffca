"""The command line: the only place that prints and that decides the exit code.

app.py has the commands, status.py and records.py put into words what the daemon tells, times.py
reads what people write as a time, out.py prints. What is heavy is imported by the command that
needs it, so that help is quick on a small computer.
"""

import sys
from collections.abc import Sequence

from relayd.errors import PlanRefused, RelaydError

BUG = 70
BUG_SAYS = "relayd: this is a bug in relayd; please report it with the lines above"


def main(arguments: Sequence[str] | None = None) -> int:
    """Do what the command line (or `arguments`) asks for; the exit code."""
    from relayd.cli.app import app

    try:
        app(args=list(sys.argv[1:] if arguments is None else arguments), prog_name="relayd")
    except SystemExit as ended:
        return ended.code if isinstance(ended.code, int) else 0
    except PlanRefused as refused:
        for problem in refused.problems:
            print(f"relayd: {problem}", file=sys.stderr)
        return refused.exit_code
    except RelaydError as error:
        print(f"relayd: {' '.join(str(error).split())}", file=sys.stderr)
        return error.exit_code
    except Exception:  # noqa: BLE001 - it looks like the bug it is
        import traceback

        traceback.print_exc()
        print(BUG_SAYS, file=sys.stderr)
        return BUG
    return 0
