"""Photos in the advisory: printed as they were taken in, heard by their words, nothing leaked."""

import base64
import io
import json
from dataclasses import replace

import pikepdf
import pytest
from pdf_text import page_texts
from PIL import Image
from sample_reports import short_text

from loambrief import pipeline
from loambrief.case.load import load_case
from loambrief.case.schema import SHOWN
from loambrief.render.html import render_html
from loambrief.render.pdf import render_pdf
from loambrief.render.plain import render_plain
from loambrief.report.blocks import Annex, Heading
from loambrief.report.parts import Photos
from loambrief.topics.assess import TOPICS

CAPTIONS = ("Foxtail along the field entrance.", "Ponded wheel tracks.", "Roots turn at 7 in.")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A short case with three invented photos, one of them on end."""
    home = tmp_path_factory.mktemp("photos")
    text = short_text() + "\nphotos:\n"
    for number, caption in enumerate(CAPTIONS):
        size = (700, 1200) if number == 1 else (1400, 1000)
        exif = Image.Exif()
        exif[0x013B] = "Camera of Odessa"
        picture = Image.linear_gradient("L").rotate(90 * number).resize(size).convert("RGB")
        picture.save(home / f"{number}.jpg", exif=exif)
        text += (f"  - {{file: {number}.jpg, caption: {json.dumps(caption)}, place: gate, "
                 f"date: 2026-09-22, alt: Picture {number} of the visit}}\n")
    (home / "case.yaml").write_text(text, encoding="utf-8")
    loaded = load_case(home / "case.yaml")
    model = pipeline.report_model(pipeline.advise(loaded))
    return loaded, model, render_pdf(model, checked=True)


def test_photos_are_printed_as_taken_in(made):
    """ensures that the very bytes of each photo are in the file, once on a page and attached."""
    loaded, _, pdf = made
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        placed = [item for page in opened.pages
                  for item in page.resources.get("/XObject", {}).values()
                  if item.Subtype == "/Image"]
        printed = [base64.a85decode(item.read_raw_bytes().strip().removesuffix(b"~>"))
                   for item in placed]
        attached = {name: file.get_file().read_bytes()
                    for name, file in opened.attachments.items()}
    for photo in loaded.photos:
        assert attached[photo.name] == photo.jpeg
    assert sorted(printed) == sorted(photo.jpeg for photo in loaded.photos)
    assert {Image.open(io.BytesIO(data)).size for data in printed} == {
        (p.width, p.height) for p in loaded.photos}
    assert b"Odessa" not in b"".join(printed)


def test_photos_are_heard(made, accessibility_faults):
    """ensures that each photo is a tagged figure with its words, and the file stays accessible."""
    _, _, pdf = made
    assert accessibility_faults(pdf) == []
    text = " ".join(" ".join(page_texts(pdf)).split())
    for caption in CAPTIONS:
        assert f"{caption} (gate, 22" in text


def test_photos_on_screen_and_in_text(made):
    """ensures that the twins show photos with the same words."""
    _, model, _ = made
    page = render_html(model).decode()
    for number, caption in enumerate(CAPTIONS):
        assert page.count(f'alt="Picture {number} of the visit"') == 1 and caption in page
        assert f"Picture {number} of the visit" in render_plain(model).decode()
    assert page.count("data:image/jpeg;base64,") == 3


def test_photo_stands_beside_its_finding(made):
    """ensures that a photo that shows a topic stands in that topic's section, one of a topic
    without a finding in the section of photos, and each of them once."""
    loaded, _, _ = made
    shows = ("weeds", None, "forage")
    photos = [entry.model_copy(update={"shows": topic})
              for entry, topic in zip(loaded.case.photos, shows, strict=True)]
    case = loaded.case.model_copy(update={"photos": photos})
    model = pipeline.report_model(pipeline.advise(replace(loaded, case=case)))
    (annex,) = (block for block in model.blocks if isinstance(block, Annex))
    section, found = "", {}
    for block in annex.blocks:
        if isinstance(block, Heading) and block.level <= 2 and block.anchor:
            section = block.anchor
        elif isinstance(block, Photos):
            found |= {photo.caption.split(" (")[0]: section for photo in block.photos}
    assert found == {CAPTIONS[0]: "topic-weeds", CAPTIONS[1]: "photos", CAPTIONS[2]: "photos"}


def test_a_photo_can_show_every_topic():
    """ensures that a case may name any topic that can have a finding, and no other."""
    assert sorted(SHOWN) == sorted(TOPICS)
