"""Pictures as files and as parts of the document: the coloured pattern, its key, and the nested sheets.

The same `Picture` is written as PNG by matplotlib's Agg renderer, with the typeface that matplotlib carries, and as
inline SVG. Both are the same bytes every time: no clock, no version, no system font goes into them.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from meshflow.model.layout import SheetLayout
from meshflow.model.part import Part
from meshflow.model.pattern import FlatPattern
from meshflow.report.legend_view import legend_picture, share_label, step_shares
from meshflow.report.maps import FaceMap, further_map, stretch_map
from meshflow.report.palette import PAPER, STEPS
from meshflow.report.pattern_view import MOST_BORDER_EDGES, pattern_picture
from meshflow.report.picture import Fill, Item, Lines, Picture, Pixels, Words, moved
from meshflow.report.sheet_view import sheet_picture
from meshflow.report.svg import svg_text
from meshflow.report.words import TAGS, limits_words, verdict_words

__all__ = ["legend_svg", "pattern_png", "pattern_svg", "sheet_png", "sheet_svg", "write_png"]

_EDGE = 24.0
_DOTS_PER_UNIT = 1.5
_MOST_BYTES, _FEWEST_EDGES = 400_000, 1000


def pattern_png(pattern: FlatPattern, part: Part, path: Path, *, material: str = "") -> None:
    """Write the flat pattern coloured by stretch, with key, histogram and verdict, as PNG.

    A formed piece is shown a second time below, coloured by its thickness, a woven one by its shear.

    Parameters
    ----------
    pattern : FlatPattern
        The piece laid flat.
    part : Part
        Its drawing.
    path : Path
        Where to write.
    material : str
        Name of the material for the verdict; the part's material id when left out.
    """
    piece, pooled = pattern_picture(pattern, part)
    key = legend_picture(pattern)
    material = material or part.material
    head = [
        Words(_EDGE, 46, part.name, min(26.0, 1000.0 / len(part.name)), bold=True),
        Words(_EDGE, 72, _stuff(part, material), 15),
    ]
    top, right = 96.0, piece.width + 2 * _EDGE
    verdict = [Words(right, 46, TAGS[pattern.verdict], 19, bold=True)]
    verdict += _paragraphs([verdict_words(pattern, material)], x=right, y=72, columns=46, size=14.5)
    key_top = verdict[-1].y + 20
    notes = [KEY_WORDS, limits_words(pattern.limits), *_pooled_words(pooled)]
    said = _paragraphs(notes, x=right, y=key_top + key.height + 24, columns=58, size=12)
    items = [*head, *verdict, *moved(piece, _EDGE, top), *moved(key, right, key_top), *said]
    below = max(top + piece.height, said[-1].y) + _EDGE
    more, height = _second_panel(pattern, part, right=right, top=below)
    items += more
    write_png(Picture(right + key.width + _EDGE, height, tuple(items)), path)


def _second_panel(pattern: FlatPattern, part: Part, *, right: float, top: float) -> tuple[list[Item], float]:
    """Return the picture of what else there is to show, with its key, and where it ends."""
    shown = further_map(pattern)
    if shown is None:
        return [], top
    piece, pooled = pattern_picture(pattern, part, shown=shown)
    key = legend_picture(pattern, shown)
    title = Words(_EDGE, top + 26, f"The same piece coloured by {shown.name}", 19, bold=True)
    key_top, piece_top = top + 44, top + 44
    texts = [FURTHER_KEY_WORDS[shown.name], *_pooled_words(pooled)]
    said = _paragraphs(texts, x=right, y=key_top + key.height + 24, columns=58, size=12)
    bottom = max(piece_top + piece.height, said[-1].y) + _EDGE
    return [title, *moved(piece, _EDGE, piece_top), *moved(key, right, key_top), *said], bottom


def sheet_png(
    layout: SheetLayout, parts: Sequence[Part], path: Path, *, title: str = "", margin_mm: float = 0.0
) -> None:
    """Write a nested sheet as PNG.

    Parameters
    ----------
    layout : SheetLayout
        The sheet and its placements.
    parts : sequence of Part
        The parts named in the placements.
    path : Path
        Where to write.
    title : str
        Heading; the sheet's id when left out.
    margin_mm : float
        Clear edge of the sheet [mm].

    Raises
    ------
    OptionError
        If a placement names a part that is not given.
    """
    sheet = sheet_picture(layout, parts, margin_mm=margin_mm)
    head = Words(_EDGE, 46, title or f"Sheet {layout.sheet.id}", 24, bold=True)
    kind = "length" if layout.used_width_mm is None else "corner"
    used = Words(_EDGE, 74, f"{100 * layout.utilisation:.0f} % of the used {kind} is parts", 16)
    said = _paragraphs(_numbers_of_parts(layout), x=_EDGE, y=90 + sheet.height + 24, columns=100, size=13)
    bottom = max(item.y for item in said) if said else 90 + sheet.height
    items = (head, used, *moved(sheet, _EDGE, 90), *said)
    write_png(Picture(sheet.width + 2 * _EDGE, bottom + _EDGE, items), path)


def _numbers_of_parts(layout: SheetLayout) -> list[str]:
    """Return which numbers of the picture are which part, one line for each part."""
    numbers: dict[str, list[str]] = {}
    for number, placement in enumerate(layout.placements, start=1):
        numbers.setdefault(placement.part, []).append(str(number))
    return [f"{name}: {', '.join(ours)}" for name, ours in numbers.items()]


def pattern_svg(pattern: FlatPattern, part: Part, *, key: str = "") -> str:
    """Return the flat pattern coloured by stretch as inline SVG, at most 400 kB whatever the mesh.

    Parameters
    ----------
    pattern : FlatPattern
        The piece laid flat.
    part : Part
        Its drawing.
    key : str
        Makes ids unique in a document; the part's name when left out.
    """
    return pattern_svg_and_squares(pattern, part, stretch_map(pattern), key=key or part.name)[0]


def pattern_svg_and_squares(pattern: FlatPattern, part: Part, shown: FaceMap, *, key: str) -> tuple[str, float]:
    """Return the same, coloured by any map, and the side of the squares the colours were averaged over [mm], or 0."""
    edges = MOST_BORDER_EDGES
    while True:
        picture, pooled = pattern_picture(pattern, part, shown=shown, most_edges=edges)
        about = FURTHER_KEY_WORDS.get(shown.name) or verdict_words(pattern, "")
        words = " ".join([about, *_pooled_words(pooled)])
        title = f"{part.name}, laid flat, coloured by {shown.name}"
        svg = svg_text(picture, title=title, description=words, key=key)
        if len(svg) <= _MOST_BYTES or edges < _FEWEST_EDGES:
            return svg, pooled
        edges //= 2


def legend_svg(pattern: FlatPattern, *, key: str, shown: FaceMap | None = None) -> str:
    """Return the key with the histogram as inline SVG; its description reads the shares out."""
    shown = shown or stretch_map(pattern)
    shares = step_shares(pattern, shown)
    down, up = (words.partition(",")[0] for words in (shown.down_words, shown.up_words))
    parts = [
        (
            f"{down}, step {-step}" if step < 0 else f"{up}, step {step}" if step else shown.middle,
            shares[step + STEPS],
        )
        for step in range(-STEPS, STEPS + 1)
    ]
    words = ", ".join(f"{name}: {share_label(share)} %" for name, share in parts if share > 0)
    title = "Key to the colours, with the share of the area in each"
    return svg_text(
        legend_picture(pattern, shown), title=title, description=f"Share of the area: {words}.", key=key, kind="key"
    )


def sheet_svg(layout: SheetLayout, parts: Sequence[Part], *, key: str = "", margin_mm: float = 0.0) -> str:
    """Return a nested sheet as inline SVG.

    Parameters
    ----------
    layout : SheetLayout
        The sheet and its placements.
    parts : sequence of Part
        The parts named in the placements.
    key : str
        Makes ids unique in a document; the sheet's id when left out.
    margin_mm : float
        Clear edge of the sheet [mm].
    """
    words = f"{len(layout.placements)} pieces; the numbers are those of the list of placements."
    picture = sheet_picture(layout, parts, margin_mm=margin_mm)
    return svg_text(picture, title=f"Nest on sheet {layout.sheet.id}", description=words, key=key or layout.sheet.id)


KEY_WORDS = (
    "Numbers over the bars: percent of the area. Each spot has the colour of its stretch or of its gather, whichever "
    "is further along its scale. The dark line on the piece is where a limit is reached."
)

FURTHER_KEY_WORDS = {
    "thickness": "Ochre: the sheet ends thinner than it was, blue: thicker. The dark line is where it is 10 % thicker: "
    "a free rim wrinkles from there on.",
    "shear": "How far grain and cross grain leave the right angle: ochre where the angle closes, blue where it opens. "
    "The dark line is where the threads lock.",
}


def _pooled_words(pooled_mm: float) -> list[str]:
    return [f"The colours are averaged over squares of {pooled_mm:.1f} mm."] if pooled_mm else []


def _stuff(part: Part, material: str) -> str:
    stuff = f"{material}, {part.thickness_mm:g} mm" if part.thickness_mm else material
    return f"{stuff} \N{MIDDLE DOT} {part.quantity} to cut" if stuff else f"{part.quantity} to cut"


def _paragraphs(texts: Sequence[str], *, x: float, y: float, columns: int, size: float) -> list[Words]:
    lines: list[Words] = []
    for text in texts:
        for line in textwrap.wrap(text, columns, break_on_hyphens=False):
            lines.append(Words(x, y, line, size))
            y += 1.42 * size
        y += 0.7 * size
    return lines


def write_png(picture: Picture, path: Path, *, pixels: Sequence[Pixels] = ()) -> None:
    """Write a picture as PNG: with Agg and matplotlib's own defaults, whatever the user's settings say.

    Parameters
    ----------
    picture : Picture
        What is drawn.
    path : Path
        Where to write.
    pixels : sequence of Pixels
        Pictures that lie under it.
    """
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    settings = {name: value for name, value in mpl.rcParamsDefault.items() if not name.startswith(("backend", "date."))}
    with mpl.rc_context(settings):
        size = (picture.width / 72.0, picture.height / 72.0)
        drawing = Figure(figsize=size, dpi=72.0 * _DOTS_PER_UNIT, facecolor=PAPER)
        FigureCanvasAgg(drawing)
        axes = drawing.add_axes((0.0, 0.0, 1.0, 1.0), xlim=(0, picture.width), ylim=(picture.height, 0))
        axes.set_axis_off()
        for image in pixels:
            left, bottom = image.x, image.y + image.height
            extent = (left, left + image.width, bottom, image.y)
            axes.imshow(image.colours, extent=extent, interpolation="nearest", aspect="auto", zorder=-1)
        axes.set(xlim=(0, picture.width), ylim=(picture.height, 0))
        for height, item in enumerate(picture.items):
            # Without a height of its own an area would lie under every line, whatever the order.
            axes.add_artist(_artist(item)).set_zorder(height)
        # Software would carry matplotlib's version; PNG holds no date unless asked to.
        drawing.savefig(path, format="png", metadata={"Software": None})


def _artist(item: Item) -> Any:
    """Return the matplotlib artist of an item; one unit is one point."""
    from matplotlib.collections import LineCollection
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path as Outline
    from matplotlib.text import Text

    if isinstance(item, Words):
        alignment = {"start": "left", "middle": "center", "end": "right"}[item.anchor]
        # parse_math off: a name may hold a dollar sign.
        return Text(
            item.x, item.y, item.text, color=item.colour, ha=alignment, va="baseline", parse_math=False,
            fontproperties=_typeface(item.size, bold=item.bold),
        )  # fmt: skip
    if isinstance(item, Fill):
        rings = Outline.make_compound_path(*(Outline(np.vstack([ring, ring[:1]]), closed=True) for ring in item.rings))
        return PathPatch(rings, facecolor=item.colour, edgecolor="none", linewidth=0)
    return LineCollection(
        _runs(item), colors=item.colour, linewidths=item.width, linestyles=(0, (5, 3)) if item.dashed else "solid",
        capstyle="butt", joinstyle="round",
    )  # fmt: skip


def _runs(item: Lines) -> list[Any]:
    if isinstance(item.runs, np.ndarray) or not item.closed:
        return list(item.runs)
    return [np.vstack([run, run[:1]]) for run in item.runs]


def _typeface(size: float, *, bold: bool) -> Any:
    """Return DejaVu Sans from matplotlib's own files, not the one of the system."""
    import matplotlib as mpl
    from matplotlib.font_manager import FontProperties

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return FontProperties(fname=str(Path(mpl.get_data_path()) / "fonts" / "ttf" / name), size=size)
