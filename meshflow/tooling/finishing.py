"""Finishing a piece: its surface and mass, what plating takes, how it is annealed, what polishing takes off.

Terms: a *coat* is a layer of plate; the *wetted area* is all that stands in the bath: both faces, edges, wire and
hooks; the *pickle* is the acid that takes off scale.

Convention: a part is looked at flat, a surface as a sheet of the thickness said, a solid as it is.

Rows of ``plating``, ``annealing``, ``pickling``, ``polishing`` and of the material in the stock, with their marks.

Findings: T220 does not go into the tank, T221 more current than there is, T222 does not go into the kiln, T223 kiln
not hot enough, T224 efficiency not known, T226 nothing known about annealing, T227 mass not known, T228 polishing
takes much of the sheet.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.curves import bounds, length, signed_area
from meshflow.model.finding import Finding, Severity
from meshflow.model.finishing import Annealing, Finishing, Plating
from meshflow.model.part import Part
from meshflow.model.stock import Machine, Material
from meshflow.model.surface import Surface
from meshflow.model.tool import Solid
from meshflow.stock import Stock, load_stock
from meshflow.tooling.cautions import Work, caution_for
from meshflow.tooling.finishing_options import FinishingOptions
from meshflow.tooling.finishing_sheet import finishing_sheet
from meshflow.tooling.plating import bath_of, coat
from meshflow.tooling.tank import holder_findings

__all__ = ["Extent", "extent_of", "finishing_of"]

_QUENCHED: Final = ("brass", "copper", "silver")
_MUCH: Final = 0.1  # share of the sheet


@dataclass(frozen=True, slots=True)
class Extent:
    """Size of a piece: its box [mm], area of faces and edges [mm2], volume [mm3]."""

    size_mm: tuple[float, float, float]
    faces_mm2: float
    edges_mm2: float
    volume_mm3: float


def extent_of(piece: Part | Surface | Solid, thickness_mm: float) -> Extent:
    """Return the extent of a piece.

    Parameters
    ----------
    piece : Part, Surface or Solid
        A part's contours; a sheet surface; a closed body.
    thickness_mm : float
        Of a part or surface [mm]; looked at for a solid too, where it must be 0.

    Raises
    ------
    OptionError
        If a sheet has no thickness, or a solid has one.

    Examples
    --------
    >>> from meshflow.model.curve import Circle
    >>> disc = extent_of(Part("disc", Circle((0.0, 0.0), 10.0)), 1.0)
    >>> round(disc.faces_mm2, 3), round(disc.edges_mm2, 3)
    (628.319, 62.832)
    """
    if isinstance(piece, Solid):
        if thickness_mm:
            raise OptionError("a solid has its own thickness.", where=piece.name, remedy="Leave the thickness out.")
        return Extent(piece.size_mm, _area(piece.vertices, piece.faces), 0.0, piece.volume_mm3)
    where = piece.name if isinstance(piece, Part) else piece.source.file
    if thickness_mm <= 0.0:
        raise OptionError("the thickness of the sheet is not said.", where=where, remedy="Give it in mm.")
    if isinstance(piece, Part):
        return _flat(piece, thickness_mm)
    area, rim = _area(piece.vertices, piece.faces), _rim(piece)
    size = np.ptp(piece.vertices[np.unique(piece.faces)], axis=0).tolist()
    return Extent((size[0], size[1], size[2]), 2.0 * area, rim * thickness_mm, area * thickness_mm)


def _flat(part: Part, thickness_mm: float) -> Extent:
    contours = [part.outline, *part.holes]
    net = abs(signed_area(part.outline)) - sum(abs(signed_area(hole)) for hole in part.holes)
    left, low, right, high = bounds(part.outline)
    edges = thickness_mm * sum(length(curve) for curve in contours)
    return Extent((right - left, high - low, thickness_mm), 2.0 * net, edges, net * thickness_mm)


def _area(vertices: np.ndarray, faces: np.ndarray) -> float:
    corner = vertices[faces]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    return 0.5 * float(np.linalg.norm(cross, axis=1).sum())


def _rim(surface: Surface) -> float:
    ends = np.sort(
        np.concatenate([surface.faces[:, [0, 1]], surface.faces[:, [1, 2]], surface.faces[:, [2, 0]]]), axis=1
    )
    edges, count = np.unique(ends, axis=0, return_counts=True)
    rim = edges[count == 1]
    return float(np.linalg.norm(surface.vertices[rim[:, 0]] - surface.vertices[rim[:, 1]], axis=1).sum())


def finishing_of(
    piece: Part | Surface | Solid, options: FinishingOptions, *, name: str = "", stock: Stock | None = None
) -> Finishing:
    """Return what finishing a piece takes.

    Parameters
    ----------
    piece : Part, Surface or Solid
        The piece.
    options : FinishingOptions
        Material, coat, whether it is polished and annealed.
    name : str
        What to call it; by its own name when empty.
    stock : Stock, optional
        Our own tables when left out.

    Returns
    -------
    Finishing
        Figures, notes and cautions.

    Raises
    ------
    OptionError
        If the bath is not told apart, the material cannot be plated, or the thickness is missing.
    StockError
        If the material is unknown.
    """
    known = load_stock() if stock is None else stock
    material, extent = known.material(options.material), extent_of(piece, options.thickness_mm)
    called = name or (piece.source.file if isinstance(piece, Surface) else piece.name)
    density = material.facts.get("density")
    notes: list[Finding] = []
    plating, tank_ok, said = _plated(material, extent, options, known)
    notes += said
    annealing, kiln_ok, told = _annealed(material, extent, known) if options.anneal else (None, None, [])
    notes += told
    metal = material.family in known.process("deburring").families
    polish = known.process("polishing").facts.get("allowance_per_face") if options.polish and metal else None
    notes += _polished(None if polish is None else polish.span, options.thickness_mm)
    if density is None:
        text = f"the density of {material.name} is not known, so its mass is not either."
        notes.append(Finding("T227", Severity.NOTE, text, "Add it to your stock file."))
    works: list[Work] = ["edges"] if metal else []
    works += ["torch"] if annealing else []
    works += ["pickle"] if annealing and annealing.pickle else []
    works += ["plating"] if plating else []
    works += ["polishing"] if polish else []
    found = Finishing(
        called,
        material.id,
        extent.size_mm,
        extent.faces_mm2,
        extent.edges_mm2,
        None if density is None else extent.volume_mm3 * 1e-9 * density.numbers[0],
        plating,
        annealing,
        None if polish is None else polish.span,
        tank_ok,
        kiln_ok,
        notes=tuple(replace(note, where=called) for note in notes),
        cautions=(*caution_for(*works, stock=known), *material.cautions),
    )
    return replace(found, sheet=finishing_sheet(found, material, options, known))


def _plated(
    material: Material, extent: Extent, options: FinishingOptions, stock: Stock
) -> tuple[Plating | None, bool | None, list[Finding]]:
    if not options.plate:
        return None, None, []
    process = stock.process("plating")
    if process.families and material.family not in process.families:
        raise OptionError(f"{material.name} is not plated.", remedy=f"Plated are {', '.join(process.families)}.")
    bath, rows = bath_of(options.plate, stock), process.facts
    share = rows["rack_share"].span[1] if options.rack_share is None else options.rack_share
    efficiency, said = _efficiency(bath, options.efficiency)
    assert options.microns is not None and options.density_A_dm2 is not None  # noqa: PT018  # held by the options
    plating = coat(
        bath,
        area_mm2=options.count * (extent.faces_mm2 + extent.edges_mm2) * (1.0 + share),
        thickness_um=options.microns,
        density_A_dm2=options.density_A_dm2,
        efficiency=efficiency,
    )
    fits, tank, told = holder_findings(stock, "plating_tank", extent.size_mm, rows["clear_of_walls"].span[0], "T220")
    enough, more = _current(plating, tank)
    return plating, None if fits is None else fits and enough, [*said, *told, *more]


def _efficiency(bath: Material, given: float | None) -> tuple[tuple[float, float], list[Finding]]:
    if given is not None:
        return (given, given), []
    if "efficiency" in bath.facts:
        return bath.facts["efficiency"].span, []
    text = f"the efficiency of {bath.name} is not known, often far below 1: the time is the least there can be."
    return (1.0, 1.0), [
        Finding("T224", Severity.WARNING, text, "Ask the bath's maker, or weigh a trial piece; then say it.")
    ]


def _current(plating: Plating, tank: Machine | None) -> tuple[bool, list[Finding]]:
    if tank is None or "greatest_current" not in tank.facts:
        return True, []
    most = tank.facts["greatest_current"].span[0]
    if plating.current_A <= most:
        return True, []
    text = f"{tank.name}: {plating.current_A:.3g} A needed at {plating.density_A_dm2:g} A/dm2, it gives {most:g} A."
    return False, [
        Finding("T221", Severity.WARNING, text, "Plate fewer pieces at once, or with less current and longer.")
    ]


def _annealed(material: Material, extent: Extent, stock: Stock) -> tuple[Annealing | None, bool | None, list[Finding]]:
    process = stock.process("annealing")
    if material.family not in process.families:
        return None, None, []
    row = material.facts.get("anneal")
    if row is None:
        text = f"no annealing temperature of {material.name} is known."
        return None, None, [Finding("T226", Severity.NOTE, text, "Ask the mill; add it to your stock file.")]
    quench = "Water after the glow has faded does not harden it." if material.family in _QUENCHED else ""
    pickled = material.family in stock.process("pickling").families
    annealing = Annealing(row.span, f"{row.mark}: {row.source}", quench, pickled)
    fits, kiln, told = holder_findings(stock, "kiln", extent.size_mm, 0.0, "T222")
    hot = (
        kiln is None
        or "greatest_temperature" not in kiln.facts
        or kiln.facts["greatest_temperature"].span[0] >= row.span[0]
    )
    if not hot and kiln is not None:
        most = kiln.facts["greatest_temperature"].span[0]
        text = f"{kiln.name} reaches {most:g} degC; annealing begins at {row.span[0]:g}."
        told = [*told, Finding("T223", Severity.WARNING, text, "Anneal with the torch, or in another kiln.")]
    return annealing, None if fits is None else fits and hot, told


def _polished(span: tuple[float, float] | None, thickness_mm: float) -> list[Finding]:
    if span is None or thickness_mm <= 0.0 or 2.0 * span[1] <= _MUCH * thickness_mm:
        return []
    text = f"polishing both faces may take {2.0 * span[1]:g} mm of a sheet of {thickness_mm:g} mm."
    return [Finding("T228", Severity.NOTE, text, "Polish with fine grit only, or begin with thicker sheet.")]
