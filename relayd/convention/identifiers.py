"""The characters of a level (section 'Topic IDs')."""

import re

_ID = re.compile(r"[a-z0-9-]+")


def is_id(text: str) -> bool:
    """Whether a level may be written so; v5 no longer forbids a hyphen at either end."""
    return _ID.fullmatch(text) is not None


def shown(text: str, most: int = 60) -> str:
    """Foreign text, made harmless and short."""
    return ascii(text if len(text) <= most else f"{text[: most - 3]}...")
