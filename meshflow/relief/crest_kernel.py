"""The compiled loop that walks along crests from sample to sample. Import it when it is used."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["walk_crests"]

_MOST_TURN = math.cos(math.radians(55.0))


@njit(cache=True)
def walk_crests(
    crest: BoolArray, place: FloatArray, along: FloatArray, seeds: IntArray
) -> tuple[IntArray, IntArray]:  # pragma: no cover - compiled
    """Return the samples of each walk in order, and where each walk begins, with the end.

    Parameters
    ----------
    crest, place, along
        As in `crests.CrestField`.
    seeds : (k, 2) int array
        Row and column of samples to begin at, the strongest first.
    """
    rows, columns = crest.shape
    used = np.zeros(crest.shape, np.uint8)
    walked = np.empty(2 * crest.size + 4 * len(seeds) + 4, np.int64)
    first = np.empty(len(seeds) + 1, np.int64)
    first[0] = 0
    count, walks = 0, 0
    ahead = np.empty(rows * columns + 1, np.int64)
    for seed in range(len(seeds)):
        r0, c0 = seeds[seed, 0], seeds[seed, 1]
        if used[r0, c0]:
            continue
        used[r0, c0] = 1
        begin = count
        for sign in (-1.0, 1.0):
            steps = 0
            r, c = r0, c0
            dx, dy = sign * along[r, c, 0], sign * along[r, c, 1]
            while True:
                best, br, bc = np.inf, -1, -1
                for i in range(-1, 2):
                    for j in range(-1, 2):
                        if i == 0 and j == 0:
                            continue
                        nr, nc = r + i, c + j
                        if nr < 0 or nc < 0 or nr >= rows or nc >= columns or not crest[nr, nc] or used[nr, nc]:
                            continue
                        vx, vy = place[nr, nc, 0] - place[r, c, 0], place[nr, nc, 1] - place[r, c, 1]
                        far = math.hypot(vx, vy)
                        if far < 1e-9 or (vx * dx + vy * dy) < _MOST_TURN * far:
                            continue
                        turn = abs(along[nr, nc, 0] * dx + along[nr, nc, 1] * dy)
                        if turn < _MOST_TURN:
                            continue
                        cost = far + 2.0 * (1.0 - turn)
                        if cost < best:
                            best, br, bc = cost, nr, nc
                # What lies beside the step just made belongs to the same crest.
                for i in range(-1, 2):
                    for j in range(-1, 2):
                        nr, nc = r + i, c + j
                        if nr < 0 or nc < 0 or nr >= rows or nc >= columns or (nr == br and nc == bc):
                            continue
                        vx, vy = place[nr, nc, 0] - place[r, c, 0], place[nr, nc, 1] - place[r, c, 1]
                        if crest[nr, nc] and abs(vx * dx + vy * dy) < 0.5:
                            used[nr, nc] = 1
                if br < 0:
                    break
                sense = along[br, bc, 0] * dx + along[br, bc, 1] * dy
                dx, dy = (along[br, bc, 0], along[br, bc, 1]) if sense > 0 else (-along[br, bc, 0], -along[br, bc, 1])
                r, c = br, bc
                used[r, c] = 1
                ahead[steps] = r * columns + c
                steps += 1
            if sign < 0:
                for k in range(steps):
                    walked[count] = ahead[steps - 1 - k]
                    count += 1
                walked[count] = r0 * columns + c0
                count += 1
            else:
                for k in range(steps):
                    walked[count] = ahead[k]
                    count += 1
        if count > begin:
            walks += 1
            first[walks] = count
    return walked[:count], first[: walks + 1]
