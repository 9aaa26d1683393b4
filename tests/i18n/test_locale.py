"""Numbers, dates, money, lists and plurals of each language, against the Unicode locale data.

Expected forms are those of CLDR (Unicode Common Locale Data Repository; release 46 and later,
as carried by Babel 2.17): charts "Numbers", "Date & Time", "List patterns" and "Plural rules".
"""

import datetime as dt
import subprocess
import sys

import pytest
from babel.dates import format_date
from babel.numbers import format_currency, format_decimal, format_percent

from loambrief.case.schema import LANGUAGES
from loambrief.errors import TextFault
from loambrief.findings.model import Place, say
from loambrief.numbers import NBSP, depth, figures, local, quantity
from loambrief.report.cldr import LOCALES
from loambrief.report.language import language
from loambrief.report.text import Writer

SPANISH = sorted(LOCALES)
DAY = dt.date(2026, 10, 14)


@pytest.mark.parametrize("tag", SPANISH)
@pytest.mark.parametrize("number", [0.5, 7.25, 999.9, 1234.5, 98765.25, 1234567.125])
def test_numbers_have_the_signs_of_the_locale(tag, number):
    """ensures that decimal and grouping signs are CLDR's."""
    digits = len(f"{number}".split(".")[1])
    assert figures(number, digits, language(tag).signs) == format_decimal(
        number, locale=LOCALES[tag])


@pytest.mark.parametrize(("unit", "us", "si"), [
    ("in", "3 pulg", "7.62 cm"), ("ft", "3 pies", "0.91 m"), ("in/h", "3 pulg/h", "76.2 mm/h")])
def test_lengths_in_spanish(unit, us, si):
    """ensures that inch and foot are written as extension texts in Spanish write them (common
    practice), that they are converted for a reader of metric units, and that data stay as they
    are in every language."""
    assert Writer("es").quantity(3.0, unit).replace(NBSP, " ") == us
    assert Writer("es", "si").quantity(3.0, unit).replace(NBSP, " ") == si
    place = Place(label="A", depth=(0.0, 2.0))
    assert Writer("es").place(place) == "A, 0-2 pulg" and Writer().place(place) == "A, 0-2 in"
    assert Writer("es").about([place], translated=False) == "A, 0-2 in"


@pytest.mark.parametrize(("tag", "printed"), [
    ("es", "12,345.5"), ("es-US", "12,345.5"), ("es-MX", "12,345.5"), ("es-ES", "12.345,5"),
])
def test_spanish_of_three_countries(tag, printed):
    """ensures point for the United States and Mexico, comma for Spain (CLDR, symbols)."""
    assert Writer(tag).figures(12345.5, 1) == printed


@pytest.mark.parametrize("tag", SPANISH)
def test_percent_sign_stands_as_in_the_locale(tag):
    """ensures that the blank before the sign is CLDR's."""
    share = Writer(tag).filters()["pct"](50, 0)
    assert share == format_percent(0.5, locale=LOCALES[tag])
    assert Writer(tag).quantity(50, "%", 0) == share


@pytest.mark.parametrize("tag", SPANISH)
@pytest.mark.parametrize("form", ["long", "medium"])
def test_dates_are_those_of_the_locale(tag, form):
    """ensures that dates are CLDR's, held together by no-break spaces."""
    printed = Writer(tag).day(DAY, form)
    assert printed.replace(NBSP, " ") == format_date(DAY, form, LOCALES[tag])
    assert " " not in printed


def test_a_date_in_words():
    """ensures the form that CLDR gives for Spanish, and the English one as it always was."""
    assert Writer("es").day(DAY).replace(NBSP, " ") == "14 de octubre de 2026"
    assert Writer("en").day(DAY, "medium").replace(NBSP, " ") == "14 October 2026"


@pytest.mark.parametrize("tag", SPANISH)
@pytest.mark.parametrize("currency", ["USD", "MXN", "EUR", "CLP", "CAD"])
def test_money_is_written_as_in_the_locale(tag, currency):
    """ensures sign, place and digits of CLDR; a code is set off by a blank (currencySpacing)."""
    wanted = format_currency(1234.5, currency, locale=LOCALES[tag], currency_digits=False)
    found = Writer(tag, "us", currency).money(1234.5, 2)
    assert found.replace(NBSP, "") == wanted.replace(NBSP, "")
    sign = wanted.strip("0123456789.,\u00a0")
    if sign.isalpha() and found.startswith(sign):
        assert found[len(sign)] == NBSP


def test_months_of_the_season_chart():
    """ensures that axis words are CLDR's abbreviated months with a capital."""
    assert language("es").months == ("Ene", "Feb", "Mar", "Abr", "May", "Jun", "Jul", "Ago",
                                     "Sep", "Oct", "Nov", "Dic")
    assert language("en").months[:3] == ("Jan", "Feb", "Mar")


@pytest.mark.parametrize(("words", "link", "printed"), [
    (["maíz"], "", "maíz"),
    (["maíz", "soya"], "", "maíz y soya"),
    (["maíz", "soya", "trigo"], "", "maíz, soya y trigo"),
    (["maíz", "hierba mora"], "", "maíz y hierba mora"),
    (["hierro", "iones"], "", "hierro y iones"),
    (["trigo", "Idaho"], "", "trigo e Idaho"),
    (["padre", "hijo"], "", "padre e hijo"),
    (["soya", "trigo"], "o", "soya o trigo"),
    (["soya", "otro"], "o", "soya u otro"),
    (["siete", "8"], "o", "siete u 8"),
])
def test_lists_in_spanish(words, link, printed):
    """ensures CLDR's pattern "{0}, {1} y {2}", and "e" and "u" before like sounds.

    Rule of the joining words: Real Academia Española, Diccionario panhispánico de dudas,
    entries "y" (e before i- and hi-, not before a diphthong) and "o" (u before o- and ho-).
    """
    assert Writer("es").listed(words, link) == printed


