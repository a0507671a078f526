"""What is kept of a photo: its pixels, upright. The witness is Pillow's own reader of Exif."""

import random
import struct
import zlib
from io import BytesIO

import pytest
from PIL import ExifTags, Image, ImageChops, ImageOps, ImageStat

from joulebook.errors import UsageError
from joulebook.storage.event_photos import MOST_SENT_BYTES, Picture
from joulebook.storage.pictures import (
    LONGEST_SIDE,
    MOST_KEPT_BYTES,
    SMALL_SIDE,
    as_kept,
    small,
    taken_in,
)
from tests.helpers.photos import CAMERA, REMARK, drawn, phone_photo, small_picture


def opened(jpeg: bytes) -> Image.Image:
    image = Image.open(BytesIO(jpeg), formats=("JPEG",))
    image.load()
    return image


def apart(one: Image.Image, other: Image.Image) -> float:
    """Return how far two pictures are apart: the mean of the worst colour. [of 255]"""
    difference = ImageChops.difference(one.convert("RGB"), other.convert("RGB"))
    return max(ImageStat.Stat(difference).mean)


def refused(sent: bytes) -> UsageError:
    with pytest.raises(UsageError) as caught:
        taken_in(sent)
    assert caught.value.where == "photo"
    return caught.value


def png_of(width: int, height: int, *, depth: int = 1) -> bytes:
    """Return the head of a PNG file that says how large it is, and next to nothing else.

    PNG, third edition, §5.3 and §11.2.1: length, name, data and CRC-32 of each part.
    """
    head = struct.pack(">IIBBBBB", width, height, depth, 0, 0, 0, 0)
    parts = ((b"IHDR", head), (b"IDAT", zlib.compress(bytes(64))), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in parts
    )


