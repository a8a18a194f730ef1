"""Opening an SVG file of unknown making: its elements as a tree, and nothing fetched, run or blown up on the way.

The reader is expat of the standard library, driven directly so that what it may do can be bounded: a file can name
other files, define words that unfold into gigabytes, or nest without end. Outside files are refused, words may hold
plain text only (drawing programs write the addresses of their namespaces so), and file, depth and elements are capped.
No library reads the drawing itself: what a shop's SVG needs is small, and the readers there are serve as the check.

Source: SVG 1.1, XML 1.0 section 4 (entities).
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, NoReturn
from xml.parsers import expat

from meshflow.drawing.file_bytes import drawing_bytes
from meshflow.errors import DrawingFileError

__all__ = ["Node", "Style", "load_svg", "looks_like_svg"]

_LARGEST_BYTES: Final = 30_000_000
_MOST_ELEMENTS: Final = 200_000
_DEEPEST: Final = 256
_LONGEST_WORD: Final = 200
_MOST_WORDS: Final = 50
_RULE: Final = re.compile(r"([^{}]+)\{([^{}]*)\}")
_COMMENT: Final = re.compile(r"/\*.*?\*/", re.DOTALL)
_SIMPLE: Final = re.compile(r"[.#]?[\w-]+")
_REMEDY: Final = "Export it again as plain SVG."


@dataclass(slots=True)
class Node:
    """One element.

    Parameters
    ----------
    tag : str
        Name without its prefix; empty for an element of another vocabulary.
    attributes : dict of str to str
        As written, with their prefixes.
    children : list of Node
        In file order.
    text : str
        Text directly inside, kept for style sheets and our own properties.
    """

    tag: str
    attributes: dict[str, str]
    children: list[Node] = field(default_factory=list)
    text: str = ""


def looks_like_svg(data: bytes) -> bool:
    """Whether the bytes begin as an SVG or at least an XML file does."""
    head = data[:4096].replace(b"\0", b"")  # also in an encoding of two bytes a letter
    return head.lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").startswith(b"<")


def load_svg(path: str | os.PathLike[str]) -> Node:
    """Return the root of an SVG file.

    Parameters
    ----------
    path : path-like
        File to read.

    Returns
    -------
    Node
        The ``svg`` element.

    Raises
    ------
    DrawingFileError
        If the file cannot be opened, is no SVG, is damaged, or tries what a drawing has no need of.
    """
    data = drawing_bytes(Path(path), most=_LARGEST_BYTES)
    name = str(path)
    try:
        root = _Builder().read(data)
    except DrawingFileError as error:
        raise error.located(name) from None
    except (expat.ExpatError, ValueError, LookupError) as error:
        # LookupError and ValueError: an encoding that Python does not know or cannot hand over.
        raise DrawingFileError(f"the file is damaged or cut short ({error}).", where=name, remedy=_REMEDY) from None
    if root is None or root.tag != "svg":
        raise DrawingFileError("this is not an SVG file.", where=name, remedy="Export it as SVG or DXF.")
    return root


class _Builder:
    """Handlers for expat that build the tree and refuse what is out of bounds."""

    def __init__(self) -> None:
        self.root: Node | None = None
        self._open: list[Node] = []
        self._prefix = ""
        self._elements = 0
        self._words = 0

    def read(self, data: bytes) -> Node | None:
        parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._characters
        parser.EntityDeclHandler = self._word
        parser.ExternalEntityRefHandler = self._outside
        parser.Parse(data, True)
        return self.root

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._elements += 1
        if self._elements > _MOST_ELEMENTS or len(self._open) >= _DEEPEST:
            raise DrawingFileError("it has more elements, or nests them deeper, than a part can have.", remedy=_REMEDY)
        prefix, _, tag = name.rpartition(":")
        if self.root is None:
            self._prefix = prefix
        node = Node(tag if prefix == self._prefix or prefix == "svg" else "", attributes)
        if self._open:
            self._open[-1].children.append(node)
        else:
            self.root = node
        self._open.append(node)

    def _end(self, name: str) -> None:
        del name
        self._open.pop()

    def _characters(self, text: str) -> None:
        if self._open and self._open[-1].tag in ("style", "metadata"):
            self._open[-1].text += text

    def _word(self, name: str, parameter: int, value: str | None, *rest: object) -> None:
        del rest
        self._words += 1
        if value is None:
            self._outside(name)
        if parameter or len(value) > _LONGEST_WORD or set(value) & set("&<%") or self._words > _MOST_WORDS:
            raise DrawingFileError(
                f"it defines the word {name!r} in a way that can unfold without end.", remedy=_REMEDY
            )

    def _outside(self, *named: object) -> NoReturn:
        del named
        raise DrawingFileError("it refers to text in another file.", remedy="Export it again as one plain SVG file.")


class Style:
    """What the style sheets of a file say of its elements, as far as it decides whether something is drawn.

    Parameters
    ----------
    root : Node
        The whole file.

    Notes
    -----
    Simple selectors count: a tag, ``.class``, ``#id``, and lists of them; that is what drawing programs write.
    """

    def __init__(self, root: Node) -> None:
        self._rules: dict[str, dict[str, str]] = {}
        waiting = [root]
        while waiting:
            node = waiting.pop()
            if node.tag == "style":
                self._learn(_COMMENT.sub("", node.text))
            waiting += node.children

    def _learn(self, sheet: str) -> None:
        for selectors, body in _RULE.findall(sheet):
            for selector in selectors.split(","):
                if _SIMPLE.fullmatch(selector.strip()):
                    self._rules.setdefault(selector.strip(), {}).update(_declared(body))

    def of(self, node: Node) -> Mapping[str, str]:
        """Return the properties of an element; a style of its own outranks a sheet, a sheet its attributes."""
        found: dict[str, Any] = dict(node.attributes)
        keys = [node.tag, *(f".{name}" for name in node.attributes.get("class", "").split())]
        for key in (*keys, f"#{node.attributes.get('id', '')}"):
            found |= self._rules.get(key, {})
        return found | _declared(node.attributes.get("style", ""))


def _declared(body: str) -> dict[str, str]:
    pairs = (declaration.partition(":") for declaration in body.split(";"))
    plain = ((key.strip().lower(), value.strip().removesuffix("!important").strip()) for key, _, value in pairs)
    return {key: value for key, value in plain if value}
