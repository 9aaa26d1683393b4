"""Spanish advisories of the samples: no English left, the same numbers, and good pages."""

import re
from collections import Counter, defaultdict
from dataclasses import replace
from io import BytesIO

import pytest
from click.testing import CliRunner
from pdf_text import page_texts
from pydantic import BaseModel
from pypdf import PdfReader
from spanish_samples import NAMES, SAMPLES, advised, printed

from loambrief import pipeline
from loambrief.agronomy.guides import known_guides
from loambrief.agronomy.registry import FORMULAS
from loambrief.case.load import load_bytes
from loambrief.cli import main
from loambrief.errors import CaseProblems
from loambrief.findings.model import say
from loambrief.render.pdf import paginated, render_pdf
from loambrief.render.plain import render_plain
from loambrief.report.annex import advisory_alone, annex_alone
from loambrief.report.blocks import Paper, opened
from loambrief.report.cldr import Cldr
from loambrief.report.context import Context
from loambrief.report.data import advisory_data
from loambrief.report.parts import CalculationList, FindingBlock, SourceList
from loambrief.report.text import Writer
from loambrief.tables import references

ENGLISH = re.compile(
    r"\b(the|of|and|is|are|with|for|from|not|this|that|it|was|were|be|by|on|or|at|below|above|if"
    r"|when|than|more|less|soil|crop|water|rate|lime|which|where|under|over|into|have|its|their"
    r"|they|you|your|but|any|each|between|used|may|only|after|before|low|high|medium|none|yes"
    r"|value|field|sample|depth|test|measured|calculated|out|about|does|will|would|should|there"
    r"|these|those|some|other|same|waits?|kept|half|whole|what|who|how|corn|weeds?|grass|wheat"
    r"|inside|slight|strong|readings?)\b(?! (19|20)\d\d)", re.IGNORECASE)
"""English words that no Spanish sentence has ("may" with a year is a month)."""
PROPER = {"clemson", "Good", "Premium", "Prime", "Supreme", "Fair", "Utility", "Minnesota",
          "Montana", "Pennsylvania", "New Jersey", "North Dakota", "Kansas State", "Oklahoma State",
          "Penn State", "Utah", "Ohio"}
"""Market grades, states and universities keep their names."""
NUMBER = re.compile(r"\d[\d,.]*\d|\d")
SAID = ("title", "reference", "text", "what", "consequence", "why", "saved", "rank_reason",
        "benefit", "uncertain", "limits", "cost_of_waiting", "cautions", "when", "evidence",
        "success", "note", "name")
PARTS = ("findings", "actions", "not_advised", "missing", "monitoring", "alternatives")


