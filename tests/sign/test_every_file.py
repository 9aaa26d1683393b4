"""The very bytes of every kind of file that a user gets, in both languages, on both papers.

The two documents of an advisory are those of a whole sample; the other kinds, which hold the
same parts in another order or with a stamp, are made of cases with few results.

ISO 19005-3 (PDF/A-3) and ISO 14289-1 (PDF/UA-1), as far as independent programs judge them:
qpdf, Ghostscript, two checkers of accessibility, and the file's own bytes.
"""

from __future__ import annotations

import datetime as dt
import io
import itertools
import re
import shutil
import subprocess

import pikepdf
import pytest
import sign_samples as samples
import yaml
from accessible import judged, looked_at
from click.testing import CliRunner
from file_bytes import stream_faults
from sample_reports import ROOT, advice, short_case

from loambrief import pipeline
from loambrief.archive.sign import Role, sign
from loambrief.archive.store import Store
from loambrief.case.load import load_case
from loambrief.case.sheet_layout import SECTIONS
from loambrief.cli import main
from loambrief.record.export import export_client
from loambrief.record.issue import issue
from loambrief.record.redact import redact
from loambrief.record.withdraw import withdraw

FIELDS = ROOT / "sample_inputs" / "three_fields_indiana"
KEPT = ("depth", "ph", "buffer_ph", "organic_matter", "phosphorus", "potassium", "cec")
"""Results of the small case: lime, two nutrients."""
LEFT_OUT = r"^ +(?:potassium|calcium|magnesium|cec|cations): .*\n"
"""Lines of the two fields of one client that their documents do without."""
KINDS = {"draft", "draft.annex", "one", "spreading", "sheet", "together", "together.annex",
         "issued", "issued.annex", "redacted", "redacted.annex", "withdrawn", "signed", "both",
         "bundle", "month", "pack"}


@pytest.fixture(scope="module", params=[("en", "letter", "us"), ("es", "a4", "si")],
                ids=["en-letter", "es-a4"])
def files(request, tmp_path_factory):
    """Name of a kind -> the file."""
    language, paper, units = request.param
    home = tmp_path_factory.mktemp(language)
    draft = pipeline.render(advice("acid_corn_ohio", units, paper, language))
    small = home / "case.yaml"
    small.write_text(_small(language=language, paper=paper, units=units), encoding="utf-8")
    made = pipeline.advise(load_case(small))
    found = {"draft": draft.pdf, "draft.annex": draft.annex,
             "one": pipeline.render(made, files=pipeline.Files.ONE).pdf,
             "sheet": pipeline.field_sheet_file(made, SECTIONS).pdf}
    (found["spreading"],) = pipeline.applicator_file(made).values()
    shutil.copytree(FIELDS, home / "fields", ignore=shutil.ignore_patterns("creek_bottom.*"))
    for path in (home / "fields").glob("*.yaml"):
        path.write_text(re.sub(LEFT_OUT, "", path.read_text(encoding="utf-8"), flags=re.MULTILINE),
                        encoding="utf-8")
    fields = [pipeline.advise(load_case(path, language=language, paper=paper))
              for path in sorted((home / "fields").glob("*.yaml"))]
    together = pipeline.render_together(fields, "all")
    found |= {"together": together["all.pdf"], "together.annex": together["all.annex.pdf"]}
    found |= _recorded(home, small)
    done = CliRunner().invoke(main, [
        "batch", str(home / "fields"), "-o", str(home / "month"), "--bundle", "--print-pack",
        "--annexes", "--language", language, "--paper", paper, "--workers", "1", "-q"])
    assert done.exit_code == 0, done.output
    for path in (home / "month").rglob("*.pdf"):
        for name, kind in (("bundle-", "bundle"), ("month-", "month"), ("print-pack", "pack")):
            if name in path.name:
                found[kind] = path.read_bytes()
    assert set(found) == KINDS
    for name, content in found.items():
        (home / f"{name}.pdf").write_bytes(content)
    return {name: home / f"{name}.pdf" for name in found}


