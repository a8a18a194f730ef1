"""Where the joints of lines and arcs lie best: least squares over all pieces at once.

Pieces that end in points of a noisy rim take over the noise of those points. Here their joints are freed: all joints
and all sweeps are moved together until the sum of the squared distances of the points from their pieces is least. A
*sharp* joint then lies where its two pieces meet when each is led by its own points; at a *smooth* joint the pieces
are held tangent, as long as the tolerance allows it.

Method: Gauss and Newton. With a piece written as ``P(u) = P0 + g(u, h) (P1 - P0)`` in complex numbers, ``h`` half its
sweep and ``g(u, h) = (exp(2ihu) - 1) / (exp(2ih) - 1)``, the signed distance of a point changes by minus the normal
part of ``dP``, so each row has five entries and the normal equations couple neighbours only (own derivation). What
comes out is tested exactly against the tolerance (`sagitta.deviation`); a piece that fails goes back to the points of
the rim, so the result is never worse than what was given.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from meshflow.geometry.sagitta import MOST_BULGE, deviation, to_chord_frame
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

ComplexArray: TypeAlias = NDArray[np.complex128]

__all__ = ["Chain", "rim_noise", "settled"]

_STEPS = 30
_TRIES = 12
_LEAST_GAIN = 3e-3
_DENSE = 300
_MOST_TURN = 0.4  # rad, of half a sweep in one step
_RELEASES = 24
_ENOUGH = 8  # points inside a piece from which on its ends need no witness of their own
_TANGENT = np.radians(0.1)  # a kink as dear as all points of a piece off by the tolerance
_HARDLY = np.radians(1.0)  # a kink that neither hand nor machine minds
_KINK_PER_TOLERANCE = 12.0  # a kink that the tolerance explains: so many tolerances over the length of a piece
_WITNESS = 6.0  # standard deviations that a corner may move from its own point
_ALIKE = 1e-7  # rad
_FOLLOWS = 2.0  # a piece follows its points if it is off by no more than so many standard deviations


@dataclass(frozen=True, eq=False)
class Chain:
    """Lines and arcs along a rim.

    Parameters
    ----------
    joints : (m + 1, 2) float array
        Where pieces meet; the last is the first again on a closed rim [mm].
    bulges : (m,) float array
        Tangent of a quarter of each sweep.
    breaks : (m + 1,) int array
        Point of the rim under each joint, rising.
    kinked : int
        How many joints ought to be smooth and turn by more than a degree.
    """

    joints: FloatArray
    bulges: FloatArray
    breaks: IntArray
    kinked: int = 0


def rim_noise(points: FloatArray, *, closed: bool = True) -> float:
    """Return the standard deviation of independent noise of a rim's points across it [mm].

    Fourth differences of the offsets from the chord of the neighbours: bends of any radius drop out, corners are few
    and the median passes them by. Smooth waves are not noise. 0 for fewer than 16 points.

    Examples
    --------
    >>> turn = np.linspace(0.0, 2.0 * np.pi, 400, endpoint=False)
    >>> ring = 50.0 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    >>> rim_noise(ring) < 1e-6
    True
    """
    if len(points) < 16:
        return 0.0
    z = points[:, 0] + 1j * points[:, 1]
    before, after = np.roll(z, 1), np.roll(z, -1)
    across = after - before
    off = np.imag((z - before) * np.conj(across)) / np.maximum(np.abs(across), 1e-300)
    rough = off - 0.5 * (np.roll(off, 1) + np.roll(off, -1))
    rough = rough if closed else rough[2:-2]
    # Weights 1/4, -1, 3/2, -1, 1/4 of independent points: variance 35/8. The median of |x| is 0.6745 sigma.
    return float(np.median(np.abs(rough)) / 0.6745 / np.sqrt(35.0 / 8.0))


def settled(
    ring: FloatArray,
    chain: Chain,
    *,
    allowed: FloatArray,
    sharp: BoolArray,
    held: BoolArray,
    closed: bool,
    noise: float,
    tidied: Callable[[Chain], Chain] | None = None,
) -> Chain:
    """Return the chain with its joints where they lie best.

    Parameters
    ----------
    ring : (n, 2) float array
        Points of the rim; on a closed one the last is the first again [mm].
    chain : Chain
        Pieces that end in points of the rim, within the tolerance.
    allowed : (n,) float array
        Greatest distance at each point [mm]; pieces over a point of which it is 0 stay as they are.
    sharp : (m + 1,) bool array
        Joints that are corners.
    held : (m + 1,) bool array
        Joints that stay.
    closed : bool
        Whether the last point is the first.
    noise : float
        See `rim_noise` [mm].
    tidied : callable, optional
        Puts every chain that is found in order before it is judged, such as into mirror symmetry.

    Returns
    -------
    Chain
        No piece is farther from the rim than `allowed`, nor the rim from it. Corners move by no more than six times
        the noise, and only where both neighbours follow their points to within twice the noise.
    """
    work = _Work(ring, chain, allowed, held.copy(), closed, tidied)
    free = work.solved(np.zeros(len(sharp), dtype=bool), chain)
    kinks = work.kinks(free)
    free, kinks = work.without_wild_corners(free, sharp, noise, kinks)
    tangent = smooth = ~sharp & work.may_be_smooth(kinks)
    result = free
    for _ in range(_RELEASES):
        result = work.solved(tangent, result)
        wrong = work.off(result)
        if not wrong.any():
            return work.with_kinks_counted(result, smooth)
        tangent = work.released(tangent, kinks, wrong)
    return work.with_kinks_counted(chain, smooth)


@dataclass(frozen=True, eq=False)
class _Equations:
    """Rows, values and columns of the linear problem at one state, and what its cost was summed over."""

    blocks: tuple[tuple[FloatArray, FloatArray, IntArray], ...]
    piece: IntArray
    point: IntArray
    weight: FloatArray
    tangent: BoolArray
    scale: FloatArray
    cost: float

    def normal(self, size: int) -> tuple[Any, FloatArray]:
        """Return the normal equations, dense while they are small; what is not free has the column `size`."""
        right, data, at = np.zeros(size + 1), [], []
        for entries, value, where in self.blocks:
            inner = np.einsum("bri,brj->bij", entries, entries)
            data.append(inner.ravel())
            first = np.broadcast_to(where[:, :, None], inner.shape)
            at.append(np.stack([first.ravel(), np.swapaxes(first, 1, 2).ravel()]))
            np.add.at(right, where, -np.einsum("bri,br->bi", entries, value))
        entries, (row, column) = np.concatenate(data), np.concatenate(at, axis=1)
        if size <= _DENSE:
            dense = np.bincount(row * (size + 1) + column, entries, minlength=(size + 1) ** 2)
            return dense.reshape(size + 1, size + 1)[:size, :size], right[:size]
        from scipy.sparse import coo_array

        kept = (row < size) & (column < size)
        return coo_array((entries[kept], (row[kept], column[kept])), shape=(size, size)).tocsc(), right[:size]


def _solution(matrix: Any, damping: FloatArray, right: FloatArray) -> FloatArray:
    """Return x of ``(matrix + diag(damping)) x = right``."""
    if len(right) <= _DENSE:
        return np.asarray(np.linalg.solve(matrix + np.diag(damping), right))
    from scipy.sparse import diags_array

    from meshflow.geometry.linear import factorise

    return factorise((matrix + diags_array(damping)).tocsc()).solve(right)


class _Work:
    """The rim, the pieces over it, and which of them are frozen."""

    def __init__(
        self,
        ring: FloatArray,
        chain: Chain,
        allowed: FloatArray,
        held: BoolArray,
        closed: bool,
        tidied: Callable[[Chain], Chain] | None,
    ) -> None:
        self._tidied = tidied
        self.ring, self.start, self.allowed, self.closed = ring, chain, allowed, closed
        self.z = ring[:, 0] + 1j * ring[:, 1]
        self.count = len(chain.bulges)
        self.limit = np.minimum.reduceat(allowed, chain.breaks[:-1])
        self.limit = np.minimum(self.limit, allowed[chain.breaks[1:]])
        self.frozen = self.limit <= 0.0
        self.held = held
        if not closed:
            self.held[[0, -1]] = True
        side = np.abs(np.diff(self.z))
        weight = 0.5 * (np.append(side, 0.0) + np.append(0.0, side))
        self.weight = weight / weight.mean()

    # -- solving ---------------------------------------------------------------------------------------------------

    def _fixed(self) -> BoolArray:
        """Return the joints that stay: those held, and both ends of frozen pieces."""
        fixed = self.held.copy()
        fixed[:-1] |= self.frozen
        fixed[1:] |= self.frozen
        if self.closed:
            fixed[[0, -1]] = fixed[0] or fixed[-1]
        return fixed

    def solved(self, tangent: BoolArray, start: Chain) -> Chain:
        """Return the best chain with the given joints tangent, found from `start`."""
        fixed = self._fixed()
        points = np.where(fixed[:, None], self.start.joints, start.joints)
        joints = points[:, 0] + 1j * points[:, 1]
        half = 2.0 * np.arctan(np.where(self.frozen, self.start.bulges, start.bulges))
        bent = (half != 0.0) & ~self.frozen
        number, size = self._unknowns(fixed, bent)
        damping = 1e-3
        for _ in range(_STEPS if size else 0):
            feet = self.feet(joints)
            equations = self._equations(joints, half, feet, tangent, number)
            joints, half, damping, gain = self._improved(joints, half, equations, number, size, damping)
            if gain < _LEAST_GAIN:
                break
        points = np.stack([joints.real, joints.imag], axis=1)
        chain = Chain(points, np.where(self.start.bulges == 0.0, 0.0, np.tan(0.5 * half)), self.start.breaks)
        return chain if self._tidied is None else self._tidied(chain)

    def _improved(
        self,
        joints: ComplexArray,
        half: FloatArray,
        equations: _Equations,
        number: IntArray,
        size: int,
        damping: float,
    ) -> tuple[ComplexArray, FloatArray, float, float]:
        """Return joints and half sweeps after the first step that lowers the cost, its damping and its gain."""
        matrix, right = equations.normal(size)
        steep = matrix.diagonal()
        for _ in range(_TRIES):
            answer = np.append(_solution(matrix, damping * steep + 1e-9 * steep.max() + 1e-12, right), 0.0)
            step = answer[number[: self.count + 1]] + 1j * answer[number[self.count + 1 : 2 * self.count + 2]]
            turn = answer[number[2 * self.count + 2 :]]
            chord = np.abs(np.diff(joints))
            reach = 0.3 * np.minimum(np.append(chord, chord[0]), np.append(chord[-1], chord))
            if np.all(np.abs(step) < reach) and np.abs(turn).max() < _MOST_TURN:
                cost = self._cost(joints + step, half + turn, equations)
                if cost <= equations.cost:
                    gain = 1.0 - cost / equations.cost if equations.cost else 0.0
                    still = max(float(np.abs(step).max()), float(np.abs(turn).max())) < 1e-9
                    return joints + step, half + turn, 0.2 * damping, 0.0 if still else gain
            damping = 8.0 * damping
        return joints, half, damping, 0.0

    def _equations(
        self, joints: ComplexArray, half: FloatArray, feet: FloatArray, tangent: BoolArray, number: IntArray
    ) -> _Equations:
        piece, point, weight = self._witnesses(feet)
        rows, off = _rows(self.z[point], joints[piece], joints[piece + 1], half[piece])
        scale = self._kink_scale(tangent)
        kink_rows, kink, where = self._kink_rows(joints, half, tangent, number)
        y = self.count + 1
        own = np.arange(self.count)
        columns = np.stack([number[k] for k in (own, own + y, own + 1, own + 1 + y, own + 2 * y)], axis=1)
        cost = float(np.sum((off * weight) ** 2) + np.sum((kink * scale) ** 2))
        table = _by_piece(np.column_stack([rows, off]) * weight[:, None], piece, self.count)
        blocks = (
            (table[:, :, :5], table[:, :, 5], columns),
            ((kink_rows * scale[:, None])[:, None], (kink * scale)[:, None], where),
        )
        return _Equations(blocks, piece, point, weight, tangent, scale, cost)

    def _cost(self, joints: ComplexArray, half: FloatArray, equations: _Equations) -> float:
        piece = equations.piece
        off = _distances(self.z[equations.point], joints[piece], joints[piece + 1], half[piece])
        before, after, _ = self._neighbours(equations.tangent)
        kink = self._kink(joints, half, before, after)
        return float(np.sum((off * equations.weight) ** 2) + np.sum((kink * equations.scale) ** 2))

    def _unknowns(self, fixed: BoolArray, bent: BoolArray) -> tuple[IntArray, int]:
        """Return a number for each unknown (x and y of joints, half sweeps); past the last for what is not free."""
        free = np.concatenate([~fixed, ~fixed, bent])
        if self.closed:
            free[[self.count, 2 * self.count + 1]] = False
        size = int(free.sum())
        number = np.where(free, np.cumsum(free) - 1, size)
        if self.closed:
            number[self.count], number[2 * self.count + 1] = number[0], number[self.count + 1]
        return number, size

    def _witnesses(self, feet: FloatArray) -> tuple[IntArray, IntArray, FloatArray]:
        """Return which piece each point speaks for; end points only speak for pieces that have few others."""
        last = len(self.z) - 1
        low = np.floor(feet[:-1]).astype(np.int64) + 1
        high = np.ceil(feet[1:]).astype(np.int64) - 1
        few = high - low + 1 < _ENOUGH
        begin, end = self.start.breaks[:-1], self.start.breaks[1:]
        low, high = np.where(few, begin, low), np.where(few, end, high)
        count = np.maximum(high - low + 1, 0)
        piece = np.repeat(np.arange(self.count), count)
        point = low[piece] + np.arange(len(piece)) - np.repeat(np.cumsum(count) - count, count)
        point = point % last if self.closed else np.clip(point, 0, last)
        return piece, point, np.sqrt(np.maximum(self.weight[point], 1e-3))

    def _kink_rows(
        self, joints: ComplexArray, half: FloatArray, tangent: BoolArray, number: IntArray
    ) -> tuple[FloatArray, FloatArray, IntArray]:
        before, after, _ = self._neighbours(tangent)
        a, b = 1.0 / (joints[before + 1] - joints[before]), 1.0 / (joints[after + 1] - joints[after])
        one = np.ones(len(before))
        # Unknowns: joint before, joint at, joint after, half sweeps before and after.
        rows = np.stack([a.imag, a.real, -a.imag - b.imag, -a.real - b.real, b.imag, b.real, -one, -one], axis=1)
        y = self.count + 1
        places = (before, before + y, after, after + y, after + 1, after + 1 + y, before + 2 * y, after + 2 * y)
        return rows, self._kink(joints, half, before, after), np.stack([number[place] for place in places], axis=1)

    @staticmethod
    def _kink(joints: ComplexArray, half: FloatArray, before: IntArray, after: IntArray) -> FloatArray:
        heading = np.angle(np.diff(joints))
        return _wrapped(heading[after] - half[after] - heading[before] - half[before])

    def _kink_scale(self, tangent: BoolArray) -> FloatArray:
        """Return the weight of each kink: a tenth of a degree is as dear as all points beside it off by the limit."""
        before, after, _ = self._neighbours(tangent)
        points = np.diff(self.start.breaks)
        many = np.sqrt(np.maximum(points[before] + points[after], 16.0))
        return np.asarray(many * np.maximum(np.minimum(self.limit[before], self.limit[after]), 1e-6) / _TANGENT)

    def _neighbours(self, chosen: BoolArray) -> tuple[IntArray, IntArray, IntArray]:
        """Return the pieces before and after each chosen joint, and the joint; ends of an open chain have none."""
        at = np.flatnonzero(chosen[:-1])
        if not self.closed:
            at = at[at > 0]
        return (at - 1) % self.count, at, at

    # -- judging ---------------------------------------------------------------------------------------------------

    def feet(self, joints: ComplexArray) -> FloatArray:
        """Return where along the rim each joint is nearest, as a point number with a fraction."""
        breaks, n = self.start.breaks, len(self.z) - 1
        feet = np.empty(len(breaks))
        for k, own in enumerate(breaks.tolist()):
            before = breaks[k - 1] if k else breaks[-2] - n if self.closed else own
            after = breaks[k + 1] if k < self.count else breaks[1] + n if self.closed else own
            low, high = (int(before) + own) // 2, (own + int(after) + 1) // 2
            side = np.arange(low, max(high, low + 1))
            begin, end = self.z[side % n], self.z[(side + 1) % n] if self.closed else self.z[np.minimum(side + 1, n)]
            across = end - begin
            share = np.real((joints[k] - begin) * np.conj(across)) / np.maximum(np.abs(across) ** 2, 1e-300)
            share = np.clip(share, 0.0, 1.0)
            best = int(np.argmin(np.abs(joints[k] - begin - share * across)))
            feet[k] = side[best] + share[best]
        if not self.closed:
            feet[0], feet[-1] = 0.0, float(n)
        return feet

    def off(self, chain: Chain) -> BoolArray:
        """Return which pieces leave the tolerance, exactly, both ways."""
        joints = chain.joints[:, 0] + 1j * chain.joints[:, 1]
        feet = self.feet(joints)
        n = len(self.z) - 1
        wrong = np.zeros(self.count, dtype=bool)
        for k in range(self.count):
            if self.limit[k] <= 0.0:
                continue
            inner = np.arange(int(np.floor(feet[k])) + 1, int(np.ceil(feet[k + 1])))
            run = np.concatenate([[self._at(feet[k])], self.z[inner % n if self.closed else inner]])
            run = np.append(run, self._at(feet[k + 1]))
            wrong[k] = self._is_off(run, joints[k : k + 2], float(chain.bulges[k]), float(self.limit[k]))
        return wrong

    @staticmethod
    def _is_off(run: ComplexArray, ends: ComplexArray, bulge: float, limit: float) -> bool:
        if not abs(bulge) <= MOST_BULGE or ends[0] == ends[1]:
            return True
        if max(abs(run[0] - ends[0]), abs(run[-1] - ends[1])) > limit:
            return True
        run = run[np.append(True, np.abs(np.diff(run)) > 0.0)]  # a foot may lie on a point of the rim
        whole = np.concatenate([ends[:1], run, ends[1:]])
        local, half = to_chord_frame(np.stack([whole.real, whole.imag], axis=1))
        return deviation(local[1:-1], half, -half * bulge) > limit

    def _at(self, foot: float) -> complex:
        n = len(self.z) - 1
        low = int(np.floor(foot))
        share = foot - low
        begin = self.z[low % n] if self.closed else self.z[low]
        if share == 0.0:
            return complex(begin)
        return complex(begin + share * (self.z[(low + 1) % n if self.closed else low + 1] - begin))

    def kinks(self, chain: Chain) -> FloatArray:
        """Return the turn at each joint [rad]; 0 at the ends of an open chain."""
        joints = chain.joints[:, 0] + 1j * chain.joints[:, 1]
        before, after, at = self._neighbours(np.ones(self.count + 1, dtype=bool))
        found = np.zeros(self.count + 1)
        found[at] = self._kink(joints, 2.0 * np.arctan(chain.bulges), before, after)
        if self.closed:
            found[-1] = found[0]
        return found

    def with_kinks_counted(self, chain: Chain, smooth: BoolArray) -> Chain:
        """Return the chain with its `kinked` filled in."""
        return replace(chain, kinked=int(np.count_nonzero(np.abs(self.kinks(chain)[:-1][smooth[:-1]]) > _HARDLY)))

    def may_be_smooth(self, kinks: FloatArray) -> BoolArray:
        """Return at which joints the turn is no more than the tolerance explains; two lines never join smoothly."""
        before, after, at = self._neighbours(np.ones(self.count + 1, dtype=bool))
        chord = np.abs(np.diff(self.start.joints[:, 0] + 1j * self.start.joints[:, 1]))
        limit = np.minimum(self.limit[before], self.limit[after])
        most = np.maximum(_HARDLY, _KINK_PER_TOLERANCE * limit * (1.0 / chord[before] + 1.0 / chord[after]))
        lines = (self.start.bulges[before] == 0.0) & (self.start.bulges[after] == 0.0)
        smooth = np.zeros(self.count + 1, dtype=bool)
        smooth[at] = (np.abs(kinks[at]) <= most) & ~lines & ~(self.frozen[before] & self.frozen[after])
        return smooth

    def without_wild_corners(
        self, chain: Chain, sharp: BoolArray, noise: float, kinks: FloatArray
    ) -> tuple[Chain, FloatArray]:
        """Hold the corners whose own point is the better witness, and solve again if there are any."""
        moved = np.hypot(*(chain.joints - self.start.joints).T)
        piece, point, _ = self._witnesses(self.feet(chain.joints[:, 0] + 1j * chain.joints[:, 1]))
        joints, half = chain.joints[:, 0] + 1j * chain.joints[:, 1], 2.0 * np.arctan(chain.bulges)
        _, off = _rows(self.z[point], joints[piece], joints[piece + 1], half[piece])
        count = np.maximum(np.bincount(piece, minlength=self.count), 1)
        spread = np.sqrt(np.bincount(piece, off**2, minlength=self.count) / count)
        strays = spread > _FOLLOWS * noise + 1e-12
        before, after, at = self._neighbours(sharp)
        wild = (moved[at] > _WITNESS * noise) | strays[before] | strays[after]
        wild &= ~self.held[at]
        if not wild.any():
            return chain, kinks
        self.held[at[wild]] = True
        if self.closed:
            self.held[-1] = self.held[0]
        again = self.solved(np.zeros(len(sharp), dtype=bool), chain)
        return again, self.kinks(again)

    def released(self, tangent: BoolArray, kinks: FloatArray, wrong: BoolArray) -> BoolArray:
        """Let go of the smooth joints that turn most, beside the pieces that are off; a piece without one is frozen."""
        result = tangent.copy()
        found: set[int] = set()
        for k in np.flatnonzero(wrong).tolist():
            ends = [k, (k + 1) % self.count if self.closed else k + 1]
            smooth = [end for end in ends if result[end]]
            if smooth:
                most = max(abs(kinks[end]) for end in smooth)
                found.update(end for end in smooth if abs(kinks[end]) >= most - _ALIKE)
            else:
                self.frozen[k] = True
        if found:
            # Those that turn alike go together, so that what was symmetric stays so.
            turns = sorted((abs(float(kinks[end])) for end in found), reverse=True)
            least = turns[len(turns) // 3] - _ALIKE
            result[[end for end in sorted(found) if abs(kinks[end]) >= least]] = False
        return result


def _rows(z: ComplexArray, begin: ComplexArray, end: ComplexArray, half: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the derivatives of the signed distances of points from their pieces (see above), and the distances."""
    across = end - begin
    length = np.abs(across)
    unit = across / length
    local = (z - 0.5 * (begin + end)) / unit
    bulge, h = np.tan(0.5 * half), 0.5 * length
    bent = np.abs(half) > 1e-9
    turn = np.arctan2(np.abs(bulge) * local.real, 0.5 * h * (1.0 - bulge * bulge) - bulge * local.imag)
    on_arc = 0.5 * (turn / np.where(bent, np.abs(half), 1.0) + 1.0)
    share = np.where(bent, on_arc, 0.5 * (local.real / h + 1.0))
    g, slope = _shape(share, half)
    # Off the piece along its normal: minus the normal part of the motion of the point under it.
    normal = np.conj(1j * unit * np.exp(1j * half * (2.0 * share - 1.0)))
    first, second = normal * (1.0 - g), normal * g
    third = np.real(normal * slope * across)
    rows = -np.stack([first.real, -first.imag, second.real, -second.imag, third], axis=1)
    return rows, _distances(z, begin, end, half)


