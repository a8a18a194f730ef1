"""Heights as a grey picture of 16 bits, with its scale, and back.

What the maker calls it: a height picture, a grey-scale for the mill or for retouching. Higher is lighter.

Terms: the *step* is the height of one level of grey; the *zero* is the level of the base. What lies off the piece is
level 0, and clear.

Convention: the upper row of the picture is the last row of the relief. The scale is kept three times over, twice as
the standard has it: ``sCAL`` (size of a pixel), ``pCAL`` (height = p0 + p1 * level / 65535), and as a JSON text, which
also knows the place, the zero and the outline. ``pHYs`` lets it print at true size.

Source: see `meshflow.geometry.grey_png`.

Findings: E136 heights from a picture of 8 bits, E137 a scale given against the picture's own.
"""

from __future__ import annotations

import json
import math
import struct
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from meshflow.errors import InputError, MeshflowError, OptionError
from meshflow.geometry.grey_png import GreyPicture, grey_png_bytes, read_grey_png
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.relief import Relief
from meshflow.relief.trace import traced_rings

__all__ = ["SCHEMA", "GreyScale", "grey_scale", "picture_bytes", "read_height_picture", "relief_from_picture"]

SCHEMA: Final = "meshflow-height-picture-1"
_KEYWORD: Final = b"meshflow-height"
_TOP: Final = 65535
_LEAST_STEP: Final = 1e-6  # mm
_MOST_TEXT: Final = 64_000_000


@dataclass(frozen=True, slots=True)
class GreyScale:
    """What levels of grey mean.

    Parameters
    ----------
    step_mm : float
        Height of one level [mm].
    zero : float
        Level of height 0; may lie outside the levels there are. Whole in pictures of ours.
    """

    step_mm: float
    zero: float

    def levels(self, height: FloatArray) -> IntArray:
        """Return the nearest levels to heights."""
        return np.asarray(np.rint(height / self.step_mm + self.zero), dtype=np.int64)

    def heights(self, level: IntArray) -> FloatArray:
        """Return the heights of levels [mm]."""
        return np.asarray((level - self.zero) * self.step_mm)


def grey_scale(relief: Relief) -> GreyScale:
    """Return the finest scale of whole nanometres that takes in all heights of a relief, level 0 kept for outside."""
    low, high = relief.height_range_mm
    step = max(_LEAST_STEP, math.ceil((high - low) / (_TOP - 2) / _LEAST_STEP) * _LEAST_STEP)
    step = float(f"{step:.9g}")
    return GreyScale(step, 1 - math.floor(low / step))


def picture_bytes(relief: Relief) -> bytes:
    """Return a relief as the bytes of a PNG file, 16 bits of grey.

    Parameters
    ----------
    relief : Relief
        The heights.

    Returns
    -------
    bytes
        The same for the same relief. Heights come back within half a step.

    Examples
    --------
    >>> ramp = Relief("ramp", np.array([[0.0, 0.5], [1.0, 1.5]]), np.ones((2, 2), dtype=bool), 0.25)
    >>> relief_from_picture(picture_bytes(ramp)).height.round(4).tolist()
    [[0.0, 0.5], [1.0, 1.5]]
    """
    scale = grey_scale(relief)
    grey = np.where(relief.inside, scale.levels(relief.height), 0)[::-1]
    chunks = [(b"sBIT", b"\x10"), *_standard(relief, scale), (b"tRNS", b"\x00\x00"), (b"zTXt", _text(relief, scale))]
    return grey_png_bytes(grey, chunks=chunks)


def _standard(relief: Relief, scale: GreyScale) -> list[tuple[bytes, bytes]]:
    """Return the scale in the words of the standard."""
    pitch_m = repr(float(f"{relief.pitch_mm / 1000.0:.12g}")).encode("ascii")
    low, span = -scale.zero * scale.step_mm, _TOP * scale.step_mm
    factors = b"\x00".join(f"{value:.12g}".encode("ascii") for value in (low, span))
    calibration = b"height\x00" + struct.pack(">iiBB", 0, _TOP, 0, 2) + b"mm\x00" + factors
    per_metre = max(1, round(1000.0 / relief.pitch_mm))
    return [
        (b"pCAL", calibration),
        (b"sCAL", b"\x01" + pitch_m + b"\x00" + pitch_m),
        (b"pHYs", struct.pack(">IIB", per_metre, per_metre, 1)),
    ]


