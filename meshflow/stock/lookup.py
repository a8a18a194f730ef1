"""The stock, and how to ask it: by id, by family, by what fits together."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal, TypeVar

from meshflow.errors import StockError, UnitError
from meshflow.model.forming import Hardening, Weave
from meshflow.model.pattern import Limits
from meshflow.model.stock import Hide, Machine, Material, Process, Sheet, ToleranceTable
from meshflow.stock.fit import LeastSizes, check_thickness, least_sizes, refusal
from meshflow.stock.listing import StockRow, hide_row, machine_row, material_row, process_row, sheet_row
from meshflow.stock.values import closest, shown
from meshflow.units import unit_scale

__all__ = ["Stock", "StockKind"]

StockKind = Literal["materials", "sheets", "processes", "machines"]
T = TypeVar("T")

_BY_SIZE = re.compile(r"(\d+(?:\.\d+)?)\s*[xX]\s*(\d+(?:\.\d+)?)\s*(|[a-z]+)")


@dataclass(frozen=True, eq=False)
class Stock:
    """Everything the workshop can choose from.

    Parameters
    ----------
    materials, processes, sheets, hides, machines, tolerances : mapping of str to record
        The records by id.
    families : mapping of str to str
        Family or common name to the id of the material that it means.
    sources : mapping of str to str
        Source ids and their words.
    user_file : str
        Name of the workshop's own stock file; empty when only our tables were read.
    """

    materials: Mapping[str, Material]
    processes: Mapping[str, Process]
    sheets: Mapping[str, Sheet]
    hides: Mapping[str, Hide]
    machines: Mapping[str, Machine]
    tolerances: Mapping[str, ToleranceTable]
    families: Mapping[str, str]
    sources: Mapping[str, str]
    user_file: str = ""

    def material(self, name: str) -> Material:
        """Return a material by its id, or the one that a family or common name means.

        Parameters
        ----------
        name : str
            Id such as ``cu_dhp``, or family such as ``copper``; capitals do not matter.

        Returns
        -------
        Material
            The material.

        Raises
        ------
        StockError
            If there is none; the message lists close matches and all ids.
        """
        key = name.strip().lower()
        key = key if key in self.materials else self.families.get(key, key)
        if key in self.materials:
            return self.materials[key]
        raise StockError(
            f"{shown(name)} is no material or family.{self._material_hint(name)}",
            remedy=f"Families: {_listed(self.families)}. Materials: {_listed(self.materials)}.",
        )

    def process(self, name: str) -> Process:
        """Return a process by its id; StockError with close matches when there is none."""
        return _found(self.processes, name, "process")

    def hide(self, name: str) -> Hide:
        """Return a hide by its id; StockError with close matches when there is none."""
        return _found(self.hides, name, "hide")

    def machine(self, name: str) -> Machine:
        """Return a machine by its id; StockError with close matches when there is none."""
        return _found(self.machines, name, "machine")

    def tolerance(self, name: str) -> ToleranceTable:
        """Return a tolerance table by its id; StockError with close matches when there is none."""
        return _found(self.tolerances, name, "tolerance table")

    def sheet(self, name: str) -> Sheet:
        """Return a sheet by its id, or one of a size given as LENGTHxWIDTH.

        Parameters
        ----------
        name : str
            Id such as ``1000x2000`` or ``a3``, or any other size: ``800x600`` [mm], ``24x36in``.

        Returns
        -------
        Sheet
            The sheet; length lies along x.

        Raises
        ------
        StockError
            If it is neither.
        """
        key = name.strip().lower()
        size = _BY_SIZE.fullmatch(key)
        if key in self.sheets or size is None:
            return _found(self.sheets, name, "sheet", " A size such as 800x600 (mm) will do as well.")
        return _sheet_of_size(key, size)

    def limits(self, material: str, thickness_mm: float) -> Limits:
        """Return how far a material of this thickness may be stretched, gathered and bent.

        Parameters
        ----------
        material : str
            Id or family.
        thickness_mm : float
            Thickness [mm].

        Returns
        -------
        Limits
            Shares of length, least inside bend radius [mm], and where they come from with their marks.

        Raises
        ------
        StockError
            If the material is unknown, or is not worked as a sheet and so has no limits.
        OptionError
            If the thickness is no finite number from 0 upward.
        """
        found = self.material(material)
        check_thickness(thickness_mm)
        if not {"stretch_limit", "gather_limit"} <= found.facts.keys():
            raise StockError(
                f"{found.id} ({found.name}) has no stretch and gather limit: it is not worked as a sheet.",
                remedy="Choose a sheet material, or add both limits to your stock file.",
            )
        radius = found.bend_radius_per_thickness * thickness_mm
        return Limits(found.limits.stretch, found.limits.gather, radius, found.limits.source)

    def hardening(self, material: str) -> Hardening:
        """Return how a metal hardens when it is formed.

        Parameters
        ----------
        material : str
            Id or family.

        Returns
        -------
        Hardening
            Exponent, anisotropy and strength, the middle of each range, and where they come from with their marks.

        Raises
        ------
        StockError
            If the material is unknown, or its table gives no hardening exponent.
        """
        found = self.material(material)
        if found.hardening is None:
            raise StockError(
                f"{found.id} ({found.name}) has no hardening_exponent: how it forms is not known.",
                remedy="Lay it flat with another objective, or add the exponent to your stock file.",
            )
        return found.hardening

    def weave(self, material: str) -> Weave:
        """Return how stiff a material is along its grain, across it, and in shear.

        Parameters
        ----------
        material : str
            Id or family.

        Returns
        -------
        Weave
            Moduli over the modulus along, the shear lock, and where they come from with their marks.

        Raises
        ------
        StockError
            If the material is unknown, or its table gives no modulus across the grain or in shear.
        """
        found = self.material(material)
        if found.weave is None:
            raise StockError(
                f"{found.id} ({found.name}) has no modulus_across and modulus_shear: it has no threads to follow.",
                remedy="Lay it flat with another objective, or add both moduli to your stock file.",
            )
        return found.weave

    def least_sizes(self, process: str, thickness_mm: float) -> LeastSizes:
        """Return the smallest features that a process cuts at a thickness [mm].

        Parameters
        ----------
        process : str
            Id of the process.
        thickness_mm : float
            Thickness [mm].

        Returns
        -------
        LeastSizes
            For each feature the larger of the fixed size and the size by thickness [mm].

        Raises
        ------
        StockError
            If there is no such process.
        OptionError
            If the thickness is no finite number from 0 upward.
        """
        check_thickness(thickness_mm)
        return least_sizes(self.process(process), thickness_mm)

    def refusal(self, process: str, material: str) -> str:
        """Return why a process must not or does not work a material; empty when it may.

        Parameters
        ----------
        process : str
            Id of the process.
        material : str
            Id or family of the material.

        Returns
        -------
        str
            One or more sentences, or an empty text.

        Raises
        ------
        StockError
            If there is no such process or material.
        """
        return refusal(self.process(process), self.material(material))

    def sheets_for(self, material: str, thickness_mm: float = 0.0) -> tuple[Sheet, ...]:
        """Return the sheets that a material comes in, in the order of the tables.

        Parameters
        ----------
        material : str
            Id or family.
        thickness_mm : float
            Thickness wanted [mm]; 0 means any.

        Returns
        -------
        tuple of Sheet
            Those of this material or its family, and those for any material.
        """
        stuff = self.material(material)
        return tuple(
            sheet
            for sheet in self.sheets.values()
            if sheet.material in ("", stuff.id)
            and (sheet.material or not sheet.families or stuff.family in sheet.families)
            and (not thickness_mm or not sheet.thickness_mm or math.isclose(sheet.thickness_mm, thickness_mm))
        )

    def rows(self, kind: StockKind) -> list[StockRow]:
        """Return one line for each record of a kind, to print as a table.

        Parameters
        ----------
        kind : {"materials", "sheets", "processes", "machines"}
            Which table; hides stand below the sheets.

        Returns
        -------
        list of StockRow
            Id, name, key figures, mark, source; in the order of the tables.

        Raises
        ------
        StockError
            If there is no such table.
        """
        if kind == "materials":
            return [material_row(record) for record in self.materials.values()]
        if kind == "sheets":
            hides = [hide_row(record) for record in self.hides.values()]
            return [sheet_row(record) for record in self.sheets.values()] + hides
        if kind == "processes":
            return [process_row(record) for record in self.processes.values()]
        if kind == "machines":
            return [machine_row(record) for record in self.machines.values()]
        raise StockError(f"{shown(kind)} is no stock table.", remedy="Say materials, sheets, processes or machines.")

    def _material_hint(self, name: str) -> str:
        called = {word: stuff.id for stuff in self.materials.values() for word in (stuff.name, *stuff.designations)}
        exact = [stuff_id for word, stuff_id in called.items() if word.lower() == name.strip().lower()]
        if exact:
            return f" Did you mean {exact[0]}?"
        return closest(name, [*self.materials, *self.families])


def _found(table: Mapping[str, T], name: str, what: str, more: str = "") -> T:
    key = name.strip().lower()
    if key in table:
        return table[key]
    raise StockError(f"{shown(name)} is no {what}.{closest(name, table)}", remedy=f"Known: {_listed(table)}.{more}")


def _listed(names: Iterable[str]) -> str:
    return ", ".join(sorted(names))


def _sheet_of_size(name: str, size: re.Match[str]) -> Sheet:
    try:
        scale = unit_scale(size[3] or "mm")
    except UnitError as error:
        raise StockError(f"{shown(name)} is no sheet: {error.what}", remedy=error.remedy) from error
    length, width = float(size[1]) * scale, float(size[2]) * scale
    if min(length, width) <= 0:
        raise StockError(f"{shown(name)} is no sheet: it has no area.", remedy="Give length and width over 0 mm.")
    return Sheet(name, length, width, name=name)
