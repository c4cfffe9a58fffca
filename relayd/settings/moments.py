"""What days, times of day and calendars may be written like: each reader gives the value or raises ValueError.

Knows no table. Times of day are nanoseconds since local midnight, weekdays count from 0 = Monday.
"""

import re
from datetime import date, datetime, time

from relayd.core.plan import HOUR, MINUTE
from relayd.words import did_you_mean, one_of, quoted

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_LONG_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_CLOCK = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])|(24):(00)")


def time_of_day(value: object) -> int:
    """A local time of day such as "08:00", in nanoseconds; "24:00" is the end of the day."""
    if isinstance(value, time):
        value = value.strftime("%H:%M")
    if not isinstance(value, str):
        raise ValueError('must be a time of day in quotes, such as "08:00"')
    found = _CLOCK.fullmatch(value.strip())
    if found is None:
        meant = _meant_time(value)
        raise ValueError(f'{quoted(value)} is no time of day; write it such as "08:00"{meant}')
    hours, minutes = (int(each) for each in found.groups() if each is not None)
    return hours * HOUR + minutes * MINUTE


def _meant_time(value: str) -> str:
    found = re.fullmatch(r"\s*([0-9]{1,2})[:.h]?([0-9]{2})?\s*([ap]m)?\s*", value.lower())
    if found is None:
        return ""
    hours = int(found[1]) % 12 if found[3] else int(found[1])
    hours += 12 if found[3] == "pm" else 0
    minutes = int(found[2] or 0)
    return f'; did you mean "{hours:02}:{minutes:02}"?' if hours < 24 and minutes < 60 else ""


def waking(value: object) -> tuple[int, int]:
    """Two times of day, the first before the second."""
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError('must be two times of day, such as ["07:00", "22:00"]')
    begins, ends = (time_of_day(each) for each in value)
    if begins >= ends:
        say = "ends before it begins; the hours of one day, such as"
        raise ValueError(f'{say} ["07:00", "22:00"]')
    return begins, ends


def weekday(value: object) -> int:
    """A day of the week by its three letters."""
    if not isinstance(value, str):
        raise ValueError(f"must be text in quotes; {one_of(DAYS)}")
    if value not in DAYS:
        long = value.lower()
        near = DAYS[_LONG_DAYS.index(long)] if long in _LONG_DAYS else ""
        meant = f'; did you mean "{near}"?' if near else did_you_mean(value, DAYS)
        raise ValueError(f"{quoted(value)} is no day of the week; {one_of(DAYS)}{meant}")
    return DAYS.index(value)


def day(value: object) -> date:
    """A day, as TOML writes it (2026-12-24) or the same in quotes."""
    if isinstance(value, str):
        try:
            return date.fromisoformat(value)
        except ValueError:
            say = "is no day; write it as year-month-day, such as 2026-12-24"
            raise ValueError(f"{quoted(value)} {say}") from None
    if not isinstance(value, date) or isinstance(value, datetime):
        raise ValueError("must be a day, such as 2026-12-24")
    return value


def moment(value: object) -> date:
    """A local day and time without a zone (a datetime), or a day alone (a date)."""
    if isinstance(value, str):
        try:
            value = date.fromisoformat(value) if len(value) <= 10 else datetime.fromisoformat(value)
        except ValueError:
            value = None
    if isinstance(value, datetime) and value.tzinfo is not None:
        raise ValueError("has a zone; write the local time alone, such as 2026-12-24T08:00:00")
    if not isinstance(value, date):
        raise ValueError("must be a day or a local time, such as 2026-12-24T08:00:00")
    return value


def holiday_code(value: object) -> str:
    """A country, or a country and a part of it, whose public holidays are known: "AT", "US-NY"."""
    allowed = 'write a country such as "AT", or a part of one such as "US-NY"'
    if not isinstance(value, str):
        raise ValueError(f"must be text in quotes; {allowed}; days of your own go to holidays_list")
    # Here, since it is large and few plans need it.
    import holidays

    known = holidays.list_supported_countries(include_aliases=False)
    country, _, part = value.partition("-")
    if country not in known:
        near = country.upper() if country.upper() in known else ""
        meant = f'; did you mean "{"-".join(filter(None, (near, part.upper())))}"?' if near else ""
        raise ValueError(f"{quoted(value)} is no country that is known; {allowed}{meant}")
    if part and part not in known[country]:
        parts = ", ".join(known[country][:12]) or "none"
        more = ", …" if len(known[country]) > 12 else ""
        say = (
            f'there is no part "{part}" of {country}' if part.isalnum() else "there is no such part"
        )
        raise ValueError(f"{say}; its parts: {parts}{more}{did_you_mean(part, known[country])}")
    return value
