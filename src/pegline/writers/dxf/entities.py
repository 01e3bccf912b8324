"""The entities that a drawing holds by the thousand, as DXF text.

ezdxf makes the drawing itself (header, tables, blocks, layouts, objects) and whatever is rare in it; an entity of its
own costs it a third of a millisecond, and its text a thirtieth of that. They are made while the file is written, so
that a large drawing never stands in memory. The groups of each kind come in the order in which ezdxf writes them,
which the tests compare. Texts must have been through ``dxf_text`` and numbers be finite: nothing is checked here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from math import hypot, tau
from typing import Any, Final

from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.entities.dxfgroups import DXFGroup

from pegline.plan.style import plain_name

__all__ = [
    "ATTRIBUTE_HEIGHT",
    "CENTRE",
    "HIDDEN_FLAG",
    "LEFT_ALIGNED",
    "MIDDLE",
    "RIGHT",
    "Drawn",
    "Entities",
    "add_entities",
    "add_groups",
    "extended_data",
    "look",
]


Point = Sequence[float]  #: x and y: metres or, on a sheet, millimetres
Drawn = tuple[Any, Iterable[str]]  #: a layout, and the texts of what is to be put into it

#: Which point of a text is given: along it (group 72) and up it (group 73). All but CENTRE are on the baseline.
LEFT_ALIGNED: Final = ("", "")
MIDDLE: Final = (" 72\n1\n", "")
RIGHT: Final = (" 72\n2\n", "")
CENTRE: Final = (" 72\n1\n", " 73\n2\n")

ATTRIBUTE_HEIGHT: Final = 0.5  #: of its letters, of the block's own unit
#: A dimension's flags: aligned, its block is its own, its text stands where it was put; and its text's middle.
ALIGNED: Final = 1 + 32 + 128
MIDDLE_CENTRE: Final = 5
RUNS_ON: Final = 128  #: bit of a line's flags: its line type runs on across its vertices
HIDDEN_FLAG: Final = 1  #: bit of an attribute's flags
NO_ATTRIBUTES: Final[Mapping[str, str]] = {}


@lru_cache(maxsize=256)  # thousands of entities look alike
def look(
    layer: str,
    line_type: str | None = None,
    line_scale: float = 1.0,
    colour: int | None = None,
    weight: int | None = None,
) -> str:
    r"""Return the groups that put an entity on a layer and say how its line is drawn, if not as the layer's.

    >>> look("FENCES", "DOTS")
    '  8\nFENCES\n  6\nDOTS\n'
    """
    own = _unless(6, line_type, None) + _unless(62, colour, None) + _unless(370, weight, None)
    return f"  8\n{layer}\n{own}{_unless(48, line_scale, 1.0)}"


def extended_data(application: str, facts: Iterable[str], number: float | None = None) -> str:
    r"""Return facts, and perhaps a number, as the extended data of an entity.

    >>> extended_data("PEGLINE", ["kind=gate"], 0.02)
    '1001\nPEGLINE\n1000\nkind=gate\n1040\n0.02\n'
    """
    end = "" if number is None else f"1040\n{number}\n"
    return f"1001\n{application}\n" + "".join([f"1000\n{fact}\n" for fact in facts]) + end


def add_entities(layout: Any, texts: Iterable[str]) -> None:
    """Put entities into a layout, after all that is there already; they are asked for when the drawing is written."""
    layout.entity_space.add(_Written(texts))


class Entities:
    """What writes the entities of one layout of a drawing.

    Of every method, ``where`` is a text of ``look`` and ``data`` one of ``extended``; it returns the entity's text.
    """

    def __init__(self, layout: Any, style: str, most: int) -> None:
        """Set handles aside for ``most`` entities: a drawing's head, written before them, tells the next free one."""
        self._owner = layout.layout_key
        self._handles = _set_aside(layout.doc.entitydb.handles, most)
        self._style = style
        self.members: dict[str, list[str]] = {}  #: handles of what is drawn of one thing, by its name
        self.groups: Mapping[str, str] = {}  #: handle of the group of such a thing, which its pieces refer to
        self._group = ""  #: handle of the group of the piece that is being drawn
        self._sheet = " 67\n1\n" if layout.is_any_paperspace else ""
        self._dimension_version = "280\n0\n" if layout.doc.dxfversion >= "AC1024" else ""
        self._one_line = " 71\n1\n 72\n0\n" if layout.doc.dxfversion >= "AC1032" else ""  # of an attribute, in R2018

    def polyline(
        self,
        where: str,
        corners: Iterable[Sequence[float]],
        *,
        closed: bool,
        smooth: bool = False,
        data: str = "",
        member_of: str = "",
    ) -> str:
        """Draw a line through corners (x, y, bulge of the piece that follows); along a smooth one its dashes run on."""
        places = [f" 10\n{x}\n 20\n{y}\n" + (f" 42\n{bulge}\n" if bulge else "") for x, y, bulge in corners]
        head = self._head("LWPOLYLINE", where, self._member(member_of))
        return f"{head}100\nAcDbPolyline\n 90\n{len(places)}\n 70\n{closed + RUNS_ON * smooth}\n{''.join(places)}{data}"

    def solid(self, where: str, corners: Sequence[Point]) -> str:
        """Fill a triangle or a quadrangle, its corners given in turn."""
        first, second, third, *last = corners
        crossed = (first, second, *(last or [third]), third)  # the kind holds its last two the other way about
        points = "".join([f" 1{i}\n{x}\n 2{i}\n{y}\n 3{i}\n0.0\n" for i, (x, y) in enumerate(crossed)])
        return f"{self._head('SOLID', where)}100\nAcDbTrace\n{points}"

    def ellipse(self, where: str, centre: Point, axis: Point, ratio: float, data: str = "") -> str:
        """Draw an ellipse: ``axis`` from its centre to an end of the longer axis, ``ratio`` of the shorter to it."""
        (x, y), (dx, dy) = centre, axis
        return (
            f"{self._head('ELLIPSE', where)}100\nAcDbEllipse\n 10\n{x}\n 20\n{y}\n 30\n0.0\n"
            f" 11\n{dx}\n 21\n{dy}\n 31\n0.0\n 40\n{ratio}\n 41\n0.0\n 42\n{tau}\n{data}"
        )

    def text(
        self, where: str, words: str, at: Point, height: float, turn_deg: float, place: tuple[str, str], data: str = ""
    ) -> str:
        """Draw one line of text with its ``place`` (LEFT, MIDDLE, RIGHT or CENTRE) at a point."""
        x, y = at
        across, up = place
        return (
            f"{self._head('TEXT', where)}100\nAcDbText\n 10\n{x}\n 20\n{y}\n 30\n0.0\n 40\n{height}\n  1\n{words}\n"
            f"{_unless(50, turn_deg, 0.0)}  7\n{self._style}\n{across} 11\n{x}\n 21\n{y}\n 31\n0.0\n"
            f"100\nAcDbText\n{up}{data}"
        )

    def insert(
        self,
        where: str,
        block: str,
        at: Point,
        scale: float,
        turn_deg: float = 0.0,
        *,
        data: str = "",
        attributes: Mapping[str, str] = NO_ATTRIBUTES,
        member_of: str = "",
    ) -> str:
        """Draw a block, with hidden attributes by their tags in rows below its point: as many entities, and an end."""
        x, y = at
        size = "" if scale == 1.0 else f" 41\n{scale}\n 42\n{scale}\n 43\n{scale}\n"
        handle = self._member(member_of)
        groups = (
            f"{self._head('INSERT', where, handle)}100\nAcDbBlockReference\n{_unless(66, int(bool(attributes)), 0)}"
            f"  2\n{block}\n 10\n{x}\n 20\n{y}\n 30\n0.0\n{size}{_unless(50, turn_deg, 0.0)}{data}"
        )
        if not attributes:
            return groups
        hidden = [
            f"{self._head('ATTRIB', where, owner=handle)}100\nAcDbText\n"
            f" 10\n{x}\n 20\n{y - row * scale}\n 30\n0.0\n 40\n{ATTRIBUTE_HEIGHT * scale}\n  1\n{words}\n"
            f"  7\n{self._style}\n100\nAcDbAttribute\n  2\n{tag}\n 70\n{HIDDEN_FLAG}\n{self._one_line}"
            for row, (tag, words) in enumerate(attributes.items(), start=1)
        ]
        return groups + "".join(hidden) + self._head("SEQEND", where, owner=handle)

    def dimension(
        self,
        where: str,
        block: str,
        ends: tuple[Point, Point],
        middle: Point,
        words: str,
        *,
        style: str,
        data: str = "",
        member_of: str = "",
    ) -> str:
        """Draw an aligned dimension: the line between two ends, its text about a middle, all of it shown by a block."""
        (x1, y1), (x2, y2), (x, y) = *ends, middle
        dx, dy = x2 - x1, y2 - y1
        length = hypot(dx, dy)
        off = ((x - x1) * -dy + (y - y1) * dx) / length if length else 0.0
        line_x, line_y = (x2 - off * dy / length, y2 + off * dx / length) if length else (x2, y2)
        return (
            f"{self._head('DIMENSION', where, self._member(member_of))}100\nAcDbDimension\n{self._dimension_version}"
            f"  2\n{block}\n 10\n{line_x}\n 20\n{line_y}\n 30\n0.0\n 11\n{x}\n 21\n{y}\n 31\n0.0\n"
            f" 70\n{ALIGNED}\n  1\n{words}\n 71\n{MIDDLE_CENTRE}\n 42\n{length}\n  3\n{style}\n"
            f"100\nAcDbAlignedDimension\n 13\n{x1}\n 23\n{y1}\n 33\n0.0\n 14\n{x2}\n 24\n{y2}\n 34\n0.0\n{data}"
        )

    def _member(self, name: str) -> str:
        """Return the next handle, noted as that of a piece of a thing where it has a name."""
        handle = next(self._handles)
        self._group = self.groups.get(name, "")
        if name:
            self.members.setdefault(name, []).append(handle)
        return handle

    def _head(self, kind: str, where: str, handle: str = "", owner: str = "") -> str:
        """Return what every entity begins with."""
        handle = handle or next(self._handles)
        owner = owner or self._owner
        group, self._group = self._group, ""
        refers = f"102\n{{ACAD_REACTORS\n330\n{group}\n102\n}}\n" if group else ""
        return f"  0\n{kind}\n  5\n{handle}\n{refers}330\n{owner}\n100\nAcDbEntity\n{self._sheet}{where}"