def test_nothing_of_what_a_phone_writes_into_a_photo_is_kept() -> None:
    sent = phone_photo(comment=REMARK.encode(), icc_profile=b"profile" * 40)
    there = Image.open(BytesIO(sent)).getexif()
    assert there.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] == (38.0, 43.0, 12.5)
    kept = taken_in(sent)
    for secret in (CAMERA, REMARK, "profile", "Exif"):
        assert secret.encode() in sent
        assert secret.encode() not in kept.jpeg
    image = opened(kept.jpeg)
    assert dict(image.getexif()) == {}
    # JFIF is the file's own head, and not of the photo.
    assert set(image.info) == {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert apart(image, drawn()) < 4


@pytest.mark.parametrize("turned", range(1, 9))
def test_a_photo_stands_as_it_was_seen_however_the_camera_was_held(turned: int) -> None:
    sent = phone_photo(drawn(400, 300), turned=turned)
    wanted = ImageOps.exif_transpose(Image.open(BytesIO(sent)))
    kept = taken_in(sent)
    # TIFF 6.0, page 36: from 5 on, rows are columns.
    assert (kept.width, kept.height) == ((300, 400) if turned > 4 else (400, 300))
    assert apart(opened(kept.jpeg), wanted) < 4


@pytest.mark.parametrize("form", ["JPEG", "PNG"])
@pytest.mark.parametrize(
    ("size", "kept_size"),
    [((1600, 1200), (1600, 1200)), ((2400, 1200), (1600, 800)), ((900, 3600), (400, 1600))],
)
def test_a_large_one_is_made_smaller_and_no_other(
    form: str, size: tuple[int, int], kept_size: tuple[int, int]
) -> None:
    kept = taken_in(phone_photo(drawn(*size), form=form))
    assert (kept.width, kept.height) == kept_size == opened(kept.jpeg).size
    assert max(kept_size) <= LONGEST_SIDE
    assert apart(opened(kept.jpeg), drawn(*kept_size)) < 4


@pytest.mark.parametrize(
    ("form", "mode"),
    [
        *(("JPEG", mode) for mode in ("RGB", "L", "CMYK")),
        *(("PNG", mode) for mode in ("RGB", "RGBA", "L", "LA", "P", "1")),
    ],
)
def test_colours_of_every_kind_are_taken(form: str, mode: str) -> None:
    image = drawn().quantize(8) if mode == "P" else drawn(mode=mode)
    assert image.mode == mode
    kept = opened(taken_in(phone_photo(image, form=form)).jpeg)
    assert kept.mode == "RGB"
    assert apart(kept, image) < 5


def test_what_is_clear_is_white() -> None:
    image = drawn(mode="RGBA")
    image.putalpha(0)
    kept = opened(taken_in(phone_photo(image, form="PNG")).jpeg)
    assert apart(kept, Image.new("RGB", kept.size, "white")) == 0


def test_of_a_file_with_two_pictures_the_first_is_kept() -> None:
    # As phones write them (CIPA DC-007, Multi-Picture Format).
    sent = phone_photo(form="MPO", save_all=True, append_images=[Image.new("RGB", (640, 480))])
    assert apart(opened(taken_in(sent).jpeg), drawn()) < 4


def test_what_is_no_photo_is_refused() -> None:
    gif = BytesIO()
    drawn().save(gif, "GIF")
    for sent in (b"", b"no photo", b"<svg xmlns='http://www.w3.org/2000/svg'/>", gif.getvalue()):
        assert refused(sent).what == "the file is no photo that can be read here"
    for sent in (phone_photo()[:-400], phone_photo(form="PNG")[:-400]):
        assert refused(sent).what == "the photo is damaged"


def test_a_file_that_is_too_long_is_refused_before_it_is_looked_at() -> None:
    # What follows the picture's end is nobody's business, and a photo's file may be so long.
    whole = phone_photo()
    assert taken_in(whole + bytes(MOST_SENT_BYTES - len(whole))) == taken_in(whole)
    error = refused(whole + bytes(MOST_SENT_BYTES - len(whole) + 100_000))
    assert (error.what, error.expected) == ("the photo has 8.1 MB", "at most 8 MB")


@pytest.mark.parametrize(
    ("width", "height", "what"),
    [
        (5001, 5000, "the photo has 25 million pixels"),
        # Pillow by itself warns from 89 million pixels on, and refuses from 179 million on.
        (10_000, 10_000, "the photo has far too many pixels"),
        (60_000, 60_000, "the photo has far too many pixels"),
    ],
)
def test_a_small_file_of_very_many_pixels_is_refused_by_its_head(
    width: int, height: int, what: str
) -> None:
    sent = png_of(width, height)
    assert len(sent) < 100
    error = refused(sent)
    assert (error.what, error.expected) == (what, "at most 25 million pixels")


def test_a_file_that_says_less_than_it_holds_does_no_harm() -> None:
    assert refused(png_of(64, 64_000)).what == "the photo is damaged"
    assert taken_in(png_of(16, 16)).width == 16


@pytest.mark.filterwarnings("ignore::UserWarning")  # Pillow warns of broken words beside pixels
def test_whatever_is_broken_in_a_file_it_is_taken_or_refused_and_nothing_else() -> None:
    chance = random.Random(20)
    whole = [
        phone_photo(drawn(48, 36), form=form, turned=6, **more)
        for form, more in (
            ("JPEG", {"comment": b"words"}),
            ("JPEG", {"progressive": True, "icc_profile": b"x" * 200}),
            ("PNG", {}),
        )
    ]
    taken = 0
    for _ in range(900):
        sent = bytearray(chance.choice(whole))
        for _ in range(chance.choice((1, 2, 8))):
            sent[chance.randrange(len(sent))] = chance.randrange(256)
        try:
            kept = taken_in(bytes(sent))
        except UsageError:
            continue
        taken += 1
        assert as_kept(kept.jpeg) == kept
    assert 100 < taken < 850


def test_words_beside_the_pixels_may_be_broken() -> None:
    sent = bytearray(phone_photo(turned=6))
    at = sent.index(b"Exif\0\0") + 6
    sent[at : at + 4] = b"????"  # neither II nor MM: no order of bytes (TIFF 6.0, page 13)
    assert taken_in(bytes(sent)).width == 640


def test_a_photo_that_was_kept_is_known_and_every_other_refused() -> None:
    kept = taken_in(phone_photo())
    assert as_kept(kept.jpeg) == kept
    assert kept.sha256 == as_kept(kept.jpeg).sha256
    wide, progressive = BytesIO(), BytesIO()
    Image.new("RGB", (LONGEST_SIDE + 1, 4)).save(wide, "JPEG")
    drawn().save(progressive, "JPEG", progressive=True)
    head, rest = kept.jpeg[:2], kept.jpeg[2:]
    for other in (
        b"",
        b"\xff\xd8\xff\xd9",
        phone_photo(),
        kept.jpeg + b"more",
        kept.jpeg[:-2],
        kept.jpeg[:-2] + b"hidden\xff\xd9" + kept.jpeg[-2:],
        head + b"\xff\xfe\x00\x08hidden" + rest,  # a comment
        head + b"\xff\xe0\x00\x08hidden" + rest,  # another head
        head + b"\xff\xdb\x00\x00" + rest,  # a part that ends before it begins
        head + b"\xff\xdb\x00\x04\x09\x00" + rest,  # a table that there is not
        wide.getvalue(),
        progressive.getvalue(),  # its scans are several
        kept.jpeg[:-2] + bytes(MOST_KEPT_BYTES) + kept.jpeg[-2:],
    ):
        with pytest.raises(UsageError, match="not as it was kept"):
            as_kept(other)


def test_noise_itself_fits_into_what_may_be_kept() -> None:
    noise = Image.effect_noise((LONGEST_SIDE, LONGEST_SIDE), 200).convert("RGB")
    sent = BytesIO()
    noise.save(sent, "JPEG", quality=90)
    assert len(taken_in(sent.getvalue()).jpeg) < MOST_KEPT_BYTES * 0.7


def test_a_small_one_is_small() -> None:
    shown = opened(small(taken_in(phone_photo(drawn(1200, 900))).jpeg))
    assert shown.size == (SMALL_SIDE, SMALL_SIDE * 3 // 4)
    assert apart(shown, drawn(*shown.size)) < 6
    assert opened(small(small_picture().jpeg)).size == (8, 6)


def test_the_same_photo_is_kept_as_the_same_bytes() -> None:
    assert taken_in(phone_photo()) == taken_in(phone_photo(turned=1))
    assert small_picture(1) != small_picture(2)
    assert Picture(b"abc", 1, 1).sha256.startswith("ba7816bf 8f01cfea".replace(" ", ""))  # FIPS 180
