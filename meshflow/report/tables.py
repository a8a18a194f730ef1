"""Figures of a flat pattern: as data for programs, and as rows for people.

The data follow the definitions of `meshflow.model.pattern`: stretch is formed over flat, percentiles pool both
principal stretches and weigh by the area on the formed piece.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from meshflow.errors import VerificationError
from meshflow.model.dart import DartTable
from meshflow.model.forming import Forming, Shear
from meshflow.model.part import Part
from meshflow.model.pattern import FlatPattern
from meshflow.report.shapes import cut_length, net_area, part_extent
from meshflow.report.words import area, length, over_limit_share, percent

__all__ = ["Row", "distortion_json", "distortion_rows", "distortion_text", "forming_rows", "piece_rows"]

SCHEMA = "meshflow-distortion-1"
_FIGURES = 9
_OF_AREA, _OF_RIM = 0.001, 0.01  # shares that are worth saying, as in the findings F131 and F121
_ALLOWANCES = {
    "seam": "Seam allowance",
    "turned": "Turned edge",
    "lap": "Lap",
    "trim": "Allowance to trim",
    "skive": "Skive",
}
_ENDS = {
    "converged": "until nothing could be gained",
    "iteration_limit": "until the limit of steps",
    "power_limit": "up to the highest power of the strain",
    "interrupt": "until it was stopped by hand",
}
_LEAST = {
    "isometric": "by least distortion",
    "least_worst": "by least worst stretch",
    "woven": "by least strain of the weave",
    "formed": "by least work of forming",
}


def distortion_json(pattern: FlatPattern) -> dict[str, Any]:
    """Return the distortion report of a pattern as plain data, in the key order of its contract.

    Parameters
    ----------
    pattern : FlatPattern
        The piece laid flat.

    Returns
    -------
    dict
        Lengths in mm, areas in mm2, angles in rad, stretch as formed over flat; floats to nine significant figures.
        ``least_bend_radius_mm`` is null for a piece without any curve.

    Raises
    ------
    VerificationError
        If the pattern has no faces or a figure is not a number.
    """
    bent, region = pattern.distortion, pattern.region
    if len(bent.s1) == 0:
        raise VerificationError(
            "the pattern has no faces, so there is no stretch to report.",
            where=region.name,
            remedy="Pick a region with at least one face.",
        )
    ratio = bent.s1 * bent.s2
    report: dict[str, Any] = {
        "schema": SCHEMA,
        "source": region.surface.source.file,
        "region": region.selector,
        "faces": len(pattern.faces),
        "area_surface_mm2": float(bent.area_surface.sum()),
        "area_flat_mm2": float(bent.area_flat.sum()),
        "stretch": {
            "max": float(bent.s1.max()),
            "min": float(bent.s2.min()),
            "p01": bent.percentile(0.01),
            "p50": bent.percentile(0.50),
            "p99": bent.percentile(0.99),
        },
        "area_ratio": {"min": float(ratio.min()), "max": float(ratio.max())},
        "rim_length_surface_mm": bent.rim_length_surface_mm,
        "rim_length_flat_mm": bent.rim_length_flat_mm,
        "flipped_faces": bent.flipped_faces,
        "overlap": bent.overlap,
        "total_curvature_rad": bent.total_curvature_rad,
        "smoothing": {
            "length_mm": region.smoothing.length_mm,
            "moved_max_mm": region.smoothing.moved_max_mm,
            "length_removed": region.smoothing.length_removed,
        },
        "limits": {
            "stretch": pattern.limits.stretch,
            "gather": pattern.limits.gather,
            "least_bend_radius_mm": pattern.limits.least_bend_radius_mm,
            "source": pattern.limits.source,
        },
        "verdict": str(pattern.verdict),
    }
    rounded: dict[str, Any] = _rounded({**report, **_additions(pattern)}, region.name)
    return rounded


def _additions(pattern: FlatPattern) -> dict[str, Any]:
    """Return what goes beyond the contract; programs may rely on the keys above only."""
    bent, region = pattern.distortion, pattern.region
    radius = bent.least_bend_radius_mm
    return {
        "part": region.name,
        "source_sha256": region.surface.source.sha256,
        "strain_p99": bent.strain_percentile(0.99),
        "area_over_limit": over_limit_share(pattern),
        "least_bend_radius_mm": radius if math.isfinite(radius) else None,
        "thickness_mm": region.thickness,
        "side": region.side,
        "face_up": region.face_up,
        "offset_mm": region.offset_mm,
        "layer_offset_mm": region.layer_offset_mm,
        "conjectured_share": pattern.conjectured_share,
        "mirrored_share": pattern.mirrored_share,
        "noise_mm": region.smoothing.noise_mm,
        "smoothing_reason": region.smoothing.reason,
        "objective": pattern.method,
        "energy": pattern.energy,
        "iterations": pattern.iterations,
        "stopped_by": pattern.stopped_by,
        "backend": pattern.backend,
        "memory_bytes": pattern.memory_bytes,
        "lower_bound_stretch": pattern.lower_bound_stretch,
        "darts": [dart.to_json() for dart in pattern.darts.darts] if pattern.darts is not None else [],
        "seams": [pair.to_json() for pair in pattern.sewn],
        **(_dart_figures(pattern.darts) if pattern.darts is not None else {}),
        **(pattern.forming.to_json() if pattern.forming is not None else {}),
        **(pattern.shear.to_json() if pattern.shear is not None else {}),
        "notes": [note.to_json() for note in (*region.notes, *pattern.notes)],
    }


def _dart_figures(table: DartTable) -> dict[str, Any]:
    """Return what all darts together buy; the darts themselves stand in a list of their own."""
    return {"dart_table": {key: value for key, value in table.to_json().items() if key != "darts"}}


def _rounded(value: Any, name: str) -> Any:
    """Return the same data with floats to nine significant figures, so that bytes do not hang on the last bit."""
    if isinstance(value, dict):
        return {key: _rounded(item, f"{name}, {key}") for key, item in value.items()}
    if isinstance(value, list):
        return [_rounded(item, name) for item in value]
    if not isinstance(value, float):
        return value
    if not math.isfinite(value):
        raise VerificationError(
            "a figure of the distortion report is not a number.",
            where=name,
            remedy="The scan may hold faces without area: run `meshflow check` on it.",
        )
    return float(f"{value:.{_FIGURES}g}") + 0.0


def distortion_text(pattern: FlatPattern) -> str:
    """Return the distortion report as the text of its JSON file: contract order, two spaces, ASCII, final newline."""
    return json.dumps(distortion_json(pattern), indent=2, allow_nan=False) + "\n"


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table for people.

    Parameters
    ----------
    label : str
        What it is.
    value : str
        The figure with its unit.
    meaning : str
        What it tells the maker; empty when plain.
    """

    label: str
    value: str
    meaning: str = ""


