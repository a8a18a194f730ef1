"""Records to bytes and back: everything returns as it was, and nothing else ever comes out."""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
import math
import pickle
import zipfile
from collections.abc import Mapping
from enum import Enum
from types import UnionType
from typing import Literal, Union, get_args, get_origin, get_type_hints

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from meshes import flat_disk, laid_flat

from meshflow.job.codec import _MAGIC, _known, from_bytes, to_bytes
from meshflow.model.check import CheckReport
from meshflow.model.curve import Circle, Dot, Motion, Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke
from meshflow.model.finding import Finding, Severity
from meshflow.model.forming import Forming, Shear
from meshflow.model.layout import Nest, Placement, SheetLayout, UsableArea
from meshflow.model.part import Mark, Part, Zone
from meshflow.model.pattern import Seam, Verdict
from meshflow.model.region import Smoothing
from meshflow.model.stock import Flaw, Material, Sheet
from meshflow.model.surface import Evidence, Source, Surface
from meshflow.stock import load_stock


def same(one, two):
    """Whether two values are equal all the way down, types and not-a-numbers included."""
    if isinstance(one, Enum) or one is None:
        return one is two
    if dataclasses.is_dataclass(one):
        fields = dataclasses.fields(one)
        return type(one) is type(two) and all(same(getattr(one, f.name), getattr(two, f.name)) for f in fields)
    if isinstance(one, np.ndarray):
        floats = one.dtype.kind == "f"
        return type(two) is np.ndarray and one.dtype == two.dtype and np.array_equal(one, two, equal_nan=floats)
    if isinstance(one, Mapping):
        return isinstance(two, Mapping) and list(one) == list(two) and all(same(one[key], two[key]) for key in one)
    if isinstance(one, list | tuple):
        return type(one) is type(two) and len(one) == len(two) and all(map(same, one, two))
    return type(one) is type(two) and (one == two or (one != one and two != two))


def records():
    """One or more of every record there is, with nothing left at its default."""
    finding = Finding("M301", Severity.WARNING, "two islands.", "Mend.", 2, (4, 5), "wall.stl")
    source = Source("wall.stl", "ab" * 32, "stl", "in", "user")
    sets = {"label:1": np.array([0, 1]), "group:rim": np.array([2])}
    vertices, faces = flat_disk(50.0, 3)
    count = len(faces)
    surface = Surface(
        vertices,
        faces,
        source=source,
        face_sets=sets,
        face_colours=np.full((count, 4), 200, np.uint8),
        vertex_colours=np.full((len(vertices), 4), 100, np.uint8),
        evidence=np.full(count, Evidence.CONJECTURED, np.uint8),
        face_origin=np.arange(count)[::-1],
        notes=(finding,),
    )
    seams = (Seam("seam-a", "seam-b", 0.25),)
    smoothing = Smoothing(4.0, "by hand", 0.05, 0.2, 0.1, 0.011)
    pattern = laid_flat(vertices, faces, seams=seams, grain_rad=0.5, thickness=0.8, smoothing=smoothing, side="outer")
    some = np.linspace(0.5, 1.5, count)
    forming = Forming(some, 2 * some, 0.8, 100.0, 110.0, 40.0, 2.0, 1.5, 0.05, 0.2, 0.1, 0.5, 0.4)
    pattern = dataclasses.replace(pattern, forming=forming, shear=Shear(some - 1, some, 2 * some, 3 * some, 0.5))
    outline = Polycurve([[0, 0], [10, 0], [10, 5]], [0.0, 0.5, 0.0])
    part = Part(
        "wall",
        outline,
        (Circle((3.0, 2.0), 0.5),),
        (Mark(Layer.MARK_TEXT, Dot((1.0, 1.0)), "name"),),
        "dc01",
        1.0,
        3,
        True,
        (0.0, 180.0),
        "water_jet",
        0.1,
        0.02,
        pattern,
        (finding,),
        Motion(True, 0.25, 1.0, -2.0),
        0.8,
        zones=(Zone(Circle((4.0, 2.0), 1.0), 2),),
    )
    flaws = (Flaw(Circle((20.0, 30.0), 4.0), 1.5), Flaw(outline, 0.0, 2))
    stuff = ("dc01", 1.0, 2, "left over", ("steel",), "USER", "by hand", "scratched")
    sheet = Sheet("500x400", 500.0, 400.0, *stuff, outline, flaws, 12.5)
    usable = UsableArea(190_000.0, 0.41, 0.87)
    layout = SheetLayout(sheet, (Placement("wall", 1, 10.0, 20.0, 90.0, True),), 123.4, 0.55, usable)
    nest = Nest((layout,), (("collar", 2),), 1, True, "effort", 10.0, 3.0, 7, 4, (finding,))
    report = CheckReport(source, 9, 8, (1.0, 2.0, 3.0), 1, 2, (finding,))
    drawing = Drawing("wall", (Stroke(Layer.CUT_OUTSIDE, outline),), (0.0, 0.0, 10.0, 5.0), ("net",), {"units": "mm"})
    stock = load_stock()
    tables = (stock.materials, stock.processes, stock.hides, stock.machines, stock.tolerances)
    return [surface, part, nest, report, drawing, *(next(iter(table.values())) for table in tables)]


