"""What a job file may ask for of one part."""

from __future__ import annotations

import math
from functools import partial
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from meshflow.job.defaults import Tryout, usual_process
from meshflow.job.plan import PaperName
from meshflow.job.schema_asked import BendRow, FoldRow, HoleRow, LineRow, MarkRow, NotchRow, StitchRow, ZoneRow
from meshflow.job.schema_cut import AllowanceRow, Kerf, kerf_in, widths_of
from meshflow.job.schema_values import (
    NAME,
    Degrees,
    Length,
    MaterialName,
    Offset,
    Smooth,
    Table,
    Thickness,
    file_name,
    in_a_sentence,
    known_file,
    known_material,
    known_plane,
    known_seam,
    known_selector,
    known_unit,
    plane_of,
    stock_of,
)
from meshflow.model.stock import Objective
from meshflow.stock.joining import bend_radii

__all__ = ["PartRow"]

_CUTTING: Final = ("cut", "template")  # kinds of process that cut a piece out, or make what it is cut by


class PartRow(Table):
    """One part to make."""

    name: Annotated[str, AfterValidator(file_name)] = Field(
        pattern=NAME, description="Name of the part and of its files."
    )
    mesh: Annotated[str, AfterValidator(known_file)] = Field(
        min_length=1, description="Mesh file, relative to the job file."
    )
    material: MaterialName = Field(description="Material id or family of the stock tables.")
    thickness: Thickness = Field(description="Thickness of the material.")
    units: Annotated[str, AfterValidator(known_unit)] | None = Field(
        default=None, description="Unit of the mesh file; needed unless the file carries one."
    )
    region: Annotated[str, AfterValidator(known_selector)] = Field(
        default="all", description="Which faces: a selector."
    )
    seam: Annotated[str, AfterValidator(known_seam)] | None = Field(
        default=None, description="Where a ring is opened: a point, a plane, or none."
    )
    side: Literal["outer", "middle", "inner"] = Field(default="middle", description="Face that was scanned.")
    offset: Offset = Field(
        default=0.0, description="How far that face of this layer lies from the scanned surface, outward."
    )
    face_up: Literal["outer", "inner"] = Field(default="outer", description="Face that looks up on the pattern.")
    smooth: Smooth = Field(default="auto", description="Feature length of the carrier: auto, none, or a length.")
    process: str | None = Field(
        default=None, validate_default=True, description="Process id; by default one that suits the material."
    )
    quantity: int = Field(default=1, ge=1, le=10_000, description="How many.")
    may_mirror: bool = Field(default=False, description="Whether nesting may turn the part over.")
    pair: bool = Field(
        default=False,
        validate_default=True,
        description="Whether it is cut in pairs, left and right: so many as drawn, and as many mirrored.",
    )
    turns: list[Degrees] = Field(
        default=[], max_length=360, description="Allowed turns on the sheet [deg]; empty: 0, 90, 180, 270."
    )
    turn_play: float = Field(
        default=0.0, ge=0.0, le=180.0, allow_inf_nan=False, description="How far a turn may be off, either way [deg]."
    )
    most: int = Field(
        default=0, ge=0, le=10_000, description="Copies laid where room is left anyway; 0: no more than the quantity."
    )
    least_grade: int = Field(
        default=0, ge=0, le=9, description="Least good grade of a hide that will do, 1 being the best; 0: any."
    )
    grain: Degrees | None = Field(default=None, description="Grain direction on the flat, from x [deg].")
    objective: Objective | None = Field(
        default=None,
        validate_default=True,
        description="What laying flat makes least; by default what the material's table says.",
    )
    trim: Annotated[Length, Field(ge=0, le=500)] | None = Field(
        default=None, description="For formed sheet: width to trim off after forming."
    )
    darts: Literal["auto", "none"] | Annotated[int, Field(ge=1, le=24)] = Field(
        default="none", description="Darts: as many as help, none, or at most so many."
    )
    symmetric: Annotated[str, AfterValidator(known_plane)] | None = Field(
        default=None, description="Plane nx,ny,nz,d about which darts are symmetric."
    )
    keep_out: Annotated[str, AfterValidator(known_selector)] | None = Field(
        default=None, description="What no dart may run through: a selector."
    )
    finger: Annotated[Length, Field(ge=0, le=1000)] | None = Field(
        default=None, description="Least width left between darts, and between a dart and the rim."
    )
    tolerance: Annotated[Length, Field(gt=0, le=10)] | None = Field(
        default=None, description="Greatest distance of the contour from the rim; left out: by the scan's noise."
    )
    tryout: Tryout | None = Field(default=None, description="Also make a try-out piece.")
    tryout_thickness: Thickness | None = Field(default=None, description="Thickness of the try-out sheet.")
    stitch: list[StitchRow] = Field(default=[], description="Rows of stitch holes.")
    hole: list[HoleRow] = Field(default=[], description="Rivet and lacing holes, eyelets.")
    bend: list[BendRow] = Field(default=[], description="Bend lines, with their length taken off.")
    fold: list[FoldRow] = Field(default=[], description="Fold lines.")
    notch: list[NotchRow] = Field(default=[], description="Notches on edges.")
    mark: list[MarkRow] = Field(default=[], description="Register crosses and centre marks.")
    line: list[LineRow] = Field(default=[], description="Lines of the surface, or of a drawing laid on it.")
    zone: list[ZoneRow] = Field(default=[], max_length=100, description="Areas that need better stuff than the rest.")
    paper: PaperName | None = Field(
        default=None, description="Also print the pattern at true size: a PDF on sheets of this paper."
    )
    texture_dpi: Degrees | None = Field(
        default=None, ge=10, le=2400, description="Also lay the colours of the scan flat: dots per inch of the picture."
    )
    allowance: list[AllowanceRow] = Field(
        default=[], validate_default=True, max_length=100, description="What edges get beyond the net line."
    )
    kerf: Annotated[Kerf, Field(validate_default=True)] = Field(
        default="net", description="Net contours, or compensated by the process's kerf or by this width of cut."
    )
    fit: Literal["near", "full", "bare"] = Field(
        default="near", description="Contour on both sides of the rim, never inside it, or never outside it."
    )
    tabs: Literal["points", "gaps", "none"] = Field(
        default="points", description="How a small part is held while it is cut: points, real gaps, or not at all."
    )
    lead_in: Annotated[Length, Field(ge=0, le=50)] | None = Field(
        default=None, description="Draw lead-ins of this length; none when left out."
    )

    plate: str = Field(
        default="", validate_default=True, description="Bath the part is plated in: ag, au_i, au_iii, cu_i, cu_ii, ni."
    )
    plate_um: Degrees | None = Field(default=None, gt=0, le=5000, description="Thickness of the plate [um].")
    plate_density: Degrees | None = Field(
        default=None, gt=0, le=100, validate_default=True, description="Current density, by the bath's sheet [A/dm2]."
    )

    @field_validator("process")
    @classmethod
    def _suits_the_material(cls, value: str | None, info: ValidationInfo) -> str | None:
        stock, material = stock_of(info), info.data.get("material")
        if stock is not None and value is not None:
            process = in_a_sentence(lambda: stock.process(value))
            if process.kind not in _CUTTING:
                cutting = ", ".join(sorted(known.id for known in stock.processes.values() if known.kind in _CUTTING))
                raise ValueError(f"{process.name} does not cut a piece out. Known: {cutting}.")
        if stock is not None and material is not None:
            refusal = stock.refusal(value or usual_process(stock.material(material)), material)
            if refusal:
                raise ValueError(refusal)
        return value

    @field_validator("grain")
    @classmethod
    def _lies_along_the_sheet(cls, value: float | None, info: ValidationInfo) -> float | None:
        turns, play = info.data.get("turns"), info.data.get("turn_play")
        if value is not None and turns and play is not None:
            off = min(abs(math.remainder(turn, 180.0)) for turn in turns)
            if off > play + 0.01:
                raise ValueError(
                    f"N127: the drawing is turned so that its grain lies along the sheet's, and every turn lays it "
                    f"{off:g} degrees or more across. Add 0 or 180 to turns, or turn the grain instead."
                )
        return value

    @field_validator("pair")
    @classmethod
    def _is_not_turned_over(cls, value: bool, info: ValidationInfo) -> bool:
        if value and info.data.get("may_mirror"):
            raise ValueError("a pair, and may_mirror as well: a part that may be turned over is both hands already.")
        return value

    @property
    def plane(self) -> tuple[float, float, float, float] | None:
        """The plane of symmetry, as numbers."""
        return None if self.symmetric is None else plane_of(self.symmetric)

    @field_validator("objective")
    @classmethod
    def _is_known_how(cls, value: Objective | None, info: ValidationInfo) -> Objective | None:
        stock, material = stock_of(info), info.data.get("material")
        if stock is not None and material is not None:
            asked = {"formed": stock.hardening, "woven": stock.weave}.get(value or "")
            if asked is not None:
                in_a_sentence(lambda: asked(material))
        return value

    @field_validator("plate_density")
    @classmethod
    def _says_bath_and_coat(cls, value: float | None, info: ValidationInfo) -> float | None:
        given = [info.data.get("plate") or None, info.data.get("plate_um"), value]
        if any(one is not None for one in given) and None in given:
            raise ValueError("to plate, say all of plate, plate_um and plate_density.")
        return value

    @field_validator("bend")
    @classmethod
    def _has_this_temper(cls, value: list[BendRow], info: ValidationInfo) -> list[BendRow]:
        stock, material, thickness = stock_of(info), info.data.get("material"), info.data.get("thickness")
        if stock is not None and material is not None and thickness is not None:
            for row in value:
                in_a_sentence(partial(bend_radii, stock, material, thickness, temper=row.temper or ""))
        return value

    @field_validator("allowance")
    @classmethod
    def _is_usual(cls, value: list[AllowanceRow], info: ValidationInfo) -> list[AllowanceRow]:
        stock, material, thickness = stock_of(info), info.data.get("material"), info.data.get("thickness")
        if stock is not None and material is not None and thickness is not None:
            in_a_sentence(lambda: widths_of(value, stock.material(material), thickness))
        return value

    @field_validator("kerf")
    @classmethod
    def _is_known(cls, value: Kerf, info: ValidationInfo) -> Kerf:
        stock, material = stock_of(info), info.data.get("material")
        process = info.data.get("process")
        if stock is not None and material is not None:
            in_a_sentence(lambda: kerf_in(value, stock.process(process or usual_process(stock.material(material)))))
        return value

    @field_validator("tryout")
    @classmethod
    def _is_in_stock(cls, value: Tryout | None, info: ValidationInfo) -> Tryout | None:
        if value is not None:
            known_material(value, info)
        return value