@pytest.mark.parametrize(("count", "form"), [(0, "muestras"), (1, "muestra"), (1.0, "muestra"),
                                             (1.5, "muestras"), (2, "muestras"),
                                             (1_000_000, "muestras")])
def test_plurals_in_spanish(count, form):
    """ensures CLDR's cardinal rule for Spanish: "one" for 1 alone."""
    assert Writer("es").filters()["plural"](count, "muestra", "muestras") == form


@pytest.mark.parametrize(("crop", "the", "of", "to"), [
    ("corn", "el maíz", "del maíz", "al maíz"),
    ("alfalfa", "la alfalfa", "de la alfalfa", "a la alfalfa"),
    ("ragwort and groundsel", "los senecios", "de los senecios", "a los senecios"),
    ("Fell's own rye", "Fell's own rye", "de Fell's own rye", "a Fell's own rye"),
])
def test_nouns_take_their_article(crop, the, of, to):
    """ensures that "de" and "a" melt with "el" alone, and that typed names need no article."""
    say = Writer("es").filters()
    assert (say["the"](crop), say["of_the"](crop), say["to_the"](crop)) == (the, of, to)


@pytest.mark.parametrize(("count", "gender", "word"), [
    (0, "f", "ninguna"), (1, "f", "una"), (1, "m", "uno"), (1, "un", "un"), (4, "f", "cuatro"),
    (11, "f", "11"),
])
def test_small_counts_agree(count, gender, word):
    """ensures that "one" and "none" agree with what is counted."""
    assert Writer("es").filters()["count_word"](count, gender) == word


def test_terms_agree_and_typed_text_passes():
    """ensures feminine forms by context, names with additions, and text that is no term."""
    writer = Writer("es")
    assert writer.term("degraded") == "degradado"
    assert writer.term("degraded", "f") == "degradada"
    assert writer.term("corn, third leaf from Ann's plot") == "maíz, third leaf from Ann's plot"
    assert writer.term("lower third, thin stand") == "lower third, thin stand"
    assert writer.filters()["agree"]("alfalfa", "sano", "sana") == "sana"


def test_numbers_inside_terms_take_the_decimal_sign():
    """ensures that texts of the tables follow the locale too."""
    text = "about 5% loss near 1.7 plants per square metre, in winter wheat"
    assert "1,7 plantas" in Writer("es-ES").term(text)
    assert "1.7 plantas" in Writer("es-MX").term(text)


@pytest.mark.parametrize(("ends", "system", "shown"), [
    ((0.0, 2.0), "si", "0-5 cm"), ((0.0, 6.0), "si", "0-15 cm"), ((6.0, 12.0), "si", "15-30 cm"),
    ((0.0, 15 / 2.54), "us", "0-5.9 in"), ((0.0, 12.0), "si", "0-30 cm"),
    ((0.0, 2.0), "us", "0-2 in"), ((0.0, 30 / 2.54), "si", "0-30 cm"),
    ((2.5 / 2.54, 7.5 / 2.54), "si", "2.5-7.5 cm"), ((0.0, 6.67), "us", "0-6.7 in"),
])
def test_depths_come_in_the_readers_units(ends, system, shown):
    """ensures that a layer is converted (1 in is 2.54 cm), half centimetres kept as typed."""
    assert depth(*ends, system) == shown
    assert Writer("en", system).place(Place("N", "rise, 3-7 in", ends)) == f"rise, 3-7 in, {shown}"


def test_charts_write_numbers_in_the_signs_of_the_block():
    """ensures that the signs hold inside the block and no longer."""
    with local(language("es-ES").signs):
        assert figures(1234.5, 1) == "1.234,5"
    assert figures(1234.5, 1) == "1,234.5"


def test_english_does_not_load_the_locale_data():
    """ensures that an English advisory does not pay for Babel."""
    code = ("import sys; from loambrief.report.text import Writer; "
            "from loambrief.report.build import draft_field; Writer('en'); "
            "sys.exit(any(m.split('.')[0] == 'babel' for m in sys.modules))")
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_unknown_language_is_refused():
    """ensures that a tag without locale data is named, with those that are known."""
    with pytest.raises(TextFault, match=r"no language fr; known are en, es"):
        Writer("fr")


def test_tags_are_those_of_the_case():
    """ensures that every language a case may name can be written."""
    assert ("en", *LOCALES) == LANGUAGES


def test_names_and_reasons_stay_as_typed():
    """ensures that a product called after its size keeps its name in SI."""
    writer = Writer("en", "si")
    assert "Bark mulch, 1-2 in" in writer.write(say(
        "actions.title_lime", passes=1, number=1, rate=1.0, dolomitic=False,
        material="Bark mulch, 1-2 in"))
    assert "0-5 cm" in writer.write(say("acidity.need_surface_buffer",
                                        depth=Place(depth=(0.0, 2.0)), where="N"))


@pytest.mark.parametrize("system", ["us", "si"])
def test_bushels_stay_bushels(system):
    """ensures that a yield in bushels is the same number for every reader: a bushel weighs
    something else for each crop."""
    assert quantity(150.0, "bu/ac", system) == f"150{NBSP}bu/ac"