def _text(relief: Relief, scale: GreyScale) -> bytes:
    """Return the scale as a compressed text, for ourselves."""
    about = {
        "schema": SCHEMA,
        "name": relief.name,
        "units": "mm",
        "pitch_mm": relief.pitch_mm,
        "origin_mm": list(relief.origin_mm),
        "step_mm": scale.step_mm,
        "zero": scale.zero,
        "noise_mm": relief.noise_mm,
        "source": relief.source,
        "outline": [np.round(ring, 4).tolist() for ring in relief.outline],
    }
    text = json.dumps(about, sort_keys=True, allow_nan=False)  # ASCII
    return _KEYWORD + b"\x00\x00" + zlib.compress(text.encode("ascii"), 9)


def read_height_picture(
    path: str | Path,
    *,
    pitch_mm: float | None = None,
    range_mm: tuple[float, float] | None = None,
    name: str = "",
) -> Relief:
    """Read heights from a grey PNG file; see `relief_from_picture`.

    Raises
    ------
    InputError
        If the file is not there, is no grey PNG, or has no scale and none is given.
    OptionError
        If the pitch or the range is none.
    """
    try:
        data = Path(path).read_bytes()
    except OSError as error:
        raise InputError(
            f"cannot be read: {error.strerror or error}.", where=str(path), remedy="See whether the name is right."
        ) from error
    try:
        return relief_from_picture(data, pitch_mm=pitch_mm, range_mm=range_mm, name=name or Path(path).stem)
    except MeshflowError as error:
        raise error.located(str(path)) from error


def relief_from_picture(
    data: bytes,
    *,
    pitch_mm: float | None = None,
    range_mm: tuple[float, float] | None = None,
    name: str = "",
) -> Relief:
    """Return the heights of a grey picture.

    Parameters
    ----------
    data : bytes
        A PNG file of 8 or 16 bits of grey.
    pitch_mm : float, optional
        Side of a pixel [mm]; needed where the picture does not say, and stronger than what it says.
    range_mm : (float, float), optional
        Height of black and of white [mm]; likewise.
    name : str
        Name of a picture that does not bring its own.

    Returns
    -------
    Relief
        Clear pixels are outside.
    """
    picture = read_grey_png(data)
    about = _about(picture)
    scale, from_picture = _scale(picture, about, range_mm)
    pitch = _pitch(picture, about, pitch_mm)
    # Level 0 of our own is outside, even where another program has dropped what says so.
    inside = ~(picture.clear | (picture.grey == 0) if about else picture.clear)[::-1]
    if not inside.any():
        raise InputError("all of this picture is clear.", remedy="Make what belongs to the piece opaque.")
    height = np.where(inside, scale.heights(picture.grey[::-1]) if from_picture else _between(picture, range_mm), 0.0)
    origin, outline = _placed(about, pitch, pitch_mm)
    return Relief(
        name=str(about.get("name", "")) or name,
        height=height,
        inside=inside,
        pitch_mm=pitch,
        origin_mm=origin,
        noise_mm=float(about.get("noise_mm", 0.0)),
        outline=outline or traced_rings(inside, pitch, origin),
        source=str(about.get("source", "")) or name,
        notes=_said(picture, about, pitch_mm, range_mm),
    )


def _about(picture: GreyPicture) -> dict[str, Any]:
    """Return what our own text says; nothing where there is none of ours, or it was damaged."""
    for kind, data in picture.chunks:
        if kind != b"zTXt" or not data.startswith(_KEYWORD + b"\x00\x00"):
            continue
        try:
            about = json.loads(zlib.decompressobj().decompress(data[len(_KEYWORD) + 2 :], _MOST_TEXT))
            if about["schema"] != SCHEMA:
                continue
            _checked(about)
        except (zlib.error, ValueError, KeyError, TypeError, RecursionError):
            continue  # the standard chunks may still say the scale
        return dict(about)
    return {}


def _checked(about: dict[str, Any]) -> None:
    """Raise ValueError or TypeError if the text does not say what it should."""
    numbers = [about["pitch_mm"], about["step_mm"], about["zero"], about["noise_mm"], *about["origin_mm"]]
    if not np.isfinite(np.array(numbers, dtype=np.float64)).all() or len(about["origin_mm"]) != 2:
        raise ValueError("numbers")
    if not (about["pitch_mm"] > 0 and about["step_mm"] > 0):
        raise ValueError("scale")
    for ring in about["outline"]:
        points = np.array(ring, dtype=np.float64)
        if points.ndim != 2 or points.shape[1] != 2 or not np.isfinite(points).all():
            raise ValueError("outline")