def piece_rows(part: Part, *, laid_flat: bool) -> Sequence[Row]:
    """Return size, area, cut length, kerf state and allowances of a part.

    Parameters
    ----------
    part : Part
        The part as drawn.
    laid_flat : bool
        Whether it came from a scan.
    """
    width, height = part_extent(part)
    kerf = part.kerf_compensated_mm
    width_of_cut = f"; the cut is {length(part.kerf_mm)} wide" if part.kerf_mm > 0 else ""
    net = "the net line and its allowances" if _allowance_rows(part) else "net size"
    drawn = f"with {length(kerf)} of kerf allowed" if kerf > 0 else f"{net}{width_of_cut or ', kerf not allowed for'}"
    if part.allowance_mm > 0:
        drawn = f"{length(part.allowance_mm)} outside the net line, to be trimmed after forming{width_of_cut}"
    size = "Size of the blank" if part.allowance_mm > 0 else "Size laid flat" if laid_flat else "Size"
    return (
        Row(size, f"{width:.1f} \N{MULTIPLICATION SIGN} {height:.1f} mm"),
        Row("Area of one piece", area(net_area(part)), "holes taken off" if part.holes else ""),
        Row("Length of cut, one piece", length(cut_length(part))),
        Row("Outline drawn at", drawn, _of_kerf(part)),
        *_allowance_rows(part),
        *_evidence_rows(part),
    )


def _of_kerf(part: Part) -> str:
    if part.kerf_compensated_mm <= 0:
        return ""
    half = 0.5 * part.kerf_compensated_mm
    return f"outside cuts lie {half:g} mm out, inside cuts {half:g} mm in: the shop must not allow for its cut again"


def _allowance_rows(part: Part) -> Sequence[Row]:
    """Return what each edge got beyond the net line, in the order of the job."""
    return [
        Row(
            f"{_ALLOWANCES[row.kind]}, {row.along}",
            length(row.width_mm),
            f"default to check: {row.source}" if row.source else "",
        )
        for row in part.allowances
        if row.width_mm > 0
    ]


def _evidence_rows(part: Part) -> Sequence[Row]:
    """Return what is a guess or a mirror image; nothing where all was measured."""
    shares = (
        ("Conjecture", part.conjectured_share, "filled in, nothing was measured there: hold it against the piece"),
        ("Mirrored", part.mirrored_share, "taken from the other side of the piece"),
    )
    return [
        Row(label, f"{percent(share)} of the surface", meaning) for label, share, meaning in shares if share >= 1e-3
    ]


