"""The shape of STEM.json, declared once: types that the code is checked against, and the JSON Schema made from them.

``python -m pegline.writers.result_schema`` prints the schema.
"""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, Literal, NotRequired, TypedDict

from pegline.network.kinds import CheckKind, MeasurementKind
from pegline.reduction.tape import CORRECTIONS

__all__ = ["Result", "result_json_schema"]

Source = Annotated[str | None, "where in the book, as LINE:COLUMN"]
Page = Annotated[str | None, "page of the paper book; null where the book names none"]


class BookEntry(TypedDict):
    """The field book that was reduced."""

    title: Annotated[str | None, "the survey's title"]
    place: Annotated[str | None, "where it is"]
    date: Annotated[str | None, "the day measured, as YYYY-MM-DD"]
    file: Annotated[str, "bare name of the book's file"]
    sha256: Annotated[str, "digest of the file's bytes, hexadecimal"]


class FrameEntry(TypedDict):
    """What the survey is put in."""

    kind: Annotated[Literal["local", "north", "grid"], "on its own base line, turned to north, or on a grid"]
    north: Annotated[Literal["magnetic", "true", "grid"] | None, "which north +y points to"]
    crs: Annotated[str | None, "the grid's coordinate reference system as WKT2; null where there is none"]
    rotation: Annotated[float, "turn from the local axes, +x along the base line, to the frame's; degrees clockwise"]
    scale: Annotated[float, "length in the frame over length on the ground"]
    declination: Annotated[float | None, "of the needle from true north, degrees, east positive"]
    convergence: Annotated[float | None, "degrees, positive where true north lies west of grid north"]
    within: Annotated[
        float | None,
        "radius in which the weakest point drawn lies on the grid in 95 of 100 cases, metres: tapes, control, the"
        " bearing that turns the plot and a change of datum included; null where the survey is on no grid",
    ]
    within_of: Annotated[str | None, "the name of that point"]


class SideEntry(TypedDict):
    """What only the book puts on its side of a line: mirrored in the line, it would pass every check as well."""

    line: Annotated[str | None, "the line as P-Q; null: the whole framework may be mirrored"]
    stations: Annotated[list[str], "main stations that may lie on the other side, together"]
    points: Annotated[list[str], "points of detail that may, together, all rows booked left for right"]


class SolutionEntry(TypedDict):
    """How the stations were fixed, and how that stands."""

    delivered: Annotated[
        Literal["plotting", "adjusted"], "the positions given: from the plotting lines alone, or from all measurements"
    ]
    checked: Annotated[
        bool | None,
        "false: a check of the framework failed; true: none did and its stations are checked; else null",
    ]
    unchecked: Annotated[
        list[str],
        "stations that nothing checks: main ones, and tie stations that carry details or a side",
    ]
    sides_by_book: Annotated[
        list[SideEntry],
        "of a survey that passed, what is checked but for its side: no measurement would show left booked for right;"
        " without a line: of the whole plan",
    ]
    freedom: Annotated[int, "how many measurements of the adjusted solution are more than needed"]
    variance_factor: Annotated[float | None, "weighted squares of the residuals over the freedom"]
    chi2_probability: Annotated[float | None, "chance of a variance factor as large as this"]
    critical: Annotated[float, "a test value above this is a failed check"]


class EllipseEntry(TypedDict):
    """An ellipse that holds the place with 95 % probability."""

    a: Annotated[float, "semi-major axis, metres"]
    b: Annotated[float, "semi-minor axis, metres"]
    bearing: Annotated[float, "of the major axis, degrees clockwise from +y, 0 to 180"]


class LocalEntry(TypedDict):
    """Uncertainty relative to the base line: its first station and its direction held."""

    sd_x: Annotated[float, "standard deviation of x, metres"]
    sd_y: Annotated[float, "standard deviation of y, metres"]
    ellipse: EllipseEntry


class PlaceEntry(TypedDict):
    """A station or a point as delivered."""

    x: Annotated[float, "in the frame, metres; easting on a grid"]
    y: Annotated[float, "in the frame, metres; northing on a grid"]
    sd_x: Annotated[float, "standard deviation of x in the frame, metres"]
    sd_y: Annotated[float, "standard deviation of y in the frame, metres"]
    ellipse: EllipseEntry
    local: LocalEntry
    checked: Annotated[bool, "whether checks reach it, passed or not: unnoticed is within the book's limit for it"]
    unnoticed: Annotated[
        float | None,
        "how far one wrong reading that no check shows could have moved it, metres; null: any distance",
    ]
    reliable: Annotated[bool, "false where the framework is too flat for its standard deviations to be trusted"]


