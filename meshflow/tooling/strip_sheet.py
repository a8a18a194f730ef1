"""The tool sheet of a strip tool: its figures for people, each with its rule, source and mark."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from meshflow.model.tool import Figure
from meshflow.tooling.strip_notes import StripWork

__all__ = ["strip_sheet"]

_PLACED: Final = {
    "repeat": "the last struck repeat, dropped into the die",
    "pilot": "pilots in holes of the edge that is trimmed off",
    "stop": "a stop or a scribed line",
}


def strip_sheet(work: StripWork) -> tuple[Figure, ...]:
    """Return the lines of the tool sheet, in the order of the work."""
    return (*_face(work), *_strip(work), *_feeding(work), *_blocks(work), *_closing(work))


def _face(work: StripWork) -> Iterator[Figure]:
    lengths, pitch, joint = work.faces.lengths, work.faces.pair.pitch_mm, work.faces.joint
    zones = {
        "out": lengths.way_out,
        "register": lengths.register,
        "new": lengths.new,
        "in": lengths.way_in,
        "flat": lengths.flat,
    }
    given = work.options.period_mm is not None
    found = f"found: {work.repeat.copies:.1f} copies, {100.0 * work.repeat.agreement:.1f} % in common"
    yield Figure("Repeat", f"{work.repeat.period_mm:.3f} mm", "as given, or as made alike" if given else found)
    yield Figure(
        "Face, along the feed",
        ", ".join(f"{name} {columns * pitch:.2f}" for name, columns in zones.items()) + " mm",
        "whole repeats, both ends struck twice (COMMON_PRACTICE); way in at least 3 times the height (CALC)",
    )
    yield Figure(
        "Joint",
        f"{joint.step_mm:.4f} mm, {joint.kink_deg:.3f} degrees",
        "fed through as cut and held against one unbroken ornament",
    )
    gap = work.faces.gap
    yield Figure(
        "Gap, closed",
        f"{work.chosen.gap_mm:g} mm; {gap.least_mm:.3f} to {gap.most_mm:.3f} as measured",
        "thickness and clearance, along the normal",
    )


def _strip(work: StripWork) -> Iterator[Figure]:
    run, plan, strain, mass = work.run, work.plan, work.strain, work.mass_kg
    yield Figure("Blows", str(run.blows), f"{run.repeats} repeats in {run.strips} strip(s)")
    yield Figure(
        "Strip",
        f"{run.strip_length_mm / 1000.0:.2f} m, {plan.strip_width_mm:.2f} x {work.options.thickness_mm:g} mm",
        f"as drawn in, with {run.scrap_mm:.0f} mm of scrap a strip",
    )
    yield Figure("Mass of the strip", "density not known" if mass is None else f"{mass:.3f} kg")
    edge = f"{work.edge.rule}; the widest of {len(work.edge.others)} rules"
    if work.edge_mm > work.edge.value_mm + 1e-6:
        edge = f"widened, see T142; {work.edge.value_mm:.2f} mm by {edge}"
    yield Figure("Edge, each side", f"{work.edge_mm:.2f} mm", edge if work.options.edge_mm is None else "as given")
    yield Figure("Used", f"{100.0 * work.use:.1f} %", "ornament over all strip")
    yield Figure(
        "Lengthening",
        f"{100.0 * strain.lengthening:.2f} % of the strip, {100.0 * strain.most:.1f} % along the highest line",
        "CALC: developed length, mean over the width",
    )
    radius = strain.camber_radius_mm
    curve = "" if radius is None else f"radius {radius / 1000.0:.2f} m, {strain.camber_over(1000.0):.2f} mm over 1 m"
    yield Figure("Camber", curve or "none", "CALC: first moment of the developed lengths; the most it can be")


def _feeding(work: StripWork) -> Iterator[Figure]:
    flat, (likely, worst) = work.flat_pitch_mm, work.error_mm
    yield Figure(
        "Pitch, as struck",
        f"{work.pitch_mm:.3f} mm",
        f"{work.new_repeats} repeat{'' if work.new_repeats == 1 else 's'} a blow",
    )
    yield Figure(
        "Pitch on the flat strip",
        f"{flat[0]:.2f} to {flat[1]:.2f} mm",
        "CALC: metal held, or drawn in by the mean developed length; feed by the register, not by this",
    )
    placed = _PLACED[work.options.register]
    yield Figure("Placed by", placed, f"{work.step_error_mm:g} mm a blow: {work.step_error_rule}")
    yield Figure(
        "Astray over a strip",
        f"{likely:.2f} mm likely, {worst:.2f} mm at worst",
        "CALC: root of n, and n times the error of a blow; with pilots it does not grow",
    )
    lift = f"{work.plan.lift_mm:.1f} mm"
    yield Figure("Lift between blows", lift, "until the struck repeat is out of the die; the guides still hold it")


def _blocks(work: StripWork) -> Iterator[Figure]:
    plan = work.plan
    yield Figure(
        "Blocks",
        f"{plan.length_mm:.1f} x {2.0 * plan.half_width_mm:.1f} mm, die {plan.land_mm[0]:g}, punch {plan.land_mm[1]:g} "
        "mm high at the land",
    )
    yield Figure(
        "Guides",
        f"two, {plan.guide_mm[0]:g} x {plan.guide_mm[1]:g} mm; channel {plan.channel_mm:.2f} mm",
        f"bolts M{plan.bolt_mm:g}, drilled {work.chosen.tapping_drill_mm:g} mm; pins {work.chosen.dowel_mm:g} mm",
    )


def _closing(work: StripWork) -> Iterator[Figure]:
    closing = work.closing
    if closing is None:
        return
    if closing.kind == "ring":
        yield Figure(
            "Once round",
            f"{closing.counts[0]} repeats, {closing.length_mm:.2f} mm",
            "on the neutral line: DIN 6935 (READ_VIA), moved by the mean height of the ornament (CALC)",
        )
    else:
        counts, (share, alike) = closing.counts, work.corner
        words = "along the middle line of the ornament, mitre to mitre"
        yield Figure("Sides", f"{counts[0]} and {counts[1]} repeats", words)
        yield Figure(
            "Corners",
            f"saw {share * work.repeat.period_mm:.2f} mm after the joint of a repeat",
            f"where the repeat is most alike its mirror image: {100.0 * alike:.0f} %",
        )
    yield Figure("Repeat changed by", f"{100.0 * closing.change:+.2f} %")
