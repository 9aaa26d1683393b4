"""Several fields of one client in one document."""

import io
import json

import pypdf
import pytest
from click.testing import CliRunner
from sample_reports import short_text

from loambrief.cli import main


@pytest.fixture
def case(tmp_path):
    """A short case."""
    path = tmp_path / "case.yaml"
    path.write_text(short_text(), encoding="utf-8")
    return path


def other_field(tmp_path, **changes):
    text = short_text()
    swaps = {"id: tarrow-east-40": "id: tarrow-west-20", "name: East 40": "name: West 20",
             **changes}
    for old, new in swaps.items():
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "west.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def test_one_document_with_a_cover(tmp_path, case):
    """ensures that two fields share one PDF: cover with both, links to each, data apart."""
    result = run("advise", case, other_field(tmp_path), "--together", "pruett-2027", "-o",
                 tmp_path / "out", "-q")
    assert result.exit_code == 0, result.output
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "pruett-2027.annex.pdf", "pruett-2027.pdf", "tarrow-east-40.json", "tarrow-west-20.json"]
    reader = pypdf.PdfReader(io.BytesIO((tmp_path / "out" / "pruett-2027.pdf").read_bytes()))
    cover = " ".join(reader.pages[0].extract_text().split())
    assert "East 40" in cover and "West 20" in cover and "2 fields" in cover
    spent = sum(
        json.loads((tmp_path / "out" / f"{i}.json").read_bytes())["budget"]["printed"]["total"]
        for i in ("tarrow-east-40", "tarrow-west-20"))
    assert f"${spent:,.0f}" in cover
    assert {"tarrow-east-40-case.yaml", "tarrow-west-20-case.yaml"} <= set(reader.attachments)


def test_files_are_kept_apart_whatever_the_ids(tmp_path, case):
    """ensures that a case whose id begins like the name of its file loses no file."""
    west = other_field(tmp_path, **{"id: tarrow-west-20": "id: case"})
    assert run("advise", case, west, "--together", "both", "-o", tmp_path / "out",
               "-q").exit_code == 0
    reader = pypdf.PdfReader(io.BytesIO((tmp_path / "out" / "both.pdf").read_bytes()))
    assert {"tarrow-east-40-case.yaml", "case-case.yaml", "case.json"} <= set(reader.attachments)


@pytest.mark.parametrize("old, new, word", [
    ("name: Pruett & Daughters Grain", "name: Somebody Else", "client"),
    ("units: us", "units: si", "units"),
])
def test_strangers_do_not_share_a_document(tmp_path, case, old, new, word):
    """ensures that fields of two clients, or in two unit systems, are refused; nothing written."""
    result = run("advise", case, other_field(tmp_path, **{old: new}), "--together", "x", "-o",
                 tmp_path / "out")
    assert result.exit_code == 2 and f"one {word}" in result.stderr
    assert not (tmp_path / "out").exists()


def test_two_cases_of_one_id_are_refused(tmp_path, case):
    """ensures that one advisory never overwrites another of the same run."""
    result = run("advise", case, case, "-o", tmp_path / "out")
    assert result.exit_code == 1 and "tarrow-east-40" in result.stderr
    assert not (tmp_path / "out").exists()


def test_name_is_no_path(tmp_path, case):
    """ensures that the name of the document cannot leave the folder."""
    assert run("advise", case, "--together", "../x", "-o", tmp_path).exit_code == 2
