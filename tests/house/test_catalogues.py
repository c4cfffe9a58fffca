"""The catalogues hold every text that is said, and nothing else, with the same names to fill in.

After a change of relayd.po: `pybabel compile -d relayd/locale -D relayd`.
"""

import io
import re
from itertools import pairwise

import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

from relayd import languages
from tests.house.english import english
from tests.house.tree import ROOT

FOREIGN = [each for each in languages.LANGUAGES if each != "en"]
every_language = pytest.mark.parametrize("language", FOREIGN)
NAME = re.compile(r"\{\w+\}")
COMMAND = re.compile(r"relayd (?:ack|looked|later|horn-wire|check)\b|--[a-z]+")


def source(language: str) -> Catalog:
    path = languages.LOCALE / language / "LC_MESSAGES" / "relayd.po"
    with path.open("rb") as file:
        return read_po(file, locale=language, domain="relayd")


@every_language
def test_every_text_is_translated_and_no_translation_is_left_over(language: str) -> None:
    said = languages.catalogue(language)
    assert [each for each in english() if each not in said] == []
    assert sorted(set(said) - set(english())) == []


@every_language
def test_a_translation_fills_in_the_same_names_and_gives_the_same_commands(language: str) -> None:
    for text, said in languages.catalogue(language).items():
        assert sorted(set(NAME.findall(text))) == sorted(set(NAME.findall(said))), text
        assert COMMAND.findall(text) == COMMAND.findall(said), text


@every_language
def test_what_is_compiled_is_what_the_source_says(language: str) -> None:
    made = io.BytesIO()
    write_mo(made, source(language))
    path = languages.LOCALE / language / "LC_MESSAGES" / "relayd.mo"
    assert path.read_bytes() == made.getvalue()


@every_language
def test_no_text_is_translated_by_guess(language: str) -> None:
    assert [each.id for each in source(language) if each.id and each.fuzzy] == []


@every_language
def test_a_text_keeps_its_end_so_that_sentences_stay_apart(language: str) -> None:
    for text, said in languages.catalogue(language).items():
        assert (text[-1] in ".?") == (said[-1] in ".?"), text
        assert text[0].isspace() == said[0].isspace(), text


# Cautions lose nothing: each word that warns has its own in the translation.
WARNS = {
    "es": {
        r"\breset once\b": r"una sola vez",
        r"\bALL breakers\b": r"TODOS los interruptores",
        r"\bqualified\b": r"calificado",
        r"\bchildren\b": r"niños",
        r"\bgas kills\b": r"gas mata",
        r"\bNever\b": r"Nunca",
        r"\bDo not\b": r"\bNo\b",
        r"\bnot known\b": r"(no|No)( se)? (conoce|sabe|conocida)|desconocida",
        r"\bcannot tell\b": r"no puede distinguir",
        r"\bOR\b": r"\bO\b",
        r"5 min at most": r"5 min como máximo",
        r"none for 6 h": r"nada más durante 6 h",
        r"within 2 min": r"en 2 min",
        r"cap its end": r"tape su punta",
        r"at any time": r"en cualquier momento",
    }
}


@pytest.mark.parametrize(
    ("language", "english_word", "word"),
    [(each, word, own) for each, words in WARNS.items() for word, own in words.items()],
)
def test_a_word_that_warns_warns_in_every_language(
    language: str, english_word: str, word: str
) -> None:
    found = [
        (text, said)
        for text, said in languages.catalogue(language).items()
        if re.search(english_word, text)
    ]
    assert found
    assert [text for text, said in found if not re.search(word, said)] == []


def test_english_needs_no_catalogue() -> None:
    assert languages.catalogue("en") == {}


def test_a_language_that_is_not_offered_is_refused() -> None:
    with pytest.raises(KeyError, match="tlh"):
        languages.catalogue("tlh")


def test_the_catalogues_are_files_of_the_package() -> None:
    # hatchling takes every file of the package that the repository does not ignore.
    ignored = (ROOT / ".gitignore").read_text().split()
    assert not {"*.mo", "*.po", "locale", "/relayd/locale"} & set(ignored)
    for language in FOREIGN:
        folder = ROOT / "relayd" / "locale" / language / "LC_MESSAGES"
        assert sorted(each.suffix for each in folder.iterdir()) == [".mo", ".po"]


def test_no_english_text_is_there_twice_but_for_its_case() -> None:
    texts = sorted(english(), key=str.lower)
    assert [a for a, b in pairwise(texts) if a.lower() == b.lower() and a[1:] == b[1:]] == []
