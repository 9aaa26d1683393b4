"""Logo and colour of a business: read from a safe place, plain pixels, readable."""

from __future__ import annotations

import io
import json
import os
import struct
import zlib

import pytest
from case_builders import minimal
from PIL import Image, ImageDraw, PngImagePlugin

from loambrief.case.brand import LONGEST_SIDES, chunks, flat_png
from loambrief.case.load import load_case
from loambrief.case.photos import NotAPhoto
from loambrief.colours import contrast, lifted, luminance, mixed
from loambrief.errors import CaseProblems

SECRET = "Serial-4471-Odessa"


def picture(width=600, height=200, mode="RGBA"):
    made = Image.new(mode, (width, height), (0, 0, 0, 0) if mode == "RGBA" else (20, 90, 40))
    ImageDraw.Draw(made).ellipse((0, 0, height - 1, height - 1), fill=(34, 85, 68))
    return made


def encoded(made, kind="PNG", **keys):
    out = io.BytesIO()
    made.save(out, kind, **keys)
    return out.getvalue()


def with_comment():
    about = PngImagePlugin.PngInfo()
    about.add_text("Author", SECRET)
    exif = Image.Exif()
    exif[0x013B] = SECRET
    return encoded(picture(), pnginfo=about, exif=exif, dpi=(72, 72))


def case_file(tmp_path, part="adviser", content=None, name="logo.png", **brand):
    home = tmp_path / "case"
    home.mkdir(exist_ok=True)
    if content is not None:
        (home / name).write_bytes(content)
        brand.setdefault("logo", {"file": name, "alt": "Varga Field Notes"})
    case = minimal()
    case[part] = {**case[part], "brand": brand}
    path = home / "case.yaml"
    path.write_text(json.dumps(case, indent=1), encoding="utf-8")
    return path


def problem(path):
    with pytest.raises(CaseProblems) as caught:
        load_case(path)
    (one,) = [p for p in caught.value.problems if p.severity != "warning"]
    return one


@pytest.mark.parametrize("one, other, ratio", [
    ("#000000", "#FFFFFF", 21.0), ("#777777", "#FFFFFF", 4.48), ("#767676", "#FFFFFF", 4.54),
    ("#FFFFFF", "#FFFFFF", 1.0), ("#FF0000", "#FFFFFF", 4.00), ("#0000FF", "#FFFFFF", 8.59),
])
def test_contrast(one, other, ratio):
    """ensures the contrast ratio of WCAG 2.2 on pairs whose ratio is common knowledge: black on
    white 21:1, #777 4.48:1 and #767676 4.54:1 on white, the primaries red and blue (printed by
    many checkers; from memory, unverified)."""
    assert contrast(one, other) == contrast(other, one) == pytest.approx(ratio, abs=0.005)


def test_luminance_ends():
    """ensures that black has luminance 0 and white 1 (WCAG 2.2, definition)."""
    assert luminance("#000000") == 0 and luminance("#FFFFFF") == pytest.approx(1.0)


def test_mixing():
    """ensures that a mix lies between, and that a lifted colour is the first that stands out."""
    assert mixed("#000000", "#FFFFFF", 0.5) == "#808080"
    assert mixed("#123456", "#ABCDEF", 0) == "#123456"
    night = "#14191B"
    assert lifted("#FFFFFF", night, 4.5) == "#FFFFFF"
    for colour in ("#225544", "#000000", "#8C3A12"):
        assert contrast(lifted(colour, night, 4.5), night) >= 4.5


@pytest.mark.parametrize("part", ["adviser", "client"])
def test_accent_is_taken(tmp_path, part):
    """ensures that a dark enough colour is taken, in capitals, and changes nothing else."""
    brand = load_case(case_file(tmp_path, part, accent="#225f44")).brand
    assert brand.accent == "#225F44" and not brand.png


@pytest.mark.parametrize("colour, ratio", [("#777777", "3."), ("#FFCC00", "1."), ("#ffffff", "1.")])
def test_pale_accent_is_refused(tmp_path, colour, ratio):
    """ensures that a colour too pale to read is a problem at its place, with the ratio found."""
    path = case_file(tmp_path, accent=colour)
    found = problem(path)
    assert (found.code, found.field) == ("CASE075", "adviser.brand.accent")
    line = path.read_text().split("\n")[found.line - 1]
    assert line[found.column - 1:].startswith(f'"{colour}"')
    assert f", {ratio}" in found.found and "at least 4.5:1" in found.wanted


