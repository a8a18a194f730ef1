"""Check the tools and reliefs of a folder: every body closed and as it is told of, heights as they are told of.

Findings: J130 a body cannot be read, J131 a body is not closed or is turned inside out, J132 its STL and its 3MF
differ, J133 ``tool.json`` says otherwise than the bodies or the record, J134 the heights of a relief cannot be read or
are not what ``relief.json`` or the record say.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from meshflow.model.finding import Finding, Severity
from meshflow.verify import ReadingError, ReadSolid, height_faults, read_heights, read_solid

__all__ = ["ToolCheck", "check_tools"]

_SIZE_MM: Final = 0.01
_VOLUME: Final = 1e-4
_ENDINGS: Final = ("stl", "3mf")
_PLAIN: Final = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_-]*")
_UNCHECKED: Final = (OSError, ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError)


@dataclass
class ToolCheck:
    """What checking tools and reliefs came to.

    Parameters
    ----------
    solids : int
        How many bodies hold, in STL and 3MF.
    reliefs : int
        How many reliefs hold.
    findings : list of Finding
        What does not hold.
    """

    solids: int = 0
    reliefs: int = 0
    findings: list[Finding] = field(default_factory=list)


def check_tools(root: Path, record: Mapping[str, Any], progress: Callable[[str, float], None]) -> ToolCheck:
    """Hold the tools and reliefs of a folder against their figures, and these against the record.

    Parameters
    ----------
    root : Path
        The folder.
    record : mapping
        Its job record.
    progress : callable
        Called as ``progress(what, share_done)``.
    """
    found = ToolCheck()
    outputs = {str(output["file"]) for output in record["outputs"]}
    tools = _entries(record, "tools", "tool.json", outputs, found)
    for number, (name, told) in enumerate(tools):
        progress(f"{name}: measuring its solids", number / len(tools))
        _tool(root, f"tools/{name}", told, outputs, found)
    for name, told in _entries(record, "reliefs", "relief.json", outputs, found):
        _relief(root, f"reliefs/{name}", told, found)
    return found


def _fault(code: str, where: str, text: str) -> Finding:
    return Finding(code, Severity.REFUSE, text, "Do not make anything from it: run the job again.", where=where)


def _entries(
    record: Mapping[str, Any], folder: str, file: str, outputs: set[str], found: ToolCheck
) -> list[tuple[str, Any]]:
    """Return what the record tells of each tool or relief, by name; those without files, or untold, are findings."""
    told: dict[str, Any] = {}
    for entry in record.get(folder) or []:
        name = entry.get("name") if isinstance(entry, dict) else None
        if isinstance(name, str) and _PLAIN.fullmatch(name):
            told[name] = entry
        else:
            found.findings.append(_fault("J128", folder, "the record says less of one than is needed to check it."))
    there = {part[1] for part in (name.split("/") for name in outputs) if len(part) == 3 and part[0] == folder}
    for name in sorted(there - set(told)):
        found.findings.append(
            _fault("J128", f"{folder}/{name}", "the record says nothing of it: it cannot be checked.")
        )
    for name in sorted(set(told)):
        if f"{folder}/{name}/{file}" not in outputs:
            found.findings.append(_fault("J128", f"{folder}/{name}/{file}", "the record does not know this file."))
    return sorted(told.items())


def _figures(root: Path, where: str, code: str, found: ToolCheck) -> Any:
    """Return the figures in a file; None, with a finding, where they cannot be read."""
    try:
        data = json.loads((root / where).read_text(encoding="utf-8"))
        if not isinstance(data, dict):
            raise ValueError("it holds no figures")
        return data
    except FileNotFoundError:
        text = "it is not there: what belongs to it cannot be checked."
    except (OSError, ValueError, RecursionError) as error:
        text = f"its figures cannot be read ({error})."
    found.findings.append(_fault(code, where, text))
    return None


def _differing(said: Mapping[str, Any], recorded: Mapping[str, Any]) -> list[str]:
    """Return which figures of the record are others in the file."""
    return [name for name, value in recorded.items() if name not in said or said[name] != value]


def _tool(root: Path, stem: str, recorded: Mapping[str, Any], outputs: set[str], found: ToolCheck) -> None:
    where = f"{stem}/tool.json"
    said = _figures(root, where, "J133", found)
    if said is None:
        return
    differing = _differing(said, recorded)
    if differing:
        found.findings.append(_fault("J133", where, f"it says otherwise than the record of {', '.join(differing)}."))
    named: set[str] = set()
    try:
        for entry in said["solids"]:
            file = f"{said['name']}-{entry['name']}"
            if not _PLAIN.fullmatch(file):  # nothing that leads out of the folder is opened
                raise ValueError(f"{file} is no name of a body")
            body = f"{stem}/{file}"
            named |= {f"{body}.{ending}" for ending in _ENDINGS}
            faults = _solid_faults(root, body, entry, where)
            found.findings += faults
            found.solids += not faults
    except _UNCHECKED as error:
        text = f"what it says of its bodies is not enough to check them ({type(error).__name__}: {error})."
        found.findings.append(_fault("J133", where, text))
        return
    bodies = {name for name in outputs if name.startswith(f"{stem}/") and name.rsplit(".", 1)[-1] in _ENDINGS}
    for name in sorted(bodies - named):
        found.findings.append(_fault("J133", name, "tool.json does not tell of this body."))


def _solid_faults(root: Path, body: str, told: Mapping[str, Any], where: str) -> list[Finding]:
    """Return what is wrong with a body: in its files, between them, and with what is told of it."""
    faults: list[Finding] = []
    read: dict[str, ReadSolid] = {}
    for name in (f"{body}.{ending}" for ending in _ENDINGS):
        try:
            read[name] = read_solid(root / name)
        except ReadingError as error:
            faults.append(_fault("J130", name, f"{error}."))
            continue
        edges = read[name].open_edges()
        if edges:
            faults.append(_fault("J131", name, f"it is not closed: {edges} edges have not one face on each side."))
        elif not read[name].volume_mm3 > 0.0:
            faults.append(_fault("J131", name, "it is turned inside out, or holds nothing."))
    for name, solid in read.items():
        faults += [_fault("J133", name, f"{text} by {where}.") for text in _told_faults(solid, told)]
    if len(read) == len(_ENDINGS):
        one, other = read.values()
        if not _alike(one.volume_mm3, other.volume_mm3) or not _same_size(one.size_mm, other.size_mm):
            volumes = f"{one.volume_mm3:.3f} and {other.volume_mm3:.3f} mm3"
            faults.append(_fault("J132", body, f"its STL and its 3MF are two bodies: {volumes}."))
    return faults


def _told_faults(solid: ReadSolid, told: Mapping[str, Any]) -> list[str]:
    faults = []
    size, volume = [float(value) for value in told["size_mm"]], float(told["volume_mm3"])
    if not _same_size(solid.size_mm, size):
        has, by = (" x ".join(f"{value:.3f}" for value in values) for values in (solid.size_mm, size))
        faults.append(f"it measures {has} mm, but {by} mm")
    if not _alike(solid.volume_mm3, volume):
        faults.append(f"it holds {solid.volume_mm3:.3f} mm3, but {volume:.3f} mm3")
    return faults


def _same_size(one: Any, other: Any) -> bool:
    return all(abs(a - b) <= _SIZE_MM for a, b in zip(one, other, strict=True))


def _alike(one: float, other: float) -> bool:
    return abs(one - other) <= _VOLUME * max(abs(one), abs(other))


def _relief(root: Path, stem: str, recorded: Mapping[str, Any], found: ToolCheck) -> None:
    where = f"{stem}/relief.json"
    before = len(found.findings)
    said = _figures(root, where, "J134", found)
    if said is None:
        return
    differing = _differing(said, recorded)
    if differing:
        found.findings.append(_fault("J134", where, f"it says otherwise than the record of {', '.join(differing)}."))
    heights = f"{stem}/height.npz"
    try:
        faults = height_faults(read_heights(root / heights), said)
        found.findings += [_fault("J134", heights, f"{text}.") for text in faults]
    except ReadingError as error:
        found.findings.append(_fault("J134", heights, f"{error}."))
    except _UNCHECKED as error:
        text = f"what it says of the heights is not enough to check them ({type(error).__name__}: {error})."
        found.findings.append(_fault("J134", where, text))
    found.reliefs += len(found.findings) == before
