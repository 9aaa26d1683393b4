"""The samples are what they were. If a change is wanted: ``python tests/golden/renew.py``."""

from __future__ import annotations

import difflib
import io
import json
import shutil
import subprocess

import golden
import pytest
import renew
from golden import HERE, PAGES, alike, apart, outline, packed, page_text, picture
from PIL import Image
from sample_reports import pdf

HINT = "if this is wanted: python tests/golden/renew.py"


def _kept(file):
    return (HERE / file).read_bytes()


def _compare(file, now):
    before = _kept(file).decode()
    if before != now:
        changes = difflib.unified_diff(before.split("\n"), now.split("\n"), "kept", "now", n=0,
                                       lineterm="")
        shown = [line[:300] for line in changes][:40]
        pytest.fail("\n".join([f"{file} has changed; {HINT}", *shown]), pytrace=False)


@pytest.mark.parametrize("name", golden.names())
def test_report_model(name):
    """ensures that blocks, titles, rates, costs and the whole of page 1 are as they were."""
    _compare(f"{name}.jsonl", outline(name))


@pytest.mark.parametrize("name", golden.names())
def test_text(name):
    """ensures that a reader program finds the same words on page 1, and headings on the same
    pages."""
    _compare(f"{name}.txt", page_text(name))


@pytest.mark.parametrize("name", golden.names())
def test_pictures(name):
    """ensures that the first pages look as they did."""
    for page in PAGES:
        before = Image.open(io.BytesIO(_kept(f"{name}-{page}.png")))
        now = picture(pdf(name), page)
        assert before.size == now.size and alike(before, now), (
            f"page {page} of {name} looks different {apart(before, now)}; {HINT}")


def test_no_file_is_left_over():
    """ensures that every kept file belongs to a sample, and all are small."""
    wanted = {f"{name}{end}" for name in golden.names()
              for end in (".jsonl", ".txt", *(f"-{page}.png" for page in PAGES))}
    found = {p.name: p.stat().st_size for p in HERE.iterdir()
             if p.suffix in (".jsonl", ".txt", ".png")}
    assert set(found) == wanted
    assert max(found.values()) < 32_000 and sum(found.values()) < 400_000


def test_model_lines_can_be_read():
    """ensures that a line is one block in JSON, the summary whole and no evidence quoted."""
    name = golden.names()[0]
    lines = [json.loads(line) for line in outline(name).splitlines()]
    kinds = [line.get("block") for line in lines]
    assert kinds[1] == "Summary" and lines[1]["actions"][0]["rank"] == 1
    assert {"Heading", "FindingBlock", "ActionCard", "Table"} <= set(kinds)
    assert all(isinstance(n, int) for line in lines if line.get("block") == "FindingBlock"
               for n in line["for, against, context"])


@pytest.mark.parametrize("page", PAGES)
def test_tolerance_lets_another_rasteriser_pass(page, tmp_path):
    """ensures that the same page drawn by poppler, with another FreeType and other smoothing,
    counts as the same page."""
    name = golden.names()[0]
    (tmp_path / "x.pdf").write_bytes(pdf(name))
    subprocess.run(["pdftoppm", "-r", str(golden.DPI), "-gray", "-f", str(page), "-l", str(page),
                    "-singlefile", "-png", "x.pdf", "x"], cwd=tmp_path, check=True)
    ours = Image.open(io.BytesIO(packed(picture(pdf(name), page))))
    assert alike(ours, Image.open(tmp_path / "x.png"))


@pytest.mark.parametrize("page", PAGES)
def test_tolerance_sees_a_change(page):
    """ensures that a page moved by 5 pt, one with a blank patch of 6 by 4 cm, a lighter one and
    another page do not count as the same."""
    now = picture(pdf(golden.names()[0]), page)
    moved = Image.new("L", now.size, 255)
    moved.paste(now, (0, 3))
    patch = now.copy()
    patch.paste(255, (40, 100, 140, 160))
    lighter = now.point(lambda v: 255 - (255 - v) // 3)
    other = picture(pdf(golden.names()[0]), page + 3)
    assert alike(now, now)
    for changed in (moved, patch, lighter, other):
        assert not alike(now, changed)
    with pytest.raises(ValueError, match="against"):
        apart(now, Image.new("L", (10, 10)))


def test_renewing(tmp_path, monkeypatch, capsys):
    """ensures that the command writes what is missing, says so, leaves pictures that show the
    same page, drops what no sample has, and refuses a name it does not know."""
    for path in HERE.glob("*.*"):
        shutil.copy(path, tmp_path)
    monkeypatch.setattr(renew, "HERE", tmp_path)
    name = golden.names()[0]
    made = golden.files(name)
    monkeypatch.setattr(golden, "names", lambda: (name,))
    monkeypatch.setattr(golden, "files", lambda _: made)
    (tmp_path / f"{name}.txt").unlink()
    (tmp_path / f"{name}.jsonl").write_text("old\n")
    redrawn = Image.open(io.BytesIO(made[f"{name}-1.png"])).convert("L")
    redrawn.save(tmp_path / f"{name}-1.png")
    unlike = (tmp_path / f"{name}-1.png").read_bytes()
    (tmp_path / "gone.txt").write_text("x")
    assert renew.main([]) == 0
    said = capsys.readouterr().out
    assert f"new: {name}.txt" in said and f"changed: {name}.jsonl" in said
    assert "removed: gone.txt" in said and ".png" not in said.replace("removed: ", "\0", 1).split(
        "removed")[0]
    assert (tmp_path / f"{name}-1.png").read_bytes() == unlike
    assert (tmp_path / f"{name}.jsonl").read_bytes() == made[f"{name}.jsonl"]
    assert renew.main(["nothing"]) == 2
