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
    "carrier_surface": "meshflow.mesh.carrier",
    "check": "meshflow.mesh.check",
    "flatten": "meshflow.flatten",
    "mend": "meshflow.mesh.mend",
    "nest": "meshflow.nest",
    "neutral_surface": "meshflow.regions",
    "outline": "meshflow.outline",
    "read_mesh": "meshflow.mesh.read",
    "run": "meshflow.job.run",
    "select": "meshflow.regions",
    "write_dxf": "meshflow.drawing",
    "write_mesh": "meshflow.mesh.write",
    "write_svg": "meshflow.drawing",
}

__all__ = ["__version__", *sorted(_HOME)]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'meshflow' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
