"""Every error that a user can meet, each with the exit code it ends in (DEVELOPERS.md lists the codes)."""


class RelaydError(Exception):
    """Something a user can mend: it is printed as one line, without a traceback."""

    exit_code = 1


class Usage(RelaydError):
    """The command itself was wrong."""

    exit_code = 2


class NotReachable(RelaydError):
    """The daemon did not answer on its control socket."""

    exit_code = 69


class Refused(RelaydError):
    """The daemon said no; `code` is its one-word reason."""

    def __init__(self, say: str, code: str = "refused") -> None:
        super().__init__(say)
        self.code = code


class Locked(RelaydError):
    """Another daemon holds the state directory: try again later."""

    exit_code = 75


class PlanRefused(RelaydError):
    """The plan cannot be used; `problems` holds one line for each thing that is wrong."""

    exit_code = 78

    def __init__(self, problems: list[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = problems
