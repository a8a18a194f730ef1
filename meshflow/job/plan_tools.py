"""What a job asks for of reliefs and tools, checked and looked up."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from meshflow.job.lines import DrawnLine
from meshflow.model.tool import ToolKind

__all__ = ["ReliefPlan", "ToolPlan"]


@dataclass(frozen=True)
class ReliefPlan:
    """Ornament to lift off its form.

    Parameters
    ----------
    name : str
        Name of the relief and of its folder.
    mesh : Path
        Mesh file.
    scan : str
        The mesh file as the job names it.
    units : str, optional
        Unit of the mesh file.
    region, seam : str
        Which surface, and where a ring is opened.
    base, ornament : str
        Form under the ornament, and whether it stands on it or is sunk into it.
    wavelength_mm : float, optional
        Shortest wave of a free form [mm].
    ground : tuple of (float, float, float)
        Points where the base shows [mm].
    pitch_mm, turn_deg, smooth_mm, fold, mirror, repeats
        As `meshflow.job.relief.relief_file` takes them.
    lines : tuple of DrawnLine
        The drawn lines that `region` names.
    """

    name: str
    mesh: Path
    scan: str
    units: str | None = None
    region: str = "all"
    seam: str | None = None
    base: Literal["auto", "plane", "cylinder", "cone", "sphere", "free"] = "auto"
    ornament: Literal["auto", "raised", "sunk"] = "auto"
    wavelength_mm: float | None = None
    ground: tuple[tuple[float, float, float], ...] = ()
    pitch_mm: float | None = None
    turn_deg: float | None = None
    smooth_mm: float | None = None
    fold: int | Literal["auto"] | None = None
    mirror: bool = False
    repeats: bool = False
    lines: tuple[DrawnLine, ...] = ()


@dataclass(frozen=True)
class ToolPlan:
    """A tool to make.

    Parameters
    ----------
    name : str
        Name of the tool and of its folder.
    kind : str
        See `meshflow.job.tool_kinds`.
    options : object
        The options of its maker.
    relief, part : str
        Name of the relief or part of this job it is made from; empty where it is made from a scan.
    material : str
        What is worked with it: id or family; empty where nothing asks.
    temper, press : str
        State of hardness, and the press by its id; empty for the usual.
    detail : str
        How sharp a struck ornament shall come out.
    mesh, scan, units, region, seam
        As for a relief, where it is made from a scan.
    lines : tuple of DrawnLine
        The drawn lines that `region` names.
    """

    name: str
    kind: ToolKind
    options: Any
    relief: str = ""
    part: str = ""
    material: str = ""
    temper: str = ""
    press: str = ""
    detail: Literal["auto", "shallow", "crisp", "coined"] = "auto"
    mesh: Path | None = None
    scan: str = ""
    units: str | None = None
    region: str = "all"
    seam: str | None = None
    lines: tuple[DrawnLine, ...] = ()
