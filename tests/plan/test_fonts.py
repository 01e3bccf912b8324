"""Widths come from the typeface's own tables; names in any script appear, or a warning says what would help."""

from __future__ import annotations

import pytest
from builders.drawn import house
from reportlab.pdfbase.ttfonts import TTFontFile

from pegline.plan import fonts

HEIGHT = 1.8


@pytest.mark.parametrize("bold", [False, True])
def test_every_character_is_as_wide_as_another_reader_of_the_font_says(bold):
    name = fonts.BOLD if bold else fonts.REGULAR
    read = TTFontFile(str(fonts.FOLDER / f"{name}.ttf"), charInfo=1)

    # Thousandths of the size of the type, which is the height of the capitals over their share of it.
    size = HEIGHT / fonts.CAPITALS
    found = {code: fonts.plain_width(chr(code), HEIGHT, bold=bold) * 1000 / size for code in read.charWidths}
    assert found == pytest.approx(read.charWidths)
    assert fonts.plain_width("\u4e00", HEIGHT, bold=bold) * 1000 / size == pytest.approx(read.defaultWidth)


def test_exactly_the_characters_without_a_picture_are_lacking():
    read = TTFontFile(str(fonts.FOLDER / f"{fonts.REGULAR}.ttf"), charInfo=1)
    letters = "".join(chr(code) for code in range(0x21, 0x3000) if not chr(code).isspace())

    assert fonts.missing_characters(letters) == "".join(c for c in letters if ord(c) not in read.charToGlyph)


PLAIN = ("Weir cottage", "Łąka é ñ ß", "Ωμέγα", "Москва", "63°30' 12.5 m²")


@pytest.mark.parametrize("text", PLAIN)
def test_latin_greek_and_cyrillic_need_no_help(text):
    assert fonts.text_outline(text) is None
    assert fonts.missing_scripts(text) == {}


def test_arabic_is_joined_and_runs_from_the_right():
    pytest.importorskip("uharfbuzz")

    word, parted = (fonts.text_outline(text) for text in ("سقيفة", "س ق ي ف ة"))

    # Joined letters are narrower than letters alone with the blanks taken away.
    blank = fonts.plain_width(" ", 1.0)
    assert word is not None
    assert parted is not None
    assert word.width < parted.width - 4 * blank


def test_a_text_of_two_directions_keeps_its_order():
    pytest.importorskip("uharfbuzz")

    mixed = fonts.text_outline("plot سقيفة")

    assert mixed is not None
    assert mixed.width == pytest.approx(fonts.plain_width("plot ", 1.0) + fonts.text_outline("سقيفة").width, rel=0.02)


def test_a_script_without_a_font_is_told_with_what_to_install(monkeypatch):
    pytest.importorskip("uharfbuzz")
    monkeypatch.setattr(fonts, "_installed_fonts", tuple)
    fonts._font_for.cache_clear()
    fonts._outline.cache_clear()

    warnings = house(labels={"cottage": "සිංහල"}).plan().warnings

    fonts._font_for.cache_clear()
    fonts._outline.cache_clear()
    assert [w.rule for w in warnings] == ["missing-font"]
    assert "Noto Sans Sinhala" in warnings[0].text


def test_without_the_extra_it_is_named(monkeypatch):
    monkeypatch.setattr(fonts, "_harfbuzz", lambda: None)

    assert fonts.missing_scripts("සිං") == {"SINHALA": "install the extra: pip install 'pegline[scripts]'"}


def test_a_script_without_a_font_spoils_only_its_own_characters(monkeypatch):
    pytest.importorskip("uharfbuzz")
    monkeypatch.setattr(fonts, "_installed_fonts", tuple)
    fonts._font_for.cache_clear()
    fonts._outline.cache_clear()

    mixed = fonts.text_outline("Haus සිං am Berg")

    fonts._font_for.cache_clear()
    fonts._outline.cache_clear()
    assert mixed is not None
    # The letters that the typeface has are those that it draws without the others.
    plain = fonts._outline("Haus ")
    assert mixed.moves[: len(plain.moves)] == plain.moves
    assert mixed.width > fonts.plain_width("Haus  am Berg", 1.0)


def test_a_title_of_any_length_is_cut_where_letter_by_letter_would_cut_it():
    text = "Fields of the Upper Farm, as " + "measured again " * 2000

    count = fonts.fitting_signs(text, 110.0, 2.5, end="…")

    assert fonts.text_width(text[:count] + "…", 2.5) <= 110.0 < fonts.text_width(text[: count + 1] + "…", 2.5)
    assert fonts.fitting_signs("ab", 110.0, 2.5) == 2
    assert fonts.fitting_signs("ab", 0.1, 2.5) == 0
