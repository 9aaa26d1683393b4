"""YAML syntax errors in plain words."""

from __future__ import annotations

import re
from collections.abc import Mapping

from loambrief.case.problems import Fault, visible

_QUOTES = 'Put the text in quotes: key: "text".'
_CLOSED = "Check that every [ ] and { } is closed and that entries are separated by commas."
_INDENT = "Keys of one group start in the same column; indent with spaces."

_MEANINGS = (  # pattern on the parser's message -> found, wanted, help
    (r"mapping values are not allowed", "a second ': ' in one line", "one key and one value",
     _QUOTES),
    (r"found character '\\t'", "a tab", "spaces for indentation",
     "Set the editor to insert spaces."),
    (r"found character (?P<what>'.+') that cannot start any token",
     "a value that starts with {what}", "quotes around such text", _QUOTES),
    (r"could not find expected ':'", "a line without ': '", "key: value",
     "Is a ':' missing, or a blank after it, or an indentation of the line?"),
    (r"expected ',' or '[\]}]', but got (?P<what>.+)", "{what} inside [ ] or {{ }}",
     "a comma or the closing bracket", _CLOSED),
    (r"expected the node content, but found (?P<what>.+)", "{what} where a value belongs",
     "a value", _CLOSED),
    (r"expected <block end>, but found (?P<what>.+)", "{what} that does not fit the indentation",
     "the indentation of the lines above", _INDENT),
    (r"expected '<document start>', but found (?P<what>.+)",
     "{what} after the end of the values", "one group of keys", _INDENT),
    (r"found unexpected end of stream", "the end of the file inside quotes", "a closing quote",
     "Look for the opening quote without a partner."),
    (r"(block sequence|sequence) entries are not allowed",
     "'- ' where no list can start", "the list on its own lines under its key", _INDENT),
    (r"found unknown escape character (?P<what>.+)", "the escape \\{what} in double quotes",
     "a known escape", "Use single quotes around text with backslashes."),
    (r"found undefined tag handle (?P<what>.+)", "the tag {what}", "a value without tag",
     "Remove the tag; quote the value if it must stay text."),
)
_TOKENS: Mapping[str, str] = {
    "<scalar>": "text", "<block sequence start>": "a list", "<block mapping start>": "a key",
    "<block end>": "the end of the group", "<stream end>": "the end of the file",
    "<anchor>": "an anchor (&)", "<alias>": "an alias (*)", "<tag>": "a tag (!)",
    "?": "a key", "-": "a list entry ('- ')", "<block entry>": "a list entry ('- ')",
    "<document start>": "'---'", "<document end>": "'...'",
}


def explain(problem: str, context: str, opened_line: int | None) -> Fault:
    """The fault behind a parser's message.

    Parameters
    ----------
    problem, context : str
        The parser's words.
    opened_line : int or None
        Line where the construct it was reading starts.
    """
    found, wanted, help = f"{visible(problem)[:200]}", "well-formed YAML", ""
    for pattern, *words in _MEANINGS:
        match = re.search(pattern, problem)
        if match:
            what = match.groupdict().get("what") or ""
            token = what.strip("'")
            found, wanted, help = words[0].format(what=_TOKENS.get(token, what)), *words[1:]
            break
    if opened_line is not None and ("flow" in context or "quoted" in context):
        help = f"It was opened in line {opened_line}. {help}".strip()
    return Fault("CASE005", (), found, wanted, help)
