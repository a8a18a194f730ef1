"""Mending what can be mended without guessing at the shape, and saying what was done.

What the maker calls it: cleaning up the scan.

Steps, in this order; 2 to 5 repeat until 4 and 5 find nothing:

1. weld corners that stand in one place (`weld`);
2. drop faces without area, and faces repeated exactly;
3. turn faces wound against the larger part of their patch;
4. split faces at corners that stand in the middle of their open edges, where two pieces meet edge to edge;
5. drop fins: scraps that stand on the surface along an edge, see `fins`;
6. drop islands: shells under a share of the main shell's diagonal (default a twentieth) that also have under a quarter
   of its faces; the main shell is the one with the largest area, two parts of comparable size both stay;
7. close pin holes: loops of at most 12 edges and of at most a stated size (default three median edges across) that
   are not the rim of their shell; the new faces are marked as conjecture;
8. turn closed shells outwards that look inwards, walls of cavities left alone.

What needs a guess or moves the surface is done only when asked for with `MendOptions`, see `bounded`. Without them
two-sided sheets stay two-sided (say which side was scanned), and edges where the surface branches for good, faces that
cross, slivers, spikes and noise stay as they are; `check` names them.

Convention: no corner moves but by welding, so nothing moves further than the weld tolerance. A second mending finds
nothing to do. Codes of the notes are those of the findings they answer, see `meshflow.mesh.check`.
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import MeshFileError, OptionError
from meshflow.mesh.anatomy import ISLAND_SHARE, PIN_HOLE_EDGES, islands, pin_hole_size, pin_holes
from meshflow.mesh.carry import vertices_used
from meshflow.mesh.fill import filled
from meshflow.mesh.fins import fins
from meshflow.mesh.tjunctions import TJunctions, stitched, t_junctions
from meshflow.mesh.weld import weld
from meshflow.mesh.winding import inside_out_shells
from meshflow.mesh.wording import counted, in_mm
from meshflow.mesh.workpiece import Workpiece
from meshflow.model.mend import MendOptions
from meshflow.model.surface import Evidence, Surface

__all__ = [
    "check_options",
    "close_pin_holes",
    "drop_islands",
    "mend",
    "tidy",
    "turn_alike",
    "turn_outwards",
    "welded_piece",
]

_MOST_ROUNDS = 20  # each round splits a face once and takes one layer of fins; scans need three at most


def mend(
    surface: Surface,
    *,
    weld_tolerance_mm: float | None = None,
    island_share: float = ISLAND_SHARE,
    pin_hole_mm: float | None = None,
    options: MendOptions | None = None,
) -> Surface:
    """Mend what is safe to mend, and what `options` ask for beyond it.

    Parameters
    ----------
    surface : Surface
        The mesh as read.
    weld_tolerance_mm : float, optional
        Largest distance to weld over [mm]; by default 2e-6 of the diagonal, see `weld`.
    island_share : float
        Shells under this share of the main shell's diagonal are dropped, if they have under a quarter of its faces; 0
        keeps all.
    pin_hole_mm : float, optional
        Close holes of at most 12 edges and this size across [mm]; by default three median edges; 0 closes none.
    options : MendOptions, optional
        All of this and more, in place of the three above; `bounded.mend_bounded` returns the report as well.

    Returns
    -------
    Surface
        The mended mesh. Face sets, colours, evidence and origin follow their faces; `notes` has one finding for each
        thing done, with face ids of the result.

    Raises
    ------
    OptionError
        If an option is out of its range.
    MeshFileError
        If no face with an area is left.

    Examples
    --------
    >>> square = Surface([[0, 0, 0], [9, 0, 0], [9, 9, 0], [0, 9, 0]], [[0, 1, 2], [0, 2, 3], [0, 2, 3], [1, 1, 2]])
    >>> mended = mend(square)
    >>> len(mended.faces), [note.text for note in mended.notes]
    (2, ['Dropped 1 repeated face.', 'Dropped 1 face without area.'])
    """
    if options is not None:
        from meshflow.mesh.bounded import mend_bounded

        return mend_bounded(surface, options).surface
    check_options(island_share, pin_hole_mm)
    work = welded_piece(surface, weld_tolerance_mm)
    tidy(work)
    drop_islands(work, island_share)
    close_pin_holes(work, pin_hole_mm)
    turn_outwards(work)
    return work.finished()


def welded_piece(surface: Surface, tolerance_mm: float | None) -> Workpiece:
    """Take a mesh to work on, welded, its strays left out."""
    work = Workpiece(surface, weld(surface, tolerance_mm=tolerance_mm), tolerance_mm)
    _say_what_welding_did(work)
    return work


def tidy(work: Workpiece) -> None:
    """Drop faces that are worth nothing and fins, turn faces alike, stitch seams; until there is nothing left to do."""
    for _ in range(_MOST_ROUNDS):
        _drop_worthless(work)
        turn_alike(work)
        if not (_stitch(work) | _drop_fins(work)):
            break


def check_options(island_share: float, pin_hole_mm: float | None) -> None:
    """Raise OptionError when an option of the safe steps is out of its range."""
    if not 0 <= island_share < 1:
        raise OptionError(f"island_share is {island_share}.", remedy="Give a share from 0 to under 1.")
    if pin_hole_mm is not None and not (np.isfinite(pin_hole_mm) and pin_hole_mm >= 0):
        raise OptionError(f"pin_hole_mm is {pin_hole_mm}.", remedy="Give a length from 0 up, in millimetres.")


def _say_what_welding_did(work: Workpiece) -> None:
    given, welded = work.given, len(work.surface.vertices)
    used = int(vertices_used(given.faces, len(given.vertices)).sum())
    strays = len(given.vertices) - used
    reach = in_mm(work.tolerance)
    work.log("M110", used - welded, lambda n: f"Welded {counted(n, 'corner')} to others within {reach}.")
    work.log("M111", strays, lambda n: f"Left out {counted(n, 'vertex', 'vertices')} that no face used.")


def _drop_worthless(work: Workpiece) -> None:
    flat, repeated = work.body.flat, work.body.copies.duplicate
    work.log("M201", int(flat.sum()), lambda n: f"Dropped {counted(n, 'face')} without area.")
    work.log("M112", int(repeated.sum()), lambda n: f"Dropped {counted(n, 'repeated face')}.")
    work.keep(~(flat | repeated))
    if len(work.surface.faces) == 0:
        raise MeshFileError(
            f"nothing is left: of {counted(len(work.given.faces), 'face')} none has an area.",
            where=work.given.source.file,
            remedy="Export the mesh again.",
        )


def turn_alike(work: Workpiece) -> None:
    """Turn faces wound against the larger part of their patch."""
    turned = work.body.ids[work.body.turned]
    work.turn(turned)
    work.log(
        "M116", len(turned), lambda n: f"Turned {counted(n, 'face')} to agree with the surface round them.", turned
    )


def _stitch(work: Workpiece) -> bool:
    """Split faces at corners on their open edges; say whether there were any."""
    body = work.body
    seams = t_junctions(body.vertices, body.faces, body.table, work.tolerance)
    single = ~body.doubled[seams.half_edge // 3]
    seams = TJunctions(seams.half_edge[single], seams.vertex[single], seams.complete)
    faces, parent = stitched(body.faces, body.table, seams)
    if len(faces) == len(body.faces):
        return False
    parent, added = parent[len(body.ids) :], faces[len(body.ids) :]
    first = np.unique(parent)
    whole = np.array(work.surface.faces)
    whole[body.ids[first]] = faces[first]
    count = len(whole)
    work.become(np.concatenate([whole, added]), np.concatenate([np.arange(count), body.ids[parent]]))
    split = np.concatenate([body.ids[first], count + np.arange(len(added))])
    text = "Split faces at {} in the middle of their open edges."
    work.log("M204", len(added), lambda n: text.format(counted(n, "corner")), split)
    return True


def _drop_fins(work: Workpiece) -> bool:
    """Drop fins; say whether there were any."""
    body = work.body
    fin = fins(body)
    if not fin.any():
        return False
    gone = np.zeros(len(work.surface.faces), dtype=np.bool_)
    gone[body.ids[fin]] = True
    work.log("M114", int(fin.sum()), lambda n: f"Dropped {counted(n, 'face')} of fins standing on the surface.")
    work.keep(~gone)
    return True


def drop_islands(work: Workpiece, share: float, size_mm: float | None = None) -> None:
    """Drop shells under a share of the main shell's diagonal and a quarter of its faces, or under a size."""
    body = work.body
    island = islands(body, share, size_mm)[body.shell]
    count = len(np.unique(body.shell[island]))
    gone = np.zeros(len(work.surface.faces), dtype=np.bool_)
    gone[body.ids[island]] = True
    of_islands = np.zeros(len(work.surface.vertices), dtype=np.bool_)
    of_islands[body.faces[island]] = True
    gone |= body.copies.second_side & of_islands[work.surface.faces].all(axis=1)
    faces = counted(int(gone.sum()), "face")
    size = f"{share:.3g} of the main piece's diagonal" if size_mm is None else f"{in_mm(size_mm)} across"
    work.log("M301", count, lambda n: f"Dropped {counted(n, 'island')} ({faces}) smaller than {size}.")
    work.keep(~gone)


