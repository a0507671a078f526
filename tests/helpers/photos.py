"""Photos as phones send them, drawn: with the place where they were taken written into them."""

from io import BytesIO
from typing import Any

from PIL import ExifTags, Image, ImageDraw

from joulebook.storage.event_photos import Picture
from joulebook.storage.pictures import taken_in

#: What is written beside the pixels, and must be kept nowhere.
CAMERA, REMARK = "Kiln Phone 9", "remark of the album"
_GPS: dict[int, Any] = {
    ExifTags.GPS.GPSLatitudeRef: "N",
    ExifTags.GPS.GPSLatitude: (38.0, 43.0, 12.5),
    ExifTags.GPS.GPSLongitudeRef: "W",
    ExifTags.GPS.GPSLongitude: (9.0, 8.0, 21.0),
}


def drawn(width: int = 640, height: int = 480, mode: str = "RGB") -> Image.Image:
    """Return a wall with a board on it: four corners that differ, so that a turn is seen."""
    image = Image.new("RGB", (width, height), "#8fa3b0")
    draw = ImageDraw.Draw(image)
    for place, colour in enumerate(("#c03020", "#30a050", "#3050c0", "#e0c020")):
        left, top = (width * 3 // 4) * (place % 2), (height * 3 // 4) * (place // 2)
        draw.rectangle((left, top, left + width // 4, top + height // 4), fill=colour)
    draw.rectangle((width * 3 // 8, height // 3, width * 5 // 8, height * 2 // 3), fill="#303840")
    return image.convert(mode)


def phone_photo(
    image: Image.Image | None = None, *, form: str = "JPEG", turned: int = 1, **more: Any
) -> bytes:
    """Return a file as a phone makes it.

    Parameters
    ----------
    image : Image, optional
        What is seen; a drawn one by default.
    form : str
        ``JPEG``, ``PNG`` or another that Pillow writes.
    turned : int
        How the camera was held (TIFF 6.0, tag Orientation).
    """
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = CAMERA
    exif[ExifTags.Base.Orientation] = turned
    exif.get_ifd(ExifTags.IFD.GPSInfo).update(_GPS)
    out = BytesIO()
    (image or drawn()).save(out, form, exif=exif, **more)
    return out.getvalue()


def small_picture(shade: int = 1) -> Picture:
    """Return what is kept of a photo of a few pixels; each shade (0 to 6) is another one."""
    out = BytesIO()
    Image.new("RGB", (8, 6), (40 * shade, 90, 120)).save(out, "PNG")
    return taken_in(out.getvalue())
