"""What finishing a piece takes: area, mass, plating, annealing, polishing, and whether tank and kiln hold it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from meshflow.model.finding import Finding
from meshflow.model.tool import Figure

__all__ = ["Annealing", "Finishing", "Plating"]


@dataclass(frozen=True, slots=True)
class Plating:
    """One coat of plate.

    Parameters
    ----------
    bath, name : str
        Id and name of the bath: baths of one metal differ threefold in time.
    thickness_um : float
        Asked for [um].
    area_mm2 : float
        Wetted area of all pieces in the bath together, rack included [mm2].
    density_A_dm2, current_A : float
        Current density [A/dm2] and current [A].
    efficiency : (float, float)
        Least and greatest share of the current that lays down metal.
    time_s : (float, float)
        Least and greatest time in the bath [s].
    mass_kg : float
        Metal laid down on all of it [kg].
    charge_Ah : (float, float)
        Least and greatest charge [Ah].
    """

    bath: str
    name: str
    thickness_um: float
    area_mm2: float
    density_A_dm2: float  # noqa: N815
    current_A: float  # noqa: N815
    efficiency: tuple[float, float]
    time_s: tuple[float, float]
    mass_kg: float
    charge_Ah: tuple[float, float]  # noqa: N815

    def to_json(self) -> dict[str, Any]:
        """Return the coat as plain data."""
        return {
            "bath": self.bath,
            "thickness_um": self.thickness_um,
            "area_mm2": self.area_mm2,
            "density_A_dm2": self.density_A_dm2,
            "current_A": self.current_A,
            "efficiency": list(self.efficiency),
            "time_s": list(self.time_s),
            "mass_g": 1000.0 * self.mass_kg,
            "charge_Ah": list(self.charge_Ah),
        }


@dataclass(frozen=True, slots=True)
class Annealing:
    """How a metal is annealed.

    Parameters
    ----------
    celsius : (float, float)
        Range of temperature [degC].
    words : str
        Mark and source.
    quench : str
        What may follow; empty when nothing is known.
    pickle : bool
        Whether the usual acid pickle is for this metal.
    """

    celsius: tuple[float, float]
    words: str
    quench: str = ""
    pickle: bool = False

    def to_json(self) -> dict[str, Any]:
        """Return the row as plain data."""
        return {"celsius": list(self.celsius), "words": self.words, "quench": self.quench, "pickle": self.pickle}


@dataclass(frozen=True, eq=False)
class Finishing:
    """What finishing one piece takes.

    Parameters
    ----------
    name, material : str
        The piece, and the id of its material.
    size_mm : (float, float, float)
        Its box [mm].
    faces_mm2, edges_mm2 : float
        Area of both faces, and of its edges [mm2]; of a solid all of it is faces.
    mass_kg : float, optional
        Its mass; None where the density is not known.
    plating : Plating, optional
        The coat asked for.
    annealing : Annealing, optional
        None where the material is not annealed, or nothing is known.
    polish_mm : (float, float), optional
        Taken off each face by polishing [mm].
    tank_ok, kiln_ok : bool, optional
        Whether tank and kiln of the shop hold it; None where not asked, or the shop has none.
    sheet : tuple of Figure
        The same for people.
    notes : tuple of Finding
        Coded T220 to T229.
    cautions : tuple of str
        Sentences to show with it.
    """

    name: str
    material: str
    size_mm: tuple[float, float, float]
    faces_mm2: float
    edges_mm2: float
    mass_kg: float | None = None
    plating: Plating | None = None
    annealing: Annealing | None = None
    polish_mm: tuple[float, float] | None = None
    tank_ok: bool | None = None
    kiln_ok: bool | None = None
    sheet: tuple[Figure, ...] = ()
    notes: tuple[Finding, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def area_mm2(self) -> float:
        """Whole surface [mm2]."""
        return self.faces_mm2 + self.edges_mm2

    def to_json(self) -> dict[str, Any]:
        """Return the record as plain data."""
        return {
            "name": self.name,
            "material": self.material,
            "size_mm": list(self.size_mm),
            "area_mm2": self.area_mm2,
            "faces_mm2": self.faces_mm2,
            "edges_mm2": self.edges_mm2,
            "mass_g": None if self.mass_kg is None else 1000.0 * self.mass_kg,
            "plating": None if self.plating is None else self.plating.to_json(),
            "annealing": None if self.annealing is None else self.annealing.to_json(),
            "polish_mm": None if self.polish_mm is None else list(self.polish_mm),
            "tank_ok": self.tank_ok,
            "kiln_ok": self.kiln_ok,
            "sheet": [{"label": line.label, "value": line.value, "how": line.how} for line in self.sheet],
            "findings": [note.to_json() for note in self.notes],
            "cautions": list(self.cautions),
        }
