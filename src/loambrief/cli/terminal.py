"""The terminal as it is found: streams that are closed or not UTF-8, lists of commands."""

import codecs
import os
import sys
import unicodedata

import click

PLAIN = str.maketrans({"\u00a0": " ", "\u202f": " ", "\u2009": " ", "\u2010": "-",
                       "\u2011": "-", "\u2012": "-", "\u2013": "-", "\u2014": "-",
                       "\u2212": "-", "\u2018": "'", "\u2019": "'", "\u201c": '"',
                       "\u201d": '"', "\u2026": "...", "\u00d7": "x", "\u20ac": "EUR"})
"""What stands for a sign that the terminal does not have."""


class Listed(click.Group):
    """A group that lists its commands in their order, and says of each what it does, whole."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = []
        for name in self.list_commands(ctx):
            command = self.get_command(ctx, name)
            if command is not None and not command.hidden:
                rows.append((name, command.get_short_help_str(limit=200)))
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)


def settle_streams() -> None:
    """Make standard output and error safe to write to, whatever they are.

    A closed one swallows what is written. ASCII is what a locale says that was never set, and
    the terminal behind it takes UTF-8. In any other encoding the nearest plain sign stands for
    one that is lacking.
    """
    codecs.register_error("loambrief-plain", _plainer)
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        elif hasattr(stream, "reconfigure"):
            known = _encoding(stream)
            stream.reconfigure(encoding="utf-8" if known == "ascii" else stream.encoding,
                               errors="loambrief-plain")


def is_utf8(stream: object) -> bool:
    """Whether a stream takes every sign."""
    return _encoding(stream) == "utf-8"


def _encoding(stream: object) -> str:
    return codecs.lookup(getattr(stream, "encoding", None) or "utf-8").name


def _plainer(error: UnicodeError) -> tuple[str, int]:
    """Signs that cannot be encoded, in ASCII."""
    assert isinstance(error, UnicodeEncodeError)
    return "".join(map(_plain, error.object[error.start:error.end])), error.end


def _plain(sign: str) -> str:
    if 0xDC80 <= ord(sign) <= 0xDCFF:  # a byte of a file's name that is no text
        return f"\\x{ord(sign) - 0xDC00:02x}"
    known = sign.translate(PLAIN)
    if known.isascii():
        return known
    bare = unicodedata.normalize("NFKD", sign).encode("ascii", "ignore").decode()
    return bare or "?"
