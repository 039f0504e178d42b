"""A picture that was sent becomes a picture of our own: known by its content, turned upright, without its data.

What a phone writes into a file (where it was taken, by whom, with what) is not read into the new one, and neither is
anything that hides behind the picture.
"""

import io
import struct
import warnings
from dataclasses import dataclass
from uuid import UUID

from django.utils.translation import gettext as _
from PIL import Image, ImageOps, UnidentifiedImageError

from accounts.errors import Fault, Refused

MOST_BYTES = 12 * 1024 * 1024
# Many more than a screen shows; drawn anew, each costs up to four bytes of memory.
MOST_PIXELS = 50_000_000
LONGEST_SIDE_PX = 2048
FORMATS = ["JPEG", "PNG", "WEBP"]
JPEG_QUALITY = 85
WHITE = (255, 255, 255)
# What the library raises over a damaged file, and over camera data that says what it cannot be.
UNREADABLE = (
    *(OSError, EOFError, MemoryError, SyntaxError, struct.error),
    *(ArithmeticError, LookupError, TypeError, ValueError),
)


@dataclass(frozen=True, slots=True)
class Picture:
    """A JPEG and its size in pixels."""

    jpeg: bytes
    width_px: int
    height_px: int


def drawn_anew(sent: bytes) -> Picture:
    """Return the picture that the bytes hold, at most 2048 px a side.

    Raises
    ------
    Refused
        Names `photo` and what is allowed: the kind (by content, whatever the name says), bytes, pixels.
    """
    if len(sent) > MOST_BYTES:
        raise _refused("too_large", _("A photo has at most %(most)s MB.") % {"most": MOST_BYTES // 1024**2})
    try:
        with warnings.catch_warnings(), Image.open(io.BytesIO(sent), formats=FORMATS) as image:
            # Our own limit on pixels is the one that counts, and it refuses.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            _measure(image)
            return _redrawn(image)
    except Image.DecompressionBombError:
        raise _too_many_pixels() from None
    except UnidentifiedImageError:
        raise _refused("not_a_picture", _("The photo is no JPEG, PNG or WebP.")) from None
    except UNREADABLE:
        raise _refused("broken_picture", _("The photo cannot be read; it may have been cut off on its way.")) from None


def picture_headers(photo_id: UUID) -> dict[str, str]:
    """Return the headers that a picture is answered with at either door: nothing can run, nobody keeps it."""
    return {
        "Content-Type": "image/jpeg",
        "Content-Disposition": f'inline; filename="photo-{photo_id}.jpg"',
        "Content-Security-Policy": "default-src 'none'; sandbox",
        "Cache-Control": "private, no-store",
    }


def _measure(image: Image.Image) -> None:
    if image.width * image.height > MOST_PIXELS:
        raise _too_many_pixels()


def _redrawn(image: Image.Image) -> Picture:
    image.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX))
    upright = ImageOps.exif_transpose(image)
    canvas = Image.new("RGB", upright.size, WHITE)
    layer = upright.convert("RGBA")
    canvas.paste(layer, mask=layer.getchannel("A"))
    file = io.BytesIO()
    canvas.save(file, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return Picture(file.getvalue(), canvas.width, canvas.height)


def _too_many_pixels() -> Refused:
    return _refused(
        "too_many_pixels", _("A photo has at most %(most)s million pixels.") % {"most": MOST_PIXELS // 10**6}
    )


def _refused(code: str, detail: str) -> Refused:
    return Refused(Fault(("photo",), code, detail))