def typed(value):
    """Every text that the adviser typed into a case."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, BaseModel):
        for field in type(value).model_fields:
            yield from typed(getattr(value, field))
    elif hasattr(value, "typed"):
        yield value.typed
    elif isinstance(value, dict):
        for inner in value.values():
            yield from typed(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from typed(inner)


def pieces(texts):
    """The texts, and their parts between commas."""
    return {part for text in texts for part in (text, *text.split(", "))}


def about(calculations):
    """Places and names that calculations are about."""
    return {getattr(piece, "label", piece) for c in calculations for piece in c.subject} - {""}


WORKED = (CalculationList, SourceList)
"""Blocks that stay in the units of their sources."""


def plain(model, without=()):
    """The advisory as running text, kinds of blocks left out."""
    blocks = [replace(b, blocks=()) if isinstance(b, FindingBlock) and without else b
              for b in opened(model.blocks) if not isinstance(b, without)]
    text = render_plain(replace(model, blocks=tuple(blocks))).decode("utf-8")
    return " ".join(re.sub(r"^\s*\| ", " ", text, flags=re.MULTILINE).split())


def quoted(advice):
    """What is quoted in its own language: typed text, citations, places in sources, names."""
    calculations = advice.calculations
    return (pieces(typed(advice.loaded.case)) | set(FORMULAS)
            | pieces(about(calculations))
            | {c.locator for c in calculations if c.locator}
            | {r.citation for r in references().values()}
            | {g.title for g in known_guides().values()}
            | {reason for _, reason in advice.loaded.accepted})


@pytest.mark.parametrize(("name", "units"), [*zip(NAMES, ("us", "si", "us"), strict=True)])
def test_no_english_is_left(name, units):
    """ensures that only typed text, references and names are not Spanish."""
    advice = advised(name, "es", units=units)
    own = {" ".join(t.split()).casefold() for t in quoted(advice) if len(t) > 3}
    beginnings = defaultdict(list)  # thousands of texts are only tried where they may begin
    for text in sorted(own, key=len, reverse=True):
        beginnings[text[:2]].append(re.escape(text[2:]))
    known = "|".join(f"{re.escape(two)}(?:{'|'.join(rest)})" for two, rest in beginnings.items())
    text = plain(printed(name, units=units)).casefold()
    text = re.sub(rf"https?://\S+|(?<!\w)(?:{known})(?!\w)", "¤", text)
    left = [text[max(0, m.start() - 40):m.end() + 40] for m in ENGLISH.finditer(text)]
    assert left == []


@pytest.mark.parametrize("name", NAMES)
def test_every_term_has_a_translation(name, monkeypatch):
    """ensures that each name looked up is in the catalogue, unless the adviser typed it."""
    missed = set()
    found = Cldr._found

    def recorded(self, text, context):
        answer = found(self, text, context)
        if answer is None and not context and any(c.isalpha() for c in text):
            missed.add(text)
        return answer

    advice = advised(name, "es")
    Writer("es")
    monkeypatch.setattr(Cldr, "_found", recorded)
    pipeline.report_model(advice)
    spanish = {m.string for m in Writer("es").tongue._catalogue if m.id}
    own = {text.lower() for text in pieces(typed(advice.loaded.case))}
    own |= {text.lower() for text in about(advice.calculations)}
    symbols = {unit for c in advice.calculations for unit in (c.unit,)}
    left = {text for text in missed if text not in spanish | PROPER | symbols
            and not all(part.lower() in own for part in text.split(", "))
            and not any(text.lower() in one for one in own)}
    assert {text for text in left if re.search(r"[a-z]{4}", text)
            and not re.search(r"[_|]", text)} == set()  # names of tables, lists of regions


def numbers(value):
    """Numerals in all that an entry of the data says."""
    if isinstance(value, str):
        return Counter(NUMBER.findall(value))
    if isinstance(value, dict):
        return sum((numbers(value[k]) for k in SAID if k in value), Counter())
    if isinstance(value, list):
        return sum(map(numbers, value), Counter())
    return Counter()


def said(name, language, units):
    """The data of a sample."""
    advice = advised(name, language, units=units)
    case = advice.loaded.case
    return advisory_data(case, advice.diagnosis, advice.plan, advice.calculations,
                         Writer(language, units, case.case.currency), inputs_sha256="",
                         tables_sha256="", version="")


def same_numbers(english, other, key):
    """Fail where an entry says other numbers than its English one, read by ``key``."""
    for part in PARTS:
        assert len(english[part]) == len(other[part])
        for one, two in zip(english[part], other[part], strict=True):
            assert one.get("id") == two.get("id")
            found, wanted = (Counter(map(key, numbers(x).elements())) for x in (two, one))
            assert found == wanted, (part, one.get("id") or one.get("what"))


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("name", NAMES)
def test_numbers_are_those_of_the_english(name, units):
    """ensures that no finding, action or caution gains, loses or changes a number."""
    same_numbers(said(name, "en", units), said(name, "es", units), str)


def test_numbers_with_a_decimal_comma_are_the_same():
    """ensures that the locale changes the signs of a number and nothing else."""
    english, other = (said("saline_alfalfa_utah", tag, "si") for tag in ("en", "es-ES"))
    same_numbers(english, other, lambda n: n.replace(",", "").replace(".", ""))
    assert any("," in n for n in numbers(other["findings"][0]))


def test_keys_and_numbers_of_the_data_stay():
    """ensures that programs read the same data whatever language it is written in."""
    english, other = (said("acid_corn_ohio", tag, "us") for tag in ("en", "es"))
    assert english.keys() == other.keys()
    for one, two in zip(english["findings"], other["findings"], strict=True):
        for key in ("id", "topic", "value", "unit", "status", "severity", "confidence",
                    "evidence_grade", "calculations"):
            assert one[key] == two[key]
    assert english["calculations"] == other["calculations"]
    assert other["printed"]["language"] == "es"


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("name", NAMES)
def test_pages_of_every_setting(name, units):
    """ensures that Spanish fits both papers, page 1 on one page, without a warning of any library
    (each is an error)."""
    made = printed(name, units=units)
    for paper in Paper:
        model = replace(made, paper=paper)
        data = render_pdf(advisory_alone(model))
        first, second = page_texts(data, 2)
        assert "A quién llamar" in first and "Vigente hasta" in first
        assert "El lote en gráficas" in second
        assert paginated(annex_alone(model, "Anexo")).page_count() > 2
    root = PdfReader(BytesIO(data)).trailer["/Root"]
    assert root["/Lang"] == "es"
    metadata = root["/Metadata"].get_data().decode("utf-8")
    assert re.search(r"<dc:language>\s*<rdf:Bag>\s*<rdf:li>es</rdf:li>", metadata)


def test_command_takes_a_language(tmp_path):
    """ensures that --language stands above the case's own, in every file and in the terminal."""
    case = SAMPLES / "vegetables_new_jersey" / "case.yaml"
    run = CliRunner().invoke(main, ["advise", str(case), "--language", "es-MX", "--units", "si",
                                    "--ics", "--applicator-sheet", "-o", str(tmp_path)])
    assert run.exit_code == 0, run.output
    assert "sin medir" in run.output and "Cal: 1" in run.output
    sheet = PdfReader(next(tmp_path.glob("*-spreading.pdf")))
    assert "Hoja para esparcir" in sheet.pages[0].extract_text()
    assert sheet.trailer["/Root"]["/Lang"] == "es-MX"
    calendar = next(tmp_path.glob("*.ics")).read_text(encoding="utf-8")
    assert "Funcionó si" in calendar
    file = next(tmp_path.glob("*.annex.pdf"))
    annex, told = PdfReader(file), "".join(page_texts(file.read_bytes()))
    spoken = [e for e in elements(annex.trailer["/Root"]["/StructTreeRoot"]) if "/Lang" in e]
    assert {(e["/S"], e["/Lang"]) for e in spoken} == {("/Span", "en")}  # citations
    assert len(spoken) == max(int(n) for n in re.findall(r"\[(\d+)\]", told))


