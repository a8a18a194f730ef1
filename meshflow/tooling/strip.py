"""A short punch and die through which a long strip is fed by hand, so that ornament comes out without a visible joint.

What the maker calls it: the step tool, or border tool. The face holds whole repeats; the last repeat that was struck
drops into the die again and places the strip; the next is struck; at both ends the face fades out, so that no blow
leaves an edge. The strip is struck with its seen face down.

Terms, zones and conventions: `blend`; the repeat: `period`; what comes out: `feed`; borders that close: `strip_border`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

from meshflow.errors import OptionError, VerificationError
from meshflow.model.relief import Relief
from meshflow.model.stock import Fact, Machine
from meshflow.model.tool import Tool
from meshflow.stock import Stock
from meshflow.tooling.blend import Lengths, way_in_mm, zones
from meshflow.tooling.cautions import caution_for
from meshflow.tooling.faces import FINE_ENOUGH
from meshflow.tooling.feed import Run, plan_run
from meshflow.tooling.period import Repeat, one_period
from meshflow.tooling.punch_options import Chosen
from meshflow.tooling.strike import StrikeOptions
from meshflow.tooling.strip_border import Closing, frame_closing, mirror_line, neutral_radius, ring_closing
from meshflow.tooling.strip_drawings import plan_drawing, section_drawing, strip_drawing
from meshflow.tooling.strip_faces import StripFaces, rim_height_mm, strip_faces
from meshflow.tooling.strip_notes import KINK_DEG, STEP_MM, StripWork, strip_notes, strip_record
from meshflow.tooling.strip_options import StripOptions, pair_choices, step_error
from meshflow.tooling.strip_plan import least_length_mm, pilot_holes, plan_strip, strip_solids
from meshflow.tooling.strip_sheet import strip_sheet
from meshflow.tooling.strip_stock import pilot_edge_mm, strip_edge
from meshflow.tooling.strip_strain import strip_strain
from meshflow.tooling.strip_strike import strike_of_blow, strike_record

__all__ = ["strip_tool", "strip_work"]

Report = Callable[[str, float], None]

_LEAST_REGISTER_MM: Final = 10.0
_MOST_SAMPLES: Final = 3_000_000  # of one face
_MITRE: Final = 4  # a frame has as many corners; each takes a strip's width of ornament more
_HAND: Final = (
    "Fed by hand: fingers stay outside the guides, the tail of the strip is held with tongs or pushed with a stick, "
    "and the ram is tripped by one person only, with both hands or a guarded pedal. Your local codes and licensed "
    "practice come first."
)


def strip_tool(
    relief: Relief,
    options: StripOptions,
    *,
    stock: Stock,
    material: str = "copper",
    temper: str = "",
    press: Machine | None = None,
    strike: StrikeOptions | None = None,
    name: str = "strip",
    progress: Report | None = None,
) -> Tool:
    """Return the step-fed tool for a running ornament.

    Parameters
    ----------
    relief : Relief
        The strip, running along x; two repeats or more, or one whose ends meet.
    options : StripOptions
        Thickness, length or border, and whatever shall not be chosen for you.
    stock : Stock
        Where rules and what was not said come from.
    material : str
        Id or family of the strip's metal.
    temper : str
        State in which the strip is bought; the softest of the table when empty.
    press : Machine, optional
        The shop's press.
    strike : StrikeOptions, optional
        Detail and drive.
    name : str
        Name of the tool.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    Tool
        Solids ``punch``, ``die`` and ``guide`` (two needed); drawings ``plan``, ``section`` and ``strip``; findings
        T140 to T152, and those of one blow, T120 to T134.

    Raises
    ------
    InputError
        If the relief has no repeat, or less than one of it is seen.
    OptionError
        If an option makes no sense with it.
    StockError
        If the stock has no such material.
    VerificationError
        If the faces of two blows would not tile.

    Examples
    --------
    >>> import numpy as np
    >>> from meshflow.stock import load_stock
    >>> x, y = np.meshgrid(np.arange(0, 40, 0.1), np.arange(-4, 4.01, 0.1))
    >>> wave = 0.4 * (1 - np.cos(2 * np.pi * x / 12.0)) * np.cos(np.pi * y / 8.0) ** 2
    >>> relief = Relief("wave", wave, np.ones(wave.shape, bool), 0.1)
    >>> tool = strip_tool(relief, StripOptions(thickness_mm=0.5, length_mm=1000.0), stock=load_stock())
    >>> round(tool.record["pitch_mm"], 2), tool.record["blows"]
    (12.0, 83)
    """
    report = progress or (lambda what, share: None)
    work = strip_work(relief, options, stock=stock, material=material, progress=lambda w, s: report(w, 0.7 * s))
    joint = work.faces.joint
    if joint.step_mm > STEP_MM or joint.kink_deg > KINK_DEG:
        raise VerificationError(
            f"the faces of two blows would not tile: {joint.step_mm:.3f} mm and {joint.kink_deg:.2f} degrees.",
            where=relief.name,
            remedy="Report it, with the relief.",
        )
    report("working out one blow", 0.7)
    plan = strike_of_blow(work, stock=stock, press=press, temper=temper, options=strike)
    report("closing the solids", 0.75)
    solids = strip_solids(work.faces, work.plan)
    report("drawing", 0.9)
    pilots = pilot_holes(work.faces, work.plan, options.pilot_mm if options.register == "pilot" else 0.0)
    drawings = (
        plan_drawing(work.faces, work.plan, pilots=pilots),
        section_drawing(work.faces, work.plan),
        strip_drawing(
            work.faces, work.plan, work.run, ornament_mm=work.repeat.width_mm, pitch_mm=work.pitch_mm, pilots=pilots
        ),
    )
    return Tool(
        name=name,
        kind="strip",
        solids=solids,
        drawings=drawings,
        record={**strike_record(plan), **strip_record(work)},
        sheet=(*strip_sheet(work), *plan.sheet),
        notes=(*plan.notes, *strip_notes(work, courses=plan.courses)),
        cautions=tuple(dict.fromkeys((_HAND, *plan.cautions, *caution_for("milling", stock=stock)))),
        strike=plan,
    )


def strip_work(
    relief: Relief, options: StripOptions, *, stock: Stock, material: str, progress: Report | None = None
) -> StripWork:
    """Return everything worked out for a strip tool but its solids and drawings; as `strip_tool`."""
    report = progress or (lambda what, share: None)
    metal, use = stock.material(material), pair_choices(options, stock)
    press, punch = stock.process("press_forming").facts, stock.process("punch_press").facts
    report("finding the repeat", 0.0)
    fine = _fine_enough(relief, use.gap_mm)
    own = one_period(relief, period_mm=options.period_mm, finest_mm=fine)
    edge = strip_edge(stock, thickness_mm=options.thickness_mm, length_mm=own.period_mm, width_mm=own.width_mm)
    edge_mm = _edge(options, edge.value_mm, stock, relief.name)
    closing = _closing(own, options, edge_mm, relief.name)
    repeat = own
    if closing is not None:
        stretch = closing.period_mm / own.period_mm
        repeat = one_period(relief, period_mm=own.period_mm, stretch=stretch, finest_mm=fine)
    new, register = _counts(repeat, options, press)
    lengths = _lengths(repeat, options, use, new, register)
    # Asked before the long work, too: a length that is too short should not cost the time of the faces.
    _run(repeat, lengths, options, closing, 0.0, new, register, repeat.width_mm + 2.0 * edge_mm)
    faces = _faces(repeat, lengths, options, use, edge_mm, relief.name, report)
    plan = plan_strip(faces, use, thickness_mm=options.thickness_mm, guide_clearance_mm=options.guide_clearance_mm)
    strain = strip_strain(repeat.height, pitch=repeat.pitch_mm, strip_width_mm=plan.strip_width_mm)
    error, rule = step_error(options, stock)
    return StripWork(
        options=options,
        material=metal,
        chosen=use,
        own_period_mm=own.period_mm,
        repeat=repeat,
        new_repeats=new,
        register_repeats=register,
        edge=edge,
        faces=faces,
        plan=plan,
        strain=strain,
        run=_run(repeat, lengths, options, closing, strain.lengthening, new, register, plan.strip_width_mm),
        step_error_mm=error,
        step_error_rule=rule,
        closing=closing,
        corner=mirror_line(repeat.height),
        use_limit=0.01 * punch["strip_use"].span[0],
    )


def _fine_enough(relief: Relief, gap_mm: float) -> float:
    """Return the pitch at which the offset follows steep walls, or the finest for which there is room [mm]."""
    rows, columns = relief.shape
    area = rows * columns * relief.pitch_mm**2
    return max(0.999 * gap_mm / FINE_ENOUGH, math.sqrt(area / _MOST_SAMPLES))


def _edge(options: StripOptions, by_rule: float, stock: Stock, name: str) -> float:
    """Return the edge to leave on each side; OptionError where pilots shall go into one that is too narrow."""
    if options.register != "pilot":
        return by_rule if options.edge_mm is None else options.edge_mm
    need = pilot_edge_mm(stock, thickness_mm=options.thickness_mm, pilot_mm=options.pilot_mm)
    if options.edge_mm is not None and options.edge_mm < need:
        raise OptionError(
            f"an edge of {options.edge_mm:g} mm is too narrow for pilots of {options.pilot_mm:g} mm.",
            where=name,
            remedy=f"Give {need:.2f} mm or more, or smaller pilots.",
        )
    return max(by_rule, need) if options.edge_mm is None else options.edge_mm


def _closing(own: Repeat, options: StripOptions, edge_mm: float, name: str) -> Closing | None:
    try:
        if options.ring_mm is not None:
            share = own.width_mm / (own.width_mm + 2.0 * edge_mm)
            neutral = neutral_radius(
                options.ring_mm,
                thickness_mm=options.thickness_mm,
                mean_height_mm=float(own.height.mean()) * share,
                side=options.ring_side,
                neutral_factor=options.neutral_factor,
            )
            return ring_closing(own.period_mm, diameter_mm=options.ring_mm, neutral_radius_mm=neutral)
        if options.frame_mm is not None:
            width, height = options.frame_mm
            return frame_closing(own.period_mm, width_mm=width, height_mm=height, ornament_mm=own.width_mm)
    except OptionError as error:
        raise error.located(name) from error
    return None


def _counts(repeat: Repeat, options: StripOptions, facts: Mapping[str, Fact]) -> tuple[int, int]:
    """Return repeats from blow to blow, and struck ones that place the strip."""
    usual = max(1, math.floor(facts["strip_step"].span[0] / repeat.period_mm + 1e-6))
    register = max(1, math.ceil(_LEAST_REGISTER_MM / repeat.period_mm - 1e-6))
    return options.repeats_per_blow or usual, options.register_repeats or register


def _lengths(repeat: Repeat, options: StripOptions, use: Chosen, new: int, register: int) -> Lengths:
    high = float(abs(repeat.height).max())
    usual = way_in_mm(options.thickness_mm, high)
    return zones(
        repeat,
        new_repeats=new,
        register_repeats=register,
        way_in=usual if options.way_in_mm is None else options.way_in_mm,
        way_out=2.0 * options.thickness_mm if options.way_out_mm is None else options.way_out_mm,
        least_length=least_length_mm(use),
    )


def _faces(
    repeat: Repeat, lengths: Lengths, options: StripOptions, use: Chosen, edge_mm: float, name: str, report: Report
) -> StripFaces:
    high = rim_height_mm(repeat)
    usual = max(3.0 * options.thickness_mm, 2.0 * high) if high > 0.0 else 0.0
    return strip_faces(
        repeat,
        lengths,
        name=name,
        thickness_mm=options.thickness_mm,
        chosen=use,
        nominal=options.nominal,
        side_blend_mm=usual if options.side_blend_mm is None else options.side_blend_mm,
        edge_mm=edge_mm,
        firm=options.edge_mm is not None,
        progress=lambda what, share: report(what, 0.1 + 0.8 * share),
    )


def _run(
    repeat: Repeat, lengths: Lengths, options: StripOptions, closing: Closing | None, lengthening: float,
    new: int, register: int, strip_width_mm: float,
) -> Run:  # fmt: skip
    wanted = options.length_mm
    if closing is not None:
        mitres = _MITRE * strip_width_mm if closing.kind == "frame" else 0.0
        wanted = closing.length_mm + mitres
    return plan_run(
        wanted or 0.0,
        period_mm=repeat.period_mm,
        new_repeats=new,
        register_repeats=register,
        ends_mm=(lengths.way_out + lengths.way_in) * repeat.pitch_mm,
        hold_mm=options.hold_mm,
        lengthening=lengthening,
        stock_length_mm=options.stock_length_mm,
    )
