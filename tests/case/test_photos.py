"""Photos: upright, small, and nothing in them but the picture."""

import io
import json
import zlib

import pytest
from case_builders import minimal
from PIL import Image, ImageDraw

from loambrief.case.load import load_case
from loambrief.case.photos import LONGEST_SIDE, NotAPhoto, markers, photo_from
from loambrief.errors import CaseProblems

SECRET = "Serial-4471-Odessa"


def picture(width=1600, height=1200, mode="RGB"):
    made = Image.new(mode, (width, height), 128 if mode == "L" else (90, 120, 60))
    ImageDraw.Draw(made).rectangle((0, 0, width // 4, height // 4),
                                   fill=255 if mode == "L" else (255, 255, 255))
    return made


def encoded(made, kind="JPEG", **keys):
    out = io.BytesIO()
    made.save(out, kind, **keys)
    return out.getvalue()


def with_exif(orientation=1):
    """A photo as a camera writes it: place, owner, thumbnail-like comment, turned."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x013B] = SECRET  # Artist
    exif[0xA431] = SECRET  # BodySerialNumber
    gps = exif.get_ifd(0x8825)
    gps[1], gps[2] = "N", (40.0, 18.0, 3.6)
    gps[3], gps[4] = "W", (83.0, 24.0, 7.2)
    return encoded(picture(), exif=exif, comment=SECRET.encode(), dpi=(72, 72))


def write(tmp_path, content, name="ditch.jpg", **keys):
    (tmp_path / name).write_bytes(content)
    case = minimal(photos=[{"file": name, "caption": "The ditch in March.", **keys}])
    path = tmp_path / "case.yaml"
    path.write_text(json.dumps(case), encoding="utf-8")
    return path


def fault(path):
    with pytest.raises(CaseProblems) as caught:
        load_case(path)
    return next(p for p in caught.value.problems if p.severity != "warning")


def test_nothing_of_the_camera_is_left(tmp_path):
    """ensures that place, owner, serial number and comments are gone (Exif 2.3 tags)."""
    (photo,) = load_case(write(tmp_path, with_exif())).photos
    assert SECRET.encode() not in photo.jpeg and b"Exif" not in photo.jpeg
    read = Image.open(io.BytesIO(photo.jpeg))
    assert not read.getexif() and not read.info.get("comment")
    assert max(read.size) == LONGEST_SIDE and (photo.width, photo.height) == read.size


@pytest.mark.parametrize("orientation, corner", [(1, (0, 0)), (3, (1, 1)), (6, (1, 0)),
                                                 (8, (0, 1))])
def test_photos_stand_upright(orientation, corner):
    """ensures that a turned photo is turned back (Exif orientation: TIFF 6.0, tag 274)."""
    photo = photo_from("x", with_exif(orientation))
    read = Image.open(io.BytesIO(photo.jpeg))
    wide, high = read.size
    assert (wide > high) == (orientation in (1, 3))
    x, y = (corner[0] * (wide - 20) + 10, corner[1] * (high - 20) + 10)
    assert min(read.getpixel((x, y))) > 240  # the white corner


def test_made_again_it_is_the_same():
    """ensures that a photo taken from a record gives the same bytes again."""
    once = photo_from("x", with_exif())
    again = photo_from("x", once.jpeg)
    assert again.jpeg == once.jpeg and again.sha256 == once.sha256
    assert photo_from("x", with_exif()).jpeg == once.jpeg
    assert once.file_sha256 != once.sha256


def test_comment_in_a_small_photo_goes_too():
    """ensures that a small JPEG with a hidden segment or a tail is written anew."""
    small = encoded(picture(400, 300))
    assert photo_from("x", small).jpeg == small
    hidden = small[:2] + b"\xff\xfe" + (2 + len(SECRET)).to_bytes(2, "big") + SECRET.encode()
    assert SECRET.encode() not in photo_from("x", hidden + small[2:]).jpeg
    tail = photo_from("x", small + SECRET.encode()).jpeg
    assert SECRET.encode() not in tail
    assert 0xE1 in markers(with_exif()) and 0xE1 not in markers(tail)


@pytest.mark.parametrize("mode, kind", [("L", "PNG"), ("RGBA", "PNG"), ("P", "PNG"),
                                        ("CMYK", "JPEG"), ("I;16", "PNG"), ("1", "PNG")])
def test_every_kind_of_picture_becomes_plain(mode, kind):
    """ensures that grey, palette, clear and print colours all become a plain JPEG on white."""
    made = picture(300, 200).convert(mode) if mode != "I;16" else Image.new("I;16", (300, 200), 900)
    if mode == "RGBA":
        made.putalpha(0)
    photo = photo_from("x", encoded(made, kind))
    read = Image.open(io.BytesIO(photo.jpeg))
    assert read.mode in ("RGB", "L") and read.format == "JPEG"
    if mode == "RGBA":
        assert read.getpixel((150, 150)) == (255, 255, 255)


def bomb():
    """A PNG header that promises 30,000 by 30,000 pixels."""
    def chunk(kind, data):
        return (len(data).to_bytes(4, "big") + kind + data
                + zlib.crc32(kind + data).to_bytes(4, "big"))

    head = (30000).to_bytes(4, "big") * 2 + bytes([8, 2, 0, 0, 0])
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", b"") + chunk(b"IEND", b"")


@pytest.mark.parametrize("content, part", [
    (b"", "neither"), (b"hello", "neither"), (encoded(picture(40, 40)), "at least"),
    (encoded(picture(300, 200), "GIF"), "neither"), (encoded(picture())[:3000], "damaged"),
    (bomb(), "at most"),
], ids=["empty", "text", "tiny", "gif", "cut off", "bomb"])
def test_what_is_no_photo_is_refused(tmp_path, content, part):
    """ensures that a file that is no usable photo is a located problem, not a crash."""
    one = fault(write(tmp_path, content))
    assert one.code == "CASE072" and part in one.found + one.wanted
    assert one.line >= 1 and one.column >= 1


@pytest.mark.parametrize("name", ["../outside.jpg", "/etc/hostname", "nowhere.jpg", "a\\b.jpg"])
def test_photos_come_from_the_cases_folder(tmp_path, name):
    """ensures that no file outside the case's folder is read, and that a gone one is named."""
    home = tmp_path / "case"
    home.mkdir()
    (tmp_path / "outside.jpg").write_bytes(encoded(picture(300, 200)))
    path = home / "case.yaml"
    path.write_text(json.dumps(minimal(photos=[{"file": name, "caption": "x"}])))
    assert fault(path).code == "CASE067"


def test_link_out_of_the_folder_is_not_followed(tmp_path):
    """ensures that a symbolic link does not lead out."""
    home = tmp_path / "case"
    home.mkdir()
    (tmp_path / "outside.jpg").write_bytes(encoded(picture(300, 200)))
    (home / "in.jpg").symlink_to(tmp_path / "outside.jpg")
    path = home / "case.yaml"
    path.write_text(json.dumps(minimal(photos=[{"file": "in.jpg", "caption": "x"}])))
    assert fault(path).code == "CASE067"


def test_photo_is_part_of_the_inputs(tmp_path):
    """ensures that another photo makes another digest of the inputs."""
    first = load_case(write(tmp_path, encoded(picture(400, 300)))).sha256
    assert load_case(write(tmp_path, encoded(picture(400, 301)))).sha256 != first
    with pytest.raises(NotAPhoto):
        photo_from("x", b"II*\x00")
