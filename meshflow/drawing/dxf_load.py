"""Opening a DXF file of unknown making: is it one, is it whole, in which unit are its numbers.

Shops send drawings renamed, cut short in a mail, or in another program's own format. Each is refused with its name
rather than read in part. The reader is ezdxf (MIT); a file that breaks the rules of the format is read once more by its
repairing reader, and the repair is noted.
"""

from __future__ import annotations

import logging
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from meshflow.drawing.file_bytes import drawing_bytes
from meshflow.errors import DrawingFileError
from meshflow.model.finding import Finding, Severity
from meshflow.units import unit_scale

__all__ = ["LoadedDxf", "load_dxf", "millimetres_per_unit"]

# What ezdxf logs about a stranger's file goes to whoever listens; without a listener it would land on the terminal.
logging.getLogger("ezdxf").addHandler(logging.NullHandler())

_LARGEST_BYTES: Final = 100_000_000
_BINARY: Final = b"AutoCAD Binary DXF\r\n\x1a\x00"
_FOREIGN: Final = {
    b"AC10": "a DWG file",
    b"%PDF": "a PDF file",
    b"%!PS": "a PostScript file",
    b"<svg": "an SVG file",
    b"<?xm": "an XML file",
    b"PK\x03\x04": "a zip archive",
    b"\x89PNG": "a picture",
    b"soli": "a mesh in STL format",
}
# $INSUNITS of the DXF reference; the rarer ones (miles, mils, yards ...) are asked for by name instead.
_UNIT_OF_CODE: Final = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m", 13: "um", 14: "dm"}


@dataclass(frozen=True, slots=True)
class LoadedDxf:
    """A DXF file as read.

    Parameters
    ----------
    document : ezdxf.document.Drawing
        Its content.
    unit_code : int
        $INSUNITS of its header; 0 when the file does not say.
    notes : tuple of Finding
        What had to be repaired.
    """

    document: Any
    unit_code: int
    notes: tuple[Finding, ...] = ()


def load_dxf(path: str | os.PathLike[str]) -> LoadedDxf:
    """Open a DXF file, text or binary.

    Parameters
    ----------
    path : path-like
        File to read.

    Returns
    -------
    LoadedDxf
        The content, and the unit the file itself says.

    Raises
    ------
    DrawingFileError
        If the file cannot be opened, is empty, no DXF, cut short, or damaged beyond repair.
    """
    name = str(path)
    data = drawing_bytes(Path(path), most=_LARGEST_BYTES)
    _check_whole(data, name)
    from ezdxf import recover
    from ezdxf.filemanagement import readfile

    notes: tuple[Finding, ...] = ()
    try:
        document: Any = readfile(name)
    except Exception as first:  # whatever the parser trips over in a stranger's file, the user gets a sentence
        try:
            document, auditor = recover.readfile(name)
        except Exception as second:
            raise _damaged(name, str(second) or type(second).__name__) from first
        if auditor.has_errors:
            raise _damaged(name, str(auditor.errors[0].message)) from first
        text = f"the file breaks the rules of its format ({first}); it was read after repair."
        notes = (Finding("D202", Severity.WARNING, text, "Compare the drawing with its source."),)
    # A file without a header gets one from ezdxf, and with it a unit that nobody said.
    said = b"$INSUNITS" in data
    return LoadedDxf(document, int(document.header.get("$INSUNITS", 0)) if said else 0, notes)


def _check_whole(data: bytes, name: str) -> None:
    head, tail = data[:65536], data[-4096:]
    if head.startswith(_BINARY):
        whole = tail.rstrip(b"\0").endswith(b"EOF")
    elif _starts_a_section(head):
        whole = b"EOF" in [line.strip() for line in tail.rstrip(b"\0\x1a \r\n\t").splitlines()]
    else:
        kind = next((f", but {what}" for magic, what in _FOREIGN.items() if head.lstrip().startswith(magic)), "")
        raise DrawingFileError(f"this is not a DXF file{kind}.", where=name, remedy="Export it as DXF.")
    if not whole:
        raise DrawingFileError(
            "the file is cut short: its end mark (EOF) is missing.", where=name, remedy="Copy or export it again."
        )


def _starts_a_section(head: bytes) -> bool:
    lines = [line.strip() for line in head.removeprefix(b"\xef\xbb\xbf").splitlines()]
    at = 0
    while at < len(lines) and lines[at] == b"999":
        at += 2
    return lines[at : at + 2] == [b"0", b"SECTION"] or 0 < len(lines) <= at


def _damaged(name: str, reason: str) -> DrawingFileError:
    return DrawingFileError(
        f"the file is damaged ({reason}).", where=name, remedy="Open it in the program it comes from and export again."
    )


def millimetres_per_unit(unit_code: int, units: str | None) -> tuple[float, tuple[Finding, ...]]:
    """Return how many millimetres one drawing unit is.

    Parameters
    ----------
    unit_code : int
        $INSUNITS of the file.
    units : str or None
        What the user says; it outranks the file.

    Returns
    -------
    scale : float
        Millimetres per unit.
    notes : tuple of Finding
        Said when user and file differ.

    Raises
    ------
    DrawingFileError
        If neither says a usable unit.
    UnitError
        If `units` is no unit of length.
    """
    in_file = _UNIT_OF_CODE.get(unit_code)
    if units is None and in_file is None:
        says = "no unit" if unit_code == 0 else f"a unit that is not used here ($INSUNITS {unit_code})"
        raise DrawingFileError(f"the file says {says}.", remedy="Say --units mm, cm, m or in.")
    scale = unit_scale(units or in_file or "")
    if units is None or in_file is None or unit_scale(in_file) == scale:
        return scale, ()
    text = f"the file says its unit is {in_file}; it was read as {units}, as asked."
    return scale, (Finding("D201", Severity.WARNING, text, "Check the size of the part."),)