def _distances(z: ComplexArray, begin: ComplexArray, end: ComplexArray, half: FloatArray) -> FloatArray:
    """Return the signed distances of points from the lines and circles of their pieces, left positive."""
    across = end - begin
    length = np.abs(across)
    local = (z - 0.5 * (begin + end)) * np.conj(across) / length
    x, y, h, bulge = local.real, local.imag, 0.5 * length, np.tan(0.5 * half)
    lift = 0.5 * h * (1.0 - bulge * bulge)  # the bulge times the height of the centre: nothing is divided by a bulge
    reach = np.hypot(bulge * x, bulge * y - lift)
    return np.asarray(((h * h - x * x - y * y) * bulge + 2.0 * y * lift) / (0.5 * h * (1.0 + bulge * bulge) + reach))


def _by_piece(rows: FloatArray, piece: IntArray, count: int) -> FloatArray:
    """Return for each piece six rows with the same squares as all of its rows: a triangle, by Cholesky's hand."""
    begin = np.searchsorted(piece, np.arange(count + 1))
    blocks = np.zeros((count, 6, 6))
    for k in range(count):
        part = rows[begin[k] : begin[k + 1]]
        if len(part):
            triangle = np.linalg.qr(part, mode="r")
            blocks[k, : len(triangle)] = triangle
    return blocks


def _shape(share: FloatArray, half: FloatArray) -> tuple[ComplexArray, ComplexArray]:
    """Return g(u, h) and its derivative by h; by their series where h is small."""
    small = np.abs(half) < 1e-4
    h = np.where(small, 1.0, half)
    whole, part = np.expm1(2j * h), np.expm1(2j * h * share)
    slope = (2j * share * (part + 1.0) * whole - 2j * (whole + 1.0) * part) / whole**2
    near = share * (1.0 + 1j * half * (share - 1.0))
    return np.where(small, near, part / whole), np.where(small, 1j * share * (share - 1.0), slope)


def _wrapped(angle: FloatArray) -> FloatArray:
    return np.asarray(np.remainder(angle + np.pi, 2.0 * np.pi) - np.pi)
