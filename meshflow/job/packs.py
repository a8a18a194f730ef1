"""The pack of a supplier: a folder that holds what one shop needs for one process, and nothing else.

::

    packs/SUPPLIER-PROCESS/order.pdf .csv       the order: files with hashes, stock, pieces, what to mind
    packs/SUPPLIER-PROCESS/SHEET.dxf .pdf       each nested sheet: the drawing, and a page about it
    packs/SUPPLIER-PROCESS/NAME.dxf .pdf        or each part, where the shop lays out sheets by itself

It is complete on its own: copied to a stick or into a mail it needs no other file of the job. A part that must not be
cut is not in it, and what found no place on a sheet is named in the order.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from meshflow.drawing import compose_part, compose_sheet, write_dxf
from meshflow.drawing.pdf_card import Block, Facts, Notes, Sketch, Table, card_bytes
from meshflow.errors import InputError
from meshflow.files import write_whole
from meshflow.geometry.polygons import material as area_of
from meshflow.geometry.polygons import pole_of_inaccessibility
from meshflow.geometry.sheets import sheet_area
from meshflow.geometry.transforms import motion_of, move_points
from meshflow.job.outputs import sheet_name
from meshflow.job.plan import SupplierPlan
from meshflow.job.results import JobResult, MadePart, NestGroup
from meshflow.job.scans import file_hash
from meshflow.model.drawing import NEVER_CUT, Drawing, Layer
from meshflow.model.layout import Placement, SheetLayout
from meshflow.model.stock import Material
from meshflow.report.orders import MM2_PER_DM2, MM2_PER_FT2
from meshflow.report.shapes import part_extent
from meshflow.report.supply import CutFigures, SupplyLine, cut_figures, mass_kg, supply_csv, supply_lines

__all__ = ["write_pack"]

_CUT: Final = (Layer.CUT_INSIDE, Layer.CUT_OUTSIDE)


def write_pack(result: JobResult, supplier: SupplierPlan, folder: Path) -> tuple[str, ...]:
    """Write the pack of a supplier.

    Parameters
    ----------
    result : JobResult
        What the run came to.
    supplier : SupplierPlan
        The shop.
    folder : Path
        Where to; made if there is something for this shop.

    Returns
    -------
    tuple of str
        Names of the files; none where no part of the job is cut by the process.

    Raises
    ------
    MeshflowError
        If a drawing cannot be written.
    """
    groups = [group for group in result.nests if group.parts[0].plan.process.id == supplier.process.id]
    if not groups:
        return ()
    folder.mkdir(parents=True, exist_ok=True)
    pack = _Pack(result, supplier, folder)
    try:
        for group in groups:
            pack.parts(group) if supplier.send == "parts" else pack.sheets(group)
        pack.order(groups)
    except BaseException:
        for path in folder.iterdir():
            path.unlink()
        folder.rmdir()
        raise
    return tuple(sorted(path.name for path in folder.iterdir()))


class _Pack:
    """Writes the files of one pack and gathers the lines of its order."""

    def __init__(self, result: JobResult, supplier: SupplierPlan, folder: Path) -> None:
        self._result, self._supplier, self._folder = result, supplier, folder
        self._lines: list[SupplyLine] = []
        self._files: list[SupplyLine] = []

    def sheets(self, group: NestGroup) -> None:
        """Write each sheet of a group, and a page about it."""
        parts = [made.part for made in group.parts]
        for number, layout in enumerate(group.nest.sheets, start=1):
            name = sheet_name(group.name, number)
            drawing = compose_sheet(layout, parts, name=name, job_hash=self._result.job_hash)
            counts = Counter(placement.part for placement in layout.placements)
            head = (("Sheet", _sheet_words(layout, group)),)
            table = _sheet_table(layout, group)
            self._write(drawing, group, counts, head, table, _labels(layout, group))
        self._lines += self._of(group)

    def parts(self, group: NestGroup) -> None:
        """Write each part of a group, and a page about it."""
        for made in group.parts:
            drawing = compose_part(made.part, job_hash=self._result.job_hash)
            head = (("Quantity", f"{made.part.quantity}; lay them out as suits you"),)
            self._write(drawing, group, Counter({made.part.name: made.part.quantity}), head, _part_table(made), ())
        self._lines += self._of(group)

    def _of(self, group: NestGroup) -> tuple[SupplyLine, ...]:
        plan, parts = group.parts[0].plan, [made.part for made in group.parts]
        nest = group.nest if self._supplier.send == "sheets" else None
        return supply_lines(nest, parts, plan.material, plan.thickness_mm)

    def _write(
        self,
        drawing: Drawing,
        group: NestGroup,
        counts: Counter[str],
        head: tuple[tuple[str, str], ...],
        table: Table,
        labels: tuple[tuple[float, float, str], ...],
    ) -> None:
        """Write a drawing and the page about it, and note its hash."""
        path = write_dxf(drawing, self._folder / f"{drawing.name}.dxf", version=self._supplier.dxf_version)
        digest = file_hash(path)
        plan = group.parts[0].plan
        figures = cut_figures({made.part.name: made.part for made in group.parts}, counts)
        facts = (
            *head,
            ("Material", f"{plan.material.name} ({plan.material.id}), {plan.thickness_mm:g} mm thick"),
            ("Process", plan.process.name),
            *_drawn(drawing),
            ("Work", _work(figures, plan.material, plan.thickness_mm)),
            ("File", f"{path.name}, DXF {self._supplier.dxf_version}, millimetres at true size"),
            ("SHA-256 of the file", digest),
        )
        cautions = (plan.process.caution, *plan.material.cautions)
        blocks: list[Block] = [Sketch(drawing, labels), Facts(facts), table, Notes("Caution", cautions)]
        page = card_bytes(drawing.name, self._subtitle(), blocks, one_page=True)
        write_whole(path.with_suffix(".pdf"), page, error=InputError)
        count = 1 if self._supplier.send == "sheets" else sum(counts.values())
        self._files.append(SupplyLine("file", path.name, count=count, sha256=digest))

    def order(self, groups: Sequence[NestGroup]) -> None:
        """Write the order, as a page and as a table."""
        supplier = self._supplier
        blocks: list[Block] = [
            Facts(
                (
                    ("To", supplier.name),
                    ("Process", supplier.process.name),
                    ("Job", f"{self._result.plan.title} ({self._result.job_hash[:16]})"),
                    ("Drawings", f"DXF {supplier.dxf_version}, millimetres at true size; colours carry no meaning"),
                )
            ),
            Table(("file", "cut it", "SHA-256"), tuple(map(_file_row, self._files)), (0.29, 0.1, 0.61)),
            _order_table([line for line in self._lines if line.what != "piece"], "to have at hand"),
            _order_table([line for line in self._lines if line.what == "piece"], "piece"),
            Notes("Not in this pack", tuple(self._missing(groups))),
            Notes("Caution", tuple(dict.fromkeys(_cautions(groups)))),
        ]
        page = card_bytes("Order", self._subtitle(), [block for block in blocks if _says_something(block)])
        write_whole(self._folder / "order.pdf", page, error=InputError)
        text = supply_csv([*self._lines, *self._files])
        write_whole(self._folder / "order.csv", text.encode("utf-8"), error=InputError)

    def _missing(self, groups: Sequence[NestGroup]) -> list[str]:
        if self._supplier.send == "parts":
            return []
        left = [(name, count) for group in groups for name, count in group.nest.unplaced]
        return [f"{count} of {name}: found no place on the sheets given." for name, count in left]

    def _subtitle(self) -> str:
        return f"{self._result.plan.title}, for {self._supplier.name}"


def _drawn(drawing: Drawing) -> tuple[tuple[str, str], ...]:
    """Return what the drawing says of kerf, layers and blanks, in the words that stand in the file itself."""
    layers = list(dict.fromkeys(stroke.layer for stroke in drawing.strokes))
    marks = [layer for layer in layers if layer not in (*_CUT, *NEVER_CUT)]
    said = {
        "Kerf": " ".join(line.removeprefix("Kerf: ") for line in drawing.comments if line.startswith("Kerf: ")),
        "Blank": " ".join(line.removeprefix("Blank: ") for line in drawing.comments if line.startswith("Blank")),
        "Cut": ", then ".join(layer for layer in layers if layer in _CUT),
        "Mark, do not cut": ", ".join(marks),
        "Never cut": ", ".join(layer for layer in layers if layer in NEVER_CUT),
        "Not measured": " ".join(line for line in drawing.comments if line.startswith("Part ") and "cut" not in line),
    }
    return tuple((name, words) for name, words in said.items() if words)


def _work(figures: CutFigures, material: Material, thickness_mm: float) -> str:
    mass = mass_kg(material, figures.area_mm2, thickness_mm)
    words = [f"{figures.cut_mm / 1000:.2f} m of cut", _counted(figures.pierces, "pierce")]
    words += [f"{_counted(figures.points, 'point')} to prick or drill"] if figures.points else []
    words += [f"pieces weigh {mass:.2f} kg"] if mass else []
    return ", ".join(words)


def _counted(count: int, one: str) -> str:
    return f"{count} {one}{'' if count == 1 else 's'}"


def _sheet_words(layout: SheetLayout, group: NestGroup) -> str:
    sheet = layout.sheet
    mass = mass_kg(group.parts[0].plan.material, sheet_area(sheet), sheet.thickness_mm)
    weight = f", {mass:.1f} kg" if mass else ""
    size = f"{sheet.length_mm:g} x {sheet.width_mm:g} mm"
    if sheet.outline is not None:
        size = f"{sheet.id}, which has been drawn round, {sheet.length_mm:.0f} x {sheet.width_mm:.0f} mm over all"
    used = f"{layout.used_length_mm:.0f} mm of its length"
    if layout.used_width_mm is not None:
        used += f" and {layout.used_width_mm:.0f} mm of its width"
    return f"{size}{weight}; used to {used}; its corner is the origin of the drawing"


def _sheet_table(layout: SheetLayout, group: NestGroup) -> Table:
    made = {one.part.name: one for one in group.parts}
    placed: dict[str, list[Placement]] = {}
    for placement in layout.placements:
        placed.setdefault(placement.part, []).append(placement)
    rows = tuple(
        (str(number), name, str(len(ours)), _size(made[name]), _face_up(made[name], ours), _grain(made[name], ours))
        for number, (name, ours) in enumerate(placed.items(), start=1)
    )
    return Table(("no.", "part", "pieces", "size, mm", "face up", "grain"), rows, (0.06, 0.26, 0.09, 0.18, 0.2, 0.21))


def _part_table(made: MadePart) -> Table:
    row = (
        made.part.name,
        str(made.part.quantity),
        _size(made),
        _face_up(made, ()),
        _grain(made, ()),
        _turns(made),
    )
    header = ("part", "pieces", "size, mm", "face up", "grain", "may be turned")
    return Table(header, (row,), (0.24, 0.09, 0.16, 0.16, 0.16, 0.19))


def _size(made: MadePart) -> str:
    width, height = part_extent(made.part)
    return f"{width:.1f} x {height:.1f}"


def _face_up(made: MadePart, placed: Sequence[Placement]) -> str:
    """Return which face looks up, and how many of the pieces lie the other way."""
    if made.part.pattern is None:
        return "either"
    outer = made.part.pattern.region.face_up == "outer"
    names = ("grain side", "flesh side") if made.plan.material.family == "leather" else ("outer face", "inner face")
    turned = sum(placement.mirrored for placement in placed)
    said = names[0] if outer else names[1]
    if not turned:
        return said
    other = names[1] if outer else names[0]
    return other if turned == len(placed) else f"{said}; {turned} {other}"


def _grain(made: MadePart, placed: Sequence[Placement]) -> str:
    """Return the direction of the grain on the sheet; it lies along x in the drawing of a part that has one."""
    directed = made.part.pattern is not None and made.part.pattern.grain_rad is not None
    if not (directed or made.plan.material.grain):
        return "any"
    angles = sorted({round(placement.angle_deg % 180.0, 3) % 180.0 for placement in placed}) or [0.0]
    if not placed:
        return "along x"
    return "along the length (x)" if angles == [0.0] else ", ".join(f"{angle:g}" for angle in angles) + " deg from x"


def _turns(made: MadePart) -> str:
    turns = ", ".join(f"{turn:g}" for turn in made.part.turns_deg) or "0, 90, 180, 270"
    return f"{turns} deg" + ("; over too" if made.part.may_mirror else "; not over")


def _labels(layout: SheetLayout, group: NestGroup) -> tuple[tuple[float, float, str], ...]:
    """Return the number of its line in the table for each piece, in the middle of the piece."""
    parts = {made.part.name: made.part for made in group.parts}
    names = list(dict.fromkeys(placement.part for placement in layout.placements))
    middles = {
        name: pole_of_inaccessibility(area_of(parts[name].outline, parts[name].holes), tolerance=0.5)[0]
        for name in names
    }
    found = []
    for placement in layout.placements:
        x, y = move_points([middles[placement.part]], motion_of(placement))[0].tolist()
        found.append((x, y, str(names.index(placement.part) + 1)))
    return tuple(found)


def _file_row(line: SupplyLine) -> tuple[str, str, str]:
    return (line.name, "once" if line.count == 1 else f"{line.count} times", line.sha256)


def _order_table(lines: Sequence[SupplyLine], first: str) -> Table:
    header = (first, "material", "mm thick", "size, mm", "count", "area", "kg")
    shares = (0.16, 0.25, 0.09, 0.13, 0.06, 0.25, 0.06)
    return Table(header, tuple(map(_order_row, lines)), shares)


def _order_row(line: SupplyLine) -> tuple[str, ...]:
    size = f"{line.length_mm:.0f} x {line.width_mm:.0f}" if line.length_mm else ""
    mass = f"{line.mass_kg:.2f}" if line.mass_kg else ""
    names = {"sheet": "sheets", "strip": "or strip, by length", "hide": "hide, with waste"}
    name = line.name or names[line.what]
    return (name, line.material, f"{line.thickness_mm:g}", size, str(line.count or ""), _area(line), mass)


def _area(line: SupplyLine) -> str:
    low, high = line.area_mm2
    if line.what == "hide":
        feet = f"{low / MM2_PER_FT2:.1f} to {high / MM2_PER_FT2:.1f} ft2"
        return f"{low / MM2_PER_DM2:.1f} to {high / MM2_PER_DM2:.1f} dm2, {feet}"
    return f"{high / 1e6:.3f} m2"


def _cautions(groups: Sequence[NestGroup]) -> list[str]:
    return [
        text
        for group in groups
        for text in (group.parts[0].plan.process.caution, *group.parts[0].plan.material.cautions)
    ]


def _says_something(block: Block) -> bool:
    return not (isinstance(block, Table) and not block.rows) and not (isinstance(block, Notes) and not block.texts)