def distortion_rows(pattern: FlatPattern, *, thins: bool) -> Sequence[Row]:
    """Return the distortion figures in a maker's words.

    Parameters
    ----------
    pattern : FlatPattern
        The piece laid flat.
    thins : bool
        Whether the material thins as it stretches (sheet metal and plastic; leather and cloth are left out). A piece
        with a thickness map has `forming_rows` instead.
    """
    bent = pattern.distortion
    grown = bent.rim_length_surface_mm - bent.rim_length_flat_mm
    rim = (
        "no change" if abs(grown) < 0.05 else f"{abs(grown):.1f} mm {'longer' if grown > 0 else 'shorter'} when formed"
    )
    rows = [
        Row("Stretch, all but the worst 1 %", percent(max(bent.percentile(0.99) - 1.0, 0.0)), _worst(bent.s1.max())),
        Row("Gather, all but the worst 1 %", percent(max(1.0 - bent.percentile(0.01), 0.0)), _worst(bent.s2.min())),
        Row("Area over a limit", percent(over_limit_share(pattern)), "of the formed piece"),
        Row("Area formed / flat", f"{area(bent.area_surface.sum())} / {area(bent.area_flat.sum())}"),
        Row(
            "Rim formed / flat",
            f"{bent.rim_length_surface_mm:.1f} / {bent.rim_length_flat_mm:.1f} mm",
            rim,
        ),
        Row(
            "Roundness of the piece",
            _degrees(bent.total_curvature_rad),
            "total curvature: 0° rolls up without stretching, a half ball has 360°, a saddle is below 0°",
        ),
        Row("Tightest curve", _radius(bent.least_bend_radius_mm), "radius"),
    ]
    if pattern.lower_bound_stretch > 1.0:
        least = percent(pattern.lower_bound_stretch - 1.0)
        rows.append(
            Row("Every uncut pattern needs at least", least, "stretch or gather, even when both are balanced: proven")
        )
    if thins and pattern.forming is None and pattern.region.thickness > 0:
        thinnest = pattern.region.thickness / float((bent.s1 * bent.s2).max())
        rows.append(Row("Thinnest spot when formed", f"{thinnest:.2f} mm", f"from {pattern.region.thickness:g} mm"))
    return (*rows, Row("How it was laid flat", *_method(pattern)), Row("Checked", *_checked(pattern)))


def forming_rows(pattern: FlatPattern) -> Sequence[Row]:
    """Return what forming does to the sheet, or wrapping to the weave, in a maker's words; nothing for the others."""
    return (*_blank_rows(pattern.forming), *_shear_rows(pattern.shear))


def _blank_rows(forming: Forming | None) -> Sequence[Row]:
    if forming is None:
        return ()
    thinnest, thickest = forming.span_mm
    work = f", {forming.work_j:.0f} J of plastic work" if forming.work_j else ""
    rim = "thickens" if forming.rim_thickening >= 0 else "thins"
    return (
        Row("Thickness when formed", f"{thinnest:.2f} to {thickest:.2f} mm", f"from {forming.sheet_mm:g} mm"),
        Row("Blank by least work", area(forming.one_step_mm2), f"the sheet thins and thickens as it likes{work}"),
        Row("Blank of equal area", area(forming.equal_area_mm2), "the handbook's: the sheet keeps its thickness"),
        Row("Trim", length(forming.trim_mm), "all round, cut off after forming"),
        Row(
            "Allowance",
            length(forming.allowance_mm),
            "how far outside the net line to cut: up to the larger of both blanks, and the trim",
        ),
        Row("Free rim", f"{rim} by up to {percent(abs(forming.rim_thickening))}", _wrinkles(forming)),
    )


def _wrinkles(forming: Forming) -> str:
    if forming.wrinkling_share <= _OF_RIM:
        return "no wrinkles to be expected"
    return (
        f"{percent(forming.wrinkling_share)} of it thickens so much that it wrinkles: gather it in courses, annealed "
        "in between, or hold it down"
    )


def _shear_rows(shear: Shear | None) -> Sequence[Row]:
    if shear is None:
        return ()
    rows = [
        Row(
            "Shear, all but the worst 1 %",
            _degrees(shear.percentile(0.99)),
            f"grain and cross grain leave the right angle by so much; worst spot {_degrees(shear.largest_rad)}",
        )
    ]
    if not math.isfinite(shear.lock_rad):
        return (*rows, Row("Lock", "none known", "the shear at which the material folds"))
    over = shear.locked_share
    meaning = "of the area; it folds there" if over > _OF_AREA else "of the area: it lies without folds"
    return (*rows, Row(f"Sheared beyond its lock, {_degrees(shear.lock_rad)}", percent(over), meaning))


def _degrees(angle_rad: float) -> str:
    degrees = round(math.degrees(angle_rad))
    return f"\N{MINUS SIGN}{-degrees}°" if degrees < 0 else f"{degrees}°"


def _worst(stretch: float) -> str:
    return f"worst spot {percent(abs(float(stretch) - 1.0))}"


def _radius(radius: float) -> str:
    return length(radius) if radius < 1e4 else "none, it is flat"


def _method(pattern: FlatPattern) -> tuple[str, str]:
    if pattern.method == "developed":
        return "unrolled exactly", "the way a cone or a cylinder is developed"
    how = _ENDS.get(pattern.stopped_by, "until no step helped")
    return _LEAST[pattern.method], f"{pattern.iterations} steps, {how}"


def _checked(pattern: FlatPattern) -> tuple[str, str]:
    bent = pattern.distortion
    faces = f"{len(pattern.faces)} triangles"
    if bent.flipped_faces == 0 and not bent.overlap:
        return "sound", f"{faces}, none upside down; the outline does not cross itself"
    overlap = "the outline crosses itself" if bent.overlap else "the outline does not cross itself"
    return "not sound, do not cut", f"{faces}, {bent.flipped_faces} upside down; {overlap}"
