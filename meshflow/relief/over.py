"""Heights over the flattened base: what the maker calls lifting the relief off.

Terms: the *foot* of a point of the scan is the point of the base under it. The base is laid flat, the feet with it;
between the corners of a face the height runs straight. Where the scan *leans back* (an undercut leaf, a bead that
overhangs) several of its faces have their feet in one place: the highest is kept, for no punch sees the others, and
the place is marked.

Convention: that of `meshflow.model.relief`: heights outward, samples on whole multiples of the pitch of the flat, rows
upward. Inside is what the outline of the pattern encloses, openings left out.

Method: faces are laid on the grid one by one in their order, so that the same input gives the same bytes
(`raster_kernel`). On a scan finer than the grid each sample is the mean of an odd number of finer ones each way, so
that a fine pattern is not mistaken for a coarse one.

Findings: E110 the scan leans back, E111 a pitch widened, E112 feet that lay over each other, E113 places without a
face, E114 a base that does not lie flat.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np

from meshflow.errors import InputError, OptionError
from meshflow.geometry.triangles import face_vectors
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.pattern import LIES_FLAT_STRAIN, FlatPattern
from meshflow.model.relief import Base, Relief
from meshflow.relief.feet import feet_on_flat
from meshflow.relief.grid import MOST_SAMPLES, Frame, filled, frame_of, inside_rings, round_pitch
from meshflow.relief.noise import height_noise

__all__ = ["FINEST_SHARE", "chosen_pitch", "height_over", "outline_rings"]

FINEST_SHARE: Final = 0.7  # of the median edge: a finer grid shows no more, a coarser one loses some
_MOST_AVERAGED: Final = 9  # finer samples each way that one sample is the mean of
_NEXT: Final = 1.35  # more than any step between round figures, so that each time the next one is taken
_LONGEST_GRID: Final = 64_000_000  # samples that no option can ask for: 0.5 GB a grid

Progress = Callable[[str, float], None]


def height_over(
    base: Base,
    pattern: FlatPattern,
    *,
    pitch_mm: float | None = None,
    most_samples: int = MOST_SAMPLES,
    name: str = "",
    progress: Progress | None = None,
) -> Relief:
    """Sample the heights of a scan over its base, laid flat.

    Parameters
    ----------
    base : Base
        The base with its heights, see `meshflow.relief.base.base_of`.
    pattern : FlatPattern
        The region of the base laid flat: the same faces. Feet that lay over each other may have been spread before
        (`feet.spread_feet`); their true places are found again here.
    pitch_mm : float, optional
        Distance between samples [mm]; by default a round figure of at most 0.7 of the median edge, wider where the
        grid would have more than `most_samples` samples.
    most_samples : int
        Greatest number of samples of a pitch that was not asked for.
    name : str
        Name of the ornament; that of the region when left out.
    progress : callable, optional
        Called as ``progress("height", share_done)``.

    Returns
    -------
    Relief
        Heights, what lies inside, where the scan leans back, the noise of the heights on the ground.

    Raises
    ------
    OptionError
        If the pitch is no distance, too coarse to show the piece, or so fine that the grid holds over 64 M samples.
    InputError
        If the pattern is not one of this base, or no face of it has an area on the flat.

    Examples
    --------
    >>> relief = height_over(base, pattern)  # doctest: +SKIP
    >>> relief.pitch_mm, relief.height_range_mm  # doctest: +SKIP
    (0.25, (-0.08, 1.53))
    """
    report = progress or (lambda what, share: None)
    name = name or base.region.name
    if not np.array_equal(pattern.faces, base.region.faces):
        raise InputError("this pattern was not laid flat from this base.", where=name, remedy="Lay this base flat.")
    report("height", 0.0)
    flat, moved = feet_on_flat(base.region.vertices, pattern)
    pitch, edge, widened = chosen_pitch(pattern, pitch_mm, most_samples, where=name)
    frame = frame_of(pattern.vertices, pitch, where=name)
    if frame.rows * frame.columns > _LONGEST_GRID:
        raise OptionError(
            f"a pitch of {pitch:g} mm makes {frame.columns} x {frame.rows} samples.",
            where=name,
            remedy="Take a coarser one.",
        )
    times = _averaged(pitch, edge)
    height, known, owner, layered = _sampled(flat, base, frame, times, report)
    inside, twice = inside_rings(outline_rings(pattern), frame)
    inside &= known.any()
    leaning = inside & (layered | twice | _turned(flat, pattern.faces, owner))
    bare = inside & ~known
    height = np.where(inside, filled(height, known), 0.0)
    report("height", 0.9)
    notes = (
        *base.notes,
        *_said_leaning(leaning, owner, base, frame),
        *_said_widened(widened, most_samples),
        *_said_moved(int(moved.sum())),
        *_said_bare(int(bare.sum()), frame),
        *_said_strained(pattern),
    )
    return Relief(
        name=name,
        height=height,
        inside=inside,
        pitch_mm=pitch,
        origin_mm=(frame.x0, frame.y0),
        noise_mm=height_noise(base),
        outline=outline_rings(pattern),
        overhang=leaning if leaning.any() else None,
        source=base.region.surface.source.file,
        notes=notes,
    )


def chosen_pitch(
    pattern: FlatPattern, asked: float | None, most_samples: int = MOST_SAMPLES, *, where: str = ""
) -> tuple[float, float, float]:
    """Return the pitch, the median edge on the flat, and the pitch before it was widened (0 where it was not) [mm].

    Raises
    ------
    OptionError
        If the pitch asked for is no distance, or `most_samples` is not positive.
    """
    if asked is not None and not (math.isfinite(asked) and asked > 0):
        raise OptionError(f"a pitch of {asked} mm is no distance.", where=where, remedy="Ask for 0.25 or so.")
    if most_samples < 1:
        raise OptionError(f"{most_samples} samples at most?", where=where, remedy="Ask for some millions.")
    edge = _median_edge(pattern.vertices, pattern.faces)
    if not edge > 0:
        raise InputError("no face of the pattern has an area.", where=where, remedy="Pick a larger region.")
    if asked is not None:
        return asked, edge, 0.0
    pitch = wanted = round_pitch(FINEST_SHARE * edge)
    wide, high = np.ptp(pattern.vertices, axis=0).tolist()
    while (wide / pitch + 4.0) * (high / pitch + 4.0) > most_samples:
        pitch = round_pitch(pitch * _NEXT)
    return pitch, edge, wanted if pitch > wanted else 0.0


def outline_rings(pattern: FlatPattern) -> tuple[FloatArray, ...]:
    """Return the rim of a pattern, counter-clockwise, then its openings, clockwise [mm]."""
    rings = []
    for number in sorted({edge.loop for edge in pattern.edges}):
        edges = [edge for edge in pattern.edges if edge.loop == number]
        runs = [edge.vertices if edge.closed else edge.vertices[:-1] for edge in edges]
        rings.append(pattern.vertices[np.concatenate(runs)])
    return tuple(rings)


def _median_edge(flat: FloatArray, faces: IntArray) -> float:
    corner = flat[faces]
    return float(np.median(np.linalg.norm(np.roll(corner, -1, axis=1) - corner, axis=2))) if len(faces) else 0.0


def _averaged(pitch: float, edge: float) -> int:
    """Return how many finer samples each way one sample is the mean of: odd, so that their middle is the sample."""
    need = math.ceil(pitch / edge - 0.5)
    return min(_MOST_AVERAGED, max(1, need + (need + 1) % 2))


def _sampled(
    flat: FloatArray, base: Base, frame: Frame, times: int, report: Progress
) -> tuple[FloatArray, BoolArray, IntArray, BoolArray]:
    """Return heights, where there are any, the face of each sample, and where faces lie over each other."""
    from meshflow.relief.raster_kernel import rasterise

    faces, steps = base.region.faces, (np.arange(times) - (times - 1) // 2) / times * frame.pitch
    total, count = np.zeros(frame.shape), np.zeros(frame.shape)
    owner, layered = np.full(frame.shape, -1, dtype=np.int64), np.zeros(frame.shape, dtype=np.bool_)
    for number, (dy, dx) in enumerate((dy, dx) for dy in steps for dx in steps):
        top = np.full(frame.shape, -np.inf)
        own = np.full(frame.shape, -1, dtype=np.int64)
        layers = np.zeros(frame.shape, dtype=np.int64)
        rasterise(flat, faces, base.height, frame.x0 + dx, frame.y0 + dy, frame.pitch, top, own, layers)
        seen = own >= 0
        total[seen] += top[seen]
        count += seen
        layered |= layers > 1
        if dx == 0.0 and dy == 0.0:
            owner = own
        report("height", 0.1 + 0.75 * (number + 1) / times**2)
    known = count > 0
    return np.where(known, total / np.maximum(count, 1.0), 0.0), known, owner, layered


def _turned(flat: FloatArray, faces: IntArray, owner: IntArray) -> BoolArray:
    """Return which samples lie on a face that shows the base its outer side."""
    corner = flat[faces]
    u, v = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    back = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0] < 0.0
    return np.asarray((owner >= 0) & back[owner])


def _said_leaning(leaning: BoolArray, owner: IntArray, base: Base, frame: Frame) -> tuple[Finding, ...]:
    if not leaning.any():
        return ()
    faces = base.region.face_parent[np.unique(owner[leaning & (owner >= 0)])]
    area = float(leaning.sum() * frame.pitch**2)
    return (
        Finding(
            "E110",
            Severity.WARNING,
            f"the scan leans back or lies above itself over {area:.3g} mm2: the highest place is kept, as a tool "
            "sees it from above.",
            "A punch cannot form what leans back; cut it away, or make it as a part of its own.",
            count=len(faces),
            faces=tuple(faces.tolist()),
            at_mm=_middle_of(base, owner[leaning & (owner >= 0)]),
        ),
    )


def _middle_of(base: Base, faces: IntArray) -> tuple[float, float, float] | None:
    """Return a place on the base under the largest of these faces [mm]."""
    if len(faces) == 0:
        return None
    size = np.linalg.norm(face_vectors(base.region.vertices, base.region.faces[faces]), axis=1)
    x, y, z = base.region.vertices[base.region.faces[faces[int(np.argmax(size))]]].mean(axis=0).tolist()
    return round(x, 3), round(y, 3), round(z, 3)


def _said_widened(wanted: float, most: int) -> tuple[Finding, ...]:
    if wanted == 0.0:
        return ()
    return (
        Finding(
            "E111",
            Severity.NOTE,
            f"the scan would bear a pitch of {wanted:g} mm; it was widened so that the grid has no more than "
            f"{most / 1e6:.3g} million samples.",
            "Say a pitch to have it finer, or pick a smaller region.",
        ),
    )


def _said_moved(count: int) -> tuple[Finding, ...]:
    if count == 0:
        return ()
    return (
        Finding(
            "E112",
            Severity.NOTE,
            f"the feet of {count} points lay over each other; they were spread to lay the base flat, and their "
            "heights stand where they belong.",
            count=count,
        ),
    )


def _said_bare(count: int, frame: Frame) -> tuple[Finding, ...]:
    # A rim that two roundings see differently is no gap: only what is more than a few samples is said.
    if count <= 4:
        return ()
    return (
        Finding(
            "E113",
            Severity.WARNING,
            f"{count * frame.pitch**2:.3g} mm2 inside the outline have no face over them; the nearest height was "
            "taken there.",
            "Fill the holes of the scan with `meshflow mend`.",
            count=count,
        ),
    )


def _said_strained(pattern: FlatPattern) -> tuple[Finding, ...]:
    strain = pattern.distortion.strain_percentile(0.99)
    if strain <= LIES_FLAT_STRAIN:
        return ()
    return (
        Finding(
            "E114",
            Severity.NOTE,
            f"the base does not lie flat without strain: lengths on the flat differ from those on the piece by up to "
            f"{100 * strain:.2g} % (p99).",
            "Measure lengths on the piece; for a tool of the true form use a former.",
        ),
    )
