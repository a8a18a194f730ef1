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
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from meshflow.errors import InputError, MeshflowError, OptionError
from meshflow.job.folder import Published, check_folder, draft_in, prepare_folder, publish
from meshflow.job.outputs import json_text, write_drawing, write_text
from meshflow.job.plan import ReliefPlan
from meshflow.job.scan_file import read_sound_scan
from meshflow.job.scans import file_hash
from meshflow.job.single import part_name
from meshflow.job.stages import Progress
from meshflow.model.arrays import FloatArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.pattern import FlatPattern
from meshflow.model.region import Region
from meshflow.model.relief import Base, Relief
from meshflow.model.surface import Surface

if TYPE_CHECKING:
    from meshflow.model.relief_lines import ReliefLines
    from meshflow.relief.mended import Mended

__all__ = [
    "DrawnRelief",
    "laid_base",
    "lifted",
    "lifted_of_job",
    "relief_file",
    "write_relief",
    "write_relief_files",
]

BaseAsked = Literal["auto", "plane", "cylinder", "cone", "sphere", "free"]
OrnamentAsked = Literal["auto", "raised", "sunk"]
DxfVersion = Literal["R12", "R2000", "R2010", "R2018"]

_LONG: Final = 1.2  # length to width from which a piece has a long side to lie on
_SQUARE: Final = 0.9  # share of its least rectangle from which a piece has sides to lie by


@dataclass(frozen=True, eq=False)
class DrawnRelief:
    """A relief, and how it was come by.

    Parameters
    ----------
    relief : Relief
        The heights, mended.
    source : str
        Name of the file that was read.
    sha256 : str
        Hash of its bytes.
    base : Base, optional
        The base; None where heights were read from a file.
    pattern : FlatPattern, optional
        The base laid flat.
    mended : tuple of Mended
        What each step of mending did.
    lines : ReliefLines, optional
        Ridges, valleys, contours.
    """

    relief: Relief
    source: str
    sha256: str
    base: Base | None = None
    pattern: FlatPattern | None = None
    mended: tuple[Mended, ...] = ()
    lines: ReliefLines | None = None

    @property
    def notes(self) -> tuple[Finding, ...]:
        """What making it had to say, each thing once."""
        drawn = getattr(self.lines, "notes", ())
        return tuple(dict.fromkeys((*self.relief.notes, *drawn)))

    @property
    def separable(self) -> bool | None:
        """Whether base and ornament can be told apart; None where there is no base."""
        return None if self.base is None else self.base.separable

    def to_json(self) -> dict[str, Any]:
        """Return the figures as plain data; lengths in mm."""
        base, pattern = self.base, self.pattern
        strain = None if pattern is None else pattern.distortion.strain_percentile(0.99)
        figures: dict[str, Any] = getattr(self.lines, "to_json", dict)()
        return {
            "schema": "meshflow-relief-1",
            "source": self.source,
            "source_sha256": self.sha256,
            "base": None if base is None else base.kind,
            "base_parameters": {} if base is None else {k: _plain(v) for k, v in sorted(base.parameters.items())},
            "base_reason": "" if base is None else base.reason,
            "rmse_mm": None if base is None else _rounded(base.rmse_mm),
            "ground_share": None if base is None else _rounded(float(np.mean(base.ground))),
            "separable": self.separable,
            "laid_flat": None if pattern is None else pattern.method,
            "flat_strain_p99": None if strain is None else _rounded(strain),
            **{key: _plain(value) for key, value in self.relief.to_json().items()},
            "mended": [step.to_json() for step in self.mended],
            "lines": figures,
            "findings": [note.to_json() for note in self.notes],
        }


def _rounded(value: float) -> float:
    return round(float(value), 6)


def _plain(value: Any) -> Any:
    """Return a figure as plain data, rounded to a millionth: last digits differ between machines."""
    if isinstance(value, tuple | list):
        return [_plain(one) for one in value]
    return _rounded(value) if isinstance(value, float) else value


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
    drawn = _mended(
        drawn,
        progress=lambda what, share: report(f"{path.name}: {what}", 0.7 + 0.1 * share),
        smooth_mm=smooth_mm,
        fold=fold,
        mirror=mirror,
        repeats=repeats,
        round_mm=round_mm if round_mm is not None or not repeats else _once_round(drawn),
    )
    report(f"{path.name}: drawing lines", 0.8)
    drawn = _with_lines(drawn)
    report(f"{path.name}: writing", 0.9)
    folder = prepare_folder(Path(out))
    with draft_in(folder) as draft:
        write_relief(drawn, draft, versions=(dxf_version,))
        files = publish(draft, folder, inputs=[*inputs, *_line_files(region, kind)], last="relief.json")
    return drawn, Published(files)


