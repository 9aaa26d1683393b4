"""Users' own wording: it replaces messages, and cannot break out, hang, or fill the memory."""

import time

import pytest
from record_builders import SAMPLE

from loambrief import pipeline
from loambrief.errors import TextFault
from loambrief.findings.model import say
from loambrief.report.own_words import (
    MOST_TEXT,
    OwnWords,
    _Box,
    check,
    read_own_words,
    shipped_macros,
    with_own_words,
)
from loambrief.report.text import Writer

KNOWN = frozenset({"title", "scope"})


def words(text, topic="report"):
    return OwnWords(((f"en/{topic}.j2", text.encode()),))


def written(text, name="title", **params):
    """The message as own words write it, past the first fence: the sandbox alone."""
    with with_own_words(words(text)):
        return Writer().write(say(f"report.{name}", **params))


def folder_of(tmp_path, text, name="en/report.j2"):
    path = tmp_path / "mine" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    return tmp_path / "mine"


def test_own_words_replace_shipped_ones(tmp_path):
    """ensures that an own macro is used, with the shipped filters, and the rest stays."""
    folder = folder_of(tmp_path, "{% macro own_name(p) %}{{ p.field|upper }}{% endmacro %}\n"
                                 "{% macro title(p) %}Plan for {{ own_name(p) }}"
                                 "{% if si %} (SI){% endif %}{% endmacro %}\n")
    own = read_own_words(folder, shipped_macros())
    with with_own_words(own):
        assert Writer().write(say("report.title", client="A", field="East")) == "Plan for EAST"
        assert Writer("en", "si").write(say("report.title", client="A", field="East")) == (
            "Plan for EAST (SI)")
        inside = Writer().write(say("report.no_limits"))
    assert inside == Writer().write(say("report.no_limits"))
    assert "Plan for" not in Writer().write(say("report.title", client="A", field="East"))


def test_own_words_reach_the_page(tmp_path):
    """ensures that an advisory is written with the own words, and says it was."""
    own = read_own_words(folder_of(tmp_path, "{% macro title(p) %}Our plan for {{ p.field }}"
                                             "{% endmacro %}"), shipped_macros())
    with with_own_words(own):
        advice = pipeline.advise(pipeline.load_case(SAMPLE))
        assert pipeline.report_model(advice).title == "Our plan for East 40"
        assert pipeline.made_with()["own_words"] == own.sha256[:16]


ESCAPES = [  # known ways out of a template, and ways to make it hang
    "{{ ''.__class__.__mro__[1].__subclasses__() }}",
    "{{ p.__class__ }}",
    "{{ p['__class__'] }}",
    "{{ p|attr('__class__') }}",
    "{{ ''['__cla' ~ 'ss__'] }}",
    "{{ cycler.__init__.__globals__.os.popen('id').read() }}",
    "{{ lipsum.__globals__ }}",
    "{{ self.__init__.__globals__ }}",
    "{{ self._TemplateReference__context }}",
    "{{ namespace(x=1) }}",
    "{{ joiner }}",
    "{{ range(1000000000)|list }}",
    "{% for i in range(999999999) %}x{% endfor %}",
    "{{ 'x' * 1000000000 }}",
    "{{ 9 ** 9 ** 9 }}",
    "{{ '{0.__class__}'.format(p) }}",
    "{{ '%s'|format(p) }}",
    "{{ ('%1000000000d')|format(1) }}",
    "{{ 'x'|center(1000000000) }}",
    "{{ 'x'|indent(1000000000) }}",
    "{% include '/etc/passwd' %}",
    "{% import 'os' as os %}",
    "{% from 'x.j2' import y %}",
    "{% extends 'x' %}",
    "{% set a = p %}{{ a }}",
    "{% for a in p.x %}{% for b in p.x %}x{% endfor %}{% endfor %}",
    "{% for a in p.x recursive %}{{ loop(a) }}{% endfor %}",
    "{{ title(p) }}",
    "{{ caller() }}",
    "{% filter upper %}x{% endfilter %}",
    "{% call title(p) %}{% endcall %}",
    "{{ p.update({'a': 1}) }}",
    "{{ p.pop('x') }}",
    "{{ config }}", "{{ request }}", "{{ get_flashed_messages }}",
    "{{ p.x|map('attr', '__class__')|list }}",
    "{{ p.x|selectattr('__class__')|list }}",
    "{{ p.x|sort(attribute='__class__') }}",
    "{{ dict(a=1) }}",
    "{% macro inner(q) %}{% endmacro %}",
    "{% autoescape true %}{% endautoescape %}",
    "{{ p[p.x] }}", "{{ p.x[1:] }}", "{{ {'a': 1} }}",
]