def test_ratio_is_never_rounded_up(tmp_path):
    """ensures that a ratio just under the limit is not printed as the limit: the palest grey
    that fails on the table bands says 4.4, not 4.5."""
    greys = [f"#{v:02X}{v:02X}{v:02X}" for v in range(256)]
    first = next(c for c in greys if contrast(c, "#EAEEEF") < 4.5)
    assert ", 4.4" in problem(case_file(tmp_path, accent=first)).found
    before = greys[greys.index(first) - 1]
    assert load_case(case_file(tmp_path, accent=before)).brand.accent == before


@pytest.mark.parametrize("colour", ["green", "#FFF", "225544", "#22554G", "#225544\n", "", 5])
def test_other_spellings_are_refused(tmp_path, colour):
    """ensures that only six hexadecimal digits after # are a colour."""
    found = problem(case_file(tmp_path, accent=colour))
    assert found.field == "adviser.brand.accent" and "in quotes" in found.wanted


def test_forgotten_quotes_are_named(tmp_path):
    """ensures that a colour without quotes, which YAML takes for a comment, is not ignored."""
    path = case_file(tmp_path, accent="#225544")
    path.write_text(path.read_text().replace('"#225544"', "null"), encoding="utf-8")
    found = problem(path)
    assert found.field == "adviser.brand" and 'accent: "#225544"' in str(found)


def test_logo_is_flat_and_bare(tmp_path):
    """ensures that a logo is an opaque picture on white without what the file says beside it."""
    loaded = load_case(case_file(tmp_path, content=with_comment()))
    png = loaded.brand.png
    assert SECRET.encode() not in png
    assert set(chunks(png)) == {b"IHDR", b"IDAT", b"IEND"}
    made = Image.open(io.BytesIO(png))
    assert made.mode == "RGB" and made.size == (600, 200) and made.getpixel((590, 100)) == (
        255, 255, 255)
    assert loaded.brand.alt == "Varga Field Notes"
    assert [f.name for f in loaded.files] == ["logo.png"]
    assert loaded.files[0].content == png
    assert loaded.files[0].on_disk == loaded.brand.file_sha256


def test_logo_taken_from_an_attachment_is_the_same(tmp_path):
    """ensures that what is printed, read again, gives the same bytes, so that a record can be
    made anew."""
    png, *size = flat_png(with_comment())
    assert flat_png(png) == (png, *size)
    assert load_case(case_file(tmp_path, content=png)).brand.png == png


@pytest.mark.parametrize("mode, kind", [
    ("RGBA", "PNG"), ("RGB", "JPEG"), ("L", "PNG"), ("P", "PNG"), ("1", "PNG"), ("LA", "PNG"),
    ("I;16", "PNG"), ("CMYK", "JPEG")])
def test_every_kind_of_pixel(mode, kind):
    """ensures that grey, paletted, clear, deep and printing pictures all become RGB."""
    made = Image.new(mode, (100, 50)) if mode == "I;16" else picture(100, 50).convert(mode)
    png, width, height = flat_png(encoded(made, kind))
    again = Image.open(io.BytesIO(png))
    assert again.mode == "RGB" and again.size == (width, height) == (100, 50)


def test_a_damaged_bare_picture_is_refused():
    """ensures that a small plain PNG is not kept unseen: its pixels must be there (own rule)."""
    whole = encoded(picture(mode="RGB"))
    assert flat_png(whole) == (whole, 600, 200)
    kind, data = b"IDAT", b"not what zlib wrote"
    bad = (len(data).to_bytes(4, "big") + kind + data
           + zlib.crc32(kind + data).to_bytes(4, "big"))
    start, end = whole.index(b"IDAT") - 4, whole.index(b"IEND") - 4
    assert chunks(whole[:start] + bad + whole[end:]) == [b"IHDR", b"IDAT", b"IEND"]
    with pytest.raises(NotAPhoto, match="damaged"):
        flat_png(whole[:start] + bad + whole[end:])


def test_large_logo_is_made_small():
    """ensures that a large logo is reduced to what is printed, in its own proportions."""
    png, width, height = flat_png(encoded(picture(3000, 1500, "RGB")))
    assert (width, height) == (600, 300) and len(png) < 60_000
    assert width <= LONGEST_SIDES[0] and height <= LONGEST_SIDES[1]


