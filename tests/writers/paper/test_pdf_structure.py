"""The structure of the PDF and the text in it, as PDFium (an independent reader) finds them."""

from __future__ import annotations

import ctypes

import pypdfium2
import pypdfium2.raw as pdfium
import pytest
from builders import paths

import pegline
from pegline.plan import fonts
from pegline.plan.model import Options
from pegline.readers import parse_book
from pegline.writers.paper import pdf

HOUSE = paths.SAMPLES / "house-plot.yaml"


def write_and_open(path, text=None, sheets=()):
    """Write the house plot, perhaps under another title, and open it."""
    lines = HOUSE.read_text(encoding="utf-8").splitlines(keepends=True)
    book = "".join(f'title: "{text}"\n' if text and line.startswith("title:") else line for line in lines)
    survey = pegline.reduce(parse_book(book.encode(), "house-plot.yaml"))
    pdf.write(survey.plan(Options(sheets=sheets)), path)
    return pypdfium2.PdfDocument(path)


def pdfium_text(call, element):
    """Return a text that PDFium tells of an element of the structure."""
    room = ctypes.create_string_buffer(2 * 500)
    length = call(element, room, len(room))
    return room.raw[: max(0, length - 2)].decode("utf-16-le")


def structure(page):
    """Return a page's section: its title, and of each part its role, what stands for it, and how many pieces it has."""
    tree = pdfium.FPDF_StructTree_GetForPage(page)
    assert pdfium.FPDF_StructTree_CountChildren(tree) == 1
    document = pdfium.FPDF_StructTree_GetChildAtIndex(tree, 0)
    assert pdfium_text(pdfium.FPDF_StructElement_GetType, document) == "Document"
    # Of the sections of other pages PDFium tells only that they are there.
    count = pdfium.FPDF_StructElement_CountChildren(document)
    children = [pdfium.FPDF_StructElement_GetChildAtIndex(document, number) for number in range(count)]
    (section,) = [
        child for child in children if child and pdfium_text(pdfium.FPDF_StructElement_GetType, child) == "Sect"
    ]
    parts = []
    for number in range(pdfium.FPDF_StructElement_CountChildren(section)):
        part = pdfium.FPDF_StructElement_GetChildAtIndex(section, number)
        parts.append(
            (
                pdfium_text(pdfium.FPDF_StructElement_GetType, part),
                pdfium_text(pdfium.FPDF_StructElement_GetAltText, part),
                pdfium.FPDF_StructElement_GetMarkedContentIdCount(part),
            )
        )
    title = pdfium_text(pdfium.FPDF_StructElement_GetTitle, section)
    pdfium.FPDF_StructTree_Close(tree)
    return title, parts


def test_a_sheet_has_a_heading_a_figure_that_is_told_and_text(tmp_path):
    document = write_and_open(tmp_path / "plan.pdf")

    title, parts = structure(document[0])

    assert title == "Plan"
    assert [(role, alternative) for role, alternative, _ in parts] == [
        ("H1", ""),
        ("Figure", "Plan of Wattle Cottage and its garden at 1:200"),
        ("P", ""),
    ]
    assert all(pieces > 0 for _, _, pieces in parts)


def test_every_page_has_a_section_of_its_own(tmp_path):
    document = write_and_open(tmp_path / "plan.pdf", sheets=("pegs", "diagram", "pages"))

    sections = [structure(page) for page in document]

    assert len(document) > 3
    assert len({title for title, _ in sections}) == len(document)
    assert all("H1" in {role for role, *_ in parts} for _, parts in sections)


def test_what_is_drawn_is_either_a_part_or_ornament(tmp_path):
    document = write_and_open(tmp_path / "plan.pdf")

    unmarked = [each for each in document[0].get_objects() if pdfium.FPDFPageObj_CountMarks(each) == 0]

    assert unmarked == []


@pytest.mark.parametrize("title", ["Ñandú çay Ωmega", "Дом у реки", "بيت الحديقة", "ගෙදර මායිම", "日本語の家"])
def test_a_name_in_any_script_can_be_selected(title, tmp_path):
    if missing := fonts.missing_scripts(title):
        pytest.skip(f"this computer shows no {', '.join(missing)}")

    text = write_and_open(tmp_path / "plan.pdf", title)[0].get_textpage().get_text_range()

    assert title in text.replace("\r\n", " ")


def test_letters_that_are_there_to_be_selected_are_not_seen(tmp_path, monkeypatch):
    title = "بيت الحديقة"
    if fonts.missing_scripts(title):
        pytest.skip("this computer shows no Arabic")
    seen = write_and_open(tmp_path / "with.pdf", title)[0].render(scale=3).to_numpy()
    monkeypatch.setattr("pegline.writers.paper.page_pdf._font_of", lambda path: None)

    without = write_and_open(tmp_path / "without.pdf", title)[0]

    assert title not in without.get_textpage().get_text_range()
    assert (without.render(scale=3).to_numpy() == seen).all()
