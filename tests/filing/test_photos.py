import io
from datetime import date

import pytest
from PIL import Image

from ledger.filing.visit_file import MOST_BYTES, MOST_PIXELS, photo_path, photos_beside, shrunk

_MAKE, _ORIENTATION, _TURNED = 0x010F, 0x0112, 6


def picture(form, size=(640, 400), **rest):
    made = io.BytesIO()
    Image.effect_noise(size, 60).save(made, form, **rest)
    return made.getvalue()


def opened(content):
    return Image.open(io.BytesIO(content))


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "BMP"])
def test_whatever_the_form_it_becomes_a_jpeg(form):
    assert opened(shrunk(picture(form))).format == "JPEG"


def test_a_large_picture_is_made_small():
    content = shrunk(picture("PNG", size=(3000, 2000)))

    assert len(content) <= MOST_BYTES
    assert max(opened(content).size) <= MOST_PIXELS


def test_it_stands_upright_and_tells_nothing_of_the_camera():
    told = Image.Exif()
    told[_MAKE], told[_ORIENTATION] = "Maker of phones", _TURNED
    content = shrunk(picture("JPEG", exif=told, comment=b"Taken at home"))

    assert opened(content).size == (400, 640)
    assert not opened(content).getexif()
    assert b"Maker of phones" not in content
    assert b"Taken at home" not in content


@pytest.mark.parametrize(
    "content",
    [b"", b"at: 2026-11-24\n", picture("JPEG")[:300], b"\x89PNG\r\n\x1a\n" + b"\0" * 40],
    ids=["nothing", "a visit", "cut short", "a torn header"],
)
def test_what_is_no_picture_is_refused(content):
    with pytest.raises(ValueError, match="no picture"):
        shrunk(content)


def test_the_same_picture_is_there_once(tmp_path):
    content = shrunk(picture("PNG"))
    path = photo_path(date(2026, 11, 24), content)
    assert path.startswith("photos/2026/11/2026-11-24-")

    for _ in range(2):
        with photos_beside(tmp_path, {path: content}):
            pass

    assert [one.read_bytes() for one in tmp_path.rglob("*.jpg")] == [content]