@pytest.mark.parametrize("attack", ESCAPES)
def test_known_escapes_are_refused_when_read(attack):
    """ensures that a template with a known way out is refused before it is ever run."""
    found = check("{% macro title(p) %}\n" + attack + "{% endmacro %}", KNOWN)
    assert found and all(line in (1, 2) for line, _ in found)


@pytest.mark.parametrize("attack", [
    "{{ ''.__class__.__mro__ }}", "{{ p.__class__ }}", "{{ p['__class__'] }}",
    "{{ cycler.__init__.__globals__ }}", "{{ lipsum }}", "{{ range(10) }}", "{{ namespace() }}",
    "{{ '{0.__class__}'.format(p) }}", "{{ p.x.append(1) }}", "{{ p.update({'a': 1}) }}",
    "{% include '/etc/passwd' %}", "{{ p|attr('__class__') }}", "{{ 'x'|center(99) }}",
    "{{ title(p) }}", "{{ 3|num(1000000) }}", "{{ 3|num(-5) }}",
    "{% for i in 'xxxx' %}{% endfor %}", "{% for i in p.long %}x{% endfor %}",
    "{{ 'x' ~ p.big }}",
])
def test_the_sandbox_alone_holds_too(attack):
    """ensures that what slips past the reader is stopped when it runs, in bounded time."""
    start = time.process_time()
    with pytest.raises(TextFault):
        written("{% macro title(p) %}" + attack + "{% endmacro %}", x=[1], long=[0] * 500,
                big="y" * MOST_TEXT)
    assert time.process_time() - start < 2


def test_doubling_by_calls_stays_small():
    """ensures that macros that call each other twice over cannot grow without end."""
    text = "{% macro own_0(q) %}{{ q }}{{ q }}{% endmacro %}"
    for i in range(1, 40):
        text += f"{{% macro own_{i}(q) %}}{{{{ own_{i - 1}(own_{i - 1}(q ~ q)) }}}}{{% endmacro %}}"
    text += "{% macro title(p) %}{{ own_39('xxxxxxxx') }}{% endmacro %}"
    assert check(text, KNOWN) == []
    start = time.process_time()
    with pytest.raises(TextFault):
        written(text)
    assert time.process_time() - start < 2


def test_problems_are_told_with_file_and_line(tmp_path):
    """ensures that every problem of every file is told at once, at its line."""
    folder = folder_of(tmp_path, "{% macro title(p) %}\n{{ p.__class__ }}{% endmacro %}\nfree text"
                                 "\n{% macro no_such(p) %}{% endmacro %}")
    folder_of(tmp_path, "x", "en/unknown.j2")
    (folder / "es").mkdir()
    (folder / "es" / "report.j2").symlink_to("/etc/hostname")
    with pytest.raises(TextFault) as error:
        read_own_words(folder, shipped_macros())
    text = str(error.value)
    assert "report.j2:2: the attribute '__class__'" in text
    assert "report.j2:2: only macros may stand here" in text or "report.j2:3: only macros" in text
    assert "macro no_such" in text and "unknown.j2: no shipped" in text
    assert "es/report.j2: a link" in text


@pytest.mark.parametrize("text", [
    "{% macro title(p) %}" + "x" * 5000 + "{% endmacro %}",
    "{% macro title(p) %}" + "{{ p.x }}" * 400 + "{% endmacro %}",
    "{% macro title(p) %}{% if %}{% endmacro %}",
    "{{ " + "(" * 3000 + ")" * 3000 + " }}",
])
def test_large_and_broken_templates_are_refused(text):
    """ensures that size, nesting and slips of writing are problems, not crashes."""
    assert check(text, KNOWN)


def test_large_files_are_not_read(tmp_path):
    """ensures that a file of any size costs little."""
    folder = folder_of(tmp_path, "{# " + "x" * 100_000 + " #}")
    with pytest.raises(TextFault, match="at most"):
        read_own_words(folder, shipped_macros())


def test_the_sandbox_knows_no_functions():
    """ensures that neither jinja2's own functions nor unlisted filters are at hand, only the
    reader's system and the mark where a short form ends."""
    box = _Box({}, "us")
    assert set(box.globals) == {"si", "more"} and isinstance(box.globals["more"], str)
    assert not {"attr", "format", "map", "pprint", "tojson", "center", "list"} & set(box.filters)
    assert box.loader is None
