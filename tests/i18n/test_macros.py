"""Every message stands in every language, with the same values."""

from functools import cache

import pytest
from jinja2 import Environment, nodes

from loambrief.resources import templates_dir

FOLDER = templates_dir() / "text"
TOPICS = sorted(p.stem for p in (FOLDER / "en").glob("*.j2"))
LANGUAGES = sorted(p.name for p in FOLDER.iterdir() if p.is_dir() and p.name != "en")
SIGNS_ONLY = {"{", "}", "%"}


@cache
def macros(language, topic):
    """Public macros of a topic: name -> (parameters it reads, it prints anything)."""
    source = (FOLDER / language / f"{topic}.j2").read_text(encoding="utf-8")
    tree = Environment().parse(source)
    found = {m.name: m for m in tree.find_all(nodes.Macro)}
    assert len(found) == sum(1 for _ in tree.find_all(nodes.Macro)), f"{topic}: a macro twice"
    return {name: (_parameters(macro), any(macro.find_all(nodes.Output)))
            for name, macro in found.items() if not name.startswith("_")}


def _parameters(macro):
    """Values of ``p`` that a macro reads: ``p.name`` or ``p["name"]``."""
    read = {node.attr for node in macro.find_all(nodes.Getattr)
            if isinstance(node.node, nodes.Name) and node.node.name == "p"}
    read |= {node.arg.value for node in macro.find_all(nodes.Getitem)
             if isinstance(node.node, nodes.Name) and node.node.name == "p"}
    return read


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("topic", TOPICS)
def test_each_message_stands_in_each_language(topic, language):
    """ensures that no message is missing, left over or empty in a language."""
    own, other = macros("en", topic), macros(language, topic)
    assert own.keys() == other.keys()
    assert {n for n, (_, said) in own.items() if said} == {
        n for n, (_, said) in other.items() if said}


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("topic", TOPICS)
def test_each_message_reads_the_same_values(topic, language):
    """ensures that a translation uses every value of the English sentence, and no other."""
    own, other = macros("en", topic), macros(language, topic)
    different = {name: sorted(own[name][0] ^ other[name][0])
                 for name in own.keys() & other.keys() if own[name][0] != other[name][0]}
    assert different == {}


def test_no_language_has_a_topic_of_its_own():
    """ensures that languages differ in words only."""
    for language in LANGUAGES:
        assert sorted(p.stem for p in (FOLDER / language).glob("*.j2")) == TOPICS
