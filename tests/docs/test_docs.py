"""The documentation says what the code does: commands, options, job keys, finding codes, links, rooms, the tutorial.

The pages themselves are built with warnings as errors by ``.ci/run``.
"""

from __future__ import annotations

import importlib
import json
import re
import shutil
import tomllib
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from meshflow_cli.commands.tool import KINDS
from meshflow_cli.main import COMMANDS, cli

import meshflow
from meshflow.job.schema import json_schema

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = sorted(page for page in DOCS.rglob("*.md") if "_build" not in page.parts)
TUTORIAL = DOCS / "tutorials" / "from-scan-to-pattern.md"


def text_of(*place: str) -> str:
    return DOCS.joinpath(*place).read_text(encoding="utf-8")


def unbroken(page: Path) -> str:
    """The text of a page with commands that run over several lines put on one."""
    return page.read_text(encoding="utf-8").replace("\\\n", "")


def section(page: str, heading: str) -> str:
    """The part of a page under a second-level heading."""
    found = re.search(rf"^## {re.escape(heading)}\n(.*?)(?=^## |\Z)", page, re.MULTILINE | re.DOTALL)
    assert found, f"no section {heading}"
    return found[1]


def first_cells(text: str) -> list[str]:
    """The names in backticks in the first cell of each row of a table."""
    rows = re.findall(r"^\| (.*?) \|", text, re.MULTILINE)
    return [name for cell in rows for name in re.findall(r"`([^`]+)`", cell)]


# ------------------------------------------------------------------------------------------------------- command line


def options_of(command: str) -> set[str]:
    """The options of a command; of a command with kinds, those of all its kinds."""
    found = importlib.import_module(f"meshflow_cli.commands.{command}").command
    if isinstance(found, click.Group):
        return set().union(*(options_of(f"{command}_{kind}") for kind in found.list_commands(click.Context(found))))
    return {
        name
        for param in found.params
        if param.param_type_name == "option"
        for name in (*param.opts, *param.secondary_opts)
    }


