"""From a surface scan to flat patterns, nested sheets and cut files.

The public names below load on first use, so that ``import meshflow`` stays instant. A test holds this list against
``__init__.pyi`` and against what each module defines. In the order of the work::

    surface = mend(read_mesh("finial.stl", units="mm"))
    region = neutral_surface(carrier_surface(select(surface, thickness=0.8, side="outer")))
    part = outline(flatten(region))
    write_dxf(part, "finial.dxf")
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_HOME = {
    "area_of": "meshflow.mesh.measure",
    "base_of": "meshflow.relief.base",
    "blank_tool": "meshflow.tooling.blank",
    "carrier_surface": "meshflow.mesh.carrier",
    "cast_tool": "meshflow.tooling.cast",
    "check": "meshflow.mesh.check",
    "compare": "meshflow.mesh.compare",
    "datum_by_points": "meshflow.mesh.align",
    "distance_between": "meshflow.mesh.measure",
    "find_symmetry": "meshflow.mesh.symmetry",
    "finishing_of": "meshflow.tooling.finishing",
    "flatten": "meshflow.flatten",
    "former_tool": "meshflow.tooling.former",
    "geodesic_length": "meshflow.mesh.measure",
    "girth": "meshflow.mesh.girth",
    "height_over": "meshflow.relief.over",
    "lines_of": "meshflow.relief.lines",
    "mend": "meshflow.mesh.mend",
    "mirror": "meshflow.mesh.mirror",
    "move": "meshflow.mesh.align",
    "nest": "meshflow.nest",
    "neutral_surface": "meshflow.regions",
    "outline": "meshflow.outline",
    "principal_axes": "meshflow.mesh.align",
    "punch_tool": "meshflow.tooling.punch",
    "read_line": "meshflow.job.lines",
    "read_mesh": "meshflow.mesh.read",
    "register": "meshflow.mesh.register",
    "rule_die": "meshflow.tooling.ruledie",
    "run": "meshflow.job.run",
    "select": "meshflow.regions",
    "strip_tool": "meshflow.tooling.strip",
    "thickness_at": "meshflow.mesh.measure",
    "will_it_strike": "meshflow.tooling.strike",
    "write_dxf": "meshflow.drawing",
    "write_mesh": "meshflow.mesh.write",
    "write_pdf": "meshflow.drawing",
    "write_svg": "meshflow.drawing",
}

__all__ = ["__version__", *sorted(_HOME)]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'meshflow' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