def kinds_of(hint, found):
    """Every record and enum type that a value of this type can hold."""
    if isinstance(hint, type) and (dataclasses.is_dataclass(hint) or issubclass(hint, Enum)) and hint not in found:
        found.add(hint)
        if dataclasses.is_dataclass(hint):
            for field in get_type_hints(hint).values():
                kinds_of(field, found)
    for argument in get_args(hint):
        kinds_of(argument, found)
    return found


def kinds_in(value):
    """Every record and enum type that a value does hold."""
    if isinstance(value, Enum):
        yield type(value)
    elif dataclasses.is_dataclass(value):
        yield type(value)
        for field in dataclasses.fields(value):
            yield from kinds_in(getattr(value, field.name))
    elif isinstance(value, Mapping | list | tuple):
        for item in value.values() if isinstance(value, Mapping) else value:
            yield from kinds_in(item)


@pytest.mark.parametrize("record", records(), ids=lambda record: type(record).__name__)
def test_every_record_comes_back_as_it_was(record):
    data = to_bytes(record)
    back = from_bytes(data)
    assert same(record, back)
    assert to_bytes(back) == data


def example(hint):
    """A value of a type, for records without arrays."""
    origin, arguments = get_origin(hint), get_args(hint)
    if dataclasses.is_dataclass(hint):
        return hint(**{name: example(field) for name, field in get_type_hints(hint).items()})
    if isinstance(hint, type) and issubclass(hint, Enum):
        return next(iter(hint))
    if origin is Literal:
        return arguments[0]
    if origin is tuple:
        return tuple(example(argument) for argument in arguments if argument is not Ellipsis)
    if origin in (Union, UnionType):
        return example(arguments[0])
    if origin is not None and issubclass(origin, Mapping):
        return {example(arguments[0]): example(arguments[1])}
    return {int: 3, float: 0.1, str: "rim", bool: True}[hint]


def test_every_kind_that_a_stage_hands_on_comes_back_as_it_was():
    handed_on = set()
    for result in (Surface, CheckReport, Part, Nest):  # regions and patterns are inside parts
        kinds_of(result, handed_on)
    assert {"Region", "FlatPattern", "Edge", "Verdict", "Layer", "Severity"} <= {kind.__name__ for kind in handed_on}
    tried = {kind for record in records() for kind in kinds_in(record)}
    for kind in sorted(handed_on - tried, key=lambda kind: kind.__name__):
        record = example(kind)
        assert same(record, from_bytes(to_bytes(record))), kind


def test_only_what_the_model_itself_defines_is_known():
    assert not {"Any", "StrEnum", "Enum", "Mapping", "Path"} & set(_known())


def test_arrays_come_back_read_only():
    for array in (from_bytes(to_bytes(np.arange(3))), from_bytes(to_bytes(Polycurve([[0, 0], [9, 0], [9, 5]]))).points):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1


LEAVES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(2**70), 2**70),
    st.floats(),
    st.text(),
    st.sampled_from([*Severity, *Layer, *Evidence, *Verdict]),
    arrays.arrays(
        st.sampled_from([np.float64, np.int64, np.uint8, np.bool_]), arrays.array_shapes(max_dims=3, min_side=0)
    ),
)
TREES = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.lists(inner, max_size=4).map(tuple),
        st.dictionaries(st.text(max_size=4), inner, max_size=4),
        st.builds(
            lambda facts, value: Material("a", "b", "c", None, value, facts=facts),
            st.dictionaries(st.text(max_size=2), inner, max_size=2),
            inner,
        ),
    ),
    max_leaves=12,
)


