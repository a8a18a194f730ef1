"""The figures of finishing as a sheet for people, with rule, source and mark."""

from __future__ import annotations

from collections.abc import Mapping

from meshflow.model.finishing import Annealing, Finishing, Plating
from meshflow.model.stock import Fact, Material
from meshflow.model.tool import Figure
from meshflow.stock import Stock
from meshflow.tooling.finishing_options import FinishingOptions

__all__ = ["finishing_sheet"]


def finishing_sheet(
    found: Finishing, material: Material, options: FinishingOptions, stock: Stock
) -> tuple[Figure, ...]:
    """Return the lines of the sheet."""
    size = " x ".join(f"{side:.1f}" for side in found.size_mm)
    lines = [
        Figure("Piece", f"{material.name}, {size} mm"),
        Figure("Surface", f"{found.area_mm2 / 100.0:.2f} cm2", _parts(found)),
    ]
    if found.mass_kg is not None:
        row = material.facts["density"]
        lines.append(
            Figure("Mass", f"{1000.0 * found.mass_kg:.4g} g", f"density {row.numbers[0]:g} kg/m3, {_mark(row)}")
        )
    if found.annealing is not None:
        lines += _anneal(found.annealing, stock)
    if found.polish_mm is not None:
        low, high = found.polish_mm
        row = stock.process("polishing").facts["allowance_per_face"]
        lines.append(Figure("Polishing takes, each face", f"{low:g} to {high:g} mm", _mark(row)))
    if found.plating is not None:
        lines += _plate(found.plating, options, stock)
    for label, value in (("Tank and current", found.tank_ok), ("Kiln", found.kiln_ok)):
        if value is not None:
            lines.append(Figure(label, "enough" if value else "not enough: see the notes"))
    return tuple(lines)


def _parts(found: Finishing) -> str:
    if not found.edges_mm2:
        return "all of the body"
    return f"both faces {found.faces_mm2 / 100.0:.2f}, edges {found.edges_mm2 / 100.0:.2f}"


def _anneal(annealing: Annealing, stock: Stock) -> list[Figure]:
    low, high = annealing.celsius
    lines = [Figure("Anneal at", f"{low:g} to {high:g} degC", annealing.words)]
    if annealing.quench:
        lines.append(Figure("Quench", annealing.quench, "READ: allaroundthewrekin, winlandtrading"))
    if annealing.pickle:
        lines.append(Figure("Pickle", stock.process("pickling").note))
    return lines


def _plate(plating: Plating, options: FinishingOptions, stock: Stock) -> list[Figure]:
    bath, rows = stock.materials[plating.bath], stock.process("plating").facts
    rack_row, eta_row = rows["rack_share"], bath.facts.get("efficiency")
    rack = f"rack {100 * rack_row.span[1]:g} %, {_mark(rack_row)}" if options.rack_share is None else "rack as said"
    eta = "not known: taken as 1" if eta_row is None else _mark(eta_row)
    eta = eta if options.efficiency is None else "as said"
    least, most = (seconds / 60.0 for seconds in plating.time_s)
    many = f"{options.count} pieces together, " if options.count > 1 else ""
    lines = [
        Figure("Bath", plating.name, f"{bath.facts['electrons'].numbers[0]:g} electrons for each atom"),
        Figure("Coat", f"{plating.thickness_um:g} um on {plating.area_mm2 / 10000.0:.4g} dm2", many + rack),
        Figure("Current", f"{plating.current_A:.4g} A", f"{plating.density_A_dm2:g} A/dm2 as said"),
        Figure("Efficiency", _range(*plating.efficiency, ""), eta),
        Figure("Time", _range(least, most, " min"), "Faraday: m = I t M / (z F) x efficiency"),
        Figure("Charge", _range(*plating.charge_Ah, " Ah")),
        Figure("Metal laid down", f"{1000.0 * plating.mass_kg:.4g} g", "on all of it, rack too"),
    ]
    return [*lines, *_gold(plating, rows)]


def _gold(plating: Plating, rows: Mapping[str, Fact]) -> list[Figure]:
    """Return the thickness classes of gold that a coat reaches, of the two standards that have them."""
    if not plating.bath.startswith("plate_au"):
        return []
    row, jewellery = rows["gold_classes"], rows["gold_classes_jewellery"]
    reached = [value for value in row.numbers if value <= plating.thickness_um + 1e-9]
    letters = [
        letter for letter, least in zip("CBA", jewellery.numbers, strict=True) if least <= plating.thickness_um + 1e-9
    ]
    best = f"class {max(reached):g}" if reached else f"under the least class, {min(row.numbers):g}"
    worn = f"class {letters[-1]}" if letters else "gilt, under class C"
    return [
        Figure("Gold, engineering", best, f"thickness classes in um, {row.mark}: {row.source}"),
        Figure("Gold, jewellery", worn, f"{jewellery.mark}: {jewellery.source}"),
    ]


def _range(low: float, high: float, unit: str) -> str:
    return f"{low:.4g}{unit}" if abs(high - low) <= 1e-9 * abs(high) else f"{low:.4g} to {high:.4g}{unit}"


def _mark(row: Fact) -> str:
    return f"{row.mark}: {row.source}" + (f"; {row.note}" if row.note else "")
