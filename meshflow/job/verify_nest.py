"""Check the nests of a folder: parts as their drawings are read, placements as written, rules as recorded."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from meshflow.model.curve import Circle, Polycurve
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import Apart, Locked, Nest, Placement, SheetLayout, UsableArea
from meshflow.model.part import Part, Zone
from meshflow.model.stock import Flaw, Sheet
from meshflow.verify import ReadContour, ReadDrawing
from meshflow.verify.arcs import bridged
from meshflow.verify.on_sheet import Laid, sheet_faults

__all__ = ["nest_findings"]


def nest_findings(
    root: Path, record: Mapping[str, Any], drawings: Mapping[str, ReadDrawing]
) -> tuple[list[Finding], int]:
    """Return what does not hold in the nests of a folder, and how many hold.

    Parameters
    ----------
    root : Path
        The folder.
    record : mapping
        Its job record.
    drawings : mapping of str to ReadDrawing
        All drawings of it that could be read, by file name.
    """
    found: list[Finding] = []
    holding = 0
    for entry in record.get("nests") or []:
        where = "nest"
        try:
            where = f"sheets/{entry['group']}.nest.json"
            said = json.loads((root / where).read_text(encoding="utf-8"))
            faults = _nest_faults(entry, said, record, drawings)
        except (OSError, ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError) as error:
            faults = [_fault("J128", where, f"the nest cannot be checked ({type(error).__name__}: {error}).")]
        found += [Finding(f.code, f.severity, f.text, f.remedy, f.count, where=f.where or where) for f in faults]
        holding += not faults
    return found, holding


def _fault(code: str, where: str, text: str) -> Finding:
    return Finding(code, Severity.REFUSE, text, "Do not cut from it: run the job again.", where=where)


def _nest_faults(
    entry: Mapping[str, Any], said: Mapping[str, Any], record: Mapping[str, Any], drawings: Mapping[str, ReadDrawing]
) -> list[Finding]:
    from meshflow.nest.verify import verify_nest

    group = entry["group"]
    named = dict.fromkeys(place["part"] for sheet in said["sheets"] for place in sheet["placements"])
    named |= dict.fromkeys(left["part"] for left in said["unplaced"])
    own = {part["name"]: part for part in record["parts"]}
    plain = {name: _drawing_of(name, drawings) for name in dict.fromkeys([*entry["parts"], *named])}
    missing = [name for name, drawing in plain.items() if drawing is None or name not in own]
    if missing:
        return [_fault("J128", "", f"the drawing of {', '.join(missing)} is missing: the nest cannot be checked.")]
    read = {name: drawing for name, drawing in plain.items() if drawing is not None}
    apart = _apart(record, entry["parts"])
    nest = replace(_nest(entry, said), locked=_locked(record, entry["parts"]), apart=apart)
    parts = [_part(own[name], drawing) for name, drawing in read.items()]
    lost = [part.name for part in parts if sorted(z.least_grade for z in part.zones) != sorted(_asked(own[part.name]))]
    if lost:
        return [_fault("J128", "", f"the drawing of {', '.join(lost)} does not show the zones that the record names.")]
    faults = [
        Finding("J127", Severity.REFUSE, f"{fault.where}: {fault.text} ({fault.code})", fault.remedy)
        for fault in verify_nest(nest, parts)
    ]
    told = sorted((*sorted(one["parts"]), one["spacing_mm"]) for one in said.get("apart", ()))
    if told != sorted((one.part, one.other, one.spacing_mm) for one in apart):
        text = "it says other distances between parts than the job asked for."
        faults.append(Finding("J127", Severity.REFUSE, text, "Do not cut from it: run the job again."))
    return faults + _sheet_faults(group, nest, read, drawings)


def _drawing_of(name: str, drawings: Mapping[str, ReadDrawing]) -> ReadDrawing | None:
    for ending in (".dxf", ".R12.dxf", ".R2000.dxf", ".R2018.dxf"):
        if f"patterns/{name}{ending}" in drawings:
            return drawings[f"patterns/{name}{ending}"]
    return None


def _nest(entry: Mapping[str, Any], said: Mapping[str, Any]) -> Nest:
    layouts: list[SheetLayout] = []
    for sheet, on in zip(said["sheets"], entry["on"], strict=True):
        placed = tuple(
            Placement(p["part"], p["copy"], p["x_mm"], p["y_mm"], p["angle_deg"], p["mirrored"])
            for p in sheet["placements"]
        )
        stock = Sheet(
            on["sheet"],
            sheet["length_mm"],
            sheet["width_mm"],
            on["material"],
            on["thickness_mm"],
            on["count"],
            outline=_edge(sheet["edge"]) if "edge" in sheet else None,
            flaws=tuple(Flaw(_edge(f["line"]), f["clearance_mm"], f["grade"]) for f in sheet.get("flaws", ())),
        )
        # What is one of a kind must be taken once: like sheets must compare equal for that to be seen.
        stock = next((other.sheet for other in layouts if _same(other.sheet, stock)), stock)
        used = (sheet["used_length_mm"], sheet["utilisation"], _usable(sheet), sheet.get("used_width_mm"))
        layouts.append(SheetLayout(stock, placed, *used))
    unplaced = tuple((left["part"], left["count"]) for left in said["unplaced"])
    return Nest(
        sheets=tuple(layouts),
        unplaced=unplaced,
        sheets_lower_bound=said["sheets_lower_bound"],
        verified=False,
        stopped_by=said["stopped_by"],
        margin_mm=said["margin_mm"],
        spacing_mm=said["spacing_mm"],
        seed=said["seed"],
        effort=said["effort"],
        in_holes=said.get("in_holes", False),
    )


def _locked(record: Mapping[str, Any], names: Sequence[str]) -> tuple[Locked, ...]:
    """Return the locked copies that the job asked for, of these parts."""
    rows = record.get("options", {}).get("nest", {}).get("locked", ())
    return tuple(
        Locked(row["part"], row["sheet"], row["x"], row["y"], row["turn"], row["turned_over"], row["on"])
        for row in rows
        if row["part"] in names
    )


def _apart(record: Mapping[str, Any], names: Sequence[str]) -> tuple[Apart, ...]:
    """Return the distances of their own that the job asked for between these parts."""
    rows = record.get("options", {}).get("nest", {}).get("apart", ())
    pairs = [(min(row["parts"]), max(row["parts"]), float(row["spacing"])) for row in rows]
    return tuple(Apart(*pair) for pair in pairs if pair[0] in names and pair[1] in names)


def _usable(said: Mapping[str, Any]) -> UsableArea | None:
    if "usable_area_mm2" not in said:
        return None
    return UsableArea(said["usable_area_mm2"], said["usable_yield"], said["usable_yield_upper_bound"])


def _edge(said: Mapping[str, Any]) -> Polycurve | Circle:
    if "radius_mm" in said:
        return Circle(tuple(said["centre_mm"]), said["radius_mm"])
    rows = np.array(said["points_mm"], dtype=np.float64).reshape(-1, 3)
    return Polycurve(rows[:, :2], rows[:, 2])


def _same(one: Sheet, other: Sheet) -> bool:
    """Return whether two sheets are of one kind; shapes that are no rectangles are known by their name."""
    key = [(s.id, s.length_mm, s.width_mm, s.material, s.thickness_mm, s.count) for s in (one, other)]
    return key[0] == key[1]


def _part(entry: Mapping[str, Any], drawing: ReadDrawing) -> Part:
    gap = float(entry["contour"]["tab_gap_mm"])
    outer, inner = bridged(drawing.on("CUT_OUTSIDE"), gap), drawing.on("CUT_INSIDE")
    return Part(
        name=entry["name"],
        outline=_curve(outer[0]),
        holes=tuple(_curve(contour) for contour in inner),
        material=entry["material"],
        thickness_mm=entry["thickness_mm"],
        quantity=entry["quantity"],
        may_mirror=entry["may_mirror"],
        turns_deg=tuple(entry["turns_deg"]),
        turn_play_deg=entry.get("turn_play_deg", 0.0),
        most=entry.get("most", 0),
        least_grade=entry.get("least_grade", 0),
        grain_deg=entry.get("grain_deg"),
        zones=tuple(Zone(_curve(c), grade) for grade in range(1, 10) for c in drawing.on(f"GRADE_{grade}")),
    )


def _asked(entry: Mapping[str, Any]) -> list[int]:
    return [int(grade) for grade in entry.get("zones", ())]


def _curve(contour: ReadContour) -> Polycurve:
    return Polycurve(contour.points[:, :2], contour.bulges)


def _sheet_faults(
    group: str, nest: Nest, parts: Mapping[str, ReadDrawing], drawings: Mapping[str, ReadDrawing]
) -> list[Finding]:
    """Return where a sheet's drawing shows something else than its parts as the nest lays them."""
    found = []
    for number, layout in enumerate(nest.sheets, start=1):
        stem = f"sheets/{group}-sheet-{number:02d}"
        names = [name for name in drawings if name == f"{stem}.dxf" or name.startswith(f"{stem}.R")]
        if not names:
            found.append(_fault("J128", stem, "no drawing of this sheet can be checked."))
        laid = [Laid(p.part, p.x_mm, p.y_mm, p.angle_deg, p.mirrored) for p in layout.placements]
        for name in sorted(names):
            faults, _ = sheet_faults(drawings[name], laid, parts)
            found += [_fault("J126", name, f"{fault}.") for fault in faults]
    return found