def test_the_reference_has_every_command_in_order():
    headings = re.findall(r"^## (\w+)$", text_of("reference", "command-line.md"), re.MULTILINE)
    assert headings == list(COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_the_reference_lists_exactly_the_options_of_a_command(command):
    listed = {cell.split()[0] for cell in first_cells(section(text_of("reference", "command-line.md"), command))}
    assert listed == options_of(command)


@pytest.mark.parametrize("kind", KINDS)
def test_the_reference_lists_exactly_the_options_of_a_kind_of_tool(kind):
    kinds = re.split(r"^### (\w+)\n", section(text_of("reference", "command-line.md"), "tool"), flags=re.MULTILINE)
    assert kinds[1::2] == list(KINDS)
    listed = {cell.split()[0] for cell in first_cells(kinds[kinds.index(kind) + 1])}
    assert listed == options_of(f"tool_{kind}")


def test_every_command_shown_in_a_page_exists_with_its_options():
    for page in [*PAGES, ROOT / "README.md", ROOT / "DEVELOPERS.md"]:
        for block in re.findall(r"```sh\n(.*?)```", unbroken(page), re.DOTALL):
            for command, rest in re.findall(r"^(?:\S*/)?meshflow (\w+)(.*)$", block, re.MULTILINE):
                assert command in COMMANDS, f"{page.name}: meshflow {command}"
                used = set(re.findall(r"--[a-z-]+", rest))
                assert used <= options_of(command), f"{page.name}: {sorted(used - options_of(command))}"


# ----------------------------------------------------------------------------------------------------------- job file

TABLES = {"JobModel": "The job", "PartRow": "`[[part]]`", "SheetRow": "`[[sheet]]`",
          "StitchRow": "`[[part.stitch]]`", "HoleRow": "`[[part.hole]]`", "BendRow": "`[[part.bend]]`",
          "FoldRow": "`[[part.fold]]`", "NotchRow": "`[[part.notch]]`", "MarkRow": "`[[part.mark]]`",
          "LineRow": "`[[part.line]]`", "ZoneRow": "`[[part.zone]]`",
          "MeasureRow": "`[[measure]]`", "AssemblyRow": "`[[assembly]]`", "SupplierRow": "`[[supplier]]`",
          "ReliefRow": "`[[relief]]`", "PunchRow": "`[[tool]]` punch", "StripRow": "`[[tool]]` strip",
          "FormerRow": "`[[tool]]` former", "CastRow": "`[[tool]]` cast", "BlankRow": "`[[tool]]` blank",
          "RuleDieRow": "`[[tool]]` ruledie",
          "NestRow": "`[nest]`", "ApartRow": "`[[nest.apart]]`", "LockedRow": "`[[nest.locked]]`",
          "OutputRow": "`[output]`"}  # fmt: skip


def table_schema(table: str) -> dict:
    schema = json_schema()
    return schema if table == "JobModel" else schema["$defs"][table]


@pytest.mark.parametrize("table", TABLES)
def test_the_reference_lists_exactly_the_keys_of_a_job_table(table):
    assert first_cells(section(text_of("reference", "job-file.md"), TABLES[table])) == list(
        table_schema(table)["properties"]
    )


@pytest.mark.parametrize("table", TABLES)
def test_the_reference_gives_the_defaults_of_a_job_table(table):
    schema = table_schema(table)
    text = section(text_of("reference", "job-file.md"), TABLES[table])
    rows = re.findall(r"^\| `(\w+)` \|(.*?)\|", text, re.MULTILINE)
    for key, said in rows:
        if key in schema.get("required", ()):
            assert said.strip() == "required", key
        elif key not in ("nest", "output"):
            default = schema["properties"][key]["default"]
            assert said.strip(" `") == ("" if default is None else json.dumps(default)), key


def test_the_jobs_shown_in_the_pages_are_toml_of_known_keys():
    known = {
        "part": "PartRow",
        "sheet": "SheetRow",
        "measure": "MeasureRow",
        "assembly": "AssemblyRow",
        "supplier": "SupplierRow",
        "relief": "ReliefRow",
        "nest": "NestRow",
        "output": "OutputRow",
    }
    kinds = {schema["properties"]["kind"]["const"]: name for name, schema in json_schema()["$defs"].items()
             if name in TABLES and "const" in schema["properties"].get("kind", {})}  # fmt: skip
    for page in ("reference/job-file.md", "tutorials/from-scan-to-pattern.md", "how-to/thickness-and-side.md"):
        for block in re.findall(r"```toml\n(.*?)```", text_of(*page.split("/")), re.DOTALL):
            for key, value in tomllib.loads(block).items():
                rows = value if isinstance(value, list) else [value]
                for row in rows if key in known or key == "tool" else ():
                    table = kinds[row["kind"]] if key == "tool" else known[key]
                    assert set(row) <= set(table_schema(table)["properties"]), page


def test_the_stock_file_shown_in_the_how_to_is_read_without_a_mistake(tmp_path):
    from meshflow.stock import load_stock

    file = tmp_path / "stock.toml"
    block = re.search(r"```toml\n(.*?)```", text_of("how-to", "own-stock.md"), re.DOTALL)
    file.write_text(block[1], encoding="utf-8")
    stock = load_stock(file)
    assert stock.material("copper").id == "cu_dhp"
    assert stock.limits("felt", 3.0).stretch == 0.08
    assert stock.refusal("knife", "felt") == ""


# ------------------------------------------------------------------------------------------------------ finding codes


def test_the_how_to_lists_exactly_the_finding_codes_of_the_code():
    sources = [*(ROOT / "meshflow").rglob("*.py"), *(ROOT / "cli").rglob("*.py")]
    tempers = {"R220"}  # of copper, which stand in the code as well
    used = {code for file in sources for code in re.findall(r'"([MARELFTDNJ]\d{3})"', file.read_text(encoding="utf-8"))}
    listed = re.findall(r"^\| ([MARELFTDNJ]\d{3}) \|", text_of("how-to", "findings.md"), re.MULTILINE)
    assert len(listed) == len(set(listed))
    assert set(listed) == used - tempers


# -------------------------------------------------------------------------------------------- layers, links, citations


def test_the_reference_lists_the_layers_in_their_order():
    from meshflow.model.drawing import LAYERS

    listed = first_cells(section(text_of("reference", "files-written.md"), "Drawings: DXF"))
    assert [name for name in listed if name.isupper()] == [str(layer) for layer in LAYERS]


def anchors(page: Path) -> set[str]:
    """Headings as a link names them."""
    headings = re.findall(r"^#{1,3} (.+)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    plain = (re.sub(r"[^\w\- ]", "", heading.lower()) for heading in headings)
    return {heading.strip().replace(" ", "-") for heading in plain}


@pytest.mark.parametrize("page", [*PAGES, ROOT / "DEVELOPERS.md", ROOT / "README.md"], ids=lambda page: page.stem)
def test_every_link_within_the_project_leads_somewhere(page):
    text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    for target in re.findall(r"\]\(([^)]+)\)", text):
        if re.match(r"[a-z]+:", target):
            continue
        path, _, anchor = target.partition("#")
        file = (page.parent / path).resolve() if path else page
        assert file.exists(), target
        assert not anchor or anchor in anchors(file), target


def test_every_page_is_in_a_table_of_contents():
    listed = {DOCS / "index.md"}
    for page in PAGES:
        for block in re.findall(r"```\{toctree\}\n(.*?)```", page.read_text(encoding="utf-8"), re.DOTALL):
            names = [line for line in block.splitlines() if line and not line.startswith(":")]
            listed |= {page.parent / f"{name}.md" for name in names}
    assert set(PAGES) == listed


def test_every_citation_is_in_the_bibliography():
    known = set(re.findall(r"^@\w+\{(\w+),", text_of("references.bib"), re.MULTILINE))
    cited = {key for page in PAGES for keys in re.findall(r"\{cite\}`([^`]+)`", page.read_text(encoding="utf-8"))
             for key in keys.split(",")}  # fmt: skip
    assert cited <= known


def test_every_room_is_in_the_guide_for_contributors():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rooms = [
        f"`meshflow/{room.name}{'/' if room.is_dir() else ''}`"
        for room in sorted((ROOT / "meshflow").iterdir())
        if not room.name.startswith("__") and (room.suffix == ".py" or (room / "__init__.py").is_file())
    ]
    assert rooms
    assert [room for room in rooms if room not in guide] == []


def test_every_room_has_a_page_of_its_functions():
    for room in (ROOT / "meshflow").glob("*/__init__.py"):
        assert (DOCS / "reference" / "python" / f"{room.parent.name}.md").is_file(), room.parent.name


def test_the_reference_lists_exactly_the_public_names_and_has_the_page_of_each():
    pages = DOCS / "reference" / "python"
    assert set(first_cells((pages / "index.md").read_text(encoding="utf-8"))) == set(meshflow.__all__) - {"__version__"}
    shown = {
        module
        for page in pages.glob("*.md")
        for module in re.findall(r"automodule:: (\S+)", page.read_text(encoding="utf-8"))
    }
    assert set(meshflow._HOME.values()) <= shown


# ----------------------------------------------------------------------------------------------------------- tutorial


def steps() -> list[tuple[str, str]]:
    """The ``meshflow`` commands of the tutorial, each with the output shown for it (empty where none is shown)."""
    found = re.findall(r"```sh\n(meshflow [^\n]*)\n```\n(?:\n```text\n(.*?)```)?", unbroken(TUTORIAL), re.DOTALL)
    assert len(found) >= 5
    return found


NUMBER = r"\d[\d,]*\.?\d*(?:e-?\d+)?"


def same_words(shown: str, printed: str) -> bool:
    """Whether a line of the page, up to its ellipsis, begins a line printed, with numbers within two percent."""
    head = shown.split("...")[0].rstrip(" (")
    form = f"({NUMBER})".join(map(re.escape, re.split(NUMBER, head)))
    found = re.match(form, printed)
    if found is None:
        return False
    pairs = zip(re.findall(NUMBER, head), found.groups(), strict=True)
    values = ((float(ours.replace(",", "")), float(theirs.replace(",", ""))) for ours, theirs in pairs)
    return all(abs(ours - theirs) <= 0.02 * abs(theirs) + 0.51 for ours, theirs in values)


def test_the_tutorial_shows_what_its_commands_print(tmp_path, monkeypatch):
    for file in (ROOT / "sample_meshes").iterdir():
        if file.suffix in {".toml", ".stl", ".ply", ".obj", ".glb", ".3mf", ".dxf"}:
            shutil.copy(file, tmp_path)
    monkeypatch.chdir(tmp_path)
    for command, output in steps():
        words = [word.strip('"') for word in re.findall(r'"[^"]*"|\S+', command)[1:]]
        result = CliRunner().invoke(cli, words, standalone_mode=False)
        printed = [*result.output.splitlines(), *str(result.exception or "").splitlines()]
        for line in filter(None, output.splitlines()):
            if line != "...":
                assert any(same_words(line, other) for other in printed), (command, line, printed)
