"""Names in any script appear, or a warning says what would help."""

from __future__ import annotations

import pytest
from builders.drawn import house

from pegline.plan import fonts, scripts

PLAIN = ("Weir cottage", "Łąka é ñ ß", "Ωμέγα", "Москва", "63°30' 12.5 m²")


@pytest.mark.parametrize("text", PLAIN)
def test_latin_greek_and_cyrillic_need_no_help(text):
    assert scripts.outline_of(text) is None
    assert scripts.missing_scripts(text) == {}


def test_arabic_is_joined_and_runs_from_the_right():
    pytest.importorskip("uharfbuzz")

    word, parted = (scripts.outline_of(text) for text in ("سقيفة", "س ق ي ف ة"))

    # Joined letters are narrower than letters alone with the blanks taken away.
    blank = fonts.plain_width(" ", 1.0)
    assert word is not None
    assert parted is not None
    assert word.width < parted.width - 4 * blank


def test_a_text_of_two_directions_keeps_its_order():
    pytest.importorskip("uharfbuzz")

    mixed = scripts.outline_of("plot سقيفة")

    assert mixed is not None
    assert mixed.width == pytest.approx(fonts.plain_width("plot ", 1.0) + scripts.outline_of("سقيفة").width, rel=0.02)


def test_a_script_without_a_font_is_told_with_what_to_install(monkeypatch):
    pytest.importorskip("uharfbuzz")
    monkeypatch.setattr(scripts, "_installed_fonts", tuple)
    scripts._font_for.cache_clear()
    scripts._outline.cache_clear()

    warnings = house(labels={"cottage": "සිංහල"}).plan().warnings

    scripts._font_for.cache_clear()
    scripts._outline.cache_clear()
    assert [w.rule for w in warnings] == ["missing-font"]
    assert "Noto Sans Sinhala" in warnings[0].text


def test_without_the_extra_it_is_named(monkeypatch):
    monkeypatch.setattr(scripts, "_harfbuzz", lambda: None)

    assert scripts.missing_scripts("සිං") == {"SINHALA": "install the extra: pip install 'pegline[scripts]'"}


def test_a_script_without_a_font_spoils_only_its_own_characters(monkeypatch):
    pytest.importorskip("uharfbuzz")
    monkeypatch.setattr(scripts, "_installed_fonts", tuple)
    scripts._font_for.cache_clear()
    scripts._outline.cache_clear()

    mixed = scripts.outline_of("Haus සිං am Berg")

    scripts._font_for.cache_clear()
    scripts._outline.cache_clear()
    assert mixed is not None
    # The letters that the typeface has are those that it draws without the others.
    plain = scripts._outline("Haus ")
    assert mixed.moves[: len(plain.moves)] == plain.moves
    assert mixed.width > fonts.plain_width("Haus  am Berg", 1.0)
