"""From the records of a document to its HTML: what each section shows, and the one template engine.

The templates hold the words that never change; the figures and sentences that depend on the job are made here and in
`meshflow.report.words`.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from meshflow.errors import OptionError
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import SheetLayout
from meshflow.model.pattern import FlatPattern, Verdict
from meshflow.model.region import Region
from meshflow.model.surface import evidence_words
from meshflow.report import words
from meshflow.report.assembly_view import fastener_rows
from meshflow.report.figures import FURTHER_KEY_WORDS, legend_svg, pattern_svg_and_squares, sheet_svg
from meshflow.report.maps import further_map, stretch_map
from meshflow.report.orders import MM2_PER_DM2, MM2_PER_FT2, AreaLine, order_list
from meshflow.report.tables import distortion_rows, forming_rows, piece_rows

if TYPE_CHECKING:
    from jinja2 import Environment

    from meshflow.report.document import AssemblyEntry, DocumentInput, NestEntry, PartEntry, ToolEntry

__all__ = ["rendered"]

_TEMPLATES = Path(__file__).parent / "templates"
_SIDES = {
    "outer": "its outer face",
    "middle": "the middle of its thickness",
    "inner": "its inner face",
}
_FACES_UP = {"outer": "the outer face", "inner": "the inner face"}
_LEATHER_UP = {"outer": "the grain side (the outer face)", "inner": "the flesh side (the inner face)"}
_NEVER_THIN = ("cloth", "leather")
_SEVERITY = {Severity.NOTE: "Note", Severity.WARNING: "Warning", Severity.REFUSE: "Refused"}


def rendered(job: DocumentInput) -> str:
    """Return the HTML of a job; see `meshflow.report.document.document`."""
    _check_names(job)
    style = (_TEMPLATES / "style.css").read_text(encoding="utf-8")
    # The policy names this very style by its hash, so nothing that slips into the page can bring its own.
    digest = base64.b64encode(hashlib.sha256(style.encode("utf-8")).digest()).decode("ascii")
    stuff = [(entry.part, entry.material_name or entry.part.material, entry.material_family) for entry in job.parts]
    nests = [(entry.nest, entry.material_name, entry.thickness_mm) for entry in job.nests]
    orders = order_list(stuff, nests, hide_yield=job.hide_yield)
    return _environment().get_template("document.html.j2").render(
        job=job,
        style=style,
        style_hash=digest,
        parts=[_part_view(entry, number) for number, entry in enumerate(job.parts, start=1)],
        sheets=_sheet_views(job),
        assemblies=[_assembly_view(entry, number) for number, entry in enumerate(job.assemblies, start=1)],
        reliefs=[
            {"anchor": f"relief-{number}", "entry": entry, "picture": _in_letters(entry.picture)}
            for number, entry in enumerate(job.reliefs, start=1)
        ],
        tools=[_tool_view(entry, number) for number, entry in enumerate(job.tools, start=1)],
        orders=orders,
        areas=[_area_view(line) for line in orders.areas],
        attention=_attention(job),
        facts=_fact_views(job),
    )  # fmt: skip


def _check_names(job: DocumentInput) -> None:
    names = [entry.part.name for entry in job.parts]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise OptionError(
            f"two parts of the job have the same name: {', '.join(twice)}.",
            where=job.title,
            remedy="Give each part its own name.",
        )


def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters.update(href=_href, severity=_SEVERITY.__getitem__)
    return environment


def _href(path: str) -> str:
    """Return a link to a file beside the document: no scheme, no host, whatever the name holds."""
    return "./" + quote(path.replace("\\", "/").lstrip("/"))


def _part_view(entry: PartEntry, number: int) -> dict[str, Any]:
    """Return what the template shows of a part."""
    part, pattern = entry.part, entry.shown_pattern
    material = entry.material_name or part.material
    view: dict[str, Any] = {
        "entry": entry,
        "part": part,
        "number": number,
        "anchor": f"part-{number}",
        "material": material,
        "rows": [*piece_rows(part, laid_flat=pattern is not None)],
        "findings": _findings(entry),
        "tag": "From a drawing",
        "tone": "plain",
        "pattern": pattern,
    }
    return view if pattern is None else {**view, **_pattern_view(entry, pattern, material, number)}


def _pattern_view(entry: PartEntry, pattern: FlatPattern, material: str, number: int) -> dict[str, Any]:
    """Return what the template shows of the flattening."""
    from markupsafe import Markup

    up = _LEATHER_UP if entry.material_family == "leather" else _FACES_UP
    over = pattern.verdict in (Verdict.OVER_LIMIT, Verdict.OVER_LIMIT_NO_UNCUT_PATTERN)
    picture, pooled = pattern_svg_and_squares(pattern, entry.part, stretch_map(pattern), key=f"flat-{number}")
    return {
        "tag": words.TAGS[pattern.verdict],
        "tone": "over" if over else "good",
        "verdict": words.verdict_words(pattern, material),
        "limits": words.limits_words(pattern.limits),
        "smoothing": words.smoothing_words(pattern),
        "side": _side(pattern.region),
        "face_up": up[pattern.region.face_up],
        "stretch_rows": distortion_rows(pattern, thins=entry.material_family not in _NEVER_THIN),
        "forming_rows": forming_rows(pattern),
        "forming_title": "The blank and its thickness" if pattern.forming is not None else "The weave",
        "pooled_mm": pooled,
        # Safe: both builders escape every name they set.
        "picture": Markup(picture),
        "legend": Markup(legend_svg(pattern, key=f"key-{number}")),
        "further": _further_view(entry, pattern, number),
    }


def _further_view(entry: PartEntry, pattern: FlatPattern, number: int) -> dict[str, Any] | None:
    """Return the picture of thickness or shear, for the pieces that have one."""
    from markupsafe import Markup

    shown = further_map(pattern)
    if shown is None:
        return None
    picture, pooled = pattern_svg_and_squares(pattern, entry.part, shown, key=f"further-{number}")
    return {
        "name": shown.name,
        "words": FURTHER_KEY_WORDS[shown.name],
        "pooled_mm": pooled,
        # Safe: both builders escape every name they set.
        "picture": Markup(picture),
        "legend": Markup(legend_svg(pattern, key=f"further-key-{number}", shown=shown)),
    }


def _side(region: Region) -> str:
    """Return how the material lies to the scan."""
    face, off = _SIDES[region.side], region.layer_offset_mm
    if off == 0.0:
        return f"The scan shows {face}"
    return f"{face[0].upper()}{face[1:]} lies {abs(off):g} mm {'outside' if off > 0 else 'inside'} the scanned surface"


def _findings(entry: PartEntry) -> tuple[Finding, ...]:
    """Return all that region, pattern, part and caller noted, each once, in the order of the work."""
    pattern = entry.shown_pattern
    carried = (*pattern.region.notes, *pattern.notes) if pattern is not None else ()
    return tuple(dict.fromkeys((*carried, *entry.part.notes, *entry.findings)))


def _sheet_views(job: DocumentInput) -> list[dict[str, Any]]:
    """Return one view for each nest, with one for each of its sheets; sheets are numbered through the job."""
    views, number = [], 0
    for entry in job.nests:
        sheets = []
        for index, layout in enumerate(entry.nest.sheets):
            number += 1
            sheets.append(_sheet_view(job, entry, layout, index, number))
        views.append({"entry": entry, "nest": entry.nest, "sheets": sheets})
    return views


def _sheet_view(job: DocumentInput, entry: NestEntry, layout: SheetLayout, index: int, number: int) -> dict[str, Any]:
    from markupsafe import Markup

    parts = [item.part for item in job.parts]
    picture = sheet_svg(layout, parts, key=f"sheet-{number}", margin_mm=entry.nest.margin_mm)
    return {
        "anchor": f"sheet-{number}",
        "number": number,
        "layout": layout,
        "picture": Markup(picture),  # safe: the builder escapes every name it sets
        "files": entry.sheet_files[index] if index < len(entry.sheet_files) else (),
    }


def _assembly_view(entry: AssemblyEntry, number: int) -> dict[str, Any]:
    """Return what the template shows of an assembly."""
    return {
        "anchor": f"assembly-{number}",
        "assembly": entry.assembly,
        "layers": entry.layers,
        "rows": fastener_rows(entry.assembly),
        "picture": _in_letters(entry.picture),
        "files": entry.files,
    }


def _tool_view(entry: ToolEntry, number: int) -> dict[str, Any]:
    """Return what the template shows of a tool."""
    return {
        "anchor": f"tool-{number}",
        "entry": entry,
        "pictures": [(what, _in_letters(picture)) for what, picture in entry.pictures],
    }


def _in_letters(picture: bytes) -> str:
    """Return a picture as it stands in the page."""
    return base64.b64encode(picture).decode("ascii")


def _area_view(line: AreaLine) -> dict[str, str]:
    """Return a line of the order list in the units of the counter: dm2 and ft2 for hide, m2 or cm2 for sheet."""
    if not line.is_hide:
        return {"net": words.area(line.net_mm2), "gross": "", "in_feet": ""}
    low, high = line.gross_mm2
    return {
        "net": f"{line.net_mm2 / MM2_PER_DM2:.1f} dm²",
        "gross": f"{low / MM2_PER_DM2:.0f} to {high / MM2_PER_DM2:.0f} dm²",
        "in_feet": f"{low / MM2_PER_FT2:.1f} to {high / MM2_PER_FT2:.1f} ft²",
    }


def _attention(job: DocumentInput) -> list[tuple[str, str]]:
    """Return what the maker must mind before cutting: link target and sentence."""
    items = []
    for number, entry in enumerate(job.parts, start=1):
        pattern = entry.shown_pattern
        over = pattern is not None and pattern.verdict in (Verdict.OVER_LIMIT, Verdict.OVER_LIMIT_NO_UNCUT_PATTERN)
        said = [words.TAGS[pattern.verdict].lower()] if over and pattern is not None else []
        if evidence_words(entry.part.conjectured_share, 0.0):
            said.append(f"{words.percent(entry.part.conjectured_share)} of it is conjecture")
        items.append((f"part-{number}", entry.part.name, said + _warnings(_findings(entry))))
    for nested in job.nests:
        for name, count in nested.nest.unplaced:
            items.append(("sheets", name, [f"{count} piece{'s' if count > 1 else ''} found no place on a sheet"]))
    items += [
        (f"assembly-{number}", one.assembly.name, _warnings(one.assembly.notes))
        for number, one in enumerate(job.assemblies, start=1)
    ]
    items += [
        (f"relief-{number}", one.name, _warnings(one.findings)) for number, one in enumerate(job.reliefs, start=1)
    ]
    items += [
        (f"tool-{number}", one.tool.name, _warnings(one.tool.notes)) for number, one in enumerate(job.tools, start=1)
    ]
    items += [("scans", scan.file, _warnings(scan.findings)) for scan in job.scans]
    return [(anchor, f"{name}: {', '.join(said)}.") for anchor, name, said in items if said]


def _warnings(findings: Iterable[Finding]) -> list[str]:
    severities = [finding.severity for finding in findings]
    counts = [(severities.count(Severity.WARNING), "warning"), (severities.count(Severity.REFUSE), "refusal")]
    return [f"{count} {kind}{'s' if count > 1 else ''}" for count, kind in counts if count]


def _fact_views(job: DocumentInput) -> list[dict[str, str]]:
    """Return the stock figures used, each once, with how far they can be trusted."""
    rows: list[dict[str, str]] = []
    for entry in job.parts:
        for label, fact in entry.facts.items():
            row = {
                "of": entry.material_name or entry.part.material,
                "label": label,
                "value": words.fact_value(fact),
                "source": words.plain_source(fact.source),
                "trust": words.trust(fact.mark),
            }
            if row not in rows:
                rows.append(row)
    if any(entry.material_family == "leather" for entry in job.parts):
        fact = job.hide_yield
        rows.append(
            {
                "of": "hide",
                "label": "cutting yield",
                "value": words.fact_value(fact),
                "source": fact.source,
                "trust": words.trust(fact.mark),
            }
        )
    return rows
