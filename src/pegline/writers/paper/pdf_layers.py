"""The layers of a PDF, which a viewer can show and hide (optional content, ISO 32000-1:2008, 8.11).

reportlab writes the objects but has no words for them.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from pegline.plan.style import Layer

__all__ = ["PdfLayers"]


class PdfLayers:
    """Marks what is drawn by its layer, page after page, and puts the layers into the file."""

    def __init__(self, canvas: Any) -> None:
        self._canvas = canvas
        self._groups: dict[str, Any] = {}  #: reference to each layer's object
        self._here: dict[str, str] = {}  #: what this page calls each layer

    @contextmanager
    def on(self, layer: Layer) -> Iterator[None]:
        """Mark what is drawn inside as lying on a layer."""
        if layer.name not in self._groups:
            self._groups[layer.name] = self._group(layer)
        name = self._here.setdefault(layer.name, f"L{len(self._here)}")
        self._canvas.addLiteral(f"/OC /{name} BDC")
        yield
        self._canvas.addLiteral("EMC")

    def _group(self, layer: Layer) -> Any:
        from reportlab.pdfbase.pdfdoc import PDFDictionary, PDFName, PDFString

        entries = {"Type": PDFName("OCG"), "Name": PDFString(layer.name)}
        return self._canvas._doc.Reference(PDFDictionary(entries))

    def end_page(self) -> None:
        """Tell the page that was shown last what it calls its layers."""
        from reportlab.pdfbase.pdfdoc import PDFResourceDictionary

        resources = PDFResourceDictionary(Properties={name: self._groups[layer] for layer, name in self._here.items()})
        resources.basicFonts()
        self._canvas._doc.Pages.pages[-1].Resources = resources
        self._here = {}

    def finish(self) -> None:
        """Put the layers into the file, all of them shown and in the order that they were first drawn in."""
        from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary

        doc = self._canvas._doc
        groups = list(self._groups.values())
        shown = PDFDictionary({"Order": PDFArray(groups), "ON": PDFArray(groups)})
        layers = PDFDictionary({"OCGs": PDFArray(groups), "D": shown})
        doc.Catalog.__Defaults__ = {**doc.Catalog.__Defaults__, "OCProperties": doc.Reference(layers)}
