"""Ornament lifted off a scan: base, flat, heights, mended and drawn; and its files.

The way: pick the region, find the base under the ornament, lay the base flat, sample the heights over it, mend them
where that is asked for, draw their lines. Commands and jobs go it with the same functions.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from meshflow.errors import OptionError
from meshflow.job.outputs import json_text, write_drawing, write_text
from meshflow.job.plan_tools import ReliefPlan
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
    "BaseAsked",
    "DrawnRelief",
    "DxfVersion",
    "OrnamentAsked",
    "laid_base",
    "lifted",
    "lifted_of_job",
    "mended",
    "once_round",
    "with_lines",
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
    drawn = mended(
        drawn,
        progress=lambda what, share: report(what, 0.6 + 0.2 * share),
        smooth_mm=plan.smooth_mm,
        fold=plan.fold,
        mirror=plan.mirror,
        repeats=plan.repeats,
        round_mm=once_round(drawn) if plan.repeats else None,
    )
    report("drawing lines", 0.8)
    return with_lines(drawn)


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


def mended(drawn: DrawnRelief, **options: Any) -> DrawnRelief:
    """Return a relief after the steps of mending that are asked for; see `meshflow.relief.mending`."""
    from meshflow.relief.mending import mended_relief

    relief, steps = mended_relief(drawn.relief, **options)
    return replace(drawn, relief=relief, mended=steps)


def once_round(drawn: DrawnRelief) -> float | None:
    """Return the length once round of a ring that was opened: of a cylinder whose seam's sides are one turn apart."""
    base, pattern = drawn.base, drawn.pattern
    if base is None or pattern is None or base.kind != "cylinder" or not len(base.region.seam_pairs or ()):
        return None
    return 2.0 * math.pi * float(base.parameters["radius_mm"])  # type: ignore[arg-type]


def with_lines(drawn: DrawnRelief) -> DrawnRelief:
    """Return a relief with its lines drawn."""
    from meshflow.relief.lines import lines_of

    return replace(drawn, lines=lines_of(drawn.relief))
