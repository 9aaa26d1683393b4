"""YAML syntax errors in plain words."""

import re
from collections.abc import Mapping, Sequence

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


_QUOTE_INSIDE = re.compile(r""":[ ]+(?P<mark>['"])(?:(?!(?P=mark)).)*(?P=mark)[^\s,}\]#]""")
_QUOTED = re.compile(r"""'[^']*'|"[^"]*\"""")
_KEY = re.compile(r"(?:- )*[A-Za-z_][\w-]*:(?: |\Z)")


def true_cause(problem: str, lines: Sequence[str], row: int, opened: int | None) -> Fault | None:
    """The usual slip behind a parser's message that names something else, or None.

    Parameters
    ----------
    problem : str
        The parser's words.
    lines : sequence of str
        The file.
    row, opened : int
        Line of the problem, and where what was being read starts, from 0.
    """
    for at in dict.fromkeys((row, row if opened is None else opened)):
        line = lines[at] if at < len(lines) else ""
        inside = _QUOTE_INSIDE.search(line)
        if inside:
            single = inside["mark"] == "'"
            return Fault("CASE005", (), f"a {inside['mark']} inside text in {inside['mark']}",
                         "text whose quotes do not end early",
                         "Put the text in double quotes: \"Bob's place\"." if single else
                         "Put the text in single quotes, or leave the inner quotes out.")
        bare = _QUOTED.sub("", line)
        if re.search(r"[{\[][^}\]]*\s#", bare) and (opened is not None or at == row):
            return Fault("CASE005", (), "a # inside { } or [ ], which hides the rest of the line",
                         "quotes around text with a #", 'Such as {name: "Plot #4"}.')
    text = lines[row] if row < len(lines) else ""
    above = next((line for line in reversed(lines[:row])
                  if line.strip() and not line.strip().startswith("#")), "")
    if "mapping values" in problem and _KEY.match(text.strip()) and (
            text.count(": ") + text.rstrip().endswith(":") == 1 and above
            and len(text) - len(text.lstrip()) > len(above) - len(above.lstrip(" -"))):
        return Fault("CASE005", (), "a key indented further than the line above",
                     "keys of one group in the same column",
                     f"Start it in column {len(above) - len(above.lstrip(' -')) + 1}, under "
                     f"{above.strip(' -')[:40]!r}.")
    return None


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
