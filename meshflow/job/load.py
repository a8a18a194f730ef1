"""Read a job file: every mistake at once, each with its line.

Three passes, stopping after the first that finds mistakes: is it TOML; has it the form of `schema`; do its names mean
something (files, materials, processes, sheets).
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from meshflow.errors import JobFileError, MeshflowError
from meshflow.job.locate import FieldPath, field_lines, line_of_field, written_path
from meshflow.job.plan import JobPlan, PartPlan
from meshflow.job.schema import JobModel, PartRow, SheetRow
from meshflow.model.pattern import Limits
from meshflow.model.stock import Material, Process, Sheet
from meshflow.stock.load import load_stock
from meshflow.stock.lookup import Stock

__all__ = ["load_job"]

T = TypeVar("T")

LARGEST_FILE = 5_000_000  # bytes
# A process that suits a family when the job names none (common practice).
USUAL_PROCESS = {"leather": "knife", "card": "knife", "plastic": "laser_nonmetal"}
TRYOUT_THICKNESS = {"acrylic": 3.0, "card": 1.0}


def load_job(path: str | Path) -> JobPlan:
    """Read and check a job file.

    Parameters
    ----------
    path : path-like
        The TOML file.

    Returns
    -------
    JobPlan
        The job with every name looked up.

    Raises
    ------
    JobFileError
        With one line for every mistake: ``job.toml:41: part[2].material: ...``.
    """
    path = Path(path)
    text = _text_of(path)
    lines = field_lines(text)
    model = _model_of(text, path.name, lines)
    problems = _Problems(path.name, lines)
    stock = _stock_of(model, path, problems)
    plan = _Resolver(model, path, stock, problems).plan()
    problems.raise_if_any()
    return plan


class _Problems:
    """Collects mistakes, so that the maker sees all of them at once."""

    def __init__(self, file: str, lines: dict[FieldPath, int]) -> None:
        self._file, self._lines = file, lines
        self._found: list[tuple[int, str]] = []

    def add(self, where: FieldPath, text: str) -> None:
        line = line_of_field(self._lines, where)
        self._found.append((line, f"{self._file}:{line}: {written_path(where)}: {text}"))

    def trying(self, where: FieldPath, action: Callable[[], T]) -> T | None:
        try:
            return action()
        except JobFileError as error:
            for problem in error.problems:
                self.add(where, problem)
        except MeshflowError as error:
            self.add(where, str(error))
        return None

    def raise_if_any(self) -> None:
        if self._found:
            raise JobFileError([text for _, text in sorted(self._found)])


def _text_of(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise JobFileError([f"{path.name}: over {LARGEST_FILE // 1_000_000} MB: this is no job file."])
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise JobFileError([f"{path.name}: not UTF-8 text. Save it as UTF-8."]) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise JobFileError([f"{path.name}: cannot be read: {reason}. Check the path."]) from error


def _model_of(text: str, file: str, lines: dict[FieldPath, int]) -> JobModel:
    from pydantic import ValidationError

    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"line (\d+)", str(error))
        raise JobFileError([f"{file}:{place[1] if place else 1}: not TOML: {error}."]) from error
    try:
        return JobModel.model_validate(data)
    except ValidationError as error:
        problems = _Problems(file, lines)
        for mistake in error.errors():
            problems.add(_field_path(mistake["loc"]), _in_words(mistake))
        problems.raise_if_any()
        raise


def _field_path(loc: tuple[int | str, ...]) -> FieldPath:
    # pydantic names the branch of a union in the path, e.g. ("part", 0, "smooth", "function-before[...]").
    return tuple(piece for piece in loc if isinstance(piece, int) or re.fullmatch(r"[a-z0-9_\-A-Z]+", piece))


def _in_words(mistake: Any) -> str:
    kind, context = mistake["type"], mistake.get("ctx", {})
    if kind == "extra_forbidden":
        return f"there is no such key. Known: {', '.join(_known_keys(mistake['loc']))}."
    if kind == "missing":
        return "is missing."
    if kind == "literal_error":
        return f"must be one of {context['expected']}."
    if kind == "string_pattern_mismatch":
        return "may hold letters, digits, - and _ only, starts with a letter or digit, 64 at most."
    text = str(mistake["msg"]).removeprefix("Value error, ")
    return f"{text[:1].lower()}{text[1:]}{'' if text.endswith('.') else '.'}"


def _known_keys(loc: tuple[int | str, ...]) -> list[str]:
    model: Any = JobModel
    for piece in loc[:-1]:
        if isinstance(piece, str) and piece in model.model_fields:
            annotation = model.model_fields[piece].annotation
            model = getattr(annotation, "__args__", (annotation,))[0]
    return sorted(model.model_fields)


def _stock_of(model: JobModel, path: Path, problems: _Problems) -> Stock:
    if model.stock is None:
        return load_stock()
    own = path.parent / model.stock
    return problems.trying(("stock",), lambda: load_stock(own)) or load_stock()


class _Resolver:
    """Turns the rows of a job file into plans, looking every name up."""

    def __init__(self, model: JobModel, path: Path, stock: Stock, problems: _Problems) -> None:
        self.model, self.path, self.stock, self.problems = model, path, stock, problems

    def plan(self) -> JobPlan:
        model = self.model
        self._refuse_double_names()
        parts = [made for number, row in enumerate(model.part) for made in self._parts_of(number, row)]
        sheets = [self._sheet(number, row) for number, row in enumerate(model.sheet)]
        return JobPlan(
            title=model.title,
            file=self.path,
            parts=tuple(parts),
            sheets=tuple(sheet for sheet in sheets if sheet is not None),
            margin_mm=model.nest.margin,
            spacing_mm=model.nest.spacing,
            effort=model.nest.effort,
            seconds=model.nest.seconds,
            seed=model.nest.seed,
            dxf_versions=tuple(dict.fromkeys(model.output.dxf)),
            svg=model.output.svg,
            png=model.output.png,
            canonical=model.model_dump(mode="json"),
        )

    def _refuse_double_names(self) -> None:
        names = [row.name.lower() for row in self.model.part]
        names += [f"{row.name.lower()}-tryout" for row in self.model.part if row.tryout]
        often = {name for name, count in Counter(names).items() if count > 1}
        for number, row in enumerate(self.model.part):
            if row.name.lower() in often:
                self.problems.add(("part", number, "name"), f'"{row.name}" names two parts; their files would collide.')

    def _parts_of(self, number: int, row: PartRow) -> list[PartPlan]:
        at = ("part", number)
        mesh = self.path.parent / row.mesh
        if not mesh.is_file():
            self.problems.add((*at, "mesh"), f'there is no file "{row.mesh}" beside the job file.')
        material = self.problems.trying((*at, "material"), lambda: self.stock.material(row.material))
        if material is None:
            return []
        real = self._part(at, row, row.name, material, row.process, row.thickness)
        tryout = self._tryout(at, row) if row.tryout else None
        return [part for part in (real, tryout) if part is not None]

    def _tryout(self, at: FieldPath, row: PartRow) -> PartPlan | None:
        kind = row.tryout or "card"
        material = self.problems.trying((*at, "tryout"), lambda: self.stock.material(kind))
        thickness = row.tryout_thickness or TRYOUT_THICKNESS[kind]
        if material is None:
            return None
        return self._part(at, row, f"{row.name}-tryout", material, None, thickness, tryout_of=row.name)

    def _part(
        self,
        at: FieldPath,
        row: PartRow,
        name: str,
        material: Material,
        process_id: str | None,
        thickness: float,
        *,
        tryout_of: str = "",
    ) -> PartPlan | None:
        wanted = process_id or USUAL_PROCESS.get(material.family, "water_jet")
        process = self.problems.trying((*at, "process"), lambda: self.stock.process(wanted))
        limits = self.problems.trying((*at, "material"), lambda: self.stock.limits(material.id, thickness))
        if process is None or limits is None:
            return None
        if tryout_of:
            limits = _draped(material, limits, thickness)
        self._refuse_unfit_process(at, material, process)
        return PartPlan(
            name=name,
            mesh=self.path.parent / row.mesh,
            material=material,
            process=process,
            thickness_mm=thickness,
            limits=limits,
            units=row.units,
            region=row.region,
            seam=row.seam,
            side=row.side,
            face_up=row.face_up,
            smooth=row.smooth,
            quantity=1 if tryout_of else row.quantity,
            may_mirror=row.may_mirror,
            turns_deg=tuple(row.turns),
            grain_deg=None if tryout_of else row.grain,
            tolerance_mm=row.tolerance,
            tryout_of=tryout_of,
            tryout_kind=row.tryout if tryout_of else None,
        )

    def _refuse_unfit_process(self, at: FieldPath, material: Material, process: Process) -> None:
        refusal = self.stock.refusal(process.id, material.id)
        if refusal:
            self.problems.add((*at, "process"), refusal)

    def _sheet(self, number: int, row: SheetRow) -> Sheet | None:
        at = ("sheet", number)
        found = self.problems.trying((*at, "size"), lambda: self.stock.sheet(row.size))
        material = self.problems.trying((*at, "material"), lambda: self.stock.material(row.material))
        if found is None or material is None:
            return None
        return Sheet(
            id=found.id,
            length_mm=found.length_mm,
            width_mm=found.width_mm,
            material=material.id,
            thickness_mm=row.thickness,
            count=row.count,
            name=found.name,
        )


def _draped(material: Material, limits: Limits, thickness: float) -> Limits:
    """Return the limits of a try-out sheet that is draped hot over the form, where the tables know such a radius."""
    hot = material.facts.get("bend_radius_hot_per_thickness")
    if hot is None:
        return limits
    radius = hot.span[1] * thickness
    return replace(
        limits, least_bend_radius_mm=radius, source=f"{limits.source}; bend radius hot: {hot.mark}, {hot.source}"
    )
