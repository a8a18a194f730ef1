"""Everything of a DXF file but its curves: header, tables, blocks and objects, the same bytes every time.

The frame comes from ezdxf (MIT), which knows what each version of the format demands; the curves are spliced in as
text by `meshflow.drawing.dxf`. Left alone, ezdxf writes clock times, random ids and, in its CLASSES section, the
order of a Python set. All three are fixed here; the one private hook that takes, `_update_metadata`, is guarded by a
test over several hash seeds and by pinning ezdxf.
"""

from __future__ import annotations

import io
import os
import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from meshflow.errors import OptionError
from meshflow.model.drawing import Layer

__all__ = ["APPID", "Frame", "Version", "dxf_frame"]

Version = Literal["R12", "R2000", "R2010", "R2018"]

APPID: Final = "MESHFLOW"
MILLIMETRES: Final = 4  # $INSUNITS of the DXF reference
METRIC: Final = 1  # $MEASUREMENT
WHITE_OR_BLACK: Final = 7  # the colour that shows on any background
_NAMESPACE: Final = uuid.uuid5(uuid.NAMESPACE_DNS, "meshflow.dxf")
_ENDSEC: Final = "  0\nENDSEC\n"
_EMPTY_ENTITIES: Final = "  0\nSECTION\n  2\nENTITIES\n" + _ENDSEC
_HANDSEED: Final = re.compile(r"(  9\n\$HANDSEED\n  5\n)[0-9A-F]+\n")
_JULIAN_EPOCH: Final = 2440587.5  # Julian date of 1970-01-01 00:00


@dataclass(frozen=True, slots=True)
class Frame:
    """A file cut open where its curves go.

    Parameters
    ----------
    head, tail : str
        Text before the first curve and after the last.
    owner : str
        Handle of the model space, which every curve names as its owner.
    first_handle : int
        Least handle that is free for curves.
    """

    head: str
    tail: str
    owner: str
    first_handle: int

    def opening(self, next_handle: int) -> str:
        """Return the text before the first curve, with `next_handle` as the one that is free after the last."""
        return _HANDSEED.sub(lambda found: f"{found[1]}{next_handle:X}\n", self.head, count=1)


def dxf_frame(
    version: Version,
    *,
    layers: Sequence[Layer],
    extents: tuple[float, float, float, float],
    properties: Mapping[str, str],
    stamp: str,
) -> Frame:
    """Return header, tables and objects for a drawing in millimetres.

    Parameters
    ----------
    version : {"R12", "R2000", "R2010", "R2018"}
        Version of the format.
    layers : sequence of Layer
        Layers to declare, in order.
    extents : (float, float, float, float)
        Least x, least y, greatest x, greatest y [mm].
    properties : mapping of str to str
        Custom properties of the document; R12 and R2000 have none.
    stamp : str
        Text that the file's ids are made from.

    Returns
    -------
    Frame
        The file without curves.
    """
    from ezdxf.document import Drawing as Document

    document: Any = Document.new(version)
    low, high = (*extents[:2], 0.0), (*extents[2:], 0.0)
    document._update_metadata = lambda: _fix_header(document, stamp, low, high)
    document.appids.new(APPID)
    for layer in layers:
        document.layers.add(str(layer), color=WHITE_OR_BLACK)
    space = document.modelspace()
    space.reset_extents(low, high)
    space.reset_limits(low[:2], high[:2])
    space.units = MILLIMETRES
    middle = (0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1]))
    document.set_modelspace_vport(height=1.1 * max(high[1] - low[1], high[0] - low[0], 1.0), center=middle)
    if version in ("R2010", "R2018"):
        for key, value in properties.items():
            document.header.custom_vars.append(key, value)
    text = _text_of(document)
    cut = text.index(_EMPTY_ENTITIES) + len(_EMPTY_ENTITIES) - len(_ENDSEC)
    # Asked after writing: ezdxf gives out handles until then, and a handle twice would spoil the file.
    first_handle = int(str(document.entitydb.handles), 16)
    return Frame(_with_units(text[:cut], version), text[cut:], str(space.layout_key), first_handle)


def _fix_header(document: Any, stamp: str, low: tuple[float, float, float], high: tuple[float, float, float]) -> None:
    """Stand in for the hook that writes clock times and random ids, the last to touch the header."""
    header = document.header
    header["$EXTMIN"], header["$EXTMAX"] = low, high  # a corner at the origin counts as "not set" in ezdxf
    header["$DIMSTYLE"] = "Standard"  # the frame would name a style that it does not declare
    header["$DWGCODEPAGE"] = "ANSI_1252"
    marks = document.ezdxf_metadata()
    for mark in ("CREATED_BY_EZDXF", "WRITTEN_BY_EZDXF"):
        marks[mark] = "ezdxf"
    header["$TDCREATE"] = header["$TDUPDATE"] = _julian_date()
    if document.dxfversion == "AC1009":
        return
    header["$TDUCREATE"] = header["$TDUUPDATE"] = _julian_date()
    header["$INSUNITS"], header["$MEASUREMENT"] = MILLIMETRES, METRIC
    for name in ("$FINGERPRINTGUID", "$VERSIONGUID"):
        header[name] = "{" + str(uuid.uuid5(_NAMESPACE, f"{name} {stamp}")).upper() + "}"


def _julian_date() -> float:
    """Moment of SOURCE_DATE_EPOCH (reproducible-builds.org), or 1970-01-01, as a Julian date."""
    given = os.environ.get("SOURCE_DATE_EPOCH", "0")
    if not re.fullmatch(r"\d{1,11}", given):
        raise OptionError(
            f"SOURCE_DATE_EPOCH is {given!r}, not a number of seconds since 1970.",
            remedy="Set it to whole seconds, or unset it.",
        )
    return _JULIAN_EPOCH + int(given) / 86400.0


def _text_of(document: Any) -> str:
    for kind in sorted({entity.dxftype() for entity in document.entitydb.values()}):
        document.classes.add_class(kind)  # in sorted order, before ezdxf adds them in the order of a set
    stream = io.StringIO(newline="\n")
    document.write(stream)
    return stream.getvalue()


def _with_units(head: str, version: Version) -> str:
    if version != "R12":
        return head
    # Version R12 has no unit in its header; readers look for the later one all the same, and none minds it.
    units = f"  9\n$INSUNITS\n 70\n{MILLIMETRES}\n  9\n$MEASUREMENT\n 70\n{METRIC}\n"
    return head.replace(_ENDSEC, units + _ENDSEC, 1)
