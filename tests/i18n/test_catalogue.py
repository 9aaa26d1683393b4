"""The message catalogue holds every word that is printed, each with its translation."""

import re
import string
from io import BytesIO
from unicodedata import normalize

import pytest
from babel.messages.pofile import read_po
from catalogue import LANGUAGES, LITERALS, PACKAGE, as_bytes, entries, read, updated

NUMBER = re.compile(r"\d+(?:\.\d+)?")


@pytest.mark.parametrize("language", LANGUAGES)
def test_catalogue_is_up_to_date(language):
    """ensures that a new crop, weed, class or formula cannot be forgotten.

    ``python tests/i18n/catalogue.py`` brings the file up to date.
    """
    wanted = {(text, context or None) for text, context, _ in entries()}
    assert {(m.id, m.context) for m in read(language) if m.id} == wanted


@pytest.mark.parametrize("language", LANGUAGES)
def test_bringing_it_up_to_date_keeps_what_is_translated(language):
    """ensures that the tool changes nothing where nothing is new, and writes no date."""
    once = as_bytes(language, updated(language))
    assert once == as_bytes(language, updated(language))
    assert read_po(BytesIO(once), locale=language).get("corn").string == "maíz"


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_entry_is_translated(language):
    """ensures that no word is left without a translation, and none is only guessed."""
    left = [(m.context, m.id) for m in read(language) if m.id and (not m.string or m.fuzzy)]
    assert left == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_translations_keep_their_numbers(language):
    """ensures that a figure in a table's text is the same figure in each language."""
    for message in read(language):
        if message.id:
            own, other = (sorted(NUMBER.findall(normalize("NFKC", text)))
                          for text in (message.id, message.string))
            assert own == other, message.id


@pytest.mark.parametrize("language", LANGUAGES)
def test_translations_are_clean(language):
    """ensures no blanks at the ends, no capital or full stop that the English has not."""
    for message in read(language):
        if not message.id:
            continue
        text = message.string
        assert text == " ".join(text.split()), message.id
        assert (message.id[-1] == ".") == (text[-1] == "."), message.id
        assert all(c.isprintable() for c in text)
        assert not set(text) & set(string.whitespace) - {" "}


def test_answers_in_words_are_those_of_their_modules():
    """ensures that the list of answers names what the modules really say."""
    for module, texts in LITERALS.items():
        source = (PACKAGE / module).read_text(encoding="utf-8")
        for text in texts:
            assert f'"{text}"' in source, (module, text)


def test_nouns_have_one_article():
    """ensures that each plant's second entry is its article and the very same name."""
    nouns = {text for text, context, _ in entries() if context == "the"}
    catalogue = read("es")
    for noun in nouns:
        article, _, name = catalogue.get(noun, "the").string.partition(" ")
        assert article in ("el", "la", "los", "las"), noun
        assert name == catalogue.get(noun).string, noun
