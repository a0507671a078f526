"""Photos made fit to be kept: upright, smaller, and with nothing in them but what is seen.

A phone writes into a photo where it was taken, when, and with what. So nothing that was sent is
kept as it came: its pixels are, written anew. Who uses this loads it there and then: the decoder
takes 5 MB.
"""

import re
import struct
import threading
from io import BytesIO

from PIL import Image, UnidentifiedImageError

from joulebook.errors import UsageError
from joulebook.storage.event_photos import MOST_PIXELS, MOST_SENT_BYTES, Picture

#: As it is kept: its longer side, and so its bytes (noise alone takes 1.7 MB). [px, byte]
LONGEST_SIDE = 1600
MOST_KEPT_BYTES = 3 * 1024 * 1024
#: The longer side of the small picture on a page. [px]
SMALL_SIDE = 320

_QUALITY = 80
_FORMATS = ("JPEG", "PNG")
#: What the decoder raises over files that are broken, or made to break it.
_BROKEN = (
    *(ArithmeticError, EOFError, LookupError, MemoryError, OSError, SyntaxError),
    *(TypeError, ValueError, struct.error),
)
_BOMB = (Image.DecompressionBombError, Image.DecompressionBombWarning)
_TOO_WIDE = f"at most {MOST_PIXELS // 1_000_000} million pixels"

#: How a picture is turned that lies otherwise than it was seen (TIFF 6.0, page 36; so in Exif too).
_ORIENTATION = 0x0112
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}

# The parts of a JPEG file by their markers (ITU-T T.81, annex B.1.1): a head of 16 bytes (JFIF
# 1.02), tables, the frame, and one scan. Within the scan 0xFF is followed by 0 or a restart.
_HEAD, _SCAN, _NEEDED = 0xE0, 0xDA, frozenset({0xE0, 0xDB, 0xC0, 0xC4, 0xDD})
_IN_SCAN = re.compile(rb"\xff[^\x00\xd0-\xd7]")

# Decoding takes much memory for a moment; several at once could take all of it.
_one_at_a_time = threading.Lock()


def taken_in(sent: bytes) -> Picture:
    """Return what is kept of a photo: turned upright, and without what else is in its file.

    Raises
    ------
    UsageError
        If it is too large, has too many pixels, or is no whole JPEG or PNG.
    """
    if len(sent) > MOST_SENT_BYTES:
        raise _refused(f"the photo has {_mb(len(sent))}", f"at most {_mb(MOST_SENT_BYTES)}")
    with _one_at_a_time:
        try:
            with Image.open(BytesIO(sent), formats=_FORMATS) as opened:
                _refuse_wide(opened)
                return _kept(_seen(opened, LONGEST_SIDE))
        except _BOMB as error:
            raise _refused("the photo has far too many pixels", _TOO_WIDE) from error
        except UnidentifiedImageError as error:
            raise _refused("the file is no photo that can be read here", "a JPEG or PNG") from error
        except _BROKEN as error:
            raise _refused("the photo is damaged", "a whole JPEG or PNG") from error


def as_kept(jpeg: bytes) -> Picture:
    """Return a photo that `taken_in` made elsewhere, as it is to the bit.

    Raises
    ------
    UsageError
        If it is none.
    """
    wrong = _refused("a photo is not as it was kept", "a JPEG of pixels alone")
    if len(jpeg) > MOST_KEPT_BYTES or not _is_bare(jpeg):
        raise wrong
    try:
        with Image.open(BytesIO(jpeg), formats=("JPEG",)) as opened:
            if max(opened.size) > LONGEST_SIDE:
                raise wrong
            opened.load()
            return Picture(jpeg, *opened.size)
    except _BROKEN as error:
        raise wrong from error


def small(jpeg: bytes) -> bytes:
    """Return a small picture of what is kept, as JPEG."""
    with Image.open(BytesIO(jpeg), formats=("JPEG",)) as opened:
        return _kept(_seen(opened, SMALL_SIDE)).jpeg


def _refuse_wide(opened: Image.Image) -> None:
    """Refuse what would take too much memory; so far only its head was read."""
    width, height = opened.size
    if width * height > MOST_PIXELS:
        wide = f"the photo has {width * height / 1e6:.0f} million pixels"
        raise _refused(wide, _TOO_WIDE)


def _seen(opened: Image.Image, side: int) -> Image.Image:
    """Return the pixels, no longer than a side and upright, on white where they are clear."""
    turn = _turn(opened)
    opened.draft("RGB", (side, side))  # a JPEG is read at an eighth to a half where that will do
    clear = opened.has_transparency_data
    mode = "RGBA" if clear else "RGB"
    pixels = opened if opened.mode == mode else opened.convert(mode)
    pixels.thumbnail((side, side))
    if turn is not None:
        pixels = pixels.transpose(turn)
    # A new one, for whatever was said of the old one beside its pixels would be written too.
    fresh = Image.new("RGB", pixels.size, "white")
    fresh.paste(pixels, mask=pixels if clear else None)
    return fresh


def _turn(opened: Image.Image) -> Image.Transpose | None:
    try:
        return _TURNS.get(opened.getexif().get(_ORIENTATION, 1))
    except _BROKEN:
        return None  # what is written beside the pixels is broken, and they need not be


def _kept(seen: Image.Image) -> Picture:
    out = BytesIO()
    seen.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return Picture(out.getvalue(), *seen.size)


def _is_bare(jpeg: bytes) -> bool:
    """Tell whether a JPEG file holds what its pixels need, and nothing else."""
    if not (jpeg.startswith(b"\xff\xd8") and jpeg.endswith(b"\xff\xd9")):
        return False
    at = 2
    while (marker := _marker(jpeg, at)) in _NEEDED:
        length = int.from_bytes(jpeg[at + 2 : at + 4])
        if length < 2 or (marker == _HEAD and length != 16):
            return False
        at += 2 + length
    end = _IN_SCAN.search(jpeg, at + 2)
    return marker == _SCAN and end is not None and end.start() == len(jpeg) - 2


def _marker(jpeg: bytes, at: int) -> int | None:
    part = jpeg[at : at + 2]
    return part[1] if len(part) == 2 and part[0] == 0xFF else None


def _mb(size: int) -> str:
    return f"{size / (1024 * 1024):.1f} MB".replace(".0 ", " ")


def _refused(what: str, expected: str) -> UsageError:
    return UsageError(
        what, where="photo", expected=expected, next_step="choose another one; nothing was kept"
    )