def _scale(picture: GreyPicture, about: dict[str, Any], range_mm: tuple[float, float] | None) -> tuple[GreyScale, bool]:
    """Return the picture's own scale, and whether it is the one to use."""
    if range_mm is not None:
        if not (np.isfinite(range_mm).all() and range_mm[1] > range_mm[0]):
            raise OptionError(
                f"a range from {range_mm[0]:g} to {range_mm[1]:g} mm is none.", remedy="Give black, then white: 0,2."
            )
        return GreyScale(1.0, 0), False
    if about and picture.bits == 16:
        return GreyScale(float(about["step_mm"]), float(about["zero"])), True
    said = _calibration(picture.chunk(b"pCAL"), (1 << picture.bits) - 1)
    if said is None:
        raise InputError(
            "this picture does not say which height black and white are.",
            remedy="Say it: --range 0,2 for black at the base and white 2 mm above it.",
        )
    low, per_level = said
    return GreyScale(per_level, -low / per_level), True


def _calibration(data: bytes | None, top: int) -> tuple[float, float] | None:
    """Return the height of level 0, and of one level, by a linear pCAL in millimetres or metres; None without one.

    Source: "Extensions to the PNG 1.2 Specification", section on pCAL: name, x0, x1, kind of equation, number of
    parameters, unit, parameters. Levels from 0 to `top` stand for x0 to x1; height = p0 + p1 * x / (x1 - x0).
    """
    try:
        _, rest = (data or b"").split(b"\x00", 1)
        x0, x1, kind, count = struct.unpack(">iiBB", rest[:10])
        unit, *factors = rest[10:].split(b"\x00")
        if kind != 0 or count != 2 or len(factors) != 2 or x0 == x1:
            return None
        times = {b"mm": 1.0, b"m": 1000.0, b"metre": 1000.0, b"meter": 1000.0}[unit]
        p0, p1 = (float(factor) * times for factor in factors)
    except (ValueError, KeyError, struct.error):
        return None
    first, per_level = p0 + p1 * x0 / (x1 - x0), p1 / top
    return (first, per_level) if np.isfinite([first, per_level]).all() and per_level > 0 else None


def _between(picture: GreyPicture, range_mm: tuple[float, float] | None) -> FloatArray:
    assert range_mm is not None
    low, high = range_mm
    return np.asarray(low + picture.grey[::-1] * ((high - low) / ((1 << picture.bits) - 1)))


def _pitch(picture: GreyPicture, about: dict[str, Any], asked: float | None) -> float:
    if asked is not None:
        if not (math.isfinite(asked) and asked > 0):
            raise OptionError(f"a pitch of {asked} mm is no distance.", remedy="Give the side of a pixel: 0.25.")
        return asked
    if about:
        return float(about["pitch_mm"])
    said = _subject_scale(picture.chunk(b"sCAL"))
    if said is None:
        raise InputError(
            "this picture does not say how large its pixels are on the piece.",
            remedy="Say it: --pitch 0.25 for a quarter of a millimetre.",
        )
    return said


def _subject_scale(data: bytes | None) -> float | None:
    """Return the side of a pixel by sCAL in metres [mm]; None if there is none, or pixels are not square."""
    try:
        wide, high = (float(text) for text in (data or b"")[1:].split(b"\x00"))
    except ValueError:
        return None
    if data is None or data[:1] != b"\x01" or not (math.isfinite(wide) and wide > 0 and abs(high / wide - 1) < 1e-6):
        return None
    return float(f"{1000.0 * wide:.12g}")


def _placed(
    about: dict[str, Any], pitch: float, asked: float | None
) -> tuple[tuple[float, float], tuple[FloatArray, ...]]:
    """Return where sample (0, 0) stands, and the outline; a pitch of the maker's own scales both."""
    if not about:
        return (0.0, 0.0), ()
    times = 1.0 if asked is None else pitch / float(about["pitch_mm"])
    x, y = about["origin_mm"]
    rings = tuple(np.array(ring, dtype=np.float64) * times for ring in about["outline"])
    return (float(x) * times, float(y) * times), rings


def _said(
    picture: GreyPicture, about: dict[str, Any], pitch_mm: float | None, range_mm: tuple[float, float] | None
) -> tuple[Finding, ...]:
    notes = []
    if picture.bits == 8:
        low, high = range_mm or (0.0, 0.0)
        step = f" of {(high - low) / 255.0:.2g} mm" if range_mm else ""
        notes.append(
            Finding(
                "E136",
                Severity.WARNING,
                f"the picture has 8 bits of grey: its heights stand in 256 steps{step}.",
                "Export it with 16 bits, or smooth it over a few pixels.",
            )
        )
    own = [
        f"{name} {value:g} mm"
        for name, value, asked in (
            ("a pitch of", float(about.get("pitch_mm", 0.0)), pitch_mm),
            ("steps of", float(about.get("step_mm", 0.0)), range_mm),
        )
        if about and asked is not None
    ]
    if own:
        notes.append(
            Finding(
                "E137",
                Severity.NOTE,
                f"the picture says {' and '.join(own)} of itself; your word was taken.",
                "Leave --pitch and --range out to have its own scale.",
            )
        )
    return tuple(notes)