def write_relief(drawn: DrawnRelief, draft: Path, *, versions: tuple[DxfVersion, ...] = ("R2010",)) -> None:
    """Write the files of a relief into a draft folder."""
    write_relief_files(drawn.relief, drawn.lines, drawn.to_json(), draft, versions=versions)


def write_relief_files(
    relief: Relief,
    lines: ReliefLines | None,
    about: Mapping[str, Any],
    draft: Path,
    *,
    versions: Sequence[Any] = ("R2010",),
) -> None:
    """Write heights, lines, pictures and figures of a relief into a draft folder.

    Parameters
    ----------
    relief, lines
        What is written.
    about : mapping
        What ``relief.json`` says.
    draft : Path
        The folder; made if it is not there.
    versions : sequence of str
        Versions of the DXF.
    """
    from meshflow.job.relief_lines import relief_drawing
    from meshflow.relief.height_file import relief_bytes
    from meshflow.relief.height_picture import picture_bytes
    from meshflow.report.shade_view import shade_png

    draft.mkdir(parents=True, exist_ok=True)
    (draft / "height.npz").write_bytes(relief_bytes(relief))
    (draft / "height.png").write_bytes(picture_bytes(relief))
    shade_png(relief, draft / "height-shade.png")
    write_drawing(relief_drawing(relief, lines), draft / "lines", versions)
    write_text(draft / "relief.json", json_text(about))


def lifted_of_job(plan: ReliefPlan, scan: Surface, *, progress: Progress | None = None) -> DrawnRelief:
    """Lift, mend and draw the relief that a job asks for.

    Parameters
    ----------
    plan : ReliefPlan
        What is asked for.
    scan : Surface
        Its scan, mended.
    progress : callable, optional
        Called as ``progress(what, share_done)``.
    """
    report = progress or (lambda what, share: None)
    drawn = lifted(
        scan,
        region=plan.region,
        seam=plan.seam,
        base=plan.base,
        ornament=plan.ornament,
        wavelength_mm=plan.wavelength_mm,
        ground=np.array(plan.ground, dtype=np.float64) if plan.ground else None,
        pitch_mm=plan.pitch_mm,
        turn_deg=plan.turn_deg,
        name=plan.name,
        lines={line.name: line.points for line in plan.lines},
        progress=lambda what, share: report(what, 0.6 * share),
    )
    drawn = _mended(
        drawn,
        progress=lambda what, share: report(what, 0.6 + 0.2 * share),
        smooth_mm=plan.smooth_mm,
        fold=plan.fold,
        mirror=plan.mirror,
        repeats=plan.repeats,
        round_mm=_once_round(drawn) if plan.repeats else None,
    )
    report("drawing lines", 0.8)
    return _with_lines(drawn)