def resolve(value):
    """What a reference points to; anything else as it is."""
    return value.get_object() if hasattr(value, "get_object") else value


def elements(node):
    """Elements of a structure tree below one."""
    kids = resolve(node.get("/K", []))
    for kid in map(resolve, kids if isinstance(kids, list) else [kids]):
        if isinstance(kid, dict) and "/S" in kid:
            yield kid
            yield from elements(kid)


def test_two_plans_are_compared_in_spanish(tmp_path):
    """ensures that the comparison has the words of the first case, and the same keys as data."""
    case = tmp_path / "case.yaml"
    case.write_bytes(header(language="es"))
    found = pipeline.compare(case, None, ("budget.amount=100",))
    text = found.as_text()
    assert "ACCIONES" in text and "DINERO" in text and "espera" in text and "presupuesto" in text
    rows = text.split("\n", 1)[1]  # below the names of the two cases
    assert not ENGLISH.search(re.sub(r"\S+\.\S+", "", rows))  # ids of actions are keys
    assert {line.data["id"] for line in found.money} >= {"budget", "spent"}


def header(**more):
    """A sample's text with lines added to its header."""
    text = (SAMPLES / "vegetables_new_jersey" / "case.yaml").read_text(encoding="utf-8")
    lines = "".join(f"  {key}: {value}\n" for key, value in more.items())
    return text.replace("case:\n", f"case:\n{lines}", 1).encode("utf-8")


