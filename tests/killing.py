"""A command killed (SIGKILL, no clearing up) before each step it takes in a folder; run as a process of its own.

Called as ``python killing.py FOLDER MODULE FUNCTION STRIDE ARGUMENTS``. When MODULE calls FUNCTION, a child goes on
with the command and is killed before its first step, the next child STRIDE steps later, until one comes to its end. A
step is whatever Python reports to an audit hook that changes files. What lies in the folder is written for each child,
as JSON: ``killed`` once it is dead, and ``next`` once the next command has opened the folder.
"""

from __future__ import annotations

import hashlib
import importlib
import json
import os
import shutil
import signal
import sys
from pathlib import Path
from typing import Any

STEPS = {"os.rename", "os.remove", "os.link", "os.mkdir", "os.rmdir"}
WRITING = os.O_WRONLY | os.O_RDWR


def hashes(folder: Path) -> dict[str, str]:
    """Return the hash of every visible file."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.relative_to(folder).parts[0].startswith(".")
    }


def die_before(step: int) -> None:
    """Let this process be killed before its next step but so many."""
    taken = 0

    def hook(event: str, given: tuple[Any, ...]) -> None:
        nonlocal taken
        if event in STEPS or (event == "open" and isinstance(given[2], int) and given[2] & WRITING):
            if taken == step:
                os.kill(os.getpid(), signal.SIGKILL)
            taken += 1

    sys.addaudithook(hook)


def forking(real: Any, folder: Path, stride: int) -> Any:
    def called(*given: Any, **options: Any) -> Any:
        from meshflow.job.folder import draft_in
        from meshflow.job.run import CACHE_FOLDER

        seen: list[dict[str, Any]] = []
        before = folder.with_name("as-it-was")
        shutil.copytree(folder, before, symlinks=True, ignore=shutil.ignore_patterns(CACHE_FOLDER))
        for step in range(0, 10_000, stride):
            child = os.fork()
            if not child:
                die_before(step)
                return real(*given, **options)
            _, status = os.waitpid(child, 0)
            killed = hashes(folder)
            with draft_in(folder):
                pass
            seen.append({"killed": killed, "next": hashes(folder)})
            shutil.rmtree(folder)
            shutil.copytree(before, folder, symlinks=True)
            if not os.WIFSIGNALED(status):
                sys.stdout.write(json.dumps({"before": hashes(folder), "seen": seen}) + "\n")
                sys.stdout.flush()
                os._exit(0)
        raise AssertionError("it never comes to its end")

    return called


def main() -> None:
    from meshflow_cli.main import main as meshflow

    folder, module, function, stride, *arguments = sys.argv[1:]
    there = importlib.import_module(module)
    setattr(there, function, forking(getattr(there, function), Path(folder).absolute(), int(stride)))
    meshflow(arguments)


if __name__ == "__main__":
    main()
