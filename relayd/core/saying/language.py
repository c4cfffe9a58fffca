"""What is said, in the reader's language: English texts and their translations.

In: a catalogue that the loader read (English text -> translation). Out: text. English is the key,
so a text without a translation is said in English and never lost.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from relayd.core.plan import Person, Plan


@dataclass(frozen=True, slots=True)
class Speech:
    """One language."""

    language: str = "en"
    catalogue: Mapping[str, str] = field(default_factory=dict)

    def __call__(self, text: str, **values: object) -> str:
        """`text` (English, with {names}) in this language, with its values."""
        said = self.catalogue.get(text, text)
        return said.format(**values) if values else said


ENGLISH = Speech()
"""What is said where nobody's language is known: on screens, in logs."""


def marked(text: str) -> str:
    """`text` as it is: marks a text that is said later, so that the catalogues hold it."""
    return text


def of(plan: Plan, person: Person | None) -> Speech:
    """The language of that reader."""
    language = person.language if person else "en"
    return Speech(language, plan.languages.get(language, {}))
