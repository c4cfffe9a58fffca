"""What every table of the plan is made with: a table, and the kinds of value that several keys take.

A value that was refused is None in the tables (schema.py tells why).
"""

from collections.abc import Callable
from datetime import date
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, ConfigDict, PlainValidator

from relayd.core.plan import DAY, HOUR, MINUTE, SECOND, Priority, Reach
from relayd.settings import moments, values as one

Value = TypeVar("Value")


def reader(read: Callable[[object], object]) -> Any:
    """A validator that lets the gap of a refused value pass."""
    return PlainValidator(lambda value: None if value is None else read(value))


Words = Annotated[str | None, reader(one.words)]
Id = Annotated[str | None, reader(one.id_of)]
Flag = Annotated[bool | None, reader(one.flag)]
Chip = Annotated[str | None, reader(one.chip)]
Credential = Annotated[str | None, reader(one.credential)]
Delay = Annotated[int | None, reader(one.span(SECOND, HOUR))]
Pause = Annotated[int | None, reader(one.span(MINUTE, 24 * HOUR))]
Realarm = Annotated[int | None, reader(one.span(15 * MINUTE, 7 * DAY))]
Switch = Annotated[Reach | None, reader(one.choice(Reach))]
Urgency = Annotated[Priority | None, reader(one.choice(Priority))]
Least = Annotated[Priority | None, reader(one.choice(Priority, Priority.RECORD_ONLY))]
Language = Annotated[str | None, reader(one.language)]
LineNumber = Annotated[int | None, reader(one.number(0, 1023))]
Clock = Annotated[int | None, reader(moments.time_of_day)]
Day = Annotated[date | None, reader(moments.day)]
Moment = Annotated[date | None, reader(moments.moment)]
Weekday = Annotated[int | None, reader(moments.weekday)]


def sure(value: Value | None) -> Value:
    """The value of a key that cannot be a gap any more."""
    if value is None:
        raise AssertionError("a gap was left in tables that broke no rule")
    return value


class Table(BaseModel):
    """A table of the plan: unknown keys are refused, values are never shown."""

    model_config = ConfigDict(extra="forbid", hide_input_in_errors=True, frozen=True)
