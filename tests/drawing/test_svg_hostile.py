"""SVG files that mean harm: they are refused soon, in a sentence, and open nothing."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from svg_drawings import svg

from meshflow.drawing import read_part
from meshflow.errors import InputError

ROOT = '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm" viewBox="0 0 9 9">'
LAUGHS = "".join(f"<!ENTITY l{k} '" + f"&l{k - 1};" * 10 + "'>" for k in range(1, 12))
TENFOLD = [f'<g id="u{k}">' + f'<use href="#u{k - 1}"/>' * 10 + "</g>" for k in range(1, 9)]
USES = '<g id="u0"><circle r="1"/></g>' + "".join(TENFOLD)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f'<!DOCTYPE svg [<!ENTITY l0 "ha">{LAUGHS}]>{ROOT}<desc>&l11;</desc></svg>', "unfold without end"),
        (f'<!DOCTYPE svg [<!ENTITY a "{"x" * 5000}">]>{ROOT}<desc>{"&a;" * 50}</desc></svg>', "unfold without end"),
        (f'<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///etc/passwd">]>{ROOT}<text>&a;</text></svg>', "another file"),
        (f'<!DOCTYPE svg [<!ENTITY % a SYSTEM "http://127.0.0.1:9/x"> %a;]>{ROOT}</svg>', "another file"),
        (f"<!DOCTYPE svg [<!ENTITY % a \"<!ENTITY b 'c'>\"> %a;]>{ROOT}</svg>", "unfold without end"),
        (ROOT + "<g>" * 2000 + "</g>" * 2000 + "</svg>", "nests them deeper"),
        (ROOT + "<g/>" * 250_000 + "</svg>", "more elements"),
        (ROOT + '<path d="M0 0C1e6 0 0 1e6 1 1' + "c1e6 0 0 1e6 1 1" * 5000 + '"/></svg>', "more lines and arcs than"),
        (f"{ROOT}<path d='M0 0h5v5z'/>", "damaged or cut short"),
        (f"{ROOT}<path d='M0 0h5v5z></svg>", "damaged or cut short"),
        ("<html><body/></html>", "not an SVG file"),
        ('<?xml version="1.0" encoding="klingon"?>' + ROOT + "</svg>", "damaged or cut short"),
        (
            f"{ROOT}{USES}</svg>",
            "use each other without end",
        ),
    ],
    ids=[
        *("laughs", "long word", "file", "address", "parameter", "deep", "many", "wide curves"),
        *("cut short", "open quote", "page", "encoding", "uses"),
    ],
)
def test_it_is_refused_soon_and_in_a_sentence(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "plate.svg"
    path.write_text(text, encoding="utf-8")
    start = time.process_time()
    with pytest.raises(InputError, match=said) as caught:
        read_part(path)
    assert time.process_time() - start < 20.0  # a hang, not a speed: these take a second or two
    assert str(caught.value).startswith(str(path))


def test_a_long_path_used_again_and_again_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("meshflow.drawing.curve_maker._MOST_PIECES", 20_000)  # two million take a while
    path = tmp_path / "plate.svg"
    for uses, said in ((3, "open contour"), (5, "more lines and arcs than")):
        long = '<path id="p" d="M0 0' + "l1 1" * 5000 + '"/>' + '<use href="#p" x="9"/>' * (uses - 1)
        path.write_text(svg(long))
        with pytest.raises(InputError, match=said):
            read_part(path)


def test_scripts_and_outside_pictures_are_left_alone(tmp_path: Path) -> None:
    body = '<script href="http://127.0.0.1:9/x.js">boom()</script><image href="file:///etc/passwd"/><circle r="3"/>'
    path = tmp_path / "plate.svg"
    path.write_text(svg(body))
    assert [note.code for note in read_part(path).notes] == ["D206"]


def test_what_is_no_plain_file_is_refused(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "gone.svg", "a\0b.svg"):
        with pytest.raises(InputError, match="cannot be read"):
            read_part(path)
    with pytest.raises(InputError, match=r"not a file|cannot be read"):
        read_part("/dev/null")