def _bomb(width, height):
    """A tiny PNG that says it is huge."""
    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(
            ">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head)
            + chunk(b"IDAT", zlib.compress(b"\0" * 100_000)) + chunk(b"IEND", b""))


@pytest.mark.parametrize("content, found", [
    (_bomb(30_000, 30_000), "far larger"), (_bomb(6000, 6000), "6000 by 6000"),
    (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "neither"), (b"", "neither"),
    (b"GIF89a" + b"\0" * 50, "neither"), (encoded(picture())[:300], "damaged"),
    (encoded(picture(600, 20, "RGB")), "600 by 20"),
    (encoded(picture(900, 60, "RGB")), "900 by 60"),
])
def test_what_is_no_logo_is_refused(tmp_path, content, found):
    """ensures that a bomb, another format, a broken file and a sliver are a problem at the
    file's name, and nothing is decoded that is too large."""
    one = problem(case_file(tmp_path, content=content))
    assert one.field == "adviser.brand.logo.file" and one.code == "CASE076"
    assert found in one.found


def test_too_many_bytes(tmp_path):
    """ensures that a file of more than 2 MiB is not read."""
    one = problem(case_file(tmp_path, content=encoded(picture()) + b"\0" * (2 * 1024 * 1024)))
    assert one.code == "CASE076" and "2 MiB" in one.found


@pytest.mark.parametrize("name", ["../../etc/passwd", "/etc/passwd", "~/logo.png", "C:\\logo.png",
                                  "../other/logo.png", "link.png", ".", "missing.png"])
def test_logo_cannot_be_read_from_elsewhere(tmp_path, name):
    """ensures that no path and no link leads out of the case's folder."""
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "logo.png").write_bytes(encoded(picture()))
    path = case_file(tmp_path, logo={"file": name, "alt": "x"})
    os.symlink(tmp_path / "other" / "logo.png", path.parent / "link.png")
    one = problem(path)
    assert one.code in ("CASE067", "CASE076") and one.field == "adviser.brand.logo.file"


def test_profiles_folder_may_hold_the_logo(tmp_path):
    """ensures that a logo shared by many cases may lie in ../profiles."""
    (tmp_path / "profiles").mkdir()
    (tmp_path / "profiles" / "logo.png").write_bytes(encoded(picture()))
    path = case_file(tmp_path, logo={"file": "../profiles/logo.png", "alt": "x"})
    assert load_case(path).brand.width == 600


def test_text_alternative_is_needed(tmp_path):
    """ensures that a logo without words for it is refused."""
    (tmp_path / "case").mkdir()
    (tmp_path / "case" / "logo.png").write_bytes(encoded(picture()))
    one = problem(case_file(tmp_path, logo={"file": "logo.png"}))
    assert one.code == "CASE021" and "alt" in str(one)


def test_client_before_adviser(tmp_path):
    """ensures that the client's colour and logo stand before the adviser's, each by itself."""
    path = case_file(tmp_path, "client", content=encoded(picture()))
    case = json.loads(path.read_text())
    case["adviser"]["brand"] = {"accent": "#225544", "logo": {"file": "other.png", "alt": "o"}}
    (path.parent / "other.png").write_bytes(encoded(picture(90, 90)))
    path.write_text(json.dumps(case), encoding="utf-8")
    brand = load_case(path).brand
    assert brand.accent == "#225544" and brand.name == "logo.png"
    assert load_case(path).sha256 != load_case(case_file(tmp_path, accent="#225544")).sha256


def test_a_photo_is_no_logo(tmp_path):
    """ensures that one file is not printed in two ways under one name."""
    path = case_file(tmp_path, content=encoded(picture(200, 200, "RGB")))
    case = json.loads(path.read_text())
    case["photos"] = [{"file": "logo.png", "caption": "The ditch."}]
    path.write_text(json.dumps(case), encoding="utf-8")
    assert "the photo 'logo.png'" in problem(path).found


def test_no_brand(tmp_path):
    """ensures that a case without the keys has no brand, and its digest is the file's own."""
    path = tmp_path / "case.yaml"
    path.write_text(json.dumps(minimal()), encoding="utf-8")
    assert load_case(path).brand is None and load_case(path).files == ()


def test_not_a_photo_says_what_is_wanted():
    """ensures that each refusal names what would be right."""
    with pytest.raises(NotAPhoto) as caught:
        flat_png(b"no picture")
    assert caught.value.wanted == "a JPEG or PNG picture"
