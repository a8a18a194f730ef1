"""What a strip tool has to say: findings, figures and record.

Findings
--------
T140 the copies of the repeat agree badly (see `period`); T141 the rules for the edge of a strip
disagree; T142 the edge was widened; T143 camber; T144 the pitch goes astray over the run; T145 a border was made to
close; T146 the sides of a frame do not both come out; T147 little of the strip is used; T148 the faces do not tile;
T149 the border takes more than one strip; T150 the relief lengthens the strip more than the metal bears; T151 the way
in is longer than the pitch; T152 the strip goes through more than once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from meshflow.model.finding import Finding, Severity
from meshflow.model.stock import Material
from meshflow.tooling.feed import Run, error_over
from meshflow.tooling.period import Repeat
from meshflow.tooling.punch_options import Chosen
from meshflow.tooling.strip_border import Closing
from meshflow.tooling.strip_faces import StripFaces
from meshflow.tooling.strip_options import StripOptions
from meshflow.tooling.strip_plan import StripPlan
from meshflow.tooling.strip_stock import Margin, strip_mass_kg, utilisation
from meshflow.tooling.strip_strain import StripStrain

__all__ = ["KINK_DEG", "STEP_MM", "StripWork", "strip_notes", "strip_record"]

STEP_MM: Final = 0.01
KINK_DEG: Final = 0.5
_CAMBER_OVER: Final = 1000.0
_CAMBER_MM: Final = 1.0
_ASTRAY_MM: Final = 0.5
_CHANGED: Final = 0.03
_MISFIT_MM: Final = 0.3


@dataclass(frozen=True, eq=False)
class StripWork:
    """Everything that was worked out for a strip tool."""

    options: StripOptions
    material: Material
    chosen: Chosen
    own_period_mm: float
    repeat: Repeat
    new_repeats: int
    register_repeats: int
    edge: Margin
    faces: StripFaces
    plan: StripPlan
    strain: StripStrain
    run: Run
    step_error_mm: float
    step_error_rule: str
    closing: Closing | None
    corner: tuple[float, float]
    use_limit: float

    @property
    def pitch_mm(self) -> float:
        """Pitch as struck [mm]."""
        return self.new_repeats * self.repeat.period_mm

    @property
    def flat_pitch_mm(self) -> tuple[float, float]:
        """Flat strip taken up by a pitch: metal held, metal drawn in [mm]."""
        return self.pitch_mm, self.pitch_mm * (1.0 + self.strain.lengthening)

    @property
    def edge_mm(self) -> float:
        """Edge on each side of the ornament, as it became [mm]."""
        return 0.5 * (self.plan.strip_width_mm - self.repeat.width_mm)

    @property
    def use(self) -> float:
        """Share of the strip bought that ends up as ornament."""
        made = min(self.run.length_mm, self.run.repeats * self.repeat.period_mm)
        return utilisation(
            made * self.repeat.width_mm, strip_width_mm=self.plan.strip_width_mm, pitch_mm=self.run.strip_length_mm
        )

    @property
    def error_mm(self) -> tuple[float, float]:
        """How far astray the last repeat of the longest strip may be: likely, at worst [mm]."""
        return error_over(max(self.run.blows_each - 1, 0), self.step_error_mm, self.options.register)

    @property
    def mass_kg(self) -> float | None:
        """Mass of the strips [kg]; None where the material has no density."""
        density = self.material.facts.get("density")
        if density is None:
            return None
        return strip_mass_kg(
            self.run.strip_length_mm,
            width_mm=self.plan.strip_width_mm,
            thickness_mm=self.options.thickness_mm,
            density_kg_m3=float(np.mean(density.numbers)),
        )


def strip_notes(work: StripWork, *, courses: int = 1) -> tuple[Finding, ...]:
    """Return the findings, in the order of their codes, for a strip that is struck in so many courses."""
    notes = [
        *_course_notes(work, courses),
        *work.repeat.notes,
        *_width_notes(work),
        *_length_notes(work),
        *_border_notes(work),
        *_face_notes(work),
    ]
    return tuple(sorted(notes, key=lambda note: note.code))


def _course_notes(work: StripWork, courses: int) -> Iterator[Finding]:
    if courses > 1:
        text = (
            f"the strip goes through {courses} times, annealed in between, {courses * work.run.blows} blows in all; "
            "the pair closes on it at the last time alone."
        )
        remedy = "Set the stop of the ram higher for the first times; the register holds its place by the shallow form."
        yield Finding("T152", Severity.WARNING, text, remedy)


def _width_notes(work: StripWork) -> Iterator[Finding]:
    edge = work.edge_mm
    if work.options.edge_mm is None and work.edge.conflict:
        text = f"rules for the edge of a strip disagree: {work.edge.value_mm:.2f} mm by {work.edge.rule} is the widest."
        yield Finding("T141", Severity.NOTE, text, f"The others: {work.edge.conflict}.")
    if work.options.edge_mm is None and edge > work.edge.value_mm + 1e-6:
        pilots = work.options.register == "pilot" and edge > work.faces.room_mm + 1e-6
        why = "pilots have room in it" if pilots else "the strip comes down to it beside the ornament"
        remedy = "Smaller pilots save metal." if pilots else "Let the relief end on its ground to save metal."
        yield Finding("T142", Severity.NOTE, f"the edge was widened to {edge:.2f} mm, so that {why}.", remedy)
    if work.use < work.use_limit:
        text = (
            f"only {100.0 * work.use:.0f} % of the strip ends up as ornament; {100.0 * work.use_limit:.0f} % is usual."
        )
        yield Finding("T147", Severity.NOTE, text, "Longer strips and narrower edges waste less.")


def _length_notes(work: StripWork) -> Iterator[Finding]:
    camber = work.strain.camber_over(_CAMBER_OVER)
    if camber > _CAMBER_MM:
        side = "upper" if work.strain.curvature_per_mm > 0.0 else "lower"
        text = (
            f"the strip may curve in its own plane, towards its {side} edge: radius {work.strain.camber_radius_mm:.0f} "
            f"mm, {camber:.1f} mm over 1 m. This is the most: metal that is held in the tool draws in less."
        )
        yield Finding(
            "T143",
            Severity.WARNING,
            text,
            "Anneal and draw it straight, or balance the relief by a plain bead in the other edge.",
        )
    likely, worst = work.error_mm
    if worst > _ASTRAY_MM:
        text = (
            f"over {work.run.blows_each} blows the pitch may go astray by {likely:.2f} mm, at worst {worst:.1f} mm; "
            "joints stay clean, the length does not."
        )
        yield Finding(
            "T144",
            Severity.NOTE if work.closing is None else Severity.WARNING,
            text,
            "Measure over ten repeats as you go, cut to whole repeats, or pierce pilots in the edge.",
        )
    limit = work.material.limits.stretch
    if work.strain.most > limit:
        text = (
            f"along its highest line the relief is {100.0 * work.strain.most:.0f} % longer than the strip, more than "
            f"the {100.0 * limit:.0f} % that annealed metal bears: it must be drawn in."
        )
        yield Finding(
            "T150",
            Severity.WARNING,
            text,
            "Do not hold the strip back; soften the relief, or strike it in two passes with an anneal between.",
        )


def _border_notes(work: StripWork) -> Iterator[Finding]:
    closing = work.closing
    if closing is not None:
        counts = " and ".join(str(count) for count in closing.counts)
        way = "longer" if closing.change >= 0.0 else "shorter"
        text = (
            f"the repeat was made {100.0 * abs(closing.change):.2f} % {way}, {work.own_period_mm:.3f} to "
            f"{closing.period_mm:.3f} mm, so that {counts} of them close the {closing.kind}."
        )
        exact = " x ".join(f"{size:.2f}" for size in closing.exact_mm)
        severity = Severity.WARNING if abs(closing.change) > _CHANGED else Severity.NOTE
        own = f"Unchanged it would close at {exact} mm." if closing.kind == "ring" else ""
        yield Finding("T145", severity, text, own)
        worst = max(abs(misfit) for misfit in closing.misfit_mm)
        if worst > _MISFIT_MM:
            text = f"one tool does not suit both sides: {worst:.2f} mm are left over, half of it at each corner."
            yield Finding("T146", Severity.WARNING, text, f"A frame of {exact} mm comes out exactly.")
    if work.run.strips > 1:
        joints = work.run.strips - 1
        text = f"the run takes {work.run.strips} strips, so {joints} joint{'' if joints == 1 else 's'} between them."
        yield Finding("T149", Severity.NOTE, text, "Saw both ends in the ground of a repeat and solder them there.")


def _face_notes(work: StripWork) -> Iterator[Finding]:
    joint, lengths = work.faces.joint, work.faces.lengths
    if joint.step_mm > STEP_MM or joint.kink_deg > KINK_DEG:
        text = f"the faces of two blows do not tile: {joint.step_mm:.3f} mm and {joint.kink_deg:.2f} degrees."
        yield Finding("T148", Severity.REFUSE, text, "Report it, with the relief.")
    if lengths.way_in > lengths.new:
        times = 1 + -(-lengths.way_in // lengths.new)
        text = f"the way in is longer than the pitch, so that metal is struck up to {times} times before it is through."
        yield Finding("T151", Severity.NOTE, text, "More repeats from blow to blow, or a shorter way in.")


def strip_record(work: StripWork) -> dict[str, Any]:
    """Return the plain data of ``tool.json``; lengths in mm."""
    run, strain, joint, lengths, pitch = (
        work.run,
        work.strain,
        work.faces.joint,
        work.faces.lengths,
        work.faces.pair.pitch_mm,
    )
    zones = ("way_out", "register", "new", "way_in", "flat")
    closing = work.closing
    return {
        "material": work.material.id,
        "thickness_mm": work.options.thickness_mm,
        "pitch_mm": work.pitch_mm,
        "pitch_flat_mm": list(work.flat_pitch_mm),
        "period_mm": work.repeat.period_mm,
        "period_found_mm": work.own_period_mm,
        "repeats": work.new_repeats + work.register_repeats,
        "repeats_per_blow": work.new_repeats,
        "register_repeats": work.register_repeats,
        "zones_mm": {name: getattr(lengths, name) * pitch for name in zones},
        "blows": run.blows,
        "strips": run.strips,
        "length_mm": run.length_mm,
        "repeats_made": run.repeats,
        "strip_length_mm": run.strip_length_mm,
        "longest_strip_mm": run.each_mm,
        "scrap_mm_per_strip": run.scrap_mm,
        "strip_width_mm": work.plan.strip_width_mm,
        "ornament_width_mm": work.repeat.width_mm,
        "edge_mm": work.edge_mm,
        "edge_rules_mm": dict(work.edge.others),
        "utilisation": work.use,
        "strip_mass_kg": work.mass_kg,
        "lengthening": strain.lengthening,
        "strain_along_max": strain.most,
        "camber_radius_mm": strain.camber_radius_mm,
        "camber_mm_per_m": strain.camber_over(1000.0),
        "register": work.options.register,
        "step_error_mm": work.step_error_mm,
        "pitch_error_mm": list(work.error_mm),
        "face_step_mm": joint.step_mm,
        "face_kink_deg": joint.kink_deg,
        "agreement": work.repeat.agreement,
        "copies": work.repeat.copies,
        "gap_mm": work.chosen.gap_mm,
        "gap_min_mm": work.faces.gap.least_mm,
        "gap_max_mm": work.faces.gap.most_mm,
        "draft_deg": work.chosen.draft_deg,
        "cutter_radius_mm": work.chosen.cutter_radius_mm,
        "block_mm": {
            "length": work.plan.length_mm,
            "width": 2.0 * work.plan.half_width_mm,
            "lands": list(work.plan.land_mm),
        },
        "channel_mm": work.plan.channel_mm,
        "lift_mm": work.plan.lift_mm,
        "closed_height_mm": sum(work.plan.land_mm) + work.chosen.gap_mm,
        # The die's own coordinates to those of the punch, the pair closed on the strip: a half turn about x.
        "die_onto_punch": [
            [1.0, 0.0, 0.0, 0.0],
            [0.0, -1.0, 0.0, 0.0],
            [0.0, 0.0, -1.0, sum(work.plan.land_mm) + work.chosen.gap_mm],
            [0.0, 0.0, 0.0, 1.0],
        ],
        **({} if closing is None else {"closing": _closing_record(work, closing)}),
    }


def _closing_record(work: StripWork, closing: Closing) -> dict[str, Any]:
    share, alike = work.corner
    return {
        "kind": closing.kind,
        "repeats": list(closing.counts),
        "change": closing.change,
        "misfit_mm": list(closing.misfit_mm),
        "exact_mm": list(closing.exact_mm),
        **({"corner_share": share, "corner_alike": alike} if closing.kind == "frame" else {}),
    }