def _set_aside(handles: Any, most: int) -> Iterator[str]:
    """Return some of a drawing's handles, which it will not give away again."""
    first = int(str(handles), 16)
    handles.reset(f"{first + most:X}")
    return map("{:X}".format, range(first, first + most))


def _unless(code: int, value: object, usual: object) -> str:
    """Return a group, or nothing where its value is what readers take when they find none."""
    return "" if value == usual else f"{code:3}\n{value}\n"


class _Written(DXFEntity):
    """Stands in a layout for entities that are text already."""

    def __init__(self, texts: Iterable[str]) -> None:
        super().__init__()
        self._texts = texts

    def export_dxf(self, tagwriter: Any) -> None:
        """Write them where ezdxf writes those of its own."""
        for text in self._texts:
            tagwriter.write_str(text)


HANDLE = 340  #: group code of a member


def add_groups(doc: Any, names: Iterable[str], members: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Add a group for each name and return their handles; ``members`` has those of entities once they are written."""
    handles: dict[str, str] = {}
    collection = doc.rootdict["ACAD_GROUP"]
    group_names: set[str] = set()
    for name in names:
        plain = plain_name(name) or "GROUP"
        while plain in group_names:
            plain = f"{plain}-{len(group_names)}"
        group_names.add(plain)
        group = _WrittenGroup.new(
            doc.entitydb.next_handle(),
            collection.dxf.handle,
            {"description": plain, "unnamed": 0, "selectable": 1},
            doc,
        )
        group.of(name, members)
        doc.entitydb.add(group)
        doc.objects.add_object(group)
        collection[plain] = group
        handles[name] = group.dxf.handle
    return handles


class _WrittenGroup(DXFGroup):
    """A group of entities that are text already."""

    def of(self, name: str, members: Mapping[str, Sequence[str]]) -> None:
        """Tell the group whose pieces are its members."""
        self._name, self._members = name, members

    def preprocess_export(self, tagwriter: Any) -> bool:
        """Write the group always; there is nothing in it that could be gone."""
        return True

    def export_group(self, tagwriter: Any) -> None:
        """Write the handles of the members."""
        for handle in self._members.get(self._name, ()):
            tagwriter.write_tag2(HANDLE, handle)
