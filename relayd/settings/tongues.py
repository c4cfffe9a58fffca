"""The languages of the messages as the loader needs them: a catalogue that is not there is a doubt, no fault."""

from relayd.languages import LANGUAGES, catalogue

__all__ = ["LANGUAGES", "texts_of"]


def texts_of(language: str) -> dict[str, str]:
    """English text -> its translation; nothing for English, and nothing where there is no catalogue."""
    try:
        return catalogue(language)
    except OSError:
        # Told in English, with a warning: a missing file must keep no message from anybody.
        return {}
