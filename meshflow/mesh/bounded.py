"""Mending beyond the safe steps: what is asked for, within a bound on how far the surface may move.

What the maker calls it: repairing the scan.

Steps, in this order, each only when asked for but the first and the last:

1. the safe steps up to dropping islands, see `mend`, welding no further than the bound;
2. part the surface where it branches or only touches itself (`split`), and drop islands that come off by it;
3. close pin holes;
4. draw spikes back (`despike`);
5. smooth the grain, keep creases (`denoise`);
6. fill holes with membranes (`membrane`), by size or by number;
7. reduce (`reduce`);
8. turn closed shells outwards.

Convention: the bound holds for everything that was measured and stays so. Dirt that was dropped and faces whose place
is a guess (filled holes, the feet of spikes) do not deviate from anything: they are counted, and marked as conjecture.
Smoothing moves no point further than four times the noise that was found, and uses half the bound when the mesh is
reduced as well. The deviation reported is measured at the end between the original and the result, whatever the steps
believed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from meshflow.errors import OptionError, VerificationError
from meshflow.geometry.topology import submesh
from meshflow.mesh.carry import centred, checked
from meshflow.mesh.denoise import denoised
from meshflow.mesh.despike import despiked
from meshflow.mesh.deviation import deviation, evidence_share
from meshflow.mesh.fill import filled
from meshflow.mesh.holes import loop_widths
from meshflow.mesh.membrane import membrane
from meshflow.mesh.mend import (
    close_pin_holes,
    drop_islands,
    tidy,
    turn_alike,
    turn_outwards,
    welded_piece,
)
from meshflow.mesh.reduce import reduced, require_package
from meshflow.mesh.roughness import roughness
from meshflow.mesh.split import drawn_apart, is_manifold, parted
from meshflow.mesh.weld import weld_tolerance
from meshflow.mesh.wording import counted, in_mm
from meshflow.mesh.workpiece import Workpiece
from meshflow.model.arrays import IntArray
from meshflow.model.mend import Deviation, Mended, MendOptions, MendStep
from meshflow.model.surface import Evidence, Surface

__all__ = ["mend_bounded"]

_MOST_SIGMAS = 4.0  # beyond it, one point in sixteen thousand would be noise
_MOST_WELDING = 0.75  # of the bound; what is parted must be drawn apart within the rest, or reading would weld it again
_QUIET = 0.005  # noise over edge length under which there is no grain to smooth

Progress = Callable[[str, float], None]


@dataclass
class _Course:
    """The work, what was asked for, and the steps so far."""

    work: Workpiece
    options: MendOptions
    steps: list[MendStep]
    asked_faces: list[IntArray]
    left_mm: float  # of the bound

    def run(self, name: str, step: Callable[[], float | None]) -> None:
        """Do one step; it returns how far it moved what is measured."""
        before = self.work.said()
        warned = len(self.work.warnings)
        moved = step() or 0.0
        self.left_mm -= moved
        for key, (count, text) in self.work.said().items():
            done = count - before.get(key, (0, ""))[0]
            if done:
                self.steps.append(MendStep(name, done, text, moved))
        for warning in self.work.warnings[warned:]:
            self.steps.append(MendStep(name, 0, warning.text, undone=warning.code == "M310"))


def mend_bounded(surface: Surface, options: MendOptions, *, progress: Progress | None = None) -> Mended:
    """Mend a mesh as asked for, within a bound on the deviation.

    Parameters
    ----------
    surface : Surface
        The mesh as read.
    options : MendOptions
        What to do, and the bound.
    progress : callable, optional
        Called with the name of the step and the share done.

    Returns
    -------
    Mended
        The mesh, the steps, and the deviation as measured.

    Raises
    ------
    OptionError
        If an option is out of its range, or a loop is asked for that is not there.
    MeshFileError
        If no face with an area is left.
    MissingExtraError
        If the mesh is to be reduced and the package for it is not installed.
    VerificationError
        If the deviation measured at the end is over the bound after all.

    Examples
    --------
    >>> corners = [[0, 0, 0], [9, 0, 0], [9, 9, 0], [0, 9, 0], [4, 4, 5]]
    >>> tent = Surface(corners, [[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    >>> mended = mend_bounded(tent, MendOptions(max_deviation_mm=0.1, fill_holes_mm=20.0))
    >>> mended.closed, mended.deviation.max_mm < 1e-12, round(mended.conjectured_share, 2)
    (True, True, 0.4)
    """
    if options.reduce_mm > 0:
        require_package()  # before minutes of work, not after
    say = progress or (lambda what, share: None)
    say("welding", 0.0)
    course = _begun(checked(surface), options)
    work = course.work
    course.run("tidy", lambda: tidy(work))
    course.run("drop islands", lambda: drop_islands(work, options.island_share, options.island_mm))
    if options.split:
        course.run("split", lambda: _split(course))
    course.run("close pin holes", lambda: close_pin_holes(work, options.pin_hole_mm))
    if options.remove_spikes:
        say("drawing spikes back", 0.2)
        course.run("remove spikes", lambda: _remove_spikes(work))
    if options.denoise:
        say("smoothing the grain", 0.3)
        course.run("denoise", lambda: _denoise(course))
    if options.fill_holes_mm > 0 or options.fill_loops:
        say("filling holes", 0.4)
        course.run("fill holes", lambda: _fill(course))
    reference, dropped = _reference(work)
    course.run("turn outwards", lambda: turn_outwards(work))
    if options.reduce_mm > 0:
        say("reducing", 0.6)
        course.run("reduce", lambda: _reduce(course))
    say("measuring", 0.9)
    return _result(course, reference, dropped)


def _begun(surface: Surface, options: MendOptions) -> _Course:
    tolerance = options.weld_tolerance_mm
    if tolerance is None:
        tolerance = weld_tolerance(centred(surface.vertices, surface.faces)[0], surface.faces)
    tolerance = min(tolerance, _MOST_WELDING * options.max_deviation_mm)
    work = welded_piece(surface, tolerance)
    moved = work.tolerance if any(code == "M110" for code, _ in work.said()) else 0.0
    steps = [
        MendStep("weld", n, text, moved if code == "M110" else 0.0) for (code, _), (n, text) in work.said().items()
    ]
    asked = []
    for loop in options.fill_loops:
        if not 0 <= loop < len(work.body.rims.whole):
            raise OptionError(
                f"there is no open loop {loop}; there are {len(work.body.rims.whole)}, counted from 0.",
                where=surface.source.file,
                remedy="Check the mesh: its list of holes has their numbers.",
            )
        rims = work.body.rims
        asked.append(work.body.ids[rims.half_edge[rims.loop == loop] // 3])
    return _Course(work, options, steps, asked, options.max_deviation_mm - moved)


def _split(course: _Course) -> float:
    work = course.work
    surface, body = work.surface, work.body
    done = parted(body.vertices, surface.faces, body.copies.second_side)
    if len(done.old_vertex) == len(body.vertices):
        return 0.0
    tolerance = min(work.tolerance, course.left_mm / 8.0)
    vertices = drawn_apart(body.vertices, done, tolerance)
    moved = float(np.linalg.norm(vertices - body.vertices[done.old_vertex], axis=1).max())
    middle = surface.vertices[surface.faces[0, 0]] - body.vertices[surface.faces[0, 0]]
    colours = surface.vertex_colours
    work.take(
        replace(
            surface,
            vertices=vertices + middle,
            faces=done.faces,
            vertex_colours=None if colours is None else colours[done.old_vertex],
        ),
        np.arange(len(surface.faces)),
    )
    at = np.flatnonzero(done.touched)
    work.log(
        "M114", done.edges, lambda n: f"Cut the surface along {counted(n, 'edge')} where it branched.", at, kind="cut"
    )
    work.log("M115", done.points, lambda n: f"Parted {counted(n, 'point')} where pieces only touched.", at)
    turn_alike(work)
    drop_islands(work, course.options.island_share, course.options.island_mm)
    return moved


def _remove_spikes(work: Workpiece) -> None:
    body = work.body
    done = despiked(body.vertices, body.faces, body.table)
    if done.left:
        work.warn(
            "M303",
            f"{counted(done.left, 'spike')} stayed: there is no sound place to draw it back to.",
            "Look at it: it may be form; else scan it again.",
        )
    if len(done.moved) == 0:
        return
    tip = np.zeros(len(body.vertices), dtype=np.bool_)
    tip[done.moved] = True
    round_tips = tip[work.surface.faces].any(axis=1)
    # Pieces of one face of the scan count as measured together or not at all: else nothing stands to compare them with.
    at = np.flatnonzero(round_tips | np.isin(work.of_given, np.setdiff1d(work.of_given[round_tips], [-1])))
    evidence = np.array(work.surface.evidence)
    evidence[at] = Evidence.CONJECTURED
    work.move(done.vertices)
    work.take(replace(work.surface, evidence=evidence), np.arange(len(evidence)))
    high = in_mm(done.highest_mm)
    text = f"the farthest by {high}; the {counted(len(at), 'face')} there are conjecture."
    work.log("M303", len(done.moved), lambda n: f"Drew {counted(n, 'spike')} back to the surface, {text}", at)


def _denoise(course: _Course) -> float:
    work, body = course.work, course.work.body
    rough = roughness(body.vertices, body.faces, body.table)
    if rough.ratio < _QUIET:
        return 0.0
    bound = course.left_mm * (0.5 if course.options.reduce_mm > 0 else 1.0)
    # What moves much further than the noise is form. Where noise cannot be told from form the bound alone holds.
    grain = np.inf if rough.failed else _MOST_SIGMAS * rough.sigma_mm
    limit = min(bound, grain)
    done = denoised(body.vertices, body.faces, body.table, limit)
    if done.moved_mm == 0:
        return 0.0
    work.move(done.vertices)
    why = "the bound" if bound <= grain else f"{_MOST_SIGMAS:g} times the noise: more is form"
    held = f"; {counted(done.held, 'point')} held back at {in_mm(limit)}, {why}" if done.held else ""
    text = f"Smoothed the grain: points moved by {in_mm(done.rms_mm)} (rms) and {in_mm(done.moved_mm)} at most{held}."
    work.log("M304", 1, lambda n: text)
    return done.moved_mm


def _fill(course: _Course) -> None:
    work, body, options = course.work, course.work.body, course.options
    width = loop_widths(body)
    asked = width <= options.fill_holes_mm
    for faces in course.asked_faces:
        descends = np.isin(work.of_given[body.ids[body.rims.half_edge // 3]], faces)
        share = np.bincount(body.rims.loop, weights=descends, minlength=len(width))
        if len(share) and share.max() > 0:
            asked[int(np.argmax(share))] = True
    loops = np.flatnonzero(asked)
    good = loops[body.fillable_loops()[loops]]
    before = len(work.surface.faces)
    harmed: list[int] = []
    surface, closed = filled(work.surface, body, good, partial(membrane, harmed=harmed))
    after = len(surface.faces)
    if closed:
        work.take(surface, np.concatenate([np.arange(before), np.full(after - before, -1)]))
        new = f"with {counted(after - before, 'new face')}, the widest {in_mm(float(width[good].max()))} across"
        work.log("M119", closed, lambda n: f"Filled {counted(n, 'hole')} {new}.", np.arange(before, after))
    if harmed:
        work.warn(
            "M203",
            f"The filling of {counted(len(harmed), 'hole')} runs through other faces or is folded over.",
            "Look at it, or leave that hole open: a rim is no hole.",
        )
    if closed < len(loops):
        work.warn(
            "M119",
            f"{counted(len(loops) - closed, 'hole')} asked for could not be filled.",
            "Split the surface where it branches, or take one side of a two-sided sheet.",
        )


def _reduce(course: _Course) -> float:
    work, options = course.work, course.options
    tolerance = min(options.reduce_mm, course.left_mm)
    if tolerance <= 0:
        work.warn("M310", "The mesh was not reduced: smoothing used up the bound.", "Allow a greater deviation.")
        return 0.0
    before = len(work.surface.faces)
    done = reduced(work.surface, tolerance)
    if done.failed:
        work.warn("M310", f"The mesh was not reduced: {done.failed}.", "Allow a greater deviation.")
        return 0.0
    after = len(done.surface.faces)
    work.take(done.surface, np.full(after, -1))
    work.log("M310", 1, lambda n: f"Reduced {before:,} faces to {after:,}, within {in_mm(tolerance)}.")
    return done.deviation.max_mm


def _reference(work: Workpiece) -> tuple[Surface, int]:
    """Return the part of the given surface that is there still, as measured, and how many faces were dropped."""
    given = work.given
    there = np.zeros(len(given.faces), dtype=np.bool_)
    there[work.of_given[work.of_given >= 0]] = True
    dropped = int((~there).sum())
    guessed = (np.asarray(work.surface.evidence) == Evidence.CONJECTURED) & (work.of_given >= 0)
    there[work.of_given[guessed]] = False
    vertices, faces, _ = submesh(given.vertices, given.faces, np.flatnonzero(there))
    return Surface(vertices, faces), dropped


def _result(course: _Course, reference: Surface, dropped: int) -> Mended:
    surface = course.work.finished()
    body = course.work.body
    measured = Deviation()
    if len(reference.faces):
        measured = deviation(reference, surface, measured_only=True)
    if measured.max_mm > course.options.max_deviation_mm * (1.0 + 1e-9):
        raise VerificationError(
            f"the mended surface came out {in_mm(measured.max_mm)} off, past the bound; it was thrown away.",
            where=course.work.given.source.file,
            remedy="Leave a step out or allow more; please report it, a step should have kept to the bound.",
        )
    return Mended(
        surface=surface,
        options=course.options,
        steps=tuple(course.steps),
        deviation=measured,
        dropped_faces=dropped,
        conjectured_share=evidence_share(surface, Evidence.CONJECTURED),
        mirrored_share=evidence_share(surface, Evidence.MIRRORED),
        closed=not bool(body.table.boundary.any()),
        manifold=is_manifold(surface.faces, len(surface.vertices)),
    )