def _small(**header):
    """The short case with fewer results and materials, and no weeds; complete all the same."""
    case = yaml.safe_load(short_case(**header))
    del case["weeds"]
    (sample,) = case["samples"]
    sample["increments"] = [{key: one[key] for key in KEPT} for one in sample["increments"]]
    case["materials"] = [m for m in case["materials"] if m["id"] != "dololime"]
    return yaml.safe_dump(case, sort_keys=False, allow_unicode=True)


def _recorded(home, case):
    """The files of a record: issued, signed once and twice, redacted, withdrawn."""
    clock = itertools.count()
    with Store.create(home / "records", clock=lambda: samples.NOW + dt.timedelta(
            minutes=next(clock))) as store:
        issued = issue(case, store)
        (stem,) = (name[:-4] for name in issued.files if re.fullmatch(r"[\w-]+\.pdf", name))
        number = stem.rpartition("-r")[0]
        found = {"issued": issued.files[f"{stem}.pdf"],
                 "issued.annex": issued.files[f"{stem}.annex.pdf"]}
        copy = redact(number, store).files
        found |= {"redacted": copy[f"{stem}-redacted.pdf"],
                  "redacted.annex": copy[f"{stem}-redacted.annex.pdf"]}
        withdraw(number, store, reason="The lab took its report back.")
        given = export_client(store, "Pruett & Daughters Grain")
        found["withdrawn"] = given[f"{stem}/{stem}-withdrawn.pdf"]
    for kind, holder, role, before in (("signed", samples.adviser(), Role.ADVISER, "issued"),
                                       ("both", samples.client(), Role.CLIENT, "signed")):
        keys = home / kind
        keys.mkdir()
        found[kind] = sign(found[before], samples.opened(holder, keys), role, now=samples.NOW,
                           name_differs="trial").content
    return found


def test_streams(files):
    """ensures that each stream ends with a line, is compressed, and is not empty; the library
    that signs writes its small additions uncompressed, which the standard allows."""
    for name, path in files.items():
        faults = stream_faults(path.read_bytes())
        if name in ("signed", "both"):
            faults = [f for f in faults if "not compressed" not in f]
        assert not faults, name


def test_other_readers_find_no_fault(files):
    """ensures that qpdf and Ghostscript, set to stop at the first fault, read each file."""
    for name, path in files.items():
        done = subprocess.run(["qpdf", "--check", path], capture_output=True, text=True)
        assert done.returncode == 0 and not done.stderr, (name, done.stderr)
    done = subprocess.run(
        ["gs", "-q", "-dBATCH", "-dNOPAUSE", "-dSAFER", "-sDEVICE=nullpage", "-dPDFSTOPONERROR",
         "-dPDFSTOPONWARNING", *files.values()], capture_output=True, text=True)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_accessible(files):
    """ensures that two checkers find no fault in any kind of file, but for column titles that
    are repeated on the next page, which are decoration on purpose (rule TAG-002)."""
    for name, path in files.items():
        errors = looked_at(path).findings
        assert {f.rule for f in errors} <= {"TAG-002"}, (name, errors)
        assert not judged(path), name


def test_headings_step_by_one(files):
    """ensures that each file begins with H1 and skips no level (ISO 14289-1, 7.4.2)."""
    for name, path in files.items():
        levels = _levels(path.read_bytes())
        assert levels[0] == 1, (name, levels)
        assert all(b <= a + 1 for a, b in itertools.pairwise(levels)), (name, levels)


def _levels(data):
    found = []

    def walk(node):
        if isinstance(node, pikepdf.Array):
            for one in node:
                walk(one)
        elif isinstance(node, pikepdf.Dictionary):
            if tag := re.fullmatch(r"/H(\d)", str(node.get("/S", ""))):
                found.append(int(tag[1]))
            if "/K" in node:
                walk(node.K)

    with pikepdf.open(io.BytesIO(data)) as pdf:
        walk(pdf.Root.StructTreeRoot.K)
    return found
