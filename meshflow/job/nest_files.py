"""Drawings nested on sheets and hides without a job file.

Drawings of an earlier run that this one no longer makes are named and left alone: there is no record here that could
prove them ours.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from meshflow.errors import MeshflowError, NestError, OptionError
from meshflow.job.fitness import checked_drawing
from meshflow.job.folder import Published, check_folder, draft_in, prepare_folder, publish
from meshflow.job.locked_copies import read_locked
from meshflow.job.outputs import json_text, write_drawing, write_text
from meshflow.job.stages import Progress
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import KeepSmall, Nest, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.stock.cutting import bed_of

if TYPE_CHECKING:
    from meshflow.nest.offcuts import Offcut

__all__ = ["nest_files"]

DxfVersion = Literal["R12", "R2000", "R2010", "R2018"]

MOST_COPIES: Final = 10_000
_NEST_FILE: Final = "nest.json"
_SHEET_FILE: Final = re.compile(r"sheet-\d{2,}(-offcut-\d+)?\.(dxf|svg)")


def nest_files(
    files: Sequence[str | Path],
    *,
    out: str | Path,
    sheets: Sequence[Sheet] = (),
    hides: Sequence[str | Path] = (),
    clearance_mm: float = 0.0,
    margin_mm: float = 10.0,
    spacing_mm: float = 3.0,
    quantities: Mapping[str, int] | None = None,
    most: Mapping[str, int] | None = None,
    least_grades: Mapping[str, int] | None = None,
    least_offcut_mm: float | None = None,
    apart: Mapping[tuple[str, str], float] | None = None,
    locked_in: str | Path | None = None,
    lock: Sequence[str] = (),
    in_holes: bool = False,
    keep_small: KeepSmall = "length",
    turns_deg: Sequence[float] = (),
    turn_play_deg: float = 0.0,
    may_mirror: bool = False,
    pairs: Sequence[str] = (),
    effort: int = 4,
    seconds: float | None = None,
    fine_turns: bool = False,
    seed: int = 1,
    units: str | None = None,
    gap_mm: float = 0.05,
    process: str | None = None,
    dxf_version: DxfVersion = "R2010",
    leave_out: bool = False,
    progress: Progress | None = None,
) -> tuple[Nest, Published]:
    """Nest the parts of drawings, DXF or SVG, on sheets and write the sheets.

    Parameters
    ----------
    files : sequence of path-like
        One drawing for each part; its stem is the part's name.
    out : path-like
        Folder to write to.
    sheets : sequence of Sheet
        What they are nested on. A sheet without a material or thickness takes any part.
    hides : sequence of path-like
        Drawings of hides and offcuts to nest on as well, one of each.
    clearance_mm : float
        Clear distance from their holes and flaws [mm].
    margin_mm, spacing_mm : float
        Clear edge of the sheet, clear distance between parts [mm].
    quantities : mapping of str to int, optional
        How many of each, by name; 1 where not said.
    most : mapping of str to int, optional
        Copies of each at most, where room is left anyway.
    least_grades : mapping of str to int, optional
        Least good grade of a hide that will do for each.
    turns_deg : sequence of float
        Allowed turns [deg]; empty means 0, 90, 180, 270.
    least_offcut_mm : float, optional
        Draw what is left of sheets for the rack, if a circle of this diameter fits [mm].
    apart : mapping of (str, str) to float, optional
        Clear distances of their own between two parts, or between the copies of one named twice [mm].
    locked_in : path-like, optional
        ``nest.json`` of an earlier nest, of which copies stay where they lie.
    lock : sequence of str
        Which: names of parts, or ``NAME:COPY``; empty means all copies of the parts that are nested.
    in_holes : bool
        Whether parts may be laid into holes of other parts.
    keep_small : {"length", "area"}
        What is to be small of the last sheet: the length used, or the area of the rectangle used.
    turn_play_deg : float
        How far a turn may be off, either way [deg].
    may_mirror : bool
        Whether parts may be turned over; never those of a pair.
    pairs : sequence of str
        Names of parts that are cut in pairs: so many as drawn, and as many of the opposite hand.
    effort, seconds, seed, fine_turns
        For the search.
    units : str, optional
        Unit of drawings that do not say.
    gap_mm : float
        Widest gap between the ends of an outline that is taken as closed [mm].
    process : str, optional
        Id of the process that cuts them; by default what each drawing says of itself.
    dxf_version : str
        Version of the DXF.
    leave_out : bool
        Leave parts out whose drawings are no good, say so (N105), and nest the rest; else the first is an error.
    progress : callable, optional
        Called as ``progress(what, share_done)``. An interrupt (Ctrl-C) ends the search, and its best layout is
        written; ``stopped_by`` of the answer says so.

    Returns
    -------
    nest : Nest
        The verified answer; its notes begin with those of reading the drawings.
    published : Published
        sheet-01.dxf, sheet-01.svg ... and nest.json; `left` names sheets of an earlier run that this nest does not use.

    Raises
    ------
    MeshflowError
        If a file, a quantity or an option is no good.
    KeyboardInterrupt
        If nothing lay yet when the search was interrupted, or not every copy had had its turn and there is an earlier
        nest in the folder, or if it comes at any other time; nothing is written then.
    """
    from meshflow.drawing import compose_sheet
    from meshflow.drawing.offcut import compose_offcut
    from meshflow.drawing.read_hide import read_hide
    from meshflow.nest import nest, nest_json
    from meshflow.nest.offcuts import check_diameter
    from meshflow.outline.opposite import pair

    check_folder(Path(out))
    if least_offcut_mm is not None:
        check_diameter(least_offcut_mm)
    parts, bad = _parts(files, quantities or {}, units, gap_mm, leave_out)
    if bad and not parts:
        raise _none_left(bad)
    names = [Path(file).stem for file in files]
    _check_named(most or {}, names)
    _check_named(least_grades or {}, names)
    _check_named(pairs, names, "a pair")
    parts = [
        replace(
            part,
            turns_deg=tuple(turns_deg),
            turn_play_deg=turn_play_deg,
            may_mirror=may_mirror and part.name not in pairs,
            most=(most or {}).get(part.name, 0),
            least_grade=(least_grades or {}).get(part.name, 0),
        )
        for part in parts
    ]
    parts, torn = _along_the_grain(parts, leave_out)
    bad += torn
    if bad and not parts:
        raise _none_left(bad)
    parts = [hand for part in parts for hand in (pair(part) if part.name in pairs else (part,))]
    drawn = [read_hide(hide, units=units, gap_mm=gap_mm, clearance_mm=clearance_mm) for hide in hides]
    sheets = [*sheets, *(one.sheet for one in drawn)]
    locked = () if locked_in is None else read_locked(locked_in, lock, [part.name for part in parts], sheets)
    unfit = _unfit(parts, process)
    answer = nest(
        parts,
        sheets,
        margin_mm=margin_mm,
        spacing_mm=spacing_mm,
        locked=locked,
        apart=apart,
        seed=seed,
        effort=effort,
        seconds=seconds,
        fine_turns=fine_turns,
        in_holes=in_holes,
        keep_small=keep_small,
        progress=progress,
    )
    if answer.stopped_by == "interrupt" and not _is_of_use(answer, Path(out)):
        raise KeyboardInterrupt
    folder = prepare_folder(Path(out))
    with draft_in(folder) as draft:
        for number, layout in enumerate(answer.sheets, start=1):
            name = f"sheet-{number:02d}"
            drawing = checked_drawing(compose_sheet(layout, parts, name=name))
            write_drawing(drawing, draft / name, (dxf_version,))
            for count, left in enumerate(_offcuts(layout, parts, spacing_mm, least_offcut_mm), start=1):
                stem = f"{name}-offcut-{count}"
                write_drawing(
                    compose_offcut(left.outline, layout.sheet, name=stem, flaws=left.flaws),
                    draft / stem,
                    (dxf_version,),
                )
        write_text(draft / _NEST_FILE, json_text(nest_json(answer, parts)))
        read = [*files, *hides, *([] if locked_in is None else [locked_in])]
        written = publish(draft, folder, inputs=read)
    answer = replace(answer, notes=(*(note for one in drawn for note in one.notes), *bad, *answer.notes, *unfit))
    notes = (*(note for part in parts for note in part.notes), *answer.notes)  # what reading mended comes first
    return replace(answer, notes=notes), Published(written, left=_sheets_beyond(folder, written))


def _is_of_use(answer: Nest, out: Path) -> bool:
    """Return whether an interrupted nest is to be written: half a nest is better than none, but not than an earlier."""
    whole = not any(note.code == "N103" for note in answer.notes)
    return bool(answer.sheets) and (whole or not (out / _NEST_FILE).exists())


def _offcuts(
    layout: SheetLayout, parts: Sequence[Part], spacing_mm: float, least_mm: float | None
) -> tuple[Offcut, ...]:
    from meshflow.nest.offcuts import offcuts

    if least_mm is None:
        return ()
    return offcuts(layout, parts, spacing_mm=spacing_mm, least_diameter_mm=least_mm)


def _check_named(said: Iterable[str], names: Sequence[str], what: str = "a number") -> None:
    unknown = sorted(set(said) - set(names))
    if unknown:
        raise NestError(
            f"{what} is given for {', '.join(unknown)}, which no file is named after.",
            remedy=f"The parts are {', '.join(names)}.",
        )


def _unfit(parts: Sequence[Part], process: str | None) -> list[Finding]:
    """Return what their process cannot cut in the parts: the one that is asked for, else the one a drawing names."""
    from meshflow.outline.fit import fit_findings
    from meshflow.stock.load import load_stock

    stock = load_stock()
    asked = None if process is None else stock.process(process)
    found: list[Finding] = []
    for part in parts:
        way = asked or stock.processes.get(part.process)
        if way is not None:
            bed = bed_of(way, stock.machines.values())
            found += [replace(note, where=part.name) for note in fit_findings(part, way, bed=bed)]
    return found


def _parts(
    files: Sequence[str | Path], quantities: Mapping[str, int], units: str | None, gap_mm: float, leave_out: bool
) -> tuple[list[Part], list[Finding]]:
    """Return the parts of the drawings, and what is wrong with those that are left out."""
    names = [Path(file).stem for file in files]
    _check_named(quantities, names)
    for name, count in quantities.items():
        if not 0 <= count <= MOST_COPIES:
            raise OptionError(f"{count} copies of {name}?", remedy=f"Ask for 0 to {MOST_COPIES}.")
    double = sorted(name for name, count in Counter(names).items() if count > 1)
    if double:
        raise NestError(f"two files are named {double[0]}.", remedy="Rename one, or raise the quantity.")
    parts: list[Part] = []
    bad: list[Finding] = []
    for file, name in zip(files, names, strict=True):
        try:
            parts.append(replace(_sound(file, units, gap_mm), quantity=quantities.get(name, 1)))
        except MeshflowError as error:
            if not leave_out:
                raise
            bad.append(_left_out(name, error))
    return parts, bad


def _sound(file: str | Path, units: str | None, gap_mm: float) -> Part:
    from meshflow.drawing import read_part
    from meshflow.nest.inputs import check_part

    part = read_part(file, units=units, gap_mm=gap_mm)
    check_part(replace(part, grain_deg=None))  # what its turns will be is not known yet
    return part


def _along_the_grain(parts: Sequence[Part], leave_out: bool) -> tuple[list[Part], list[Finding]]:
    """Return the parts whose turns do not contradict their grain, and what is wrong with the others."""
    from meshflow.nest.grain import check_grain

    sound: list[Part] = []
    bad: list[Finding] = []
    for part in parts:
        try:
            check_grain(part)
            sound.append(part)
        except NestError as error:
            if not leave_out:
                raise
            bad.append(_left_out(part.name, error))
    return sound, bad


def _none_left(bad: Sequence[Finding]) -> NestError:
    return NestError(f"none of the parts is any good: {bad[0].text}", where=bad[0].where, remedy=bad[0].remedy)


def _left_out(name: str, error: MeshflowError) -> Finding:
    return Finding("N105", Severity.WARNING, f"left out: {error.what}", error.remedy, where=name)


def _sheets_beyond(folder: Path, written: Sequence[str]) -> tuple[str, ...]:
    """Return the drawings of sheets and offcuts in a folder that this nest did not write."""
    named = {Path(name).name for name in written}
    return tuple(
        sorted(path.name for path in folder.iterdir() if _SHEET_FILE.fullmatch(path.name) and path.name not in named)
    )
