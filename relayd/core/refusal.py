"""Why a person's wish is refused: values only, made by the stations, answered by commands.py."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Refused:
    """`code` is one word for programs, `say` a sentence that tells what to do instead."""

    code: str
    say: str
