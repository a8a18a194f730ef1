"""From one mesh file to its ornament on the flat: heights, lines, pictures; or from heights in a file, to be mended.

The way: read and mend the scan, pick the region, find the base under the ornament, lay the base flat, sample the
heights over it, mend them where that is asked for, draw their lines. Heights that were made before (``.npz``) or
retouched as a picture (``.png``) come in where they would be sampled.

Written::

    height.npz        heights, kept whole
    height.png        the same as a grey picture of 16 bits, with its scale
    height-shade.png  the ornament under a raking light, to look at
    lines.dxf .svg    ridges, valleys, contours and the rim
    relief.json       base, figures, findings
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from meshflow.errors import InputError, MeshflowError, OptionError
from meshflow.job.folder import Published, check_folder, draft_in, prepare_folder, publish
from meshflow.job.relief_lifted import (
    BaseAsked,
    DrawnRelief,
    DxfVersion,
    OrnamentAsked,
    lifted,
    mended,
    once_round,
    with_lines,
    write_relief,
)
from meshflow.job.scan_file import read_sound_scan
from meshflow.job.scans import file_hash
from meshflow.job.single import part_name
from meshflow.job.stages import Progress
from meshflow.model.arrays import FloatArray

__all__ = ["relief_file"]


def relief_file(
    path: str | Path,
    *,
    out: str | Path,
    units: str | None = None,
    region: str = "all",
    seam: str | None = None,
    base: BaseAsked = "auto",
    ornament: OrnamentAsked = "auto",
    wavelength_mm: float | None = None,
    ground: str | None = None,
    pitch_mm: float | None = None,
    range_mm: tuple[float, float] | None = None,
    turn_deg: float | None = None,
    smooth_mm: float | None = None,
    fold: int | Literal["auto"] | None = None,
    mirror: bool = False,
    repeats: bool = False,
    round_mm: float | None = None,
    dxf_version: DxfVersion = "R2010",
    progress: Progress | None = None,
) -> tuple[DrawnRelief, Published]:
    """Lift the ornament of a mesh file off its base and write heights, lines and pictures.

    Parameters
    ----------
    path : path-like
        Mesh file; or heights, ``.npz`` as written here or ``.png`` of 8 or 16 bits of grey.
    out : path-like
        Folder to write to.
    units : str, optional
        Unit of the mesh file; needed unless it carries one.
    region, seam : str
        As for `flatten_file`: which surface, and where a ring is opened.
    base : {"auto", "plane", "cylinder", "cone", "sphere", "free"}
        Form under the ornament; found by default.
    ornament : {"auto", "raised", "sunk"}
        On which side of the base the ornament stands; found by default.
    wavelength_mm : float, optional
        A free base follows waves of this length by half, longer ones more [mm]; by default the longest that explains
        the ground.
    ground : str, optional
        Where the base shows: points ``x,y,z x,y,z ...`` or a text file with a point a row [mm]; needed where the
        ornament leaves little of it.
    pitch_mm : float, optional
        Distance between samples, or side of a pixel of a picture that does not say [mm].
    range_mm : (float, float), optional
        Height of black and of white of a picture that does not say [mm].
    turn_deg : float, optional
        Turn the flat counter-clockwise by so much [deg], from the way it lies by itself: a long piece along x, others
        as they lie on the scan.
    smooth_mm, fold, mirror, repeats, round_mm
        Mending, see `meshflow.relief.mending.mended_relief`.
    dxf_version : str
        Version of the DXF.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    drawn : DrawnRelief
        The relief; `separable` is False where base and ornament could not be told apart: the heights are then a guess.
    published : Published
        The files.

    Raises
    ------
    MeshflowError
        If the file, the selection or an option is no good; nothing is written then.
    """
    path, report = Path(path), progress or (lambda what, share: None)
    check_folder(Path(out))
    kind = path.suffix.lower()
    inputs: list[str | Path] = [path]
    if kind in (".png", ".npz"):
        _refuse_of_scans(
            path, units=units, seam=seam, ground=ground, base=base, ornament=ornament, wavelength=wavelength_mm,
            region=region, turn=turn_deg)  # fmt: skip
        drawn = _read(path, pitch_mm=pitch_mm, range_mm=range_mm)
    else:
        if range_mm is not None:
            raise OptionError("a range goes with a picture of heights.", where=path.name, remedy="Leave it out.")
        points = None if ground is None else _ground_points(ground, inputs)
        scan = read_sound_scan(path, units, report)
        drawn = lifted(
            scan,
            region=region,
            seam=seam,
            base=base,
            ornament=ornament,
            wavelength_mm=wavelength_mm,
            ground=points,
            pitch_mm=pitch_mm,
            turn_deg=turn_deg,
            name=part_name(path.stem),
            progress=lambda what, share: report(f"{path.name}: {what}", 0.2 + 0.5 * share),
        )
    drawn = mended(
        drawn,
        progress=lambda what, share: report(f"{path.name}: {what}", 0.7 + 0.1 * share),
        smooth_mm=smooth_mm,
        fold=fold,
        mirror=mirror,
        repeats=repeats,
        round_mm=round_mm if round_mm is not None or not repeats else once_round(drawn),
    )
    report(f"{path.name}: drawing lines", 0.8)
    drawn = with_lines(drawn)
    report(f"{path.name}: writing", 0.9)
    folder = prepare_folder(Path(out))
    with draft_in(folder) as draft:
        write_relief(drawn, draft, versions=(dxf_version,))
        files = publish(draft, folder, inputs=[*inputs, *_line_files(region, kind)], last="relief.json")
    return drawn, Published(files)


def _refuse_of_scans(path: Path, **given: Any) -> None:
    """Raise OptionError for options that heights from a file cannot follow: they have no scan under them."""
    usual = {"base": "auto", "ornament": "auto", "region": "all"}
    names = [name for name, value in given.items() if value != usual.get(name)]
    if names:
        raise OptionError(
            f"{', '.join(names)} go{'es' if len(names) == 1 else ''} with a scan: this file holds heights already.",
            where=path.name,
            remedy="Leave it out, or give the scan.",
        )


def _read(path: Path, *, pitch_mm: float | None, range_mm: tuple[float, float] | None) -> DrawnRelief:
    """Read heights from a file of heights."""
    from meshflow.relief.height_file import read_height_file
    from meshflow.relief.height_picture import read_height_picture
    from meshflow.relief.trace import traced_rings

    if path.suffix.lower() == ".png":
        relief = read_height_picture(path, pitch_mm=pitch_mm, range_mm=range_mm, name=part_name(path.stem))
    elif pitch_mm is not None or range_mm is not None:
        raise OptionError("this file has its own scale.", where=path.name, remedy="Leave pitch and range out.")
    else:
        relief = read_height_file(path)
    if not relief.outline:
        relief = replace(relief, outline=traced_rings(relief.inside, relief.pitch_mm, relief.origin_mm))
    return DrawnRelief(relief, path.name, file_hash(path))


def _ground_points(text: str, inputs: list[str | Path]) -> FloatArray:
    """Return the points that say where the base shows; a file of them is noted among the inputs."""
    from meshflow.job.places import point_in

    try:
        return np.array([point_in(word) for word in text.split()], dtype=np.float64).reshape(-1, 3)
    except MeshflowError as error:
        if not Path(text).exists():
            raise OptionError(
                f'ground "{text}" is neither points nor a file.',
                remedy="Write points as x,y,z x,y,z ... or name a text file with x y z in each row.",
            ) from error
    inputs.append(text)
    rows = [_numbers_in(line, number, text) for number, line in enumerate(_lines_in(text), start=1)]
    points = [row for row in rows if row]
    if not points:
        raise InputError("there are no points in it.", where=text, remedy="Write x y z in each row.")
    return np.array(points, dtype=np.float64)


def _lines_in(file: str) -> list[str]:
    try:
        return Path(file).read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}.", where=file) from error


def _numbers_in(line: str, number: int, file: str) -> list[float]:
    words = line.split("#", 1)[0].replace(",", " ").split()
    try:
        values = [float(word) for word in words]
    except ValueError:
        values = [math.nan]
    if words and not (len(values) == 3 and all(math.isfinite(value) for value in values)):
        raise InputError("this is no point.", where=f"{file}:{number}", remedy="Write x y z in millimetres.")
    return values if words else []


def _line_files(region: str, kind: str) -> list[str]:
    """Return the files of drawn lines that a selector names."""
    from meshflow.job.lines import lines_of

    return [] if kind in (".png", ".npz") else [line.name for line in lines_of(region)]
