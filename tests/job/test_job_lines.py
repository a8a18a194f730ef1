"""Where a key stands in a job file: held against the standard library's own reader on whatever text it takes."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshflow.job.locate import field_lines, line_of_field, written_path

TEXT = '''\
# a remark with """ and [brackets]
title = "a # b [c]"
x.y . z = 3 # dotted
stock = """
[[part]]
name = "not a part"
"""
note = \'\'\'
a"""
\'\'\'
[[part]] # the first
name = "a"
turns = [
  1,
  # not an item
  [3,
   4], {a = 1,   b = [2]}
]
[part.sub]
k = 1
[[part]]
"na me" = 'x = 1'
[[part.deep]]
z=1
[[part.deep]]
z=2
[ nest ]
d = 2020-01-01T00:00:00
e = ""
f = \'\'
g = """a\\""" """
h = {}
'''
LINES = {
    ("title",): 2,
    ("x", "y", "z"): 3,
    ("stock",): 4,
    ("note",): 8,
    ("part",): 11,
    ("part", 0): 11,
    ("part", 0, "name"): 12,
    ("part", 0, "turns", 0): 14,
    ("part", 0, "turns", 1): 16,
    ("part", 0, "turns", 1, 1): 17,
    ("part", 0, "turns", 2): 17,
    ("part", 0, "turns", 2, "b", 0): 17,
    ("part", 0, "sub", "k"): 20,
    ("part", 1): 21,
    ("part", 1, "na me"): 22,
    ("part", 1, "deep", 0, "z"): 24,
    ("part", 1, "deep", 1): 25,
    ("part", 1, "deep", 1, "z"): 26,
    ("nest",): 27,
    ("nest", "d"): 28,
    ("nest", "g"): 31,
    ("nest", "h"): 32,
}


def paths(value, path=()):
    """Every path there is in plain data."""
    yield path
    if isinstance(value, dict):
        for key, item in value.items():
            yield from paths(item, (*path, key))
    elif isinstance(value, list):
        for place, item in enumerate(value):
            yield from paths(item, (*path, place))


@pytest.mark.parametrize("path", LINES)
def test_each_field_is_found_on_its_line(path):
    assert field_lines(TEXT)[path] == LINES[path]


def test_every_field_that_the_reader_sees_has_a_line_and_no_other_has():
    assert set(field_lines(TEXT)) == set(paths(tomllib.loads(TEXT))) - {()}


def test_what_is_missing_stands_where_the_thing_above_it_does():
    lines = field_lines(TEXT)
    assert line_of_field(lines, ("part", 1, "material")) == 21
    assert line_of_field(lines, ("part", 0, "turns", 9, "x")) == 13
    assert line_of_field(lines, ("sheet",)) == 1
    assert line_of_field(lines, ()) == 1


def test_paths_are_written_as_the_maker_counts():
    assert written_path(("part", 0, "turns", 2)) == "part[1].turns[3]"
    assert written_path(("nest", "effort")) == "nest.effort"
    assert written_path(("title",)) == "title"


KEYS = st.from_regex(r"[a-z]{1,3}", fullmatch=True)
LEAVES = st.one_of(
    st.integers(0, 9).map(str), st.sampled_from(['"a]b"', "'#'", '"""\n[[part]]\n"""', "'''x\n'''", "true", "1.5"])
)
VALUES = st.recursive(
    LEAVES,
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda items: "[" + ",\n".join(items) + "]")
        | st.dictionaries(KEYS, inner.filter(lambda text: "\n" not in text), max_size=3).map(
            lambda table: "{" + ", ".join(f"{key} = {item}" for key, item in table.items()) + "}"
        )
    ),
    max_leaves=8,
)
TABLES = st.dictionaries(KEYS, VALUES, max_size=4)


@given(head=TABLES, rows=st.lists(TABLES, max_size=4))
def test_any_toml_text_is_walked_like_the_reader_does(head, rows):
    lines = [f"{key} = {item}" for key, item in head.items()]
    for row in rows:
        lines += ["[[rows]] # one more", *(f"{key} = {item}" for key, item in row.items())]
    text = "\n".join(lines) + "\n"
    found = field_lines(text)
    assert set(found) == set(paths(tomllib.loads(text))) - {()}
    for path, line in found.items():
        if isinstance(path[-1], str) and path[-1] != "rows":
            assert path[-1] in text.splitlines()[line - 1]


@given(st.text(alphabet="[]{}\"'=,.#\\\n ab1", max_size=80))
def test_text_that_is_no_toml_is_walked_to_its_end(text):
    assert all(1 <= line <= 1 + text.count("\n") for line in field_lines(text).values())
