"""Widths of texts come from the typeface's own tables."""

from __future__ import annotations

import pytest
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
