"""YAML syntax errors in plain words."""

import re
from collections.abc import Sequence

from loambrief.case.problems import Fault, visible
from loambrief.tables import load

_QUOTE_INSIDE = re.compile(r""":[ ]+(?P<mark>['"])(?:(?!(?P=mark)).)*(?P=mark)[^\s,}\]#]""")
_QUOTED = re.compile(r"""'[^']*'|"[^"]*\"""")
_KEY = re.compile(r"(?:- )*[A-Za-z_][\w-]*:(?: |\Z)")


def true_cause(problem: str, lines: Sequence[str], row: int, opened: int | None) -> Fault | None:
    """The usual slip behind a parser's message that names something else, or None.

    ``row`` and ``opened`` are the line of the problem, and that where what was being read starts,
    from 0.
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

    ``opened_line`` is where the construct it was reading starts.
    """
    found, wanted, help = f"{visible(problem)[:200]}", "well-formed YAML", ""
    tokens = {row["token"]: row["meaning"] for row in load("case/yaml_tokens")}
    for row in load("case/yaml_faults"):
        match = re.search(row["message"], problem)
        if match:
            what = match.groupdict().get("what") or ""
            found = row["found"].format(what=tokens.get(what.strip("'"), what))
            wanted, help = row["wanted"], row["help"]
            break
    if opened_line is not None and ("flow" in context or "quoted" in context):
        help = f"It was opened in line {opened_line}. {help}".strip()
    return Fault("CASE005", (), found, wanted, help)
