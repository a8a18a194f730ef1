"""Help, usage and exit codes of the command line."""

from __future__ import annotations

import os
import re
import subprocess
import sys

import pytest
from click.testing import CliRunner
from meshflow_cli.commands.tool import KINDS
from meshflow_cli.main import COMMANDS, cli

import meshflow

PROGRAMS = (["-m", "meshflow"], ["-m", "meshflow_cli"])


def test_the_list_of_commands_says_what_each_is_for(meshflow):
    said = meshflow("--help")
    assert (said.code, said.err) == (0, "")
    for name, purpose in COMMANDS.items():
        assert re.search(rf"^  {name} +{re.escape(purpose)}$", said.out, re.MULTILINE)


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("flag", ["--help", "-h"])
def test_each_command_has_help_that_begins_with_its_purpose(command, flag):
    result = CliRunner().invoke(cli, [command, flag])
    assert result.exit_code == 0
    assert result.output.startswith(f"Usage: cli {command} ")
    assert " ".join(result.output.split("\n\n")[1].split()) == COMMANDS[command]
    assert all(len(line) <= 110 for line in result.output.splitlines())


def test_every_option_says_what_it_is_for():
    for name in COMMANDS:
        command = cli.get_command(None, name)
        for option in command.params:
            assert option.param_type_name == "argument" or option.help, f"{name} {option.name}"


def test_the_version_is_that_of_the_library(meshflow):
    assert meshflow("--version").out == f"meshflow, version {sys.modules['meshflow'].__version__}\n"


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("chek", "wall.stl"),
        ("--verbose",),
        ("check",),
        ("check", "a.stl", "b.stl"),
        ("check", "wall.stl", "--units", "parsec"),
        ("flatten", "wall.stl", "--units", "mm"),
        ("flatten", "wall.stl", "--units", "mm", "--out", "o", "--side", "top"),
        ("flatten", "wall.stl", "--units", "mm", "--out", "o", "--thickness", "thick"),
        ("flatten", "wall.stl", "--units", "mm", "--out", "o", "--thickness", "9 oz"),
        ("flatten", "wall.stl", "--units", "mm", "--out", "o", "--thickness", "-1"),
        ("flatten", "wall.stl", "--units", "mm", "--out", "o", "--thickness", "nan"),
        ("flatten", "wall.stl", "--units", "mm", "--out", "o", "--smooth", "0"),
        ("flatten", "wall.stl", "--units", "mm", "--out", "o", "--smooth", "much"),
        ("flatten", "wall.stl", "--units", "mm", "--out", "o", "--tolerance", "0"),
        ("flatten", "wall.stl", "--units", "mm", "--out", "o", "--tolerance", "inf"),
        ("flatten", "wall.stl", "--units", "mm", "--out", "o", "--dxf", "R14"),
        ("nest", "--sheet", "500x400", "--out", "o"),
        ("nest", "wall.dxf", "--out", "o"),
        ("nest", "wall.dxf", "--sheet", "500x400"),
        ("nest", "wall.dxf", "--sheet", "500x400", "--out", "o", "--quantity", "wall"),
        ("nest", "wall.dxf", "--sheet", "500x400", "--out", "o", "--quantity", "wall=many"),
        ("nest", "wall.dxf", "--sheet", "500x400", "--out", "o", "--quantity", "wall=-1"),
        ("nest", "wall.dxf", "--sheet", "500x400", "--out", "o", "--quantity", "wall=²"),
        ("nest", "wall.dxf", "--sheet", "500x400", "--out", "o", "--quantity", f"wall={5000 * '9'}"),
        ("nest", "wall.dxf", "--sheet", "500x400", "--out", "o", "--quantity", "wall=1", "--quantity", "wall=2"),
        ("nest", "wall.dxf", "--sheet", "500x400", "--out", "o", "--turns", "0,left"),
        ("nest", "wall.dxf", "--sheet", "500x400", "--out", "o", "--turns", "nan"),
        ("nest", "wall.dxf", "--sheet", "500x400", "--out", "o", "--effort", "0"),
        ("nest", "wall.dxf", "--sheet", "500x400", "--out", "o", "--seconds", "0"),
        ("nest", "wall.dxf", "--sheet", "500x400", "--out", "o", "--seconds", "nan"),
        ("nest", "wall.dxf", "--sheet", "500x400", "--out", "o", "--margin", "wide"),
        ("run", "job.toml"),
        ("run", "--out", "o"),
        ("demo",),
        ("stock", "tools"),
        ("schema", "more"),
    ],
    ids=" ".join,
)
def test_wrong_usage_leaves_with_2_and_says_how_it_is_meant(meshflow, shop, arguments):
    said = meshflow(*arguments)
    assert said.code == 2
    assert said.out == ""
    assert said.err.startswith("Usage: meshflow")
    assert not (shop / "o").exists()


@pytest.mark.parametrize("program", PROGRAMS, ids=lambda program: program[1])
def test_the_program_runs_as_a_module(program):
    done = subprocess.run([sys.executable, *program, "--version"], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout, done.stderr) == (0, f"meshflow, version {meshflow.__version__}\n", "")


@pytest.mark.parametrize(
    "arguments",
    [
        *(["--help"], ["flatten", "--help"], ["--version"], ["chek"], ["relief", "--help"], ["tool", "--help"]),
        *(["tool", kind, "--help"] for kind in KINDS),
        ["tool", "punhc"],
    ],
    ids=" ".join,
)
def test_help_is_instant_because_no_heavy_library_is_imported(arguments):
    # What takes the time is numpy and what stands on it; a clock would only measure this computer.
    script = (
        "import sys\nfrom meshflow_cli.main import main\n"
        f"try:\n    main({arguments!r})\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'scipy', 'shapely', 'ezdxf', 'numba', 'matplotlib', 'jinja2', 'pydantic', 'rich'}\n"
        "print('HEAVY', sorted(heavy & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.splitlines()[-1] == "HEAVY []"


@pytest.mark.parametrize(("given", "used"), [(None, "1"), ("3", "3")])
def test_linear_algebra_keeps_to_one_thread_unless_the_user_says_otherwise(given, used):
    # What counts is what the variable says when numpy is loaded, which reads it once.
    code = (
        "import os, sys\n"
        "class Watch:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        "        if name == 'numpy':\n"
        "            print('threads', os.environ.get('OPENBLAS_NUM_THREADS'))\n"
        "            sys.meta_path.remove(self)\n"
        "sys.meta_path.insert(0, Watch())\n"
        "from meshflow_cli.main import main\n"
        "main(['stock', 'materials'])\n"
    )
    environment = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    environment |= {} if given is None else {"OPENBLAS_NUM_THREADS": given}
    script = [sys.executable, "-c", code]
    said = subprocess.run(script, capture_output=True, text=True, timeout=60, env=environment, check=True)
    assert [line for line in said.stdout.splitlines() if line.startswith("threads")] == [f"threads {used}"]
