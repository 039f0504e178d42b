"""A picture that was sent becomes one of our own: upright, small, and with nothing in it but the picture."""

import io
import struct

import pytest
from PIL import Image

from accounts.errors import Refused
from inspections.pictures import LONGEST_SIDE_PX, MOST_BYTES, drawn_anew

# EXIF (CIPA DC-008): 0x0112 orientation, 6 = turned a quarter; 0x010F maker; 0x8825 the GPS directory, 1 = "N or S".
ORIENTATION, MAKER, GPS, NORTH_OR_SOUTH = 0x0112, 0x010F, 0x8825, 1


def sent_picture(kind: str = "JPEG", size: tuple[int, int] = (40, 20), **options: object) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", size, "navy").save(file, kind, **options)
    return file.getvalue()


def with_data_about_the_place() -> bytes:
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    exif[MAKER] = "the maker of the phone"
    exif.get_ifd(GPS)[NORTH_OR_SOUTH] = "N"
    return sent_picture(exif=exif, comment=b"a word behind the picture")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_every_permitted_kind_becomes_a_jpeg(kind: str) -> None:
    picture = drawn_anew(sent_picture(kind))
    with Image.open(io.BytesIO(picture.jpeg)) as drawn:
        assert (drawn.format, drawn.size) == ("JPEG", (40, 20))
    assert (picture.width_px, picture.height_px) == (40, 20)


def test_where_and_with_what_it_was_taken_is_gone_and_the_picture_stands_upright() -> None:
    sent = with_data_about_the_place()
    with Image.open(io.BytesIO(sent)) as before:
        assert before.getexif().get_ifd(GPS) == {NORTH_OR_SOUTH: "N"}
    picture = drawn_anew(sent)
    with Image.open(io.BytesIO(picture.jpeg)) as drawn:
        assert (drawn.size, dict(drawn.getexif()), drawn.info.get("comment")) == ((20, 40), {}, None)
    assert b"maker of the phone" not in picture.jpeg
    assert b"a word behind" not in picture.jpeg


def test_what_hides_behind_a_picture_is_not_kept() -> None:
    assert b"<script>" not in drawn_anew(sent_picture() + b"<script>alert(1)</script>").jpeg


def test_a_large_picture_is_drawn_smaller() -> None:
    picture = drawn_anew(sent_picture(size=(4096, 1024)))
    assert (picture.width_px, picture.height_px) == (LONGEST_SIDE_PX, 512)


def test_what_is_transparent_becomes_white() -> None:
    file = io.BytesIO()
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(file, "PNG")
    with Image.open(io.BytesIO(drawn_anew(file.getvalue()).jpeg)) as drawn:
        assert drawn.getpixel((4, 4)) == (255, 255, 255)


def with_camera_data(tag: int, kind: int, value: bytes) -> bytes:
    """Return a picture on its side with one more entry of camera data, of whatever kind."""
    entries = [(0x0112, 3, 1, b"\6\0\0\0"), (tag, kind, 3, value)]
    packed = b"".join(struct.pack("<HHI4s", *entry) for entry in sorted(entries))
    return sent_picture(exif=b"Exif\0\0II*\0\x08\0\0\0" + struct.pack("<H", 2) + packed + bytes(4))


def bomb() -> bytes:
    """Return a PNG of a few kilobytes that says it has 20,000 by 20,000 pixels."""
    file = io.BytesIO()
    Image.new("1", (20_000, 20_000)).save(file, "PNG")
    return file.getvalue()


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        (b"", "not_a_picture"),
        (b"%PDF-1.7", "not_a_picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "not_a_picture"),
        (sent_picture("GIF"), "not_a_picture"),
        (sent_picture("TIFF"), "not_a_picture"),
        (sent_picture(size=(400, 400))[:300], "broken_picture"),
        (with_camera_data(0x0128, 2, b"ab\0\0"), "broken_picture"),
        (with_camera_data(0x011A, 2, b"ab\0\0"), "broken_picture"),
        (bomb(), "too_many_pixels"),
        (bytes(MOST_BYTES + 1), "too_large"),
    ],
    ids=[
        "empty",
        "pdf",
        "svg",
        "gif",
        "tiff",
        "cut off",
        "unit in words",
        "ratio in words",
        "many pixels",
        "many bytes",
    ],
)
def test_anything_else_is_refused_by_what_it_holds(sent: bytes, code: str) -> None:
    with pytest.raises(Refused) as refused:
        drawn_anew(sent)
    assert [(fault.path, fault.code) for fault in refused.value.faults] == [(("photo",), code)]