class StationEntry(PlaceEntry):
    """A station as delivered."""

    page: Annotated[
        str | None, "page of the paper book with its row as a tie station, else with a line that ends there"
    ]


class RowEntry(TypedDict):
    """What a point was booked by: a row of a line, or an arc from other points."""

    line: Annotated[str | None, "the chain line as P-Q; null for an arc"]
    at: Annotated[float | list[float] | None, "chainage on the ground, metres; a list for oblique offsets"]
    offset: Annotated[float | list[float], "on the ground, left positive, metres; a list for oblique offsets and arcs"]
    source: Source
    page: Page
    mark_at: Annotated[
        list[float] | None,
        "where on the page's image the row stands, [x, y]: shares of its width and height from the upper left",
    ]


class PointEntry(PlaceEntry):
    """A point of detail as delivered."""

    rows: Annotated[list[RowEntry], "every time it was booked"]


if TYPE_CHECKING:
    CorrectionsEntry = dict[str, float]
else:
    CorrectionsEntry = TypedDict("CorrectionsEntry", {each.name: Annotated[float, each.why] for each in CORRECTIONS})
    CorrectionsEntry.__doc__ = "What was added to the mean reading, metres; 0 where nothing was booked to correct by."


class LineEntry(TypedDict):
    """A chain line, as taped and as it came out."""

    use: Annotated[Literal["base", "side", "tie", "check", "detail"], "what it was taped for"]
    taped: Annotated[float, "mean reading, metres"]
    corrections: CorrectionsEntry
    ground: Annotated[float, "horizontal length on the ground as taped, metres"]
    computed: Annotated[float | None, "the same between its delivered ends, metres"]
    difference: Annotated[float | None, "ground minus computed, metres; null where nothing else measures it"]
    page: Page


class MeasurementEntry(TypedDict):
    """One measurement in the adjusted solution."""

    what: Annotated[str, "P-Q, P-Q at 8.20, or a station"]
    kind: Annotated[MeasurementKind, "what was measured"]
    value: Annotated[float, "observed on the ground, metres; degrees for angles and bearings"]
    residual: Annotated[float, "observed minus computed, same unit"]
    redundancy: Annotated[
        float | None,
        "share of an error in it that the other measurements would show, 0 to 1; null for a witness",
    ]
    test: Annotated[float, "residual over its standard deviation; 0 where nothing checks it"]
    smallest_noticed: Annotated[
        float | None,
        "smallest mistake that a check shows in 80 of 100 cases, same unit as value; null where none does",
    ]
    source: Source
    page: Page


class CheckEntry(TypedDict):
    """Something measured that the plotting solution did not need, compared with it."""

    what: Annotated[str, "P-Q, P-Q at 8.20, or a station"]
    kind: Annotated[CheckKind, "what was compared"]
    taped: Annotated[float, "as measured, on the ground, metres; degrees for angles and bearings"]
    computed: Annotated[float, "as computed from the plotting solution, same unit"]
    difference: Annotated[float, "taped minus computed, same unit"]
    allowed: Annotated[float, "the largest difference that is allowed, same unit"]
    test: Annotated[float, "difference over its standard deviation"]
    passed: Annotated[bool, "whether the check passed"]
    chosen: Annotated[bool, "whether it passed only because a reading left open was chosen so"]
    source: Source
    page: Page


class AlsoEntry(TypedDict):
    """A further reading that is wrong by the same hypothesis."""

    what: Annotated[str, "P-Q, P-Q at 8.20, or a station"]
    reading: Annotated[str, "as booked"]
    would_be: Annotated[str, "what should have been booked, as the book would write it"]
    source: Source


class SuspectEntry(TypedDict):
    """One hypothesis: what may be wrong, and how; the last may be 'something else' and 'nothing wrong'."""

    what: Annotated[str, "P-Q, P-Q at 8.20, or a station; several joined by 'and'"]
    group: Annotated[int, "from 1; the survey cannot tell suspects of one group from each other"]
    source: Source
    reading: Annotated[str, "as booked"]
    would_be: Annotated[str, "what should have been booked, as the book would write it"]
    slip: Annotated[str | None, "the mistake that explains it, in words"]
    closes: Annotated[bool, "whether all checks pass with it"]
    score: Annotated[float | None, "probability, all sum to 1; null, of all, where no hypothesis passes all checks"]
    also: Annotated[list[AlsoEntry], "the other readings that are wrong then"]
    page: Page


class AdviceEntry(TypedDict):
    """One measurement worth making."""

    measure: Annotated[str, "the line as P-Q, a chainage as P-Q at 8.20, or the name of a new peg"]
    how: Annotated[Literal["again", "new line", "new peg"], "whether it was measured before"]
    to: Annotated[list[str], "the stations that a new peg is taped to"]
    gain: Annotated[float, "rise of the smallest redundancy number, or of the probability of finding the mistake"]


