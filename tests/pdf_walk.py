"""Walks the pages of a PDF with pikepdf (MPL-2.0): what is drawn where, by marked content, in points of the paper.

It shares nothing with the writer: operators are read as ISO 32000-1 defines them, matrices multiplied, curves sampled.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from io import BytesIO

import numpy as np
import pikepdf

MM = 25.4 / 72.0


@dataclass
class Line:
    """One painted subpath: its points [mm of paper], the tag it stands under, width [mm], dashes, clip box."""

    tag: str
    points: np.ndarray
    width: float
    dashes: tuple
    clip: tuple | None


@dataclass
class Page:
    box: tuple
    lines: list = field(default_factory=list)
    matrices: list = field(default_factory=list)
    texts: list = field(default_factory=list)
    images: list = field(default_factory=list)  # left, bottom, right, top of each [mm of paper]


def pages(data: bytes, samples: int = 160) -> list[Page]:
    with pikepdf.open(BytesIO(data)) as file:
        return [_page(page, samples) for page in file.pages]


def _page(page, samples) -> Page:
    found = Page(tuple(float(value) for value in page.MediaBox))
    state = {"ctm": np.eye(3), "w": 1.0, "d": (), "clip": None}
    stack, tags, path, here, box = [], [], [], None, None
    for operands, operator in pikepdf.parse_content_stream(page):
        op = str(operator)
        v = [float(x) for x in operands] if op in ("cm", "m", "l", "c", "re", "w") else operands
        if op == "q":
            stack.append(dict(state))
        elif op == "Q":
            state = stack.pop()
        elif op == "cm":
            a, b, c, d, e, f = v
            state["ctm"] = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ state["ctm"]
            found.matrices.append(state["ctm"])
        elif op == "w":
            state["w"] = v[0]
        elif op == "d":
            state["d"] = tuple(float(x) for x in operands[0])
        elif op == "BMC":
            tags.append(str(operands[0]).lstrip("/"))
        elif op == "EMC":
            tags.pop()
        elif op == "m":
            path.append([v])
            here = v
        elif op == "l":
            path[-1].append(v)
            here = v
        elif op == "c":
            p0, p1, p2, p3 = (np.array(p) for p in (here, v[:2], v[2:4], v[4:]))
            t = np.linspace(0, 1, samples + 1)[1:, None]
            curve = (1 - t) ** 3 * p0 + 3 * (1 - t) ** 2 * t * p1 + 3 * (1 - t) * t**2 * p2 + t**3 * p3
            path[-1] += curve.tolist()
            here = v[4:]
        elif op == "h":
            path[-1].append(path[-1][0])
        elif op == "re":
            x, y, w, h = v
            box = [[x, y], [x + w, y + h]]
            path.append([[x, y], [x + w, y], [x + w, y + h], [x, y + h], [x, y]])
        elif op == "W":
            state["clip"] = tuple(_moved(box, state["ctm"]).ravel().tolist())
        elif op in ("S", "s", "f", "n"):
            if op == "s":
                path[-1].append(path[-1][0])
            scale = MM * np.sqrt(abs(np.linalg.det(state["ctm"][:2, :2])))
            for run in path if op in ("S", "s") else ():
                points = _moved(run, state["ctm"])
                found.lines.append(
                    Line(tags[-1] if tags else "", points, state["w"] * scale, state["d"], state["clip"])
                )
            path = []
        elif op == "Do" and page.Resources.XObject[str(operands[0])].Subtype == "/Image":
            found.images.append(_moved([[0, 0], [1, 1]], state["ctm"]).ravel().tolist())
        elif op == "Tj":
            found.texts.append(str(operands[0]))
    assert not stack
    assert not tags
    return found


def _moved(points, ctm) -> np.ndarray:
    run = np.array(points, dtype=float)
    return (np.column_stack([run, np.ones(len(run))]) @ ctm)[:, :2] * MM


def length_inside(points: np.ndarray, box) -> float:
    """Length of a run of straight lines inside a box (left, bottom, right, top), by the clip of Liang and Barsky."""
    a, d = points[:-1], np.diff(points, axis=0)
    low, high = np.zeros(len(a)), np.ones(len(a))
    for axis in (0, 1):
        still = d[:, axis] == 0.0
        step = np.where(still, 1.0, d[:, axis])
        near, far = (np.where(still, side, (bound - a[:, axis]) / step) for bound, side in
                     ((box[axis], 0.0), (box[axis + 2], 1.0)))  # fmt: skip
        outside = still & ((a[:, axis] < box[axis]) | (a[:, axis] >= box[axis + 2]))
        low = np.where(outside, 1.0, np.maximum(low, np.minimum(near, far)))
        high = np.minimum(high, np.maximum(near, far))
    return float((np.maximum(high - low, 0.0) * np.hypot(*d.T)).sum())
