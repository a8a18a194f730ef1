"""Pictures at true size: read from a file, written as PNG, laid under a drawing.

Terms: an *underlay* is a picture that lies under the lines of a drawing, each pixel a square of known size.

Convention: red, green, blue and opacity, 0 to 255, the upper row first. The size of a pixel is chosen so that a metre
is a whole number of pixels, because that is what a PNG can say (chunk pHYs): a print at 100 % has true size then, not
nearly.

Source: PNG, ISO/IEC 15948, section 11.3.5.3 (pHYs) (MEMORY; a test reads it back byte by byte). Pillow (HPND licence)
reads photographs and packs PNG; used in this room alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from io import BytesIO
from typing import Any, Final

import numpy as np

from meshflow.errors import DrawingFileError, OptionError
from meshflow.model.arrays import UInt8Array

__all__ = ["Underlay", "pixel_mm", "png_bytes", "read_picture"]

MOST_PIXELS: Final = 120_000_000
_LEAST_DPI, _MOST_DPI = 10.0, 2400.0


@dataclass(frozen=True, eq=False)
class Underlay:
    """A picture that lies under a drawing.

    Parameters
    ----------
    pixels : (rows, columns, 4) uint8 array
        Red, green, blue, opacity; the upper row first.
    left, bottom : float
        Where its lower left corner lies in the drawing [mm].
    pixel_mm : float
        Side of a pixel [mm].
    """

    pixels: UInt8Array
    left: float
    bottom: float
    pixel_mm: float

    @property
    def width_mm(self) -> float:
        """Width of the whole picture [mm]."""
        return float(self.pixels.shape[1] * self.pixel_mm)

    @property
    def height_mm(self) -> float:
        """Height of the whole picture [mm]."""
        return float(self.pixels.shape[0] * self.pixel_mm)


def pixel_mm(dpi: float) -> float:
    """Return the side of a pixel for so many dots per inch, to the nearest whole number of pixels a metre [mm].

    Raises
    ------
    OptionError
        If the resolution is not between 10 and 2400 dots per inch.

    Examples
    --------
    >>> round(25.4 / pixel_mm(300.0), 3)
    299.999
    """
    if not _LEAST_DPI <= dpi <= _MOST_DPI:
        raise OptionError(
            f"{dpi:g} dots per inch.", remedy=f"Say {_LEAST_DPI:g} to {_MOST_DPI:g}; 150 shows ornament well."
        )
    return 1000.0 / round(dpi / 0.0254)


def png_bytes(pixels: UInt8Array, side_mm: float) -> bytes:
    """Return a picture as a PNG file that says how large it is.

    Parameters
    ----------
    pixels : (rows, columns, 3 or 4) uint8 array
        The picture.
    side_mm : float
        Side of a pixel, see `pixel_mm` [mm].
    """
    from PIL import Image

    a_metre = round(1000.0 / side_mm)
    dots = a_metre * 0.0254
    stream = BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).save(stream, format="PNG", dpi=(dots, dots), compress_level=6)
    return stream.getvalue()


def read_picture(data: bytes, *, where: str) -> UInt8Array:
    """Return the pixels of a picture file: PNG, JPEG, TIFF and what else Pillow reads.

    A photograph is turned as its camera says it was held.

    Parameters
    ----------
    data : bytes
        The file.
    where : str
        Its name, for messages.

    Returns
    -------
    (rows, columns, 4) uint8 array
        Red, green, blue, opacity.

    Raises
    ------
    DrawingFileError
        If it is no picture, damaged, or larger than 120 million pixels.
    """
    import warnings

    from PIL import Image, ImageOps

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a large picture is measured here, not warned about
            with Image.open(BytesIO(data)) as image:
                _check_size(image, where)
                upright: Any = ImageOps.exif_transpose(image)
                return np.array(upright.convert("RGBA"), dtype=np.uint8)
    except DrawingFileError:
        raise
    except Image.DecompressionBombError as error:
        raise _too_large(where) from error
    except Exception as error:  # whatever a decoder trips over in a stranger's file, the user gets a sentence
        raise DrawingFileError(
            "this is no picture that can be read, or it is damaged.", where=where, remedy="Save it as PNG or JPEG."
        ) from error


def _check_size(image: Any, where: str) -> None:
    width, height = image.size
    if math.prod((width, height)) > MOST_PIXELS:
        raise _too_large(where)


def _too_large(where: str) -> DrawingFileError:
    return DrawingFileError(
        f"the picture has more than {MOST_PIXELS // 1_000_000} million pixels.",
        where=where,
        remedy="Save a smaller copy.",
    )