class FeatureEntry(TypedDict):
    """Something on the ground."""

    kind: Annotated[str, "from the catalogue, or the book's own"]
    area: Annotated[float | None, "on the ground, square metres"]
    area_sd: Annotated[float | None, "its standard deviation, square metres"]
    perimeter: Annotated[float | None, "on the ground, metres; the length of an open line"]
    perimeter_sd: Annotated[float | None, "its standard deviation, metres"]
    geometry: Annotated[dict[str, Any], "a GeoJSON geometry with coordinates in the frame, metres"]
    page: Page


class WarningEntry(TypedDict):
    """A warning of the book or of a rule of thumb."""

    rule: Annotated[str, "its short name, by which a rule of thumb can be silenced"]
    text: Annotated[str, "what is odd, and what to do"]
    source: Source
    page: Page


class Result(TypedDict):
    """Every result of a survey.

    Lengths, perimeters and areas are metres and square metres on the ground; x, y, standard deviations
    and geometry are metres in the frame.
    """

    pegline: Annotated[str, "version of the program"]
    book: BookEntry
    frame: FrameEntry
    solution: SolutionEntry
    pages: Annotated[dict[str, str], "image of each page of the paper book, as the book names it"]
    stations: Annotated[dict[str, StationEntry], "by name, tie stations too"]
    points: Annotated[dict[str, PointEntry], "by name"]
    lines: Annotated[dict[str, LineEntry], "by name, P-Q"]
    measurements: Annotated[list[MeasurementEntry], "of the adjusted solution"]
    checks: list[CheckEntry]
    suspects: Annotated[list[SuspectEntry], "where a check failed, the likeliest first"]
    advice: Annotated[list[AdviceEntry], "in the order of use"]
    features: Annotated[dict[str, FeatureEntry], "by name"]
    warnings: list[WarningEntry]
    missing: NotRequired[Annotated[list[str], "what a half-finished book still lacks; only of 'check'"]]


_SCALARS: Mapping[Any, str] = {str: "string", float: "number", int: "integer", bool: "boolean", type(None): "null"}


def result_json_schema() -> dict[str, Any]:
    """Return the JSON Schema of STEM.json."""
    records: dict[str, Any] = {}
    top = _of(Result, records)
    records.pop("Result", None)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Results of a survey",
        **{key: value for key, value in top.items() if key != "title"},
        "$defs": dict(sorted(records.items())),
    }


def _of(hint: Any, records: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of one type; records met on the way are put into ``records``."""
    if typing.is_typeddict(hint):
        return _record(hint, records)
    origin, inner = typing.get_origin(hint), typing.get_args(hint)
    if origin is Annotated:
        return {"description": inner[1], **_of(inner[0], records)}
    if origin is Literal:
        return {"enum": list(inner)}
    if origin is list:
        return {"type": "array", "items": _of(inner[0], records)}
    if origin is dict:
        return {"type": "object", "additionalProperties": True if inner[1] is Any else _of(inner[1], records)}
    if origin in (typing.Union, types.UnionType):
        return _either([_of(each, records) for each in inner])
    return {"type": _SCALARS[hint]}


def _either(choices: list[dict[str, Any]]) -> dict[str, Any]:
    """Return the schema of a union; plain types are listed, which reads better than anyOf."""
    if all(set(choice) == {"type"} for choice in choices):
        return {"type": [choice["type"] for choice in choices]}
    return {"anyOf": choices}


def _record(declared: Any, records: dict[str, Any]) -> dict[str, Any]:
    name = declared.__name__.removesuffix("Entry")
    if name not in records:
        hints = typing.get_type_hints(declared, include_extras=True)
        text = " ".join((declared.__doc__ or "").split())
        # ``__required_keys__`` does not see NotRequired where annotations are kept as text.
        spared = {key for key, hint in hints.items() if typing.get_origin(hint) is NotRequired}
        bare = {key: typing.get_args(hint)[0] if key in spared else hint for key, hint in hints.items()}
        records[name] = {
            "title": name,
            "description": text,
            "type": "object",
            "properties": {key: {"title": key.replace("_", " "), **_of(hint, records)} for key, hint in bare.items()},
            "required": [key for key in hints if key not in spared],
            "additionalProperties": False,
        }
    return records[name] if name == "Result" else {"$ref": f"#/$defs/{name}"}


if __name__ == "__main__":
    import sys

    sys.stdout.write(json.dumps(result_json_schema(), indent=2, ensure_ascii=False) + "\n")
