"""Check a folder that a job was written into: every hash, every drawing against its surface, every nest, every tool.

What is read is read anew by `meshflow.verify`, which shares no code with what wrote it; nests go through their own
independent check. The record says what belongs into the folder and what each contour shall be.

Findings: J120 a file is missing, J121 a file was changed, J122 a drawing cannot be read, J123 an outline lies off its
surface, J124 a drawing shows the wrong side or is not whole, J125 drawings of one part differ, J126 a sheet does not
show its parts, J127 a nest does not hold, J128 the record says less than is needed, J129 a file the record does not
know. J130 to J134, of tools and reliefs, are said in `meshflow.job.verify_tools`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from meshflow.errors import InputError
from meshflow.job.outputs import ON_SCAN, RECORD, SURFACE
from meshflow.job.verify_nest import nest_findings
from meshflow.job.verify_tools import check_tools
from meshflow.model.finding import Finding, Severity
from meshflow.verify import Lifted, ReadDrawing, ReadingError, lift_part, read_drawing, read_surface, same_contours
from meshflow.verify.lift import CURVE_MM
from meshflow.verify.on_sheet import SAME_MM

__all__ = ["ContourCheck", "Verification", "verify_folder"]

SCHEMA: Final = "meshflow-verify-1"
_SLACK_MM = 0.01  # what the formed piece may add to the tolerance of the flat: it is stretched
_DRAWN_MM = 0.004  # the chords of this check; with gaps, the straight lines over them
_VERSIONS = ("R12", "R2000", "R2010", "R2018")


@dataclass(frozen=True)
class ContourCheck:
    """How far the contours of one drawing lie from the rim of their surface.

    Parameters
    ----------
    file : str
        The drawing.
    part : str
        The part.
    error_mm, allowed_mm : float
        Largest error, and what the tolerance of the contour allows [mm].
    at_mm : (float, float)
        Where in the drawing [mm].
    contours : int
        How many were lifted.
    curve_error_mm : float
        Largest distance of marks and further holes from the part's curves on the scan [mm].
    """

    file: str
    part: str
    error_mm: float
    allowed_mm: float
    at_mm: tuple[float, float]
    contours: int
    curve_error_mm: float


@dataclass(frozen=True)
class Verification:
    """What checking a folder came to.

    Parameters
    ----------
    folder : str
        The folder.
    files : int
        How many files had the right hash.
    drawings : int
        How many drawings were read again.
    contours : tuple of ContourCheck
        One for each drawing of a part.
    nests : int
        How many nests hold.
    findings : tuple of Finding
        What is wrong; empty when all is as it was written.
    solids : int
        How many bodies of tools hold, each in STL and 3MF.
    reliefs : int
        How many reliefs hold.
    """

    folder: str
    files: int
    drawings: int
    contours: tuple[ContourCheck, ...]
    nests: int
    findings: tuple[Finding, ...]
    solids: int = 0
    reliefs: int = 0

    @property
    def passed(self) -> bool:
        """Whether nothing is wrong."""
        return not any(finding.severity is Severity.REFUSE for finding in self.findings)

    @property
    def error_mm(self) -> float:
        """Largest error of all outlines [mm]; 0 without any."""
        return max((check.error_mm for check in self.contours), default=0.0)

    def to_json(self) -> dict[str, Any]:
        """Return the check as plain data."""
        return {
            "schema": SCHEMA,
            "folder": self.folder,
            "passed": self.passed,
            "files": self.files,
            "drawings": self.drawings,
            "nests": self.nests,
            "solids": self.solids,
            "reliefs": self.reliefs,
            "largest_error_mm": _plain(self.error_mm),
            "contours": [
                {
                    "file": check.file,
                    "part": check.part,
                    "error_mm": _plain(check.error_mm),
                    "allowed_mm": _plain(check.allowed_mm),
                    "at_mm": list(check.at_mm),
                    "contours": check.contours,
                    "curve_error_mm": _plain(check.curve_error_mm),
                }
                for check in self.contours
            ],
            "findings": [{**finding.to_json(), "where": finding.where} for finding in self.findings],
        }


def _plain(value: float) -> float | None:
    return round(value, 6) if value < float("inf") else None


def verify_folder(folder: str | Path, *, progress: Callable[[str, float], None] | None = None) -> Verification:
    """Check the folder of a job.

    Parameters
    ----------
    folder : path-like
        Folder with ``job.record.json``.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    Verification
        ``passed`` says whether everything is as it was written.

    Raises
    ------
    InputError
        If there is no record to hold the folder against.
    """
    root = Path(folder)
    record = _record(root)
    return _Checking(root, record, progress or (lambda what, share: None)).result()


def _record(root: Path) -> dict[str, Any]:
    path = root / RECORD
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
        if record["schema"] != "meshflow-record-1" or not all(
            isinstance(one["file"], str) for one in record["outputs"]
        ):
            raise ValueError("it is no record of a job")
        return dict(record)
    except FileNotFoundError as error:
        remedy = "Name the folder that `meshflow run` wrote into."
        raise InputError("there is no job record in this folder.", where=str(path), remedy=remedy) from error
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError(
            f"the job record cannot be read ({error}).", where=str(path), remedy="Run the job again."
        ) from error


def _fault(code: str, where: str, text: str, remedy: str = "Do not cut from it: run the job again.") -> Finding:
    return Finding(code, Severity.REFUSE, text, remedy, where=where)


class _Checking:
    """One check of one folder."""

    def __init__(self, root: Path, record: dict[str, Any], progress: Callable[[str, float], None]) -> None:
        self._root, self._record, self._progress = root, record, progress
        self._findings: list[Finding] = []
        self._read: dict[str, ReadDrawing] = {}
        self._contours: list[ContourCheck] = []

    def result(self) -> Verification:
        files = self._hashes()
        self._strangers()
        for output in self._record["outputs"]:
            if output["file"].endswith(".dxf"):
                self._drawing(output["file"])
        parts = self._record.get("parts") or []
        for number, part in enumerate(parts):
            try:
                self._progress(f"{part['name']}: lifting", number / len(parts))
                if part["contour"]["drawn"]:
                    self._part(part)
            except (KeyError, TypeError, ValueError, AttributeError) as error:
                text = f"what it says of a part is not enough to check it ({type(error).__name__}: {error})."
                self._findings.append(_fault("J128", RECORD, text))
        self._packs()
        found, nests = nest_findings(self._root, self._record, self._read)
        self._findings += found
        tools = check_tools(self._root, self._record, self._progress)
        self._findings += tools.findings
        return Verification(
            str(self._root),
            files,
            len(self._read),
            tuple(self._contours),
            nests,
            tuple(self._findings),
            solids=tools.solids,
            reliefs=tools.reliefs,
        )

    def _inside(self, name: str) -> Path | None:
        """Return the path of an output, None for one that would lie outside the folder."""
        path = self._root / name
        return path if path.resolve().is_relative_to(self._root.resolve()) else None

    def _hashes(self) -> int:
        sound = 0
        for output in self._record["outputs"]:
            name, path = output["file"], self._inside(output["file"])
            self._progress(f"{name}: hashing", 0.0)
            try:
                data = None if path is None else path.read_bytes()
            except OSError:
                data = None
            if data is None:
                self._findings.append(_fault("J120", name, "it is missing, or cannot be read."))
            elif hashlib.sha256(data).hexdigest() != output["sha256"]:
                self._findings.append(_fault("J121", name, "it was changed since it was written: its hash is another."))
            else:
                sound += 1
        return sound

    def _strangers(self) -> None:
        """Warn of drawings and bodies beside ours that the record does not know: somebody might work from them."""
        known = {output["file"] for output in self._record["outputs"]}
        for places in ("patterns/*.dxf", "sheets/*.dxf", "tools/*/*.dxf", "tools/*/*.stl", "tools/*/*.3mf"):
            for path in sorted(self._root.glob(places)):
                name = path.relative_to(self._root).as_posix()
                if name not in known:
                    what = "drawing" if path.suffix == ".dxf" else "body"
                    text = f"this {what} is not of this job: nothing here vouches for it."
                    self._findings.append(Finding("J129", Severity.WARNING, text, "Move it elsewhere.", where=name))

    def _packs(self) -> None:
        """Hold what went to suppliers against the sheet or the part of the same name."""
        for name in self._read:
            if not name.startswith("packs/"):
                continue
            stem = name.rsplit("/", 1)[1]
            for own in (f"sheets/{stem}", f"patterns/{stem}"):
                if own in self._read and same_contours(self._read[own], self._read[name]) > SAME_MM:
                    self._findings.append(_fault("J125", name, f"its contours differ from those of {own}."))

    def _drawing(self, name: str) -> None:
        path = self._inside(name)
        if path is None or not path.is_file():
            return
        try:
            self._read[name] = read_drawing(path)
        except ReadingError as error:
            self._findings.append(_fault("J122", name, f"{error}."))

    def _part(self, part: dict[str, Any]) -> None:
        stem = f"patterns/{part['name']}"
        names = [
            name for name in (f"{stem}.dxf", *(f"{stem}.{version}.dxf" for version in _VERSIONS)) if name in self._read
        ]
        if not names:
            self._findings.append(_fault("J128", stem, "no drawing of this part can be checked."))
            return
        try:
            surface = read_surface(self._root / f"{stem}{SURFACE}")
        except ReadingError as error:
            self._findings.append(_fault("J128", f"{stem}{SURFACE}", f"{error}: the outline cannot be lifted."))
            return
        curves = self._read.get(f"{stem}{ON_SCAN}")
        contour = part["contour"]
        tolerance = float(contour["tolerance_mm"])
        for name in names:
            lifted = lift_part(
                self._read[name],
                surface,
                tolerance=tolerance,
                outside=float(contour["allowance_mm"]) + 0.5 * float(contour["kerf_compensated_mm"]),
                netted=not contour["allowance_everywhere"],
                gap=float(contour["tab_gap_mm"]),
                curves=curves.contours if curves else (),
                opposite=bool(part.get("opposite_of")),
            )
            allowed = tolerance * max(1.0, float(part.get("stretch_p99", 1.0))) + _SLACK_MM
            self._judge(name, part["name"], lifted, allowed, float(contour["tab_gap_mm"]))
        self._compare(names)

    def _judge(self, name: str, part: str, lifted: Lifted, allowed: float, gap: float) -> None:
        self._contours.append(
            ContourCheck(name, part, lifted.error_mm, allowed, lifted.at, lifted.contours, lifted.curve_error_mm)
        )
        self._findings += [_fault("J124", name, f"{fault}.") for fault in lifted.faults]
        at = f"x {lifted.at[0]:.2f}, y {lifted.at[1]:.2f} mm"
        if not lifted.error_mm <= allowed:
            text = f"its contours lie up to {lifted.error_mm:.3f} mm off the surface, at {at}; {allowed:.3f} mm may be."
            self._findings.append(_fault("J123", name, text))
        if not lifted.drawn_error_mm <= _DRAWN_MM + 0.1 * gap**2:
            text = f"its contours lie up to {lifted.drawn_error_mm:.3f} mm off those that the part was made with."
            self._findings.append(_fault("J123", name, text))
        if not lifted.curve_error_mm <= CURVE_MM:
            text = f"marks or holes lie up to {lifted.curve_error_mm:.3f} mm from where they belong on the scan."
            self._findings.append(_fault("J123", name, text))

    def _compare(self, names: list[str]) -> None:
        """Hold the versions of one drawing against each other."""
        for other in names[1:]:
            apart = same_contours(self._read[names[0]], self._read[other])
            if apart > SAME_MM:
                self._findings.append(_fault("J125", other, f"its contours differ from those of {names[0]}."))
