"""The plan: what is drawn, on which sheets, and the survey that it was drawn from.

Positions are metres in the frame about its origin; text heights and everything on a sheet are paper millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Literal

from pegline.detail.model import Path
from pegline.diagnosis.model import Survey
from pegline.errors import Finding
from pegline.plan.display import Page
from pegline.plan.style import Layer
from pegline.records import record

__all__ = ["DrawnFeature", "Ellipse", "Heading", "Label", "OfficeLayer", "Options", "Plan", "Position", "Sheet", "Tuft"]

Position = tuple[float, float]  #: x and y, metres in the frame about its origin


@record(frozen=True, slots=True)
class OfficeLayer:
    """How an office calls and draws one of our layers in its drawings."""

    name: str
    colour: int | None = None  #: number of a drawing's colour, 1 to 255; None: ours
    weight: int | None = None  #: of its lines, hundredths of a millimetre
    line_type: str | None = None  #: a name of ``style.LINE_TYPES``


@record(frozen=True, slots=True)
class Options:
    """What a run may choose about its drawings; the book says the rest."""

    dxf_version: Literal["R12", "R2000", "R2010", "R2018"] = "R2010"
    geodata: bool = False  #: write GEODATA into the drawing (experimental)
    near_origin: bool = False  #: draw near 0, 0 and note the shift, for programs that shake at large coordinates
    hatch: bool = False  #: fill buildings and water in the drawing, as on the sheet
    office_layers: Mapping[str, OfficeLayer] = field(default_factory=dict)  #: an office's own layers by ours
    unit: Literal["metre", "grid"] = "metre"  #: of the drawing
    paper: str | None = None  #: A4 to A0, before the book's
    scale: int | Literal["fit"] | None = None  #: n of 1:n before the book's; ``fit``: the largest that fits a sheet
    sheets: tuple[str, ...] = ()  #: further sheets, by their names in the table of them


@record(frozen=True, slots=True)
class Ellipse:
    """An ellipse of 95 %, drawn larger than it is by the plan's ``ellipse_scale``."""

    centre: Position
    semi_major: float  #: metres, true size
    semi_minor: float
    bearing: float  #: of the major axis from +y, clockwise, radians


@record(frozen=True, slots=True)
class DrawnFeature:
    """One thing drawn: a symbol at a position, a line, an area or an ellipse."""

    layer: str  #: a name of ``Plan.layers``
    name: str  #: of the feature, station, line or point that it is, or is a face of
    kind: str  #: as in the book; 'station', 'base', 'check', 'offset', … for what is no feature
    geometry: Position | Path | Ellipse
    source: str  #: ``LINE:COLUMN`` of the book, or empty
    sd: float | None = None  #: of its weakest point, relative to the base line, metres
    symbol: str | None = None  #: a name of ``style.SYMBOLS``; None for lines and areas
    size: float | None = None  #: true width of the symbol, metres; None: as the symbol is, in paper millimetres
    line_type: str | None = None  #: a name of ``style.LINE_TYPES``; None: the layer's
    attributes: Mapping[str, str] = field(default_factory=dict)  #: what else the book tells of it
    spine: Path | None = None  #: of a wall that is drawn by its outline: the line as booked
    other_face: bool = False  #: the face of a wall or hedge that was not taped but follows from its thickness

    @property
    def shown_name(self) -> str:
        """Return the name that a reader of the drawing is shown."""
        return f"{self.name}, other face" if self.other_face else self.name


@record(frozen=True, slots=True)
class Tuft:
    """A symbol repeated along a line to show its kind; it stands for no point on the ground."""

    layer: str
    symbol: str  #: a name of ``style.SYMBOLS``
    position: Position
    rotation: float  #: anticlockwise from +x, radians
    source: str = ""
    owner: str = ""  #: name of the feature whose kind it shows


@record(frozen=True, slots=True)
class Label:
    """One line of text, placed."""

    layer: str
    text: str
    centre: Position  #: middle of the text's box
    rotation: float  #: anticlockwise from +x, radians; always readable from below or the right
    height: float  #: of its capitals, paper millimetres
    width: float  #: paper millimetres
    source: str = ""
    owner: str = ""  #: name of what it belongs to
    measures: tuple[Position, Position] | None = None  #: the ends of what a figure is the length of
    leader: tuple[Position, Position] | None = None  #: a line from the text to what it names


@record(frozen=True, slots=True)
class Heading:
    """What a page is called."""

    text: str  #: at its head
    short: str  #: in a drawing's tabs and a viewer's list


@record(frozen=True, slots=True)
class Sheet:
    """One sheet of paper that shows a part of the plan, or something else altogether."""

    name: str
    paper: str  #: A4 to A0
    landscape: bool
    page: Page  #: everything but the map, in paper millimetres from the lower left corner
    window: tuple[float, float, float, float] | None  #: left, bottom, right, top of the map on it, millimetres
    centre: Position  #: what the middle of the window shows
    turn: float = 0.0  #: of the map, anticlockwise, radians


@record(frozen=True, slots=True)
class Plan:
    """A survey drawn."""

    survey: Survey
    options: Options
    title: str
    scale: int  #: the plan is at 1 to this
    turn: float  #: of the map on its sheets, anticlockwise, radians; texts and symbols stand upright there
    ellipse_scale: int  #: ellipses are drawn so many times their size
    layers: Mapping[str, Layer]  #: those used, in the order of the table
    features: tuple[DrawnFeature, ...]
    tufts: tuple[Tuft, ...]
    labels: tuple[Label, ...]
    sheets: tuple[Sheet, ...]
    numbered: tuple[tuple[int, DrawnFeature], ...] = ()  #: things in a crowd, by the number that stands for their name
    warnings: tuple[Finding, ...] = ()  #: what the drawing could not do, such as a script without a font

    @property
    def metres_per_mm(self) -> float:
        """Return how many metres of the frame one millimetre of paper shows."""
        return self.scale / 1000
