"""SVG files as drawing programs write them, by hand, and the second reader's view of them."""

from __future__ import annotations

from pathlib import Path

HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<svg xmlns="http://www.w3.org/2000/svg" '
    'xmlns:xlink="http://www.w3.org/1999/xlink" '
    'xmlns:inkscape="http://www.inkscape.org/namespaces/inkscape" '
)


def svg(body: str, *, size: str = 'width="100mm" height="80mm"', box: str = "0 0 100 80") -> str:
    view = f' viewBox="{box}"' if box else ""
    return f'{HEAD}{size}{view}><g fill="none" stroke="#000000">{body}</g></svg>\n'


def length_by_second_reader(path: Path, *, millimetres_per_unit: float | None = None) -> float:
    """Total length as svgelements (MIT) sees it, in millimetres.

    It answers in pixels of 96 to the inch; `millimetres_per_unit` is for files whose size is in pixels.
    """
    import svgelements

    total = 0.0
    for element in svgelements.SVG.parse(str(path), reify=True).elements():
        if isinstance(element, svgelements.Shape):
            total += sum(_length(segment) for segment in svgelements.Path(element).segments())
    return total * (25.4 / 96.0 if millimetres_per_unit is None else millimetres_per_unit)


def _length(segment: object) -> float:
    import numpy as np
    import svgelements

    if isinstance(segment, svgelements.Move):
        return 0.0
    if isinstance(segment, svgelements.Line | svgelements.Close):
        return abs(complex(segment.end) - complex(segment.start)) if segment.end is not None else 0.0
    # Its own length() is only as exact as it is slow: chords of 4000 steps are right to 1e-6.
    spots = [segment.point(step / 4000) for step in range(4001)]
    points = np.array([[float(spot.x), float(spot.y)] for spot in spots])
    return float(np.hypot(*np.diff(points, axis=0).T).sum())
