"""From panels of the stand-in to panels of the scan: seams drawn smooth, strains measured where they count.

Method: see `panels`. The cover is drawn on the scan with smooth seams and each panel is laid flat there, roughly until
the last. A panel that
strains too much is built anew from its cells with less room, and the cover drawn again; what still breaks the limit is
parted on the scan itself. Then panels that fit together after all are joined.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from meshflow.errors import TopologyError
from meshflow.geometry.topology import submesh
from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.regions.panels_cells import sheet_of
from meshflow.regions.panels_coarse import nearest_labels
from meshflow.regions.panels_cover import Panels, numbered
from meshflow.regions.panels_estimate import Estimate
from meshflow.regions.panels_mosaic import Mosaic, Panel
from meshflow.regions.panels_part import parted
from meshflow.regions.panels_polish import polished
from meshflow.regions.panels_seams import CutPanels, smooth_seams, whole_panels
from meshflow.regions.panels_search import ROOM, Found, StrainOf, few_within

__all__ = ["Scan"]

LESS_ROOM = 0.8
_REBUILDS = 4
_ROUNDS = 4  # of parting what still strains too much
_LITTLE_ROOM = 0.95  # of the limit, for panels whose seams are smooth already but may be polished
_POLISHED_ROOM = 0.985  # of the limit, for a rough strain: the exact one is to keep it, or the panel is parted again
_FEW = 30  # panels that are tried once more in earnest, whether two of them can be one
_MANY_OVER = 0.5  # of the panels: then all are built anew, with less room
_FAR_OVER = 1.6  # times the limit
_MUCH_LESS_ROOM, _LEAST_ROOM = 0.75, 0.55
_MAY_FIT = 1.2  # times the limit: a rough strain below may be within the limit when measured in earnest
_SMOOTHING = (0.25, 0.15, 0.08)  # of the side of a square as large as the mean panel


@dataclass(frozen=True, eq=False)
class _Drawn:
    """A cover on the scan, and how far the colours ran [mm]."""

    cut: CutPanels
    strain: FloatArray
    length: float

    def over(self, limit: float) -> IntArray:
        """Return the labels of the panels that strain more than a limit."""
        return np.unique(self.cut.label)[self.strain > limit]


class Scan:
    """The surface that is covered, and the strains measured on it so far.

    Parameters
    ----------
    vertices, faces
        The surface.
    strain_of, rough_of : callable
        See `panels`.
    report : callable
        Called as ``report(what, share_done)``.
    limit : float
        Greatest strain of a panel; none when left out.
    """

    def __init__(
        self,
        vertices: FloatArray,
        faces: IntArray,
        strain_of: StrainOf,
        rough_of: StrainOf,
        report: Callable[[str, float], None],
        *,
        limit: float = np.inf,
    ) -> None:
        self.vertices, self.faces, self.limit = vertices, faces, limit
        self._strain_of, self._rough_of, self._report = strain_of, rough_of, report
        self._known: dict[bytes, float] = {}
        self._roughly: dict[bytes, float] = {}

    def within(self, found: Found) -> Panels:
        """Return panels of the scan that keep within the limit."""
        limit, room = self.limit, ROOM
        drawn = self._best_drawn(found)
        while self._many_over(drawn) and not self._far_over(drawn) and room > _LEAST_ROOM:
            room *= _MUCH_LESS_ROOM
            found = few_within(found.mosaic, room * limit)
            drawn = self._best_drawn(found)
        rooms = dict.fromkeys(found.panels, room)
        for _ in range(_REBUILDS):
            over = [found.panels[index] for index in drawn.over(limit).tolist()]
            over = sorted({image for panel in over if len(panel) > 1 for image in found.mosaic.all_images(panel)})
            if not over or self._many_over(drawn):
                break
            found = _built_anew(found, over, rooms, limit)
            drawn = self._drawn(found, drawn.length / self._side(found))
        if len(drawn.over(limit)):
            drawn = self._parted(drawn, limit)
            drawn = self._rejoined(drawn, _LITTLE_ROOM * limit, None)
            drawn = self._polished(drawn, _POLISHED_ROOM * limit)
            drawn = self._rejoined(drawn, limit, None)
            if len(drawn.strain) <= _FEW:
                drawn = self._rejoined(drawn, limit, None, self._exact)
        else:
            drawn = self._rejoined(drawn, limit, found)
            # Seams drawn one by one would no longer be mirror images.
            drawn = self._polished(drawn, _POLISHED_ROOM * limit) if found.mosaic.images == 1 else drawn
        return self._settled(drawn, limit)

    def _many_over(self, drawn: _Drawn) -> bool:
        return len(drawn.over(self.limit)) > _MANY_OVER * len(drawn.strain)

    def _far_over(self, drawn: _Drawn) -> bool:
        """Whether most panels over the limit are far over: then the stand-in tells too little."""
        return float(np.median(drawn.strain[drawn.strain > self.limit])) > _FAR_OVER * self.limit

    def _best_drawn(self, found: Found) -> _Drawn:
        """Return the cover drawn so that the fewest panels break the limit, the smoothest of those."""
        return min((self._drawn(found, share) for share in _SMOOTHING), key=lambda one: len(one.over(self.limit)))

    def _settled(self, drawn: _Drawn, limit: float) -> Panels:
        """Measure every panel in earnest; part what breaks the limit then, and join it again as far as it goes."""
        strain = self._strains(drawn.cut, self._exact)
        for _ in range(_ROUNDS):
            if strain.max() <= limit:
                break
            drawn = self._rejoined(self._parted(replace(drawn, strain=strain), limit), limit, None, self._exact)
            strain = self._strains(drawn.cut, self._exact)
        return numbered(drawn.cut, strain, drawn.length, len(self._known))

    def smoothest(self, found: Found) -> Panels:
        """Return panels with the smoothest seams that strain them hardly more than ragged ones do."""
        drawn = [self._drawn(found, share) for share in (*_SMOOTHING, 0.0)]
        allowed = min(float(one.strain.max()) for one in drawn) / ROOM
        if not np.isfinite(allowed):
            raise TopologyError(
                f"{len(found.panels)} panels of this surface can not all be laid flat.", remedy="Ask for more panels."
            )
        best = next(one for one in drawn if one.strain.max() <= allowed)
        return numbered(best.cut, self._strains(best.cut, self._exact), best.length, len(self._known))

    def _side(self, found: Found) -> float:
        return float(np.sqrt(found.mosaic.areas.sum() / len(found.panels)))

    def _drawn(self, found: Found, share: float) -> _Drawn:
        """Cut the scan along the seams, wiggles shorter than a share of a mean panel's side taken out."""
        sheet, label = found.mosaic.sheet, found.label
        if sheet.faces is not self.faces:
            label = nearest_labels(self.vertices, self.faces, sheet.vertices, sheet.faces, label)
        length = share * self._side(found) if len(found.panels) > 1 else 0.0
        self._report("drawing seams", 0.6)
        if length:
            cut = smooth_seams(self.vertices, self.faces, label, length)
        else:
            cut = whole_panels(CutPanels(self.vertices, self.faces, label, np.arange(len(label))))
        return _Drawn(cut, self._strains(cut, self._rough), length)

    def _strains(self, cut: CutPanels, strain: Callable[[CutPanels, IntArray], float]) -> FloatArray:
        """Return the strain of each panel of a cut surface, in the order of their labels."""
        return np.array([strain(cut, np.flatnonzero(cut.label == panel)) for panel in np.unique(cut.label)])

    def _exact(self, cut: CutPanels, ids: IntArray) -> float:
        return self._asked(self._known, self._strain_of, *submesh(cut.vertices, cut.faces, ids)[:2])

    def _rough(self, cut: CutPanels, ids: IntArray) -> float:
        """Return the rough strain of some faces; the exact one if known, or if near the limit."""
        return self._rough_arrays(*submesh(cut.vertices, cut.faces, ids)[:2])

    def _roughly_alone(self, cut: CutPanels, ids: IntArray) -> float:
        """Return the rough strain of some faces, however near the limit: a wavy seam is not worth the exact one."""
        return self._asked(self._roughly, self._rough_of, *submesh(cut.vertices, cut.faces, ids)[:2])

    def _rough_arrays(self, vertices: FloatArray, faces: IntArray) -> float:
        rough = self._known.get(_key(vertices, faces), -1.0)
        if rough >= 0:
            return rough
        rough = self._asked(self._roughly, self._rough_of, vertices, faces)
        if self.limit < rough <= _MAY_FIT * self.limit:
            return self._asked(self._known, self._strain_of, vertices, faces)
        return rough

    def _asked(self, known: dict[bytes, float], strain_of: StrainOf, vertices: FloatArray, faces: IntArray) -> float:
        key = _key(vertices, faces)
        if key not in known:
            self._report("laying panels flat", 0.7)
            known[key] = strain_of(vertices, faces)
        return known[key]

    def _parted(self, drawn: _Drawn, limit: float) -> _Drawn:
        """Part the panels over the limit on the cut surface itself until none is; the others keep their seams."""
        for _ in range(_ROUNDS):  # a seam that runs out to a panel's rim divides faces beyond, and tells on it
            over = drawn.over(limit).tolist()
            if not over:
                break
            cut, length = parted(drawn.cut, over, limit, self._rough_arrays)
            drawn = _Drawn(cut, self._strains(cut, self._rough), min(length, drawn.length or np.inf))
        return drawn

    def _rejoined(
        self,
        drawn: _Drawn,
        limit: float,
        found: Found | None,
        measure: Callable[[CutPanels, IntArray], float] | None = None,
    ) -> _Drawn:
        """Join panels of the cut surface that fit together within the limit after all, images at the same time."""
        cut, measure = drawn.cut, measure or self._rough
        sheet, labels = sheet_of(cut.vertices, cut.faces), np.unique(cut.label)
        if len(labels) == 1:
            return drawn
        panels = [np.flatnonzero(cut.label == panel) for panel in labels]
        images = _images_of(found) if found is not None and len(labels) == len(found.panels) else None
        mosaic = Mosaic(sheet, panels, lambda ids: measure(cut, ids), Estimate(sheet), images=images, exact=False)
        joined = mosaic.joined(mosaic.single, limit)
        label = np.empty_like(cut.label)
        for index, panel in enumerate(joined):
            label[mosaic.faces(panel)] = index
        after = replace(cut, label=label)
        return _Drawn(after, self._strains(after, self._rough), drawn.length)

    def _polished(self, drawn: _Drawn, limit: float) -> _Drawn:
        """Draw wavy seams smooth as far as the limit allows."""
        side = float(np.sqrt(face_areas(drawn.cut.vertices, drawn.cut.faces).sum() / len(drawn.strain)))

        strain_before = dict(zip(np.unique(drawn.cut.label).tolist(), drawn.strain.tolist(), strict=True))

        def within(cut: CutPanels, panels: tuple[int, int]) -> bool:
            # What strains most breaks the limit first.
            order = sorted(panels, key=lambda panel: -strain_before[panel])
            return all(self._roughly_alone(cut, np.flatnonzero(cut.label == panel)) <= limit for panel in order)

        cut = polished(drawn.cut, side, within)
        return replace(drawn, cut=cut, strain=self._strains(cut, self._rough))


def _key(vertices: FloatArray, faces: IntArray) -> bytes:
    return hashlib.sha256(vertices.tobytes() + faces.tobytes()).digest()


def _built_anew(found: Found, over: list[Panel], room: dict[Panel, float], limit: float) -> Found:
    """Join the cells of some panels anew, up to a smaller share of the limit than before; `room` is kept up to date."""
    mosaic = found.mosaic
    kept = [panel for panel in found.panels if panel not in over]
    for panel in over:
        if panel == mosaic.first_image(panel):
            images = mosaic.all_images(panel)
            less = LESS_ROOM * room[panel]
            cells: list[Panel] = sorted((cell,) for image in images for cell in image)
            parts = mosaic.joined(cells, less * limit)
            room.update(dict.fromkeys(parts, less))
            kept += parts
    return Found(mosaic, sorted(kept))


def _images_of(found: Found) -> IntArray:
    """Return which panel is image g of each panel, shape (k, p)."""
    mosaic = found.mosaic
    index = {panel: number for number, panel in enumerate(found.panels)}
    return np.array([[index[mosaic.image(panel, g)] for panel in found.panels] for g in range(mosaic.images)])
