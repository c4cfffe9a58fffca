"""The languages that people can be told in, and their catalogues as they lie beside this file.

In: a language. Out: English text -> its translation, for the plan. The core reads no file.
"""

from gettext import GNUTranslations
from pathlib import Path

LANGUAGES = ("en", "es")
"""What a person's `language` may be."""
LOCALE = Path(__file__).parent / "locale"


def catalogue(language: str) -> dict[str, str]:
    """Every text of that language by its English one; none for English; KeyError where it is not offered."""
    if language not in LANGUAGES:
        raise KeyError(language)
    if language == "en":
        return {}
    with (LOCALE / language / "LC_MESSAGES" / "relayd.mo").open("rb") as file:
        read = GNUTranslations(file)
    texts: dict[object, str] = read._catalog  # type: ignore[attr-defined]
    return {key: said for key, said in texts.items() if isinstance(key, str) and key}
