"""Joining cells to panels while they still lie flat within the limit, and doing without the panels that can be spared.

Terms: a *panel* is a connected set of cells; its *strain* is what the caller's own flattening says; the *seam* between
two panels is the length of the edges they share; the *images* of a cell are its mirror images in the planes of
symmetry of the surface.

Method: region merging from the bottom up. The pair of neighbours is joined whose joint strain leaves most of the limit
and whose common seam is long for their size, until no pair is left that keeps within the limit. Then panels are
dissolved: the cells of the smallest are given to its neighbours one by one, each to the one that bears it best. What
is done to a panel is done to its images at once, so the cover is as symmetric as its cells are. The order of things
goes by a cheap estimate; every judgement is by the flattening itself, where the literature judges by the distance of
the normals from those of a cone (D. Julius, V. Kraevoy, A. Sheffer, "D-Charts: quasi-developable mesh segmentation",
Computer Graphics Forum 24:3, 2005): a cone is not the only shape that lies flat, and a limit of strain is what the
maker knows.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable

import numpy as np

from meshflow.model.arrays import IntArray
from meshflow.regions.panels_cells import Sheet

__all__ = ["Mosaic", "Panel"]

Panel = tuple[int, ...]  # cells, sorted

SEAM_WORTH = 2.0
LONGER = 1.05  # seams may grow by so much to do without a panel
HOPELESS = 1.8  # times the limit: a set estimated to strain more is not laid flat at all


class Mosaic:
    """Cells, what lies beside what, and the strain of any set of them.

    Parameters
    ----------
    sheet : Sheet
        The surface.
    cells : list of int array
        Face ids of each cell.
    strain_of : callable
        ``strain_of(faces) -> float``; infinite where they cannot be laid flat.
    estimate_of : callable
        The same, quick and rough.
    images : (k, c) int array, optional
        Cell that is image g of each cell; the first row is the cells themselves. Without it nothing has an image.
    exact : bool
        Whether images are alike to the last digit, so that one stands for all; else the worst does.
    """

    def __init__(
        self,
        sheet: Sheet,
        cells: list[IntArray],
        strain_of: Callable[[IntArray], float],
        estimate_of: Callable[[IntArray], float],
        *,
        images: IntArray | None = None,
        exact: bool = True,
    ) -> None:
        self.sheet, self.cells, self.exact = sheet, cells, exact
        self._images = [list(range(len(cells)))] if images is None else images.tolist()
        self.images = len(self._images)
        self._strain_of, self._estimate_of = strain_of, estimate_of
        self._known: dict[Panel, float] = {}
        self._guessed: dict[Panel, float] = {}
        self.beside: list[dict[int, float]] = [{} for _ in cells]
        for (one, two), length in _seams_between(sheet, cells).items():
            self.beside[one][two] = self.beside[two][one] = length
        self.areas = np.array([sheet.areas[cell].sum() for cell in cells])

    @property
    def flattenings(self) -> int:
        """How many sets of cells were laid flat so far."""
        return len(self._known)

    @property
    def single(self) -> list[Panel]:
        """Every cell a panel of its own."""
        return [(cell,) for cell in range(len(self.cells))]

    def faces(self, panel: Panel) -> IntArray:
        """Return the face ids of a panel, sorted."""
        return np.sort(np.concatenate([self.cells[cell] for cell in panel]))

    def image(self, panel: Iterable[int], number: int) -> Panel:
        """Return an image of a panel."""
        row = self._images[number]
        return tuple(sorted(row[cell] for cell in panel))

    def all_images(self, panel: Iterable[int]) -> list[Panel]:
        """Return a panel and its images, each once, the one that stands for all first."""
        return sorted({self.image(panel, number) for number in range(self.images)})

    def first_image(self, panel: Panel) -> Panel:
        """Return the image that stands for all."""
        return panel if self.images == 1 else min(self.image(panel, number) for number in range(self.images))

    def strain(self, panel: Panel) -> float:
        """Return the strain of a panel and its images, laid flat once at most."""
        key = self.first_image(panel)
        if key not in self._known:
            asked = [key] if self.exact else self.all_images(key)
            self._known[key] = max(self._strain_of(self.faces(image)) for image in asked)
        return self._known[key]

    def knows(self, panel: Panel, strain: float) -> None:
        """Note a strain that is known already."""
        self._known[self.first_image(panel)] = strain

    def guess(self, panel: Panel) -> float:
        """Return the strain of a panel if it is known, else an estimate."""
        key = self.first_image(panel)
        if key in self._known:
            return self._known[key]
        if key not in self._guessed:
            self._guessed[key] = self._estimate_of(self.faces(key))
        return self._guessed[key]

    def fits(self, panel: Panel, limit: float) -> bool:
        """Whether a panel keeps within a limit; one that is estimated far beyond is not laid flat."""
        return self.guess(panel) <= HOPELESS * limit and self.strain(panel) <= limit

    def area(self, panel: Panel) -> float:
        """Return the area of a panel [mm2]."""
        return float(self.areas[list(panel)].sum())

    def neighbours(self, panels: list[Panel]) -> list[dict[int, float]]:
        """Return what lies beside each panel: the index of the neighbour, and the length of the seam [mm]."""
        of_cell = {cell: index for index, panel in enumerate(panels) for cell in panel}
        around: list[dict[int, float]] = [{} for _ in panels]
        for cell, index in of_cell.items():
            for other, length in self.beside[cell].items():
                beyond = of_cell.get(other, index)
                if beyond != index:
                    around[index][beyond] = around[index].get(beyond, 0.0) + length
        return around

    def seam_length(self, panels: list[Panel]) -> float:
        """Return the length of all seams between panels [mm]."""
        return 0.5 * sum(sum(around.values()) for around in self.neighbours(panels))

    def joined(self, panels: list[Panel], limit: float, *, worth: float = SEAM_WORTH) -> list[Panel]:
        """Join neighbours until no two fit together within the limit; images are joined at the same time.

        `worth` says how much of the limit a pair that shares its whole rim may strain more than one that shares none.
        A union is taken to strain no less than its parts, so a pair that failed is not tried again when it has grown,
        until nothing else is left; then every pair is judged once more by its own strain.
        """
        return _Joining(self, panels, limit, worth).run()

    def dissolved(self, panels: list[Panel], limit: float, *, most: int) -> list[Panel]:
        """Do without every panel whose cells its neighbours can take over within the limit, the smallest first.

        Stops after `most` more flattenings.
        """
        end = self.flattenings + most
        again = True
        while again:
            again = False
            for panel in sorted(panels, key=lambda panel: (round(self.area(panel), 9), panel)):
                images = self.all_images(panel)
                if panel != images[0] or len(images) == len(panels):
                    continue
                left = [cell for image in images for cell in image]
                rest = self._shared_out(left, [other for other in panels if other not in images], limit, end)
                if rest is not None and self.seam_length(rest) <= LONGER * self.seam_length(panels):
                    panels, again = self.joined(rest, limit), True
                    break
        return panels

    def _shared_out(self, left: list[int], panels: list[Panel], limit: float, end: int) -> list[Panel] | None:
        """Give cells to panels, each to the one that bears it best; None when one finds no place."""
        failed: set[tuple[int, Panel]] = set()
        while left:
            choice = self._best_place(left, panels, limit, failed, end)
            if choice is None:
                return None
            cell, panel = choice
            for number in range(self.images):
                (given,), takes = self.image((cell,), number), set(self.image(panel, number))
                index = next(index for index, other in enumerate(panels) if takes.issubset(other))
                panels[index] = tuple(sorted({*panels[index], given}))
                if given in left:
                    left.remove(given)
        return panels

    def _best_place(
        self, left: list[int], panels: list[Panel], limit: float, failed: set[tuple[int, Panel]], end: int
    ) -> tuple[int, Panel] | None:
        """Return the cell to give away next and the panel that takes it; places that fail are added to `failed`."""
        of_cell = {cell: index for index, panel in enumerate(panels) for cell in panel}
        hopeful = []
        for cell in left:
            length: dict[int, float] = {}
            for other, shared in self.beside[cell].items():
                if other in of_cell:
                    length[of_cell[other]] = length.get(of_cell[other], 0.0) + shared
            around = sum(self.beside[cell].values())
            for index, shared in length.items():
                if (cell, panels[index]) not in failed:
                    grown = self._with(panels[index], cell)
                    score = self.guess(grown) / limit - SEAM_WORTH * shared / around
                    hopeful.append((round(score, 9), cell, index, grown))
        for _, cell, index, grown in sorted(hopeful):
            if self.flattenings > end:
                return None
            if self.fits(grown, limit):
                return cell, panels[index]
            failed.add((cell, panels[index]))
        return None

    def _with(self, panel: Panel, cell: int) -> Panel:
        """Return a panel with a cell, and with those images of the cell that images of the panel bring it."""
        given = {cell}
        for number in range(1, self.images):
            if self.image(panel, number) == panel:
                given.update(self.image((cell,), number))
        return tuple(sorted({*panel, *given}))


class _Joining:
    """Panels under numbers, and a queue of the pairs that may be joined."""

    def __init__(self, mosaic: Mosaic, panels: list[Panel], limit: float, worth: float) -> None:
        self.mosaic, self.limit, self.worth = mosaic, limit, worth
        self.panels: dict[int, Panel] = dict(enumerate(panels))
        self.number = {panel: number for number, panel in self.panels.items()}
        self.around = dict(enumerate(mosaic.neighbours(panels)))
        self.failed: set[tuple[int, int]] = set()
        self.queue: list[tuple[float, int, int]] = []

    def run(self) -> list[Panel]:
        while True:
            self.failed.clear()
            for one, around in self.around.items():
                for two in around:
                    if one < two:
                        self._offer(one, two)
            if not self._joined_any():
                return list(self.panels.values())

    def _offer(self, one: int, two: int) -> None:
        around = self.around
        worth = self.worth * around[one][two] / min(sum(around[one].values()), sum(around[two].values()))
        guess = self.mosaic.guess(self._union(self._groups(one, two)[0]))
        if guess <= HOPELESS * self.limit:
            heapq.heappush(self.queue, (round(guess / self.limit - worth, 9), one, two))

    def _joined_any(self) -> bool:
        done = False
        while self.queue:
            _, one, two = heapq.heappop(self.queue)
            if one not in self.panels or two not in self.panels or (one, two) in self.failed:
                continue
            groups = self._groups(one, two)
            if self.mosaic.fits(self._union(groups[0]), self.limit):
                done = True
                for new in [self._join(group) for group in groups]:
                    for other in self.around[new]:
                        if other < new:
                            self._offer(other, new)
            else:
                self.failed.add((one, two))
        return done

    def _union(self, group: list[int]) -> Panel:
        return tuple(sorted(cell for number in group for cell in self.panels[number]))

    def _groups(self, one: int, two: int) -> list[list[int]]:
        """Return what hangs together when a pair and all its images are joined; the group of the pair itself first."""
        groups: list[set[int]] = [{one, two}]
        for number in range(1, self.mosaic.images):
            pair = {self.number[self.mosaic.image(self.panels[half], number)] for half in (one, two)}
            met = [group for group in groups if group & pair]
            groups = [group for group in groups if not group & pair]
            groups.append(pair.union(*met))
        groups.sort(key=lambda group: (one not in group, min(group)))
        return [sorted(group) for group in groups]

    def _join(self, group: list[int]) -> int:
        union, new = self._union(group), max(self.panels) + 1
        around: dict[int, float] = {}
        for old in group:
            for other, length in self.around.pop(old).items():
                if other not in group:
                    around[other] = around.get(other, 0.0) + length
                    del self.around[other][old]
                    if (min(old, other), max(old, other)) in self.failed:
                        self.failed.add((other, new))
            del self.number[self.panels.pop(old)]
        self.panels[new], self.number[union], self.around[new] = union, new, around
        for other, length in around.items():
            self.around[other][new] = length
        return new


def _seams_between(sheet: Sheet, cells: list[IntArray]) -> dict[tuple[int, int], float]:
    cell_of = np.full(len(sheet.faces), -1, dtype=np.int64)
    for index, cell in enumerate(cells):
        cell_of[cell] = index
    other = np.where(sheet.neighbour >= 0, cell_of[sheet.neighbour], -1)
    own = np.broadcast_to(cell_of[:, None], other.shape)
    rows, sides = np.nonzero((other > own) & (own >= 0))
    pairs, inverse = np.unique(np.stack([own[rows, sides], other[rows, sides]], axis=1), axis=0, return_inverse=True)
    length = np.bincount(inverse.reshape(-1), weights=sheet.side[rows, sides], minlength=len(pairs))
    return {(int(one), int(two)): float(size) for (one, two), size in zip(pairs, length, strict=True)}