def close_pin_holes(work: Workpiece, size_mm: float | None) -> None:
    """Close loops of a few edges that are no rims."""
    body = work.body
    if len(body.rims.whole) == 0:
        return
    measured = np.asarray(work.surface.evidence)[body.ids] != Evidence.CONJECTURED
    size = pin_hole_size(body, measured) if size_mm is None else size_mm
    loops = pin_holes(body, size, measured)
    before = len(work.surface.faces)
    surface, closed = filled(work.surface, body, loops[body.fillable_loops()[loops]])
    if closed == 0:
        return
    after = len(surface.faces)
    work.take(surface, np.concatenate([np.arange(before), np.full(after - before, -1)]))
    said = f"of at most {PIN_HOLE_EDGES} edges and {in_mm(size)} across with {counted(after - before, 'new face')}"
    work.log("M302", closed, lambda n: f"Closed {counted(n, 'pin hole')} {said}.", np.arange(before, after))


def turn_outwards(work: Workpiece) -> None:
    """Turn closed shells outwards."""
    body = work.body
    inward = inside_out_shells(body.vertices, body.faces, body.shell, body.closed_shells())
    turned = body.ids[np.isin(body.shell, inward)]
    work.turn(turned)
    work.log("M117", len(inward), lambda n: f"Turned {counted(n, 'closed shell')} outwards.", turned)
