"""What an SVG file draws, as plain curves in millimetres: groups and uses unfolded, transformations applied.

Terms: a *use* shows another element once more; a *symbol* is drawn only where it is used.

Convention: the layer of a curve is the innermost group named like one of ours (by label or id), else its innermost
layer as drawing programs mark them, else its innermost group with a name, else ``0``. Circles and arcs of circles stay
exact, also turned, scaled and mirrored; other arcs and Bezier curves become arcs within 0.005 mm. What is switched off,
or has neither line nor fill, does not count. Clipping is not carried out, and said.

Source: SVG 1.1, chapters 5 (structure), 7 (coordinates), 8 (paths), 9 (basic shapes).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from meshflow.drawing.curve_maker import CurveMaker
from meshflow.drawing.plane_map import PlaneMap, parse_transform, view_map
from meshflow.drawing.shapes import Shape, Shapes
from meshflow.drawing.svg_basic import basic_runs
from meshflow.drawing.svg_size import Page, numbers_in, view_box
from meshflow.drawing.svg_tree import Node, Style
from meshflow.errors import DrawingFileError, InputError
from meshflow.model.drawing import Layer

__all__ = ["svg_shapes"]

_GROUPS: Final = frozenset({"g", "a", "svg", "switch", "symbol"})
_CURVES: Final = frozenset({"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"})
_PICTURES: Final = frozenset({"text", "image", "foreignObject"})
_MOST_FROM_USES: Final = 50_000
_DEEPEST: Final = 600
_KEPT: Final = ("visibility", "fill", "stroke")  # what an element takes over from its group
_OURS: Final = frozenset(map(str, Layer))


@dataclass(frozen=True, slots=True)
class _Place:
    """An element on its way to be drawn."""

    node: Node
    to_mm: PlaneMap
    view: tuple[float, float]
    layer: str = "0"
    rank: int = 0  # 3 our own name, 2 a layer of the program, 1 a named group
    kept: tuple[str, ...] = ("visible", "black", "none")
    depth: int = 0
    used: int = 0
    as_symbol: tuple[str, str] | None = None


def svg_shapes(root: Node, page: Page) -> Shapes:
    """Return the curves of a file.

    Parameters
    ----------
    root : Node
        Its ``svg`` element.
    page : Page
        Its size.

    Returns
    -------
    Shapes
        Curves in file order, and what was left out.

    Raises
    ------
    DrawingFileError
        If an element cannot be read, or uses unfold without end.
    """
    return _Walk(root, page).shapes()


class _Walk:
    def __init__(self, root: Node, page: Page) -> None:
        self._style = Style(root)
        self._named = _by_id(root)
        self._curves = CurveMaker()
        self._found = Shapes()
        self._from_uses = 0
        self._first = _Place(root, page.to_mm, page.view)

    def shapes(self) -> Shapes:
        waiting = [self._first]
        while waiting:
            place = waiting.pop()
            try:
                waiting += reversed(list(self._step(place)))
            except InputError as error:
                raise DrawingFileError(error.what, where=_label(place.node), remedy=error.remedy) from None
        return self._found

    def _step(self, place: _Place) -> Iterator[_Place]:
        """Draw an element, or yield what is inside it."""
        tag, looks = place.node.tag, self._style.of(place.node)
        if tag not in _GROUPS | _CURVES | _PICTURES | {"use"} or (tag == "symbol" and place.as_symbol is None):
            return
        self._check_bounds(place)
        if looks.get("display", "").strip() == "none":
            self._hide(place.node, place.layer)
            return
        here = self._entered(place, looks)
        if tag in _PICTURES:
            self._leave_out(here)
        elif tag in _CURVES:
            self._draw(here, looks)
        elif tag == "use":
            yield self._used(here)
        else:
            yield from self._inside(here)

    def _check_bounds(self, place: _Place) -> None:
        self._from_uses += place.used > 0
        if self._from_uses > _MOST_FROM_USES or place.depth > _DEEPEST:
            raise DrawingFileError(
                "its elements use each other without end, or more often than a part needs.",
                remedy="Turn symbols and clones into plain paths, and export again.",
            )

    def _hide(self, node: Node, layer: str) -> None:
        waiting = [node]
        while waiting:
            inner = waiting.pop()
            self._found.hidden[layer] += inner.tag in _CURVES
            waiting += inner.children

    def _leave_out(self, place: _Place) -> None:
        tag, attributes = place.node.tag, place.node.attributes
        self._found.ignored[tag.upper()] += 1
        if tag == "text":
            said = [(attributes.get(key, "").split() or ["0"])[0] for key in ("x", "y")]
            x, y = (numbers_in(text, view=side) for text, side in zip(said, place.view, strict=True))
            spot = place.to_mm(complex(x, y))
            self._found.texts.append((place.layer, (spot.real, spot.imag)))

    def _entered(self, place: _Place, looks: Mapping[str, str]) -> _Place:
        """Return the place with what the element itself says: transformation, layer, looks."""
        if looks.get("transform-origin") or "transform" in _own_style(place.node):
            raise DrawingFileError(
                "it is transformed by its style sheet.", remedy="Apply the transformation and export again."
            )
        to_mm = parse_transform(place.node.attributes.get("transform", "")).then(place.to_mm)
        kept = tuple(looks.get(key, before) for key, before in zip(_KEPT, place.kept, strict=True))
        kept = tuple(old if new == "inherit" else new for new, old in zip(kept, place.kept, strict=True))
        if looks.get("clip-path", "none") != "none" or looks.get("mask", "none") != "none":
            self._found.clipped[place.layer] += 1
        layer, rank = _layer(place)
        return replace(place, to_mm=to_mm, kept=kept, layer=layer, rank=rank, depth=place.depth + 1)

    def _draw(self, place: _Place, looks: Mapping[str, str]) -> None:
        visible, fill, stroke = place.kept
        if visible in ("hidden", "collapse") or (fill == "none" and stroke == "none"):
            self._found.hidden[place.layer] += 1
            return
        if looks.get("vector-effect", "none") not in ("none", "non-scaling-stroke"):
            raise DrawingFileError("its vector effect cannot be read.", remedy="Export it again without.")
        for run in basic_runs(place.node, place.view, looks):
            for curve in self._curves.curves(run, place.to_mm):
                self._found.shapes.append(Shape(place.layer, curve))
        self._found.tessellated.update(self._curves.taken())

    def _used(self, place: _Place) -> _Place:
        attributes = place.node.attributes
        link = attributes.get("href") or attributes.get("xlink:href", "")
        target = self._named.get(link.strip().removeprefix("#")) if link.strip().startswith("#") else None
        if target is None:
            raise DrawingFileError(
                f'it shows "{link[:40]}", which is not in the file.', remedy="Turn clones into paths, and export again."
            )
        x, y = (numbers_in(attributes.get(key) or "0", view=side) for key, side in zip("xy", place.view, strict=True))
        size = (attributes.get("width", ""), attributes.get("height", ""))
        to_mm = PlaneMap(c=complex(x, y)).then(place.to_mm)
        return replace(place, node=target, to_mm=to_mm, used=place.used + 1, as_symbol=size)

    def _inside(self, place: _Place) -> Iterator[_Place]:
        node = place.node
        inner = replace(place, as_symbol=None)
        if node.tag in ("svg", "symbol") and node is not self._first.node:
            inner = _viewport(inner, node, place.as_symbol or ("", ""))
        children = node.children
        if node.tag == "switch":
            usable = [child for child in children if child.tag in _GROUPS | _CURVES | {"use", "text"}]
            children = [child for child in usable if not child.attributes.get("requiredExtensions")][:1]
        for child in children:
            yield replace(inner, node=child)


def _by_id(root: Node) -> dict[str, Node]:
    named: dict[str, Node] = {}
    waiting = [root]
    while waiting:
        node = waiting.pop()
        if "id" in node.attributes:
            named.setdefault(node.attributes["id"], node)
        waiting += reversed(node.children)
    return named


def _own_style(node: Node) -> set[str]:
    return {part.partition(":")[0].strip().lower() for part in node.attributes.get("style", "").split(";")}


def _layer(place: _Place) -> tuple[str, int]:
    node = place.node
    if node.tag not in ("g", "svg", "symbol") and not place.as_symbol:
        return place.layer, place.rank
    attributes = node.attributes
    label, name = attributes.get("inkscape:label", ""), attributes.get("id", "")
    for said in (label, name):
        plain = said.strip().upper().replace("_X5F_", "_")  # how one program writes an underline in an id
        plain = re.sub(r"-\d+$", "", plain)  # ids must differ: a layer that comes again is numbered
        if plain in _OURS:
            return plain, 3
    if attributes.get("inkscape:groupmode") == "layer" and place.rank <= 2:
        return (label or name).strip().upper() or place.layer, 2
    if node.tag == "g" and name and place.rank <= 1:
        return name.strip().upper(), 1
    return place.layer, place.rank


def _viewport(place: _Place, node: Node, size: tuple[str, str]) -> _Place:
    """Return the place inside an svg or symbol element, which has a page of its own."""
    attributes = node.attributes
    sides = []
    for key, given, whole in zip(("width", "height"), size, place.view, strict=True):
        sides.append(numbers_in(given or attributes.get(key, "") or "100%", view=whole))
    x, y = (
        numbers_in(attributes.get(key, "") or "0", view=side) if node.tag == "svg" else 0.0
        for key, side in zip("xy", place.view, strict=True)
    )
    box = view_box(node)
    if box is None:
        return replace(place, to_mm=PlaneMap(c=complex(x, y)).then(place.to_mm), view=(sides[0], sides[1]))
    if min(sides) <= 0.0:
        raise DrawingFileError("it is shown at no size.", remedy="Turn symbols into plain paths, and export again.")
    shown = view_map(box, (sides[0], sides[1]), attributes.get("preserveAspectRatio", ""), corner=complex(x, y))
    return replace(place, to_mm=shown.then(place.to_mm), view=box[2:])


def _label(node: Node) -> str:
    name = node.attributes.get("id", "")
    return f"{node.tag or 'element'} {name}".strip()
