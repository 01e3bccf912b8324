"""The structure of a PDF: layers, headings, texts and their order, what a drawing shows, and what is ornament only.

Programs that read a page aloud or take its text out go by it (ISO 32000-1:2008, 14.6 to 14.8). reportlab writes
the objects but has no words for them.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from pegline.plan.style import Layer

__all__ = ["PdfLayers", "Tags"]


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
        order = PDFDictionary({"Order": PDFArray(groups), "ON": PDFArray(groups)})
        layers = PDFDictionary({"OCGs": PDFArray(groups), "D": order})
        doc.Catalog.__Defaults__ = {**doc.Catalog.__Defaults__, "OCProperties": doc.Reference(layers)}


@dataclass(slots=True)
class _Part:
    told: str | None  #: in words, for who cannot see it
    pieces: list[int] = field(default_factory=list)  #: numbers on the page of what was drawn of it


@dataclass(slots=True)
class _Section:
    title: str
    page: str  #: its name within the file
    parts: dict[str, _Part] = field(default_factory=dict)  #: by role, a structure type of the standard
    owners: list[str] = field(default_factory=list)  #: role of each numbered piece


class Tags:
    """Marks what is drawn, page after page, and puts the structure of all into the file."""

    def __init__(self, canvas: Any) -> None:
        self._canvas = canvas
        self._sections: list[_Section] = []

    def begin_page(self, title: str) -> None:
        """Begin the section of the page that is drawn from now on."""
        self._sections.append(_Section(title, self._canvas._doc.thisPageName()))

    @contextmanager
    def part(self, role: str, alternative: str | None = None) -> Iterator[None]:
        """Mark what is drawn inside as a piece of the page's part of that role, such as ``H1``, ``P`` or ``Figure``."""
        section = self._sections[-1]
        part = section.parts.setdefault(role, _Part(alternative))
        part.pieces.append(len(section.owners))
        self._canvas.addLiteral(f"/{role} <</MCID {len(section.owners)}>> BDC")
        section.owners.append(role)
        yield
        self._canvas.addLiteral("EMC")

    @contextmanager
    def ornament(self) -> Iterator[None]:
        """Mark what is drawn inside as nothing that has to be told."""
        self._canvas.addLiteral("/Artifact BMC")
        yield
        self._canvas.addLiteral("EMC")

    def end_page(self) -> None:
        """Tell the page that was shown last which section is its own."""
        page = self._canvas._doc.Pages.pages[-1]
        page.__Defaults__ = {**page.__Defaults__, "StructParents": len(self._sections) - 1}

    def finish(self) -> None:
        """Put the structure into the file: a document of sections, in each its heading, its figure and its text."""
        from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName

        doc = self._canvas._doc
        root, document = PDFDictionary(), PDFDictionary()
        sections, owners = [], []
        for number, section in enumerate(self._sections):
            element, parts = self._element(section, document)
            sections.append(doc.Reference(element))
            owners += [number, PDFArray([parts[role] for role in section.owners])]
        document.dict.update(_entry("Document", doc.Reference(root), K=PDFArray(sections)))
        root["Type"] = PDFName("StructTreeRoot")
        root["K"] = doc.Reference(document)
        root["ParentTree"] = PDFDictionary({"Nums": PDFArray(owners)})
        root["ParentTreeNextKey"] = len(self._sections)
        doc.Catalog.StructTreeRoot = root
        doc.Catalog.MarkInfo = PDFDictionary({"Marked": "true"})

    def _element(self, section: _Section, parent: Any) -> tuple[Any, dict[str, Any]]:
        """Return a section's element, and references to the elements of its parts by role; a heading is read first."""
        from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFObjectReference, PDFString

        doc = self._canvas._doc
        element = PDFDictionary()
        parts = {}
        for role, part in sorted(section.parts.items(), key=lambda each: each[0] != "H1"):
            more = {"Alt": PDFString(part.told)} if part.told else {}
            pieces = PDFArray(part.pieces)
            entry = _entry(role, doc.Reference(element), Pg=PDFObjectReference(section.page), K=pieces, **more)
            parts[role] = doc.Reference(PDFDictionary(entry))
        kids = PDFArray(list(parts.values()))
        element.dict.update(_entry("Sect", doc.Reference(parent), T=PDFString(section.title), K=kids))
        return element, parts


def _entry(role: str, parent: Any, **more: Any) -> dict[str, Any]:
    """Return what every element of a structure tells."""
    from reportlab.pdfbase.pdfdoc import PDFName

    return {"Type": PDFName("StructElem"), "S": PDFName(role), "P": parent, **more}
