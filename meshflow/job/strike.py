"""From a relief to whether it will strike: the plan, its blank laid flat with the least plastic work, its picture.

The rooms that this needs together: tooling for the plan, flatten for the blank of a deep relief, report for the map.

Written: NAME-strain.png, how thin the sheet gets.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np

from meshflow.errors import FlattenError
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.pattern import FlatPattern
from meshflow.model.region import Region
from meshflow.model.relief import Relief
from meshflow.model.stock import Machine
from meshflow.model.strike import StrikePlan
from meshflow.model.surface import Source, Surface
from meshflow.stock import Stock, load_stock
from meshflow.tooling.membrane import triangles_of
from meshflow.tooling.strain import followed, thinned_out
from meshflow.tooling.strike import StrikeOptions, will_it_strike

__all__ = ["formed_relief", "net_area", "plan_strike", "relief_region", "write_strain"]

_MOST: Final = 6_000  # samples of the blank's mesh: some 12 000 faces
_SHALLOW: Final = 0.02  # area gained up to which the blank is the net area

Progress = Callable[[str, float], None]


def plan_strike(
    relief: Relief,
    *,
    material: str,
    thickness_mm: float,
    temper: str = "",
    press: str | Machine | None = None,
    options: StrikeOptions | None = None,
    stock: Stock | None = None,
    progress: Progress | None = None,
) -> StrikePlan:
    """Return whether a relief will strike; a deep one is laid flat as well, for its rim drawn in.

    Parameters
    ----------
    relief : Relief
        The heights.
    material, thickness_mm, temper, options
        As in `meshflow.tooling.strike.will_it_strike`.
    press : str or Machine, optional
        A machine of the stock by its id, or the machine.
    stock : Stock, optional
        Our tables when left out.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    StrikePlan
        Its record also holds ``blank_area_mm2`` and ``blank_by``.
    """
    known = load_stock() if stock is None else stock
    machine = known.machine(press) if isinstance(press, str) else press
    net, flat = net_area(relief, thickness_mm), relief.area_mm2
    formed = None
    if flat and net > (1.0 + _SHALLOW) * flat and known.material(material).hardening is not None:
        formed = formed_relief(relief, known, material, thickness_mm, progress=progress)
    plan = will_it_strike(
        relief,
        material=material,
        thickness_mm=thickness_mm,
        temper=temper,
        press=machine,
        formed=formed,
        options=options,
        stock=known,
    )
    laid = formed.forming if formed is not None else None
    plan.record["blank_area_mm2"] = net if laid is None else laid.one_step_mm2
    plan.record["blank_by"] = "net area of the relief" if laid is None else "laid flat with the least plastic work"
    return plan


def net_area(relief: Relief, thickness_mm: float) -> float:
    """Return the area of the relief's surface as sheet can follow it [mm2]."""
    vertices, faces = _mesh(thinned_out(followed(relief, thickness_mm)))
    corner = vertices[faces]
    across = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    return float(0.5 * np.linalg.norm(across, axis=1).sum())


def formed_relief(
    relief: Relief, stock: Stock, material: str, thickness_mm: float, *, progress: Progress | None = None
) -> FlatPattern | None:
    """Return a relief laid flat with the least plastic work, its rim free; None where that finds no answer."""
    from meshflow.flatten import flatten

    region = relief_region(relief, thickness_mm)
    limits, hardening = stock.limits(material, thickness_mm), stock.hardening(material)
    try:
        return flatten(
            region, limits=limits, objective="formed", hardening=hardening, trim_mm=0.0, prove=False, progress=progress
        )
    except FlattenError:
        return None  # openings or several pieces: the membrane with a free rim stands for it


def relief_region(relief: Relief, thickness_mm: float, *, most: int = _MOST) -> Region:
    """Return the surface of a relief as a region, thinned out to about so many vertices."""
    vertices, faces = _mesh(thinned_out(followed(relief, thickness_mm), most))
    surface = Surface(vertices=vertices, faces=faces, source=Source(file=relief.name))
    parent = np.empty(len(vertices), dtype=np.int64)
    parent[faces[:, 0]] = parent[faces[:, 1]] = parent[faces[:, 2]] = np.arange(len(faces))
    corner = (faces[parent] == np.arange(len(vertices))[:, None]).astype(np.float64)
    return Region(
        name=relief.name,
        surface=surface,
        vertices=vertices,
        faces=faces,
        face_parent=np.arange(len(faces)),
        vertex_parent=parent,
        barycentric=corner,
        thickness=thickness_mm,
    )


def _mesh(relief: Relief) -> tuple[FloatArray, IntArray]:
    triangles, _ = triangles_of(relief.inside)
    used, faces = np.unique(triangles, return_inverse=True)
    row, column = np.divmod(used, relief.shape[1])
    vertices = np.stack([relief.x[column], relief.y[row], relief.height.ravel()[used]], axis=1)
    return vertices, faces.reshape(triangles.shape)


def write_strain(plan: StrikePlan, name: str, draft: Path) -> Path:
    """Write ``NAME-strain.png`` into a draft folder and return its path."""
    from meshflow.report.strike_view import strike_png

    path = draft / f"{name}-strain.png"
    strike_png(name, plan, path)
    return path
