"""How the documentation is built: ``sphinx-build -W --keep-going -b html docs docs/_build/html``.

Needs the extra ``docs`` and no network: the theme comes with Sphinx, no page loads a font, a script or a style from
elsewhere.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "cli")]

import meshflow  # noqa: E402

project = "meshflow"
author = "The meshflow authors"
copyright = "The meshflow authors, MIT licence"  # noqa: A001 (Sphinx's own name)
release = version = meshflow.__version__

extensions = ["myst_parser", "sphinx.ext.autodoc", "numpydoc", "sphinxcontrib.bibtex"]
exclude_patterns = ["_build", "examples"]
root_doc = "index"
language = "en"
nitpicky = False

myst_enable_extensions = ["deflist", "fieldlist"]
myst_heading_anchors = 3

bibtex_bibfiles = ["references.bib"]
bibtex_default_style = "plain"
bibtex_reference_style = "author_year"

autodoc_member_order = "bysource"
autodoc_typehints = "none"  # the docstrings say types with shapes and units
autodoc_default_options = {"members": True}
numpydoc_show_class_members = False
numpydoc_class_members_toctree = False

html_theme = "alabaster"
html_static_path = ["_static"]
html_css_files = ["calm.css"]
html_title = f"meshflow {release}"
html_show_sourcelink = False
html_copy_source = False
html_sidebars = {"**": ["about.html", "navigation.html", "searchbox.html"]}
html_theme_options = {
    "description": "From a surface scan to flat patterns, nested sheets and cut files.",
    "fixed_sidebar": True,
    "page_width": "1080px",
    "sidebar_width": "230px",
    "show_powered_by": False,
    "font_family": "Georgia, 'Times New Roman', serif",
    "head_font_family": "Georgia, 'Times New Roman', serif",
    "code_font_size": "0.85em",
}

_UNDERLINED = re.compile(r"^(?P<title>\S.*)$\n^(?:-{3,}|={3,})$", re.MULTILINE)
_TERM = re.compile(r"^(?P<term>\*[^*]+\*|``[^`]+``) {2,}(?P<text>\S.*)$")


def tidy_module_text(app: Any, what: str, name: str, obj: Any, options: Any, lines: list[str]) -> None:
    """Make a module's docstring, written to be read in an editor, fit a page that has its own headings.

    Underlined headings become rubrics; a term with its explanation set off by blanks becomes a definition.
    """
    if what != "module":
        return
    text = _UNDERLINED.sub(r".. rubric:: \g<title>\n", "\n".join(lines))
    out: list[str] = []
    in_term = False
    for line in text.split("\n"):
        found = _TERM.match(line)
        if found:
            out += ["", found["term"], f"    {found['text']}"]
        elif in_term and line.startswith("    "):
            out.append(f"    {line.strip()}")
        else:
            out += [""] * in_term + [line]
        in_term = found is not None or (in_term and line.startswith("    "))
    lines[:] = out


def setup(app: Any) -> None:
    """Hook into the build."""
    app.connect("autodoc-process-docstring", tidy_module_text, priority=100)