@pytest.mark.parametrize(("language", "governing", "line"), [
    ("es", None, "Si este informe existe también en otro idioma, el texto válido es el español."),
    ("es", "en", "Si los textos difieren, el texto válido es el inglés."),
    ("en", None,
     "If this advisory is also given in another language, the English text is the valid one."),
    ("en", "es", "Where the texts differ, the Spanish text is the valid one."),
])
def test_governing_language_is_printed(language, governing, line):
    """ensures that each document says which language counts; its own unless set."""
    writer = Writer(language)
    own = governing or language
    assert line in writer.write(say("report.governing", governing=own))
    more = {"language": language} | ({"governing_language": governing} if governing else {})
    advice = pipeline.advise(load_bytes(header(**more), "case.yaml",
                                        folder=SAMPLES / "vegetables_new_jersey"))
    text = plain(pipeline.report_model(advice))
    assert text.count(line) == 1
    counts = writer.write(say("report.counts", governing=own))
    assert (f" · {counts}" in text) == bool(governing)  # in the first line of page 1


@pytest.mark.parametrize(("own", "printed", "counts"), [
    (None, None, None), (None, "en", None), (None, "es", "en"), (None, "es-MX", "en"),
    ("es", "en", "es"), ("es-US", "es-MX", None),
])
def test_one_text_counts_in_whichever_language_it_is_printed(own, printed, counts):
    """ensures that a case printed in two languages names one governing text in both."""
    read = load_bytes(header(**({"language": own} if own else {})), "case.yaml",
                      folder=SAMPLES / "vegetables_new_jersey", language=printed)
    assert read.case.case.governing_language == counts


def test_governing_language_is_checked():
    """ensures that a language the program does not know is refused, with the choices."""
    with pytest.raises(CaseProblems) as caught:
        load_bytes(header(governing_language="fr"), "case.yaml",
                   folder=SAMPLES / "vegetables_new_jersey")
    assert "governing_language" in str(caught.value) and "en, es" in str(caught.value)


def test_si_documents_name_layers_and_yields_in_si():
    """ensures that typed inches and bushels come in SI, as typed only where the record needs it."""
    text = plain(printed("acid_corn_ohio", "en", units="si"), WORKED)
    assert "11.6 t/ha (185 bu/ac)" in text  # 56 lb/bu, NIST Handbook 44: 185 bu/ac
    assert "0-15 cm (0-6 in)" in text
    assert "units of their source" in text
    words = re.sub(r"\(\d+-\d+ in\)", "", text)
    assert not re.findall(r".{30}\d in\b(?! [a-z]).{10}", words)
    assert not re.findall(r".{30}\d(?: |\u00a0)(?:lb|ac|ton|psi|lb/ac|ton/ac|/ac)\b.{10}",
                          re.sub(r"\([^)]*\)", "", words))


def test_a_crop_typed_by_another_name_is_named(monkeypatch):
    """ensures that "maize" and "lucerne" are named in Spanish, and left as typed in English."""
    advice = advised("acid_corn_ohio", "es")
    names = (("maize", "maíz"), ("lucerne", "alfalfa"), ("Ann's own", "Ann's own"))
    for typed_name, spanish in names:
        case = advice.loaded.case
        field = case.field.model_copy(update={"crop": typed_name})
        case = case.model_copy(update={"field": field})
        for tag, name in (("es", spanish), ("en", typed_name)):
            context = Context(replace(advice.loaded, case=case), advice.diagnosis, advice.plan, (),
                              Writer(tag), None)
            assert context.crop == name