@given(TREES)
def test_any_tree_comes_back_as_it_was_with_the_same_bytes(tree):
    data = to_bytes(tree)
    assert same(tree, from_bytes(data))
    assert to_bytes(tree) == data


@pytest.mark.parametrize("value", [math.nan, math.inf, -0.0, 5e-324, 0.1, 1e308])
def test_floats_come_back_to_the_last_bit(value):
    assert from_bytes(to_bytes(value)).hex() == value.hex()


def test_numbers_of_numpy_become_plain_ones():
    assert from_bytes(to_bytes((np.float64(0.1), np.int64(3), np.bool_(True)))) == (0.1, 3, True)


@pytest.mark.parametrize("value", [{1, 2}, object(), 1j, b"bytes", np.array([object()]), lambda: 0])
def test_what_is_no_record_is_not_kept(value):
    with pytest.raises(TypeError, match="cannot be kept in the cache"):
        to_bytes([value])


def test_a_record_of_another_module_with_a_known_name_is_not_kept():
    impostor = dataclasses.make_dataclass("Part", ["name"])("wall")
    with pytest.raises(TypeError, match="a Part cannot be kept"):
        to_bytes(impostor)


WHOLE = to_bytes(records()[1])


@given(st.integers(0, len(WHOLE) - 1), st.integers(1, 255))
def test_one_changed_byte_anywhere_is_noticed(place, change):
    data = bytearray(WHOLE)
    data[place] ^= change
    with pytest.raises(ValueError, match="not a whole cache entry"):
        from_bytes(bytes(data))


@given(st.integers(0, len(WHOLE) - 1))
def test_a_half_written_entry_is_noticed(length):
    with pytest.raises(ValueError, match="not a whole cache entry"):
        from_bytes(WHOLE[:length])


def forged(tree, **members):
    """An entry with a right hash, as somebody could make it who wants us to do something."""
    buffer = io.BytesIO()
    np.savez(buffer, tree=np.frombuffer(json.dumps(tree).encode(), np.uint8), **members)
    return sealed(buffer.getvalue())


def sealed(content):
    return _MAGIC + hashlib.sha256(content).digest() + content


class Bomb:
    """Goes off when unpickled."""

    def __reduce__(self):
        return pytest.fail, ("a pickle was run",)


def npz(name, content):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr(name, content)
    return buffer.getvalue()


CLAIM = b"{'descr': '<f8', 'fortran_order': False, 'shape': (999999999999,), }"
FORGERIES = {
    "a pickle": sealed(pickle.dumps(Bomb())),
    "a pickle for the tree": sealed(npz("tree.npy", pickle.dumps(Bomb()))),
    "an array of pickles": forged({"a": 0}, a0=np.array([Bomb()], dtype=object)),
    "a type of Python": forged({"d": "Popen", "v": {"args": ["true"]}}),
    "a type with a path": forged({"d": "subprocess.Popen", "v": {}}),
    "a record with a wrong field": forged({"d": "Part", "v": {"nonsense": 1}}),
    "a record with wrong values": forged({"d": "Polycurve", "v": {"points": 3}}),
    "an enum without that value": forged({"e": "Layer", "v": "NOWHERE"}),
    "an array that is not there": forged({"a": 7}),
    "an unknown tag": forged({"z": 1}),
    "a float that is none": forged({"f": "import os"}),
    "a mapping with lists as keys": forged({"m": [[{"l": []}, 1]]}),
    "no tree": sealed(npz("other.npy", b"")),
    "a tree that is no JSON": sealed(npz("tree.npy", b"\x93NUMPY")),
    "a claim of many bytes": sealed(npz("tree.npy", b"\x93NUMPY\x01\x00\x76\x00" + CLAIM.ljust(117) + b"\n")),
    "no zip": sealed(b"PK\x03\x04 nothing"),
    "nothing": sealed(b""),
}  # fmt: skip


@pytest.mark.parametrize("data", FORGERIES.values(), ids=FORGERIES)
@pytest.mark.filterwarnings("ignore::UserWarning")
def test_a_forged_entry_is_refused_and_never_run(data):
    with pytest.raises(ValueError, match="not a cache entry of this version"):
        from_bytes(data)


def test_a_tree_too_deep_to_walk_is_refused():
    deep = '{"t":[' * 5000 + "]}" * 5000
    buffer = io.BytesIO()
    np.savez(buffer, tree=np.frombuffer(deep.encode(), np.uint8))
    with pytest.raises(ValueError, match="RecursionError"):
        from_bytes(sealed(buffer.getvalue()))
