"""How hard the fixed English text is to read, measured on the templates themselves.

Every branch of every macro is written out once with neutral fillers: a number is one word of
one syllable, a name one word of two. So no sentence escapes because no test case reaches it.

Grade: Flesch-Kincaid, 0.39 words per sentence + 11.8 syllables per word - 15.59 (Kincaid,
Fishburne, Rogers and Chissom 1975, Naval Technical Training Command, Research Branch Report
8-75; coefficients from memory, checked against the example in the tests).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from jinja2 import Environment, nodes

from loambrief.report.terms import Marking, unmarked

TEXTS = Path(__file__).parents[2] / "templates" / "text" / "en"
NUMBER, NAME = "5", "clover"
NUMERIC = {"num", "q", "pct", "money", "day", "count_word", "abs", "round", "length", "int",
           "float", "each"}
FEWEST_WORDS = 5
"""Shorter texts, and those without an end, are labels and would only flatter the grade."""
MOST_VARIANTS = 24
WORD = re.compile(r"[A-Za-z]+(?:['’][A-Za-z]+)?|\d[\d.,]*")
_END = re.compile(r"(?<=[.!?])[”)\"’]*\s+(?=[“\"(]?[A-Z0-9])")
_ENDED = re.compile(r"[.!?][”)\"’]*$")
_NOT_AN_END = ("No.", "e.g.", "i.e.", "vs.", "approx.", "Dr.", "St.")


# Syllables --------------------------------------------------------------------------------

EXCEPTIONS = {
    "area": 3, "areas": 3, "idea": 3, "being": 2, "seeing": 2, "via": 2, "science": 2,
    "acre": 2, "acres": 2, "every": 2, "different": 3, "business": 2, "people": 2, "something": 2,
    "somewhat": 2, "sometimes": 2, "somewhere": 2, "someone": 2, "limestone": 2, "lime": 1,
    "sulfate": 2, "create": 2, "creates": 2, "soybean": 2, "ratio": 3, "ratios": 3, "medium": 3,
    "leave": 1, "please": 1, "therefore": 2, "hour": 1, "hours": 1, "poor": 1, "fuel": 2,
    "diet": 2, "quiet": 2, "trial": 2, "trials": 2, "reliable": 4, "variety": 4, "society": 4,
    "riot": 2, "higher": 2, "carefully": 3, "safely": 2, "surely": 2, "barely": 2, "rarely": 2,
    "likely": 2, "unlikely": 3, "closely": 2, "purely": 2, "wholly": 2, "homestead": 2,
    "guideline": 2, "hazardous": 3, "colour": 2, "potassium": 4, "sodium": 3, "calcium": 3,
    "magnesium": 4, "ammonium": 4, "period": 3, "serious": 3, "previous": 3, "various": 3,
    "nutrient": 3, "nutrients": 3, "material": 4, "materials": 4, "interior": 4, "alluvial": 4,
    "seldom": 2, "microbes": 2, "rhizome": 2, "rhizomes": 2, "reuse": 2, "reapply": 3,
    "adequate": 3, "ammonia": 3, "annual": 3, "australia": 3, "averaged": 2, "california": 4,
    "cation": 3, "cations": 3, "elsewhere": 2, "equation": 3, "equations": 3, "forecast": 2,
    "foretell": 2, "giant": 2, "laboratory": 4, "laboratories": 4, "language": 2, "likelier": 3,
    "median": 3, "permeability": 6, "prism": 2, "quantified": 3, "safety": 2, "somebody": 3,
    "thereby": 2, "urea": 3, "usa": 3, "usual": 3, "usually": 4, "varieties": 4, "whoever": 3,
    "anion": 3, "anions": 3, "w": 3, "preemergence": 4, "aerial": 3, "aerated": 3, "zoology": 4,
    "cooperate": 4, "nearly": 2, "nitrate": 2, "phosphate": 2, "moreover": 3, "sodic": 2,
    "saline": 2, "ph": 2, "psi": 3, "cec": 3, "ece": 3, "esp": 3, "sar": 1, "adf": 3, "ndf": 3,
    "rfv": 3, "rfq": 3, "tdn": 3, "ppm": 3, "meq": 2, "dtpa": 4,
    "usda": 4, "mg": 2, "kg": 2, "lb": 1, "ac": 1, "ds": 2,
}
"""Words the rules get wrong, and abbreviations as they are said."""


@cache
def syllables(word: str) -> int:
    """Syllables of an English word, by rule; a number counts as one."""
    text = word.lower().replace("’", "'").removesuffix("'s").replace("'", "")
    if not text or text[0].isdigit():
        return 1
    if text in EXCEPTIONS:
        return EXCEPTIONS[text]
    text = re.sub(r"(?<=[aeiou])y(?=[aeiou])|^y", "j", text)
    count = len(re.findall(r"[aeiouy]+", text))
    # two vowels that are said apart
    count += len(re.findall(r"ia(?!l$|n$|ls$|ns$|ge|nt)|i[ou]s?$|ium|io(?!n|us)|eo(?!n|us)"
                            r"|ua(?!l|r)|(?<![aeiou])ying|uous|iest|ier|uet|oa(?=gu)", text))
    if re.search(r"[^aeiouy](?:e|es)$", text) and not re.search(
            r"(?:[^aeiouyrlw]l|[^aeiouy]r)e?s?$|(?:s|x|z|ch|sh|c|g)es$", text):
        count -= 1  # a silent e
    if re.search(r"[^aeioutdy]ed$", text) and not re.search(r"[^aeiouylr][lr]ed$", text):
        count -= 1  # "limed", not "needed"
    if re.search(r"[^aeiouyl]e(?:ly|ment|ments|ful|less|ness)$", text):
        count -= 1  # "safely", "movement"
    return max(count, 1)


# Sentences --------------------------------------------------------------------------------


def sentences(text: str) -> list[str]:
    """Sentences of a text; titles and table words without an end stand as one."""
    held = re.sub(r"\s+", " ", text).strip()
    for index, short in enumerate(_NOT_AN_END):
        held = held.replace(short, f"\x00{index}\x00")
    parts = _END.split(held)
    restored = [re.sub("\x00(\\d)\x00", lambda m: _NOT_AN_END[int(m[1])], p) for p in parts]
    return [p for p in restored if p.strip()]


def words(sentence: str) -> list[str]:
    return WORD.findall(sentence)


def grade(texts: Iterable[str]) -> float:
    """Flesch-Kincaid grade of sentences; labels are left out.

    Raises
    ------
    ValueError
        There is no sentence.
    """
    found = [w for s in texts if len(w := words(s)) >= FEWEST_WORDS and _ENDED.search(s)]
    if not found:
        raise ValueError("no sentence to measure")
    total = sum(map(len, found))
    spoken = sum(syllables(w) for sentence in found for w in sentence)
    return 0.39 * total / len(found) + 11.8 * spoken / total - 15.59


# Templates --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Fixed:
    """One sentence of a macro as it may be printed."""

    topic: str
    macro: str
    sentence: str


@cache
def fixed_sentences(folder: Path = TEXTS) -> tuple[Fixed, ...]:
    """Every sentence that the templates of a folder can print, each once."""
    environment = Environment(extensions=[Marking])
    made: dict[Fixed, None] = {}
    for path in sorted(folder.glob("*.j2")):
        tree = environment.parse(unmarked(environment.preprocess(path.read_text("utf-8"))))
        macros = {m.name: m for m in tree.find_all(nodes.Macro)}
        tables = {a.target.name: a.node for a in tree.find_all(nodes.Assign)
                  if isinstance(a.target, nodes.Name)}
        for name, macro in macros.items():
            if name.startswith("_"):
                continue
            for variant in range(_choices(macro, macros)):
                text = _Teller(variant, macros, tables).body(macro.body, {})
                for sentence in sentences(text):
                    made[Fixed(path.stem, name, sentence)] = None
    return tuple(made)


def _choices(macro: nodes.Macro, macros: Mapping[str, nodes.Macro]) -> int:
    """How many ways a macro must be told so that each branch is told once."""
    most = 2
    for node in macro.find_all((nodes.If, nodes.Dict)):
        most = max(most, 2 + len(node.elif_) if isinstance(node, nodes.If) else len(node.items))
    for _ in macro.find_all(nodes.Getitem):
        most = max(most, 6)  # words taken from a table
    for call in macro.find_all(nodes.Call):
        helper = macros.get(getattr(call.node, "name", ""))
        if helper is not None and helper is not macro:
            most = max(most, _choices(helper, macros))
    return min(most, MOST_VARIANTS)


class _Teller:
    """Tells a macro, taking the same turn at each fork."""

    def __init__(self, variant: int, macros: Mapping[str, nodes.Macro],
                 tables: Mapping[str, nodes.Node]):
        self.variant, self.macros, self.tables = variant, macros, tables

    def pick(self, options: list) -> object:
        return options[self.variant % len(options)]

    def body(self, body: Iterable[nodes.Node], bound: Mapping[str, str]) -> str:
        return "".join(self._tell(node, bound) for node in body)

    def _tell(self, node: nodes.Node, bound: Mapping[str, str]) -> str:
        if isinstance(node, nodes.Output):
            return "".join(n.data if isinstance(n, nodes.TemplateData) else self._say(n, bound)
                           for n in node.nodes)
        if isinstance(node, nodes.If):
            return self.body(self.pick([node.body, *(e.body for e in node.elif_), node.else_]),
                             bound)
        if isinstance(node, nodes.For):
            return self.body(node.body, bound)
        return ""

    def _say(self, node: nodes.Node, bound: Mapping[str, str]) -> str:
        teller: Callable | None = getattr(self, f"_{type(node).__name__.lower()}", None)
        return teller(node, bound) if teller else NAME

    def _const(self, node, bound):
        return NUMBER if isinstance(node.value, int | float) else str(node.value or "")

    def _name(self, node, bound):
        # ``more`` marks where a short form ends and is printed nowhere
        return "" if node.name == "more" else bound.get(node.name, NAME)

    def _condexpr(self, node, bound):
        return self._say(self.pick([node.expr1, *([node.expr2] if node.expr2 else [])]), bound)

    def _or(self, node, bound):
        return self._say(self.pick([node.left, node.right]), bound)

    def _add(self, node, bound):
        return self._say(node.left, bound) + self._say(node.right, bound)

    def _concat(self, node, bound):
        return "".join(self._say(n, bound) for n in node.nodes)

    def _filter(self, node, bound):
        if node.name in NUMERIC:
            return NUMBER
        if node.name in ("plural", "agree") and node.args:
            return self._say(self.pick(list(node.args)), bound)
        return self._say(node.node, bound) if node.node is not None else NAME

    def _getitem(self, node, bound):
        if isinstance(node.arg, nodes.Slice):  # a first letter, then the rest: told once
            return "" if node.arg.stop is not None else self._say(node.node, bound)
        table = self.tables.get(node.node.name) if isinstance(node.node, nodes.Name) else None
        if isinstance(table, nodes.Dict):
            return self._say(self.pick([pair.value for pair in table.items]), bound)
        return self._say(node.node, bound) if isinstance(node.node, nodes.Name) else NAME

    def _call(self, node, bound):
        called = getattr(node.node, "name", "")
        if called not in self.macros:
            return NAME
        macro = self.macros[called]
        given = {a.name: self._say(v, bound) for a, v in zip(macro.args, node.args, strict=False)}
        return self.body(macro.body, given)


def told(texts: Iterable[tuple[str, str]]) -> Iterator[Fixed]:
    """Sentences of messages as they were written in a report, numbers neutral."""
    for key, text in texts:
        neutral = re.sub(r"[$€£]?\d[\d.,]*(?:[\u00a0\u202f]?%|\u00a0[^\s,;:.()]+)*", NUMBER, text)
        topic, _, name = key.partition(".")
        for sentence in sentences(neutral):
            yield Fixed(topic, name, sentence)
