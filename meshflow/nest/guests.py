"""What lies in holes put into the answer: every guest goes where its host went.

A guest is laid in the drawing of its host (see `in_holes`); the host is turned over, turned and moved, and the guest
with it. Turned over in something turned over, a part is as it was, and turns the other way round.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

from meshflow.geometry.sheets import sheet_area
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import Nest, Placement, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest.bounds import sheets_lower_bound
from meshflow.nest.in_holes import SAME_DEG, Bundles, Guest, in_the_open, turned_in
from meshflow.nest.prepare import Piece, turns_of

__all__ = ["with_guests"]


def with_guests(nest: Nest, bundles: Bundles, pieces: Sequence[Piece], sheets: Sequence[Sheet]) -> Nest:
    """Return an answer with what lies in holes of its parts.

    Parameters
    ----------
    nest : Nest
        The answer without it; its `unplaced` allow for it already.
    bundles : Bundles
        What lies in which copy.
    pieces : sequence of Piece
        All parts by number.
    sheets : sequence of Sheet
        Sheets that may be used.

    Returns
    -------
    Nest
        With a note (N130) that says which parts lie in which; copies in holes are numbered last.
    """
    number = {piece.part.name: k for k, piece in enumerate(pieces)}
    reached = Counter(placement.part for layout in nest.sheets for placement in layout.placements)
    hosts: Counter[str] = Counter()
    pairs: Counter[tuple[str, str]] = Counter()
    layouts = []
    for sheet, layout in enumerate(nest.sheets, start=1):
        laid = list(layout.placements)
        locked = {(one.part, one.x_mm, one.y_mm) for one in nest.locked if one.sheet == sheet}
        for host in layout.placements:
            if (host.part, host.x_mm, host.y_mm) in locked:
                continue  # what lies in it was decided beforehand
            hosts[host.part] += 1
            for guest in bundles.of(number[host.part], hosts[host.part] - 1):
                part = pieces[guest.piece].part
                reached[part.name] += 1
                pairs[part.name, host.part] += 1
                laid.append(_laid(host, guest, part, reached[part.name]))
        layouts.append(_with(layout, laid, {name: pieces[k].area_mm2 for name, k in number.items()}))
    clear = in_the_open([piece.part for piece in pieces])
    bound = sheets_lower_bound(
        [(part, reached[part.name]) for part in clear],
        sheets,
        margin_mm=nest.margin_mm,
        spacing_mm=nest.least_spacing_mm,
    )
    notes = (*nest.notes, *_notes(pairs))
    return replace(nest, sheets=tuple(layouts), sheets_lower_bound=bound, notes=notes, in_holes=True)


def _laid(host: Placement, guest: Guest, part: Part, copy: int) -> Placement:
    angle, mirrored = turned_in(host.angle_deg, host.mirrored, guest.angle_deg, guest.mirrored)
    turn = math.radians(host.angle_deg)
    along = -guest.x_mm if host.mirrored else guest.x_mm
    x = host.x_mm + math.cos(turn) * along - math.sin(turn) * guest.y_mm
    y = host.y_mm + math.sin(turn) * along + math.cos(turn) * guest.y_mm
    return Placement(part.name, copy, round(x, 6), round(y, 6), _as_listed(angle, part), mirrored)


def _as_listed(angle_deg: float, part: Part) -> float:
    """Return a turn as the part lists it, where it is one of those."""
    for listed in turns_of(part):
        if abs(math.remainder(listed - angle_deg, 360.0)) <= SAME_DEG:
            return listed
    return math.fmod(math.fmod(angle_deg, 360.0) + 360.0, 360.0)


def _with(layout: SheetLayout, laid: list[Placement], areas: Mapping[str, float]) -> SheetLayout:
    area = math.fsum(areas[one.part] for one in laid)
    share = round(area / sheet_area(layout.sheet, up_to_mm=layout.used_length_mm, wide_mm=layout.used_width_mm), 6)
    usable = layout.usable
    if usable is not None and usable.area_mm2 > 0.0:
        usable = replace(usable, covered=round(area / usable.area_mm2, 6))
    laid = sorted(laid, key=lambda placement: (placement.part, placement.copy))
    return replace(layout, placements=tuple(laid), utilisation=share, usable=usable)


def _notes(pairs: Counter[tuple[str, str]]) -> tuple[Finding, ...]:
    """Return what to mind where parts lie in holes of others."""
    if not pairs:
        return ()
    text = ", ".join(f"{count} {guest} in {host}" for (guest, host), count in sorted(pairs.items()))
    remedy = (
        "Cut what lies in a hole before the hole, as the drawing lists it, not layer by layer. Small loose pieces "
        "tip and can catch the head: hold them with tabs, or as your shop does."
    )
    return (Finding("N130", Severity.NOTE, f"parts lie in holes of others: {text}.", remedy, sum(pairs.values())),)
