"""What cannot be right in a book, and what is odd: one function a check, in two tables."""

from __future__ import annotations

from pegline.book.model import Book
from pegline.errors import Finding
from pegline.measures.grammar import Slate

__all__ = ["check"]


def check(book: Book, slate: Slate) -> tuple[list[Finding], list[Finding]]:
    """Return what is wrong in a book, and what is odd in it but not wrong."""
    return [], []