def lifted(
    scan: Surface,
    *,
    region: str = "all",
    seam: str | None = None,
    base: BaseAsked = "auto",
    ornament: OrnamentAsked = "auto",
    wavelength_mm: float | None = None,
    ground: FloatArray | None = None,
    pitch_mm: float | None = None,
    turn_deg: float | None = None,
    name: str = "relief",
    lines: Mapping[str, FloatArray] | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> DrawnRelief:
    """Lift the ornament of a scan off its base: the heights, not yet mended nor drawn.

    Parameters
    ----------
    scan : Surface
        The scan, mended.
    region, seam, base, ornament, wavelength_mm, pitch_mm, turn_deg
        As for `relief_file`.
    ground : (k, 3) float array, optional
        Points where the base shows [mm].
    name : str
        Name of the ornament.
    lines : mapping of str to (k, 3) float array, optional
        Points of the drawn lines that `region` names; read from their files when left out.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    DrawnRelief
        Without lines.
    """
    from meshflow.job.lines import lines_of
    from meshflow.regions import select
    from meshflow.relief.base import BaseOptions, base_of
    from meshflow.relief.over import height_over

    report = progress or (lambda what, share: None)
    options = BaseOptions(kind=base, ground=ground, ornament=ornament, wavelength_mm=wavelength_mm)
    report("picking", 0.0)
    drawn = {line.name: line.points for line in lines_of(region)} if lines is None else dict(lines)
    piece = select(scan, region, name=name, seam=seam, lines=drawn)
    report("finding the base", 0.1)
    found = base_of(piece, options=options)
    report("laying the base flat", 0.4)
    pattern = laid_base(found, turn_deg=turn_deg, progress=lambda what, share: report("laying the base flat", 0.4))
    report("sampling heights", 0.8)
    relief = height_over(
        found, pattern, pitch_mm=pitch_mm, name=name, progress=lambda _, s: report("sampling heights", 0.8 + 0.2 * s)
    )
    # what a pattern says of cutting (F...) is not asked here: the flat is a chart
    of_chart = tuple(note for note in pattern.notes if note.code.startswith("E"))
    notes = dict.fromkeys((*piece.notes, *relief.notes, *of_chart))
    relief = replace(relief, source=scan.source.file, notes=tuple(notes))
    return DrawnRelief(relief, scan.source.file, scan.source.sha256, found, pattern)


def laid_base(base: Base, *, turn_deg: float | None = None, progress: Progress | None = None) -> FlatPattern:
    """Lay a base flat, and turn it the way an ornament is looked at.

    Parameters
    ----------
    base : Base
        The base; its feet may lie over each other where the scan leans back.
    turn_deg : float, optional
        Turn further, counter-clockwise [deg].
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    FlatPattern
        A long piece lies along x, one with straight sides by them, others as they lie on the scan.

    Raises
    ------
    OptionError
        If the turn is no number.
    FlattenError
        If the base cannot be laid flat.
    """
    from meshflow.flatten.of_base import flat_of_base
    from meshflow.relief.feet import spread_feet

    if turn_deg is not None and not math.isfinite(turn_deg):
        raise OptionError(f"a turn of {turn_deg} degrees is none.", remedy="Give degrees.")
    region, left = spread_feet(base.region)
    pattern = flat_of_base(base, region, progress=progress)
    turn = math.radians(turn_deg or 0.0) - _askew(pattern)
    c, s = math.cos(turn), math.sin(turn)
    notes = (*pattern.notes, *_said_left(region, left))
    turned = pattern.vertices @ np.array([[c, s], [-s, c]])
    return replace(pattern, vertices=turned if turn else pattern.vertices, notes=notes)


def _said_left(region: Region, left: Any) -> tuple[Finding, ...]:
    if len(left) == 0:
        return ()
    return (
        Finding(
            "E115",
            Severity.WARNING,
            f"{len(left)} faces of the base lie over others and could not be spread, such as folds at the rim: the "
            "flat is a little too large there.",
            "Pick the region a little smaller there.",
            count=len(left),
            faces=tuple(region.face_parent[left].tolist()),
        ),
    )


def _askew(pattern: FlatPattern) -> float:
    """Return the angle by which a piece that lies on the flat by itself is turned from where it is looked at [rad]."""
    from meshflow.geometry.polygons import least_rectangle_angle

    flat = pattern.vertices
    angle = least_rectangle_angle(flat)
    c, s = math.cos(angle), math.sin(angle)
    wide, high = float(np.ptp(flat @ (c, s))), float(np.ptp(flat @ (-s, c)))
    if wide >= _LONG * high:
        return angle
    # A square, and a panel that is nearly one, lies by its sides, the way that turns it least.
    square = float(pattern.distortion.area_flat.sum()) >= _SQUARE * wide * high
    return angle - round(angle / (0.5 * math.pi)) * 0.5 * math.pi if square else 0.0


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


def _mended(drawn: DrawnRelief, **options: Any) -> DrawnRelief:
    from meshflow.relief.mending import mended_relief

    relief, steps = mended_relief(drawn.relief, **options)
    return replace(drawn, relief=relief, mended=steps)


def _once_round(drawn: DrawnRelief) -> float | None:
    """Return the length once round of a ring that was opened: of a cylinder whose seam's sides are one turn apart."""
    base, pattern = drawn.base, drawn.pattern
    if base is None or pattern is None or base.kind != "cylinder" or not len(base.region.seam_pairs or ()):
        return None
    return 2.0 * math.pi * float(base.parameters["radius_mm"])  # type: ignore[arg-type]


def _with_lines(drawn: DrawnRelief) -> DrawnRelief:
    from meshflow.relief.lines import lines_of

    return replace(drawn, lines=lines_of(drawn.relief))
