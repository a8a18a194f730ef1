"""The command line as a process of its own: pipes, interrupts, terminals."""

from __future__ import annotations

import io
import os
import re
import select
import signal
import subprocess
import sys
import time

import pytest
from meshflow_cli import console

pty = pytest.importorskip("pty", reason="there are no pseudo-terminals here")

MESHFLOW = [sys.executable, "-m", "meshflow"]
QUIET = {**os.environ, "PYTHONWARNINGS": "error", "COLUMNS": "100"}

# A nest that would take minutes, stopped long before: the effort is high.
LONG = ["nest", "slat.dxf", "--sheet", "400x300", "--quantity", "slat=9", "--effort", "100000", "--out", "sheets"]


@pytest.fixture
def slat(shop):
    from meshflow.drawing import compose_part, write_dxf
    from meshflow.model.curve import Polycurve
    from meshflow.model.part import Part

    write_dxf(compose_part(Part("slat", Polycurve([[0, 0], [90, 0], [70, 30], [0, 40]]))), shop / "slat.dxf")
    return shop


def test_a_reader_that_goes_away_is_no_error():
    read, write = os.pipe()
    os.close(read)
    try:
        done = subprocess.run([*MESHFLOW, "stock"], stdout=write, stderr=subprocess.PIPE, env=QUIET, timeout=60)
    finally:
        os.close(write)
    assert (done.returncode, done.stderr) == (141, b"")


def test_the_first_line_can_be_had_alone():
    script = f'"{sys.executable}" -m meshflow stock | head -n 1'
    done = subprocess.run(["sh", "-c", script], capture_output=True, text=True, env=QUIET, timeout=60)
    assert (done.returncode, done.stdout, done.stderr) == (0, "materials:\n", "")


def test_a_shell_can_complete_commands():
    environment = {**QUIET, "_MESHFLOW_COMPLETE": "bash_complete", "COMP_WORDS": "meshflow fl", "COMP_CWORD": "1"}
    done = subprocess.run(MESHFLOW, capture_output=True, text=True, env=environment, timeout=60)
    assert (done.returncode, done.stdout, done.stderr) == (0, "plain,flatten\n", "")


def test_a_closed_standard_output_is_no_error():
    done = subprocess.run(
        ["sh", "-c", f'"{sys.executable}" -m meshflow stock >&-'], capture_output=True, env=QUIET, timeout=60
    )
    assert b"Traceback" not in done.stderr


def test_letters_that_a_terminal_lacks_are_shown_by_number(shop):
    (shop / "wall.stl").rename(shop / "鞍.stl")
    environment = {**QUIET, "PYTHONIOENCODING": "latin-1"}
    done = subprocess.run(
        [*MESHFLOW, "check", "鞍.stl", "--units", "mm"], capture_output=True, env=environment, timeout=60, cwd=shop
    )
    assert done.returncode == 0
    assert done.stdout.startswith(rb"\u978d.stl: 40.0 x 40.0 x 50.0 mm")


def on_a_terminal(arguments, folder, stop_at=b"never"):
    """Run a command on a terminal, interrupting it once it shows `stop_at`; return all it showed, and its code."""
    master, slave = pty.openpty()
    environment = {**QUIET, "TERM": "xterm"}
    del environment["COLUMNS"]
    process = subprocess.Popen(
        [*MESHFLOW, *arguments], cwd=folder, env=environment, stdin=slave, stdout=slave, stderr=slave, close_fds=True
    )
    os.close(slave)
    shown, deadline, interrupted = b"", time.monotonic() + 60.0, False
    while True:
        if select.select([master], [], [], 0.1)[0]:
            try:
                piece = os.read(master, 65536)
            except OSError:
                break
            if not piece:
                break
            shown += piece
        if stop_at in shown and not interrupted:
            time.sleep(0.3)  # let the line be drawn a few times more
            process.send_signal(signal.SIGINT)
            interrupted = True
        assert time.monotonic() < deadline
    os.close(master)
    return shown.decode(), process.wait(timeout=30)


def screen(shown):
    """What stays on the terminal: the lines after every move up and every erasure."""
    lines, row = [""], 0
    for token in re.findall(r"\x1b\[[0-9;?]*[A-Za-z]|\r\n|\r|\n|[^\x1b\r\n]+", shown):
        if token == "\x1b[2K":
            lines[row] = ""
        elif re.fullmatch(r"\x1b\[\d*A", token):
            row = max(0, row - int(token[2:-1] or 1))
        elif token in ("\n", "\r\n"):
            row += 1
            lines += [""] * (row + 1 - len(lines))
        elif token != "\r" and not token.startswith("\x1b"):
            lines[row] += token
    return [line for line in lines if line.strip()]


def test_a_terminal_shows_progress_after_a_second_and_keeps_no_trace_of_it(slat):
    shown, code = on_a_terminal(LONG, slat, stop_at=b"covered")
    assert code == 130
    assert shown.count("\x1b[?25l") == shown.count("\x1b[?25h") == 1  # the cursor is hidden once and shown again
    lines = [line for line in screen(shown) if "^C" not in line]
    assert [line.split()[0] for line in lines] == ["sheet", "1", "1", "wrote"]
    assert lines[2] == "1 sheet, at least 1 needed; verified; stopped by Ctrl-C: the best so far"


def test_a_terminal_shows_nothing_of_progress_for_short_work(monkeypatch):
    clocks = []

    class Clock:
        """A timer that never comes to its end."""

        daemon = False

        def __init__(self, seconds, action):
            clocks.append((seconds, action.__name__))

        def start(self):
            clocks.append("started")

        def cancel(self):
            clocks.append("cancelled")

        def join(self):
            clocks.append("joined")

    shown = io.StringIO()
    shown.isatty = lambda: True
    monkeypatch.setattr(console.threading, "Timer", Clock)
    monkeypatch.setattr(sys, "stderr", shown)
    with console.progress_line() as progress:
        progress("wall: reading", 0.5)
    assert clocks == [(1.0, "start"), "started", "cancelled", "joined"]
    assert "reading" not in shown.getvalue()


def test_work_that_needs_no_progress_leaves_no_marks_on_a_terminal(shop):
    shown, code = on_a_terminal(["stock", "machines"], shop)
    assert code == 0
    assert "\x1b" not in shown


def test_long_sentences_are_broken_at_the_width_of_the_terminal(shop):
    shown, code = on_a_terminal(["stock", "processes"], shop)
    assert code == 0
    assert max(len(line) for line in shown.splitlines() if " " in line.strip()) <= 110


def test_where_errors_are_piped_progress_is_plain_lines_and_only_after_a_second(capsys, monkeypatch):
    said = [(0.2, "reading"), (0.9, "checking"), (1.1, "mending"), (1.5, "picking"), (2.3, "laying"), (9.0, "laying")]
    now = [0.0]
    monkeypatch.setattr(console.time, "monotonic", lambda: now[0])
    with console.progress_line() as progress:
        for moment, what in said:
            now[0] = moment
            progress(what, 0.5)
    out, err = capsys.readouterr()
    assert (out, err) == ("", "mending ...\nlaying ...\n")
