"""Pages for the shop: everything on the page, nothing over its edge, one page when asked for."""

from __future__ import annotations

import pytest
from pdf_walk import MM, pages

from meshflow.drawing.pdf_card import Facts, Notes, Sketch, Table, card_bytes, printable
from meshflow.errors import OptionError

ROWS = tuple((f"part-{number:03d}", str(number)) for number in range(300))


def test_a_card_is_one_page_of_the_paper_with_all_its_words(plate_drawing):
    blocks = [
        Sketch(plate_drawing, ((50.0, 30.0, "7"),)),
        Facts((("Material", "copper"),)),
        Notes("Caution", ("Hot.",)),
    ]
    (page,) = pages(card_bytes("Plate", "for the shop", blocks, one_page=True))
    assert page.box == pytest.approx((0, 0, 210 / MM, 297 / MM), abs=1e-3)
    assert {"Plate", "for the shop", "Material", "copper", "Caution", "Hot.", "7"} <= set(page.texts)


def test_a_sketch_keeps_its_proportions_and_stays_on_the_page(plate_drawing):
    (page,) = pages(card_bytes("Plate", "", [Sketch(plate_drawing)]))
    points = [point for line in page.lines[1:] for point in line.points.tolist()]
    width = max(x for x, _ in points) - min(x for x, _ in points)
    height = max(y for _, y in points) - min(y for _, y in points)
    left, bottom, right, top = plate_drawing.extents
    assert width / height == pytest.approx((right - left) / (top - bottom), rel=1e-4)
    assert min(x for x, _ in points) >= 14.9
    assert max(x for x, _ in points) <= 195.1


def test_a_long_table_goes_on_to_further_pages_under_the_same_heading():
    found = pages(card_bytes("Order", "job", [Table(("part", "count"), ROWS, (0.7, 0.3))]))
    assert len(found) > 2
    said = [text for page in found for text in page.texts]
    assert [text for text in said if text.startswith("part-")] == [name for name, _ in ROWS]
    assert said.count("count") == len(found)


def test_on_one_page_a_long_table_says_how_many_rows_are_left_out():
    blocks = [Table(("part", "count"), ROWS, (0.7, 0.3)), Notes("Caution", ("Keep hands away.",))]
    (page,) = pages(card_bytes("Sheet", "job", blocks, one_page=True))
    shown = [text for text in page.texts if text.startswith("part-")]
    (rest,) = [text for text in page.texts if text.startswith("and ")]
    assert len(shown) + int(rest.split()[1]) == len(ROWS)
    assert "Keep hands away." in page.texts


def test_letters_that_the_fonts_lack_become_question_marks():
    assert printable("Köhler × 2 — 鞍") == "Köhler × 2 — ?"
    assert "Köhler" in " ".join(pages(card_bytes("Köhler", "", []))[0].texts)


def test_the_same_card_is_the_same_bytes(plate_drawing):
    assert card_bytes("A", "b", [Sketch(plate_drawing)]) == card_bytes("A", "b", [Sketch(plate_drawing)])
    with pytest.raises(OptionError):
        card_bytes("A", "b", [], paper="B5")
