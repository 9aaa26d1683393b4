"""Fixed words of the page in the reader's language."""

from dataclasses import fields

from loambrief.findings.model import say
from loambrief.report.blocks import Words
from loambrief.report.text import Writer


def page_words(writer: Writer) -> Words:
    """The fixed words of the page, from ``page.j2`` of the writer's language.

    Raises TextFault where one is missing.
    """
    return Words(**{f.name: writer.write(say(f"page.word_{f.name}")) for f in fields(Words)})
