"""Punch and die from a relief: two blocks whose faces close on the sheet with its thickness between them.

The punch stands below and presses from inside; the die takes the sheet from outside. Both stand on their backs, face
up, as they are milled; the die is turned over about the upright line through the middle of the block when the pair is
closed.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from meshflow.errors import VerificationError
from meshflow.geometry.envelope import slope_of_draft
from meshflow.model.relief import Relief
from meshflow.model.tool import Solid, Tool
from meshflow.stock import Stock
from meshflow.tooling.block import Block, plan_block
from meshflow.tooling.block_solid import Patch, block_solid
from meshflow.tooling.cautions import caution_for
from meshflow.tooling.faces import Faces, make_faces
from meshflow.tooling.gap import measured_gap, places_where
from meshflow.tooling.punch_drawings import (
    blank_drawing,
    contour_drawing,
    plan_drawing,
    profile_drawing,
    template_drawing,
)
from meshflow.tooling.punch_lines import contour_lines, contour_step, profiles, rim_of
from meshflow.tooling.punch_notes import punch_notes, punch_record, punch_sheet
from meshflow.tooling.punch_options import Chosen, PunchOptions, chosen

__all__ = ["faces_of", "punch_tool"]

Report = Callable[[str, float], None]

_STEEL = 7850.0  # kg/m3, where the stock has no row


def faces_of(relief: Relief, options: PunchOptions, stock: Stock, *, progress: Report | None = None) -> Faces:
    """Return the faces alone: what the punch and die of a relief close on; see `make_faces`."""
    return _faces(relief, options, chosen(options, stock), progress)


def punch_tool(
    relief: Relief, options: PunchOptions, *, stock: Stock, name: str = "punch", progress: Report | None = None
) -> Tool:
    """Return the punch and die that strike a relief.

    Parameters
    ----------
    relief : Relief
        The ornament, heights over its base.
    options : PunchOptions
        Thickness, nominal face, draft, cutter, land and the like.
    stock : Stock
        Where what was not said comes from.
    name : str
        Name of the tool.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    Tool
        Solids ``punch`` and ``die``; drawings of both plans, profiles, contours, template and blank; findings T100 to
        T112.

    Raises
    ------
    InputError
        If nothing lies inside the relief.
    OptionError
        If an option makes no sense with it, or its grid is too coarse for the sheet.
    VerificationError
        If a wall came out steeper than asked.

    Examples
    --------
    >>> from meshflow.stock import load_stock
    >>> x, y = np.meshgrid(np.arange(-6, 6.01, 0.2), np.arange(-6, 6.01, 0.2))
    >>> cap = Relief("cap", np.maximum(np.sqrt(np.maximum(25 - x**2 - y**2, 0)) - 4, 0), x**2 + y**2 < 30, 0.2)
    >>> tool = punch_tool(cap, PunchOptions(thickness_mm=0.8), stock=load_stock())
    >>> [solid.name for solid in tool.solids]
    ['punch', 'die']
    """
    report = progress or (lambda what, share: None)
    use = chosen(options, stock)
    faces = _faces(relief, options, use, lambda what, share: report(what, 0.5 * share))
    _check_draft(faces, use)
    report("measuring the gap", 0.5)
    gap = measured_gap(faces)
    bite = np.abs(faces.bite)
    bites = places_where(bite > options.bite_mm, bite, faces, within_mm=2.0 * use.cutter_radius_mm)
    text = relief.name if options.lettering is None else options.lettering
    block = plan_block(
        faces, use, stock, text=text, letter_height_mm=options.letter_height_mm, step_mm=options.land_step_mm
    )
    report("closing the solids", 0.75)
    solids, levels = _solids(faces, block, use, options)
    report("drawing", 0.9)
    rim = rim_of(relief, faces, use.oversize_mm)
    step = options.contour_step_mm or contour_step(faces)
    places = (*gap.listed, *bites)
    mill = next((machine for machine in stock.machines.values() if machine.kind == "mill"), None)
    return Tool(
        name=name,
        kind="punch",
        solids=solids,
        drawings=(
            plan_drawing("punch-plan", block, rim, places=places),
            plan_drawing("die-plan", block, rim, over_x=block.middle_x_mm, places=places),
            profile_drawing(faces, block, profiles(faces, options.profiles_mm)),
            contour_drawing(faces, block, contour_lines(faces, step), step),
            template_drawing(block, rim),
            blank_drawing(rim, use.oversize_mm),
        ),
        record=punch_record(faces, gap, bites, block, use, rim, levels, solids, _density(stock)),
        sheet=punch_sheet(faces, gap, bites, block, use, rim, solids),
        notes=punch_notes(relief, faces, gap, bites, block, use, rim, mill),
        cautions=caution_for("forming", "milling", "edges", stock=stock),
    )


def _faces(relief: Relief, options: PunchOptions, use: Chosen, progress: Report | None) -> Faces:
    return make_faces(
        relief,
        gap_mm=use.gap_mm,
        nominal=options.nominal,
        draft=float(np.radians(use.draft_deg)),
        cutter_radius_mm=use.cutter_radius_mm,
        blend_mm=use.blend_mm,
        progress=progress,
    )


def _check_draft(faces: Faces, use: Chosen) -> None:
    most = slope_of_draft(float(np.radians(use.draft_deg)))
    if max(faces.steepest) > most * (1.0 + 1e-9):
        raise VerificationError("a wall of the tool is steeper than its draft.", remedy="Report it, with the relief.")


def _solids(
    faces: Faces, block: Block, use: Chosen, options: PunchOptions
) -> tuple[tuple[Solid, Solid], tuple[float, float]]:
    """Return punch and die, face up, and the height of the land of each over its back."""
    fine = options.mesh_tolerance_mm
    punch = Patch(faces.x, faces.y, faces.inner).thinned(fine)
    die = Patch(faces.x, faces.y, faces.outer).thinned(fine).turned_over(block.middle_x_mm)
    made, levels = [], []
    for name, face, turned in (("punch", punch, False), ("die", die, True)):
        stands = face.raised(block.height_mm - float(face.z.max()))
        levels.append(float(stands.z[0, 0]))
        middle = 2.0 * block.middle_x_mm
        holes = [(middle - hole.x_mm if turned else hole.x_mm, hole.y_mm, hole.diameter_mm) for hole in block.holes]
        note = f"Mill from flat bar {block.bar}, face up; x and y are those of the plan {name}-plan."
        solid = block_solid(
            name,
            stands,
            low=block.low,
            high=block.high,
            holes=holes,
            letters=block.lettering.runs if block.lettering is not None else (),
            engraving_mm=use.engraving_mm,
            land=(block.land_low, block.land_high),
            step_mm=options.land_step_mm,
            note=note,
        )
        made.append(solid)
    return (made[0], made[1]), (levels[0], levels[1])


def _density(stock: Stock) -> float:
    facts = stock.material("steel").facts if "steel" in stock.families else {}
    return facts["density"].span[0] if "density" in facts else _STEEL
