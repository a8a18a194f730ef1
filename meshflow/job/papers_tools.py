"""What the document says of reliefs and tools, and of finishing parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from meshflow.errors import MeshflowError
from meshflow.job.outputs import dxf_name
from meshflow.job.plan import JobPlan
from meshflow.job.plan_tools import ToolPlan
from meshflow.job.results import MadePart, MadeRelief, MadeTool
from meshflow.model.finding import Finding, Severity
from meshflow.model.tool import Figure
from meshflow.report import FileLink, ReliefEntry, ToolEntry
from meshflow.stock.lookup import Stock

__all__ = ["finishing_rows", "not_tooled", "relief_entry", "tool_entry"]

_METALS: Final = ("copper", "brass", "bronze", "silver", "steel", "aluminium", "casting")
_KINDS: Final[Mapping[str, str]] = {
    "punch": "Punch and die, to strike {of}.",
    "strip": "Punch and die through which strip is fed step by step, to strike {of}.",
    "former": "Former, to work {of} over.",
    "cast": "Pattern, to cast {of} from.",
    "blank": "Blanking tool, to punch {of} out of sheet.",
    "ruledie": "Rule die, to cut {of} out of leather.",
}


def not_tooled(name: str, error: MeshflowError, code: str) -> Finding:
    """Return what the document says of a relief (J107) or tool (J108) that was not made."""
    place = f"{error.where}: " if error.where and error.where != name else ""
    return Finding(code, Severity.REFUSE, f"not made: {place}{error.what}", error.remedy, where=name)


def relief_entry(made: MadeRelief, folder: Path, job: JobPlan) -> ReliefEntry:
    """Return a relief for the document."""
    about, stem = made.about, f"reliefs/{made.plan.name}"
    low, high = made.relief.height_range_mm
    ground = about.get("ground_share")
    rows = [
        Figure("Form under it", str(about.get("base") or "not known"), str(about.get("base_reason") or "")),
        Figure("Height", f"{low:.2f} to {high:.2f} mm", "over the form, along its normal"),
        Figure("Size on the flat", _size(made), f"sampled every {made.relief.pitch_mm:g} mm"),
    ]
    if ground is not None:
        rows.append(Figure("Ground seen", f"{100.0 * ground:.0f} %", f"off the form by {about['rmse_mm']:.3f} mm rms"))
    picture = folder / stem / "height-shade.png"
    return ReliefEntry(
        made.plan.name,
        tuple(rows),
        picture=picture.read_bytes() if picture.is_file() else b"",
        findings=made.relief.notes,
        files=(
            *_drawings(f"{stem}/lines", "ridges, valleys, contours", job.dxf_versions),
            FileLink(f"{stem}/height.png", "heights as a grey picture of 16 bits"),
            FileLink(f"{stem}/height.npz", "heights"),
            FileLink(f"{stem}/relief.json", "figures"),
        ),
    )


def _size(made: MadeRelief) -> str:
    rows, columns = made.relief.inside.any(axis=1), made.relief.inside.any(axis=0)
    pitch = made.relief.pitch_mm
    return f"{columns.sum() * pitch:.1f} x {rows.sum() * pitch:.1f} mm"


def tool_entry(made: MadeTool, folder: Path, job: JobPlan) -> ToolEntry:
    """Return a tool for the document."""
    plan, tool, stem = made.plan, made.tool, f"tools/{made.plan.name}"
    shown = (("-view.png", f"The solids of {tool.name}"), ("-strain.png", f"How thin the sheet of {tool.name} gets"))
    pictures = [(what, folder / stem / f"{tool.name}{ending}") for ending, what in shown]
    solids = [
        FileLink(f"{stem}/{tool.name}-{solid.name}.{ending}", f"{solid.name}, {ending.upper()}")
        for solid in tool.solids
        for ending in ("stl", "3mf")
    ]
    drawings = [
        link
        for drawing in tool.drawings
        for link in _drawings(f"{stem}/{tool.name}-{drawing.name}", drawing.name, job.dxf_versions)
    ]
    return ToolEntry(
        tool,
        words=_KINDS[plan.kind].format(of=_made_from(plan)),
        pictures=tuple((what, path.read_bytes()) for what, path in pictures if path.is_file()),
        files=(*solids, *drawings, FileLink(f"{stem}/tool.json", "figures of the tool")),
    )


def _made_from(plan: ToolPlan) -> str:
    return plan.relief or plan.part or f"the piece {plan.region} of {plan.scan}"


def _drawings(stem: str, what: str, versions: Sequence[Any]) -> tuple[FileLink, ...]:
    links = [FileLink(dxf_name(stem, version, versions), f"{what}, DXF {version}") for version in versions]
    return (*links, FileLink(f"{stem}.svg", f"{what}, SVG"))


def finishing_rows(made: MadePart, stock: Stock) -> tuple[Figure, ...]:
    """Return area, mass, annealing and plating of a part of metal; nothing for other parts."""
    from meshflow.tooling.finishing import finishing_of
    from meshflow.tooling.finishing_options import FinishingOptions

    plan = made.plan
    if plan.material.family not in _METALS:
        return ()
    options = FinishingOptions(
        material=plan.material.id,
        thickness_mm=plan.thickness_mm,
        plate=plan.plate,
        microns=plan.plate_um,
        density_A_dm2=plan.plate_density,
        count=plan.quantity,
    )
    return finishing_of(made.part, options, name=plan.name, stock=stock).sheet
