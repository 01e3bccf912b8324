"""What the survey was: as words for a table, and as an ISO 19115 record (its XML form is ISO/TS 19139)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from html import escape
from math import degrees
from typing import Final

import numpy as np

from pegline.diagnosis.model import Survey
from pegline.diagnosis.report import verdict
from pegline.frame.model import Frame
from pegline.records import record
from pegline.release import __version__
from pegline.solved import PlaceRadius
from pegline.writers.survey_figures import moment, point_places, station_places

__all__ = ["LAYERS_CAUTION", "NAMESPACE", "Extent", "head", "iso_record", "with_process_step"]

#: The namespace of the record, which also names the standard in a GeoPackage.
NAMESPACE: Final = "http://www.isotc211.org/2005/gmd"

#: The survey's topic, from the list MD_TopicCategoryCode of ISO 19115: where things on the ground are.
TOPIC: Final = "location"

#: Namespaces of the record by their prefixes.
SPACES: Final = {
    "gmd": NAMESPACE,
    "gco": "http://www.isotc211.org/2005/gco",
    "xlink": "http://www.w3.org/1999/xlink",
}

LAYERS_CAUTION: Final = (
    "This is not a boundary survey: it shows what was measured, not who owns it. "
    "A legal boundary is for a licensed land surveyor."
)


@record(frozen=True, slots=True)
class Extent:
    """What holds a survey on the earth, degrees of longitude and latitude."""

    west: float
    south: float
    east: float
    north: float

    @classmethod
    def of(cls, places: Iterable[tuple[float, float]]) -> Extent:
        """Return what holds places (longitude, latitude)."""
        longitudes, latitudes = zip(*places, strict=True)
        return cls(min(longitudes), min(latitudes), max(longitudes), max(latitudes))


def head(survey: Survey) -> Iterator[tuple[str, str]]:
    """Yield what there is to know of a survey as keys and words; nothing for what was not booked."""
    book, frame, adjustment = survey.book, survey.frame, survey.adjustment
    weakest, on_grid = survey.solved.weakest, survey.solved.weakest_on_grid
    facts: dict[str, object] = {
        "title": book.title,
        "place": book.place,
        "date": book.date,
        "file": book.file,
        "sha256": book.sha256,
        "unit": book.unit,
        "scale": book.scale,
        "surveyor": book.surveyor,
        "party": ", ".join(book.party) or None,
        "weather": book.weather,
        **{f"instrument: {name}": note for name, note in book.instruments.items()},
        "purpose": book.purpose,
        "licence": book.licence,
        "note": book.note,
        "frame": frame.kind,
        "north": frame.north,
        "crs": frame.crs_name,
        "epoch of the coordinates": None if frame.epoch is None else f"{frame.epoch:g}",
        "frame scale": f"{frame.scale:.10g}",
        "declination, degrees east": None if frame.declination is None else f"{degrees(frame.declination):.6g}",
        "convergence, degrees": None if frame.convergence is None else f"{degrees(frame.convergence):.6g}",
        "weakest point, relative to the base line": weakest and f"{weakest.name} within {weakest.radius:.3f} m (95 %)",
        "weakest point, on the grid": on_grid and f"{on_grid.name} within {on_grid.radius:.3f} m (95 %)",
        "delivered": adjustment.delivered,
        "checked": {True: "checked", False: "a check failed", None: "not checked"}[survey.solved.checked],
        "verdict": str(verdict(survey.solved)),
        "caution": LAYERS_CAUTION,
        "program": f"pegline {__version__}",
    }
    yield from ((key, str(value)) for key, value in facts.items() if value is not None)


def lineage(survey: Survey) -> str:
    """Return in a sentence or two how the positions came about."""
    count = sum(len(line.booked.taped) or len(line.booked.legs) for line in survey.reduction.lines.values())
    tapes = ", ".join(f"{tape.name} ({tape.material})" for tape in survey.reduction.tapes.values())
    return (
        f"Chain lines taped on the ground ({len(survey.reduction.lines)} lines, {count} tapings; tapes: {tapes}),"
        f" detail by {len(survey.reduction.rows)} booked rows; reduced to the horizontal, adjusted by least squares"
        f" by pegline {__version__} from {survey.book.file}, SHA-256 {survey.book.sha256}."
        f" Positions delivered are the {survey.adjustment.delivered} ones. {verdict(survey.solved)}"
    )


def iso_record(survey: Survey) -> str:
    """Return the survey's description as XML: title, day, purpose, party, licence, extent, accuracy, lineage."""
    book = survey.book
    day = moment(book)[:10]
    party = f"{len(book.party)} in the party: {', '.join(book.party)}" if book.party else None
    place = f"Measured at {book.place}" if book.place else None
    extent = _extent(survey)
    texts = (book.note, place, party, str(verdict(survey.solved)), LAYERS_CAUTION)
    abstract = " ".join(f"{text.rstrip('.')}." for text in texts if text)
    parts = [
        f"<gmd:fileIdentifier>{_words(book.sha256)}</gmd:fileIdentifier>",
        f"<gmd:language>{_words('eng')}</gmd:language>",
        f"<gmd:hierarchyLevel>{_code('MD_ScopeCode', 'dataset')}</gmd:hierarchyLevel>",
        f"<gmd:contact>{_contact(book.surveyor)}</gmd:contact>",
        f"<gmd:dateStamp><gco:Date>{day}</gco:Date></gmd:dateStamp>",
        f"<gmd:referenceSystemInfo>{_reference(_crs_words(survey.frame))}</gmd:referenceSystemInfo>",
        "<gmd:identificationInfo><gmd:MD_DataIdentification>",
        f"<gmd:citation><gmd:CI_Citation><gmd:title>{_words(book.title or book.file)}</gmd:title>",
        f"<gmd:date>{_date(book.date.isoformat() if book.date else None)}</gmd:date>",
        "</gmd:CI_Citation></gmd:citation>",
        f"<gmd:abstract>{_words(abstract)}</gmd:abstract>",
        f"<gmd:purpose>{_words(book.purpose)}</gmd:purpose>" if book.purpose else "",
        _licence(book.licence),
        f"<gmd:language>{_words('eng')}</gmd:language>",
        f"<gmd:topicCategory><gmd:MD_TopicCategoryCode>{TOPIC}</gmd:MD_TopicCategoryCode></gmd:topicCategory>",
        _bounding_box(extent) if extent else "",
        "</gmd:MD_DataIdentification></gmd:identificationInfo>",
        "<gmd:dataQualityInfo><gmd:DQ_DataQuality><gmd:scope><gmd:DQ_Scope><gmd:level>",
        _code("MD_ScopeCode", "dataset"),
        "</gmd:level></gmd:DQ_Scope></gmd:scope>",
        *_accuracies(survey),
        "<gmd:lineage><gmd:LI_Lineage>",
        f"<gmd:statement>{_words(lineage(survey))}</gmd:statement>",
        "</gmd:LI_Lineage></gmd:lineage></gmd:DQ_DataQuality></gmd:dataQualityInfo>",
    ]
    inner = "\n".join(part for part in parts if part)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n<gmd:MD_Metadata {_namespaces()}>\n{inner}\n</gmd:MD_Metadata>\n'


def _namespaces() -> str:
    return " ".join(f'xmlns:{prefix}="{uri}"' for prefix, uri in SPACES.items())


def with_process_step(record: str, step: str, crs_name: str, extent: Extent | None, weakest: PlaceRadius | None) -> str:
    """Return a record of what was carried to another CRS: the step in its history, where it lies now and how well."""
    from xml.etree import ElementTree

    for prefix, uri in SPACES.items():
        ElementTree.register_namespace(prefix, uri)
    root = ElementTree.fromstring(record)

    def parse_element(text: str) -> ElementTree.Element:
        return ElementTree.fromstring(f"<made {_namespaces()}>{text}</made>")[0]

    def first(path: str) -> ElementTree.Element:
        element = root.find(path, SPACES)
        if element is None:
            raise ValueError(f"the survey's record has no {path}")
        return element

    reference = first("gmd:referenceSystemInfo")
    reference[:] = [parse_element(_reference(crs_name))]
    identification = first("gmd:identificationInfo/gmd:MD_DataIdentification")
    for old in identification.findall("gmd:extent", SPACES):
        identification.remove(old)
    if extent is not None:
        identification.append(parse_element(_bounding_box(extent)))
    quality = first("gmd:dataQualityInfo/gmd:DQ_DataQuality")
    for old in quality.findall("gmd:report", SPACES):
        if old.find("gmd:DQ_AbsoluteExternalPositionalAccuracy", SPACES) is not None:
            quality.remove(old)
    if weakest is not None:
        quality.insert(1, parse_element(_on_grid(weakest)))  # after the scope
    description = f"<gmd:description>{_words(step)}</gmd:description>"
    lineage_part = first(".//gmd:LI_Lineage")
    lineage_part.append(
        parse_element(f"<gmd:processStep><gmd:LI_ProcessStep>{description}</gmd:LI_ProcessStep></gmd:processStep>")
    )
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ElementTree.tostring(root, encoding="unicode")}\n'


def _words(text: str) -> str:
    return f"<gco:CharacterString>{escape(text, quote=False)}</gco:CharacterString>"


def _code(name: str, value: str) -> str:
    catalogue = "http://standards.iso.org/iso/19139/resources/gmxCodelists.xml"
    return f'<gmd:{name} codeList="{catalogue}#{name}" codeListValue="{value}">{value}</gmd:{name}>'


def _contact(surveyor: str | None) -> str:
    name = (
        f"<gmd:individualName>{_words(surveyor)}</gmd:individualName>"
        if surveyor
        else '<gmd:individualName gco:nilReason="missing"/>'
    )
    role = f"<gmd:role>{_code('CI_RoleCode', 'author')}</gmd:role>"
    return f"<gmd:CI_ResponsibleParty>{name}{role}</gmd:CI_ResponsibleParty>"


def _date(day: str | None) -> str:
    when = f"<gmd:date><gco:Date>{day}</gco:Date></gmd:date>" if day else '<gmd:date gco:nilReason="missing"/>'
    return f"<gmd:CI_Date>{when}<gmd:dateType>{_code('CI_DateTypeCode', 'creation')}</gmd:dateType></gmd:CI_Date>"


def _crs_words(frame: Frame) -> str:
    return frame.crs_name if frame.epoch is None else f"{frame.crs_name}, epoch {frame.epoch:g}"


def _reference(name: str) -> str:
    return (
        "<gmd:MD_ReferenceSystem><gmd:referenceSystemIdentifier><gmd:RS_Identifier>"
        f"<gmd:code>{_words(name)}</gmd:code>"
        "</gmd:RS_Identifier></gmd:referenceSystemIdentifier></gmd:MD_ReferenceSystem>"
    )


def _licence(licence: str | None) -> str:
    if licence is None:
        return ""
    return (
        "<gmd:resourceConstraints><gmd:MD_LegalConstraints>"
        f"<gmd:useConstraints>{_code('MD_RestrictionCode', 'license')}</gmd:useConstraints>"
        f"<gmd:otherConstraints>{_words(licence)}</gmd:otherConstraints>"
        "</gmd:MD_LegalConstraints></gmd:resourceConstraints>"
    )


def _extent(survey: Survey) -> Extent | None:
    """Return where the survey lies; None in a frame of its own, which is nowhere."""
    if survey.frame.kind != "grid":
        return None
    from pegline.frame.crs import grid_of, place_of

    grid = grid_of(survey.frame.wkt)
    every = np.concatenate([station_places(survey).positions, point_places(survey).positions])
    (west, south), (east, north) = every.min(axis=0), every.max(axis=0)
    corners = [place_of(grid, x, y) for x in (west, east) for y in (south, north)]
    return Extent.of(corner for corner in corners if corner)


def _bounding_box(extent: Extent) -> str:
    bounds = {
        "westBoundLongitude": extent.west,
        "eastBoundLongitude": extent.east,
        "southBoundLatitude": extent.south,
        "northBoundLatitude": extent.north,
    }
    inner = "".join(
        f"<gmd:{name}><gco:Decimal>{value:.7f}</gco:Decimal></gmd:{name}>" for name, value in bounds.items()
    )
    return (
        "<gmd:extent><gmd:EX_Extent><gmd:geographicElement><gmd:EX_GeographicBoundingBox>"
        f"{inner}</gmd:EX_GeographicBoundingBox></gmd:geographicElement></gmd:EX_Extent></gmd:extent>"
    )


def _accuracies(survey: Survey) -> Iterator[str]:
    """Yield the quality reports: how well the survey hangs together, and how well it lies on its grid."""
    weakest, on_grid = survey.solved.weakest, survey.solved.weakest_on_grid
    if on_grid is not None:
        yield _on_grid(on_grid)
    if weakest is not None:
        measure = f"radius that holds the weakest point ({weakest.name}), relative to the base line, in 95 of 100 cases"
        yield _accuracy("DQ_RelativeInternalPositionalAccuracy", measure, weakest.radius)


def _on_grid(weakest: PlaceRadius) -> str:
    measure = f"radius that holds the weakest point ({weakest.name}) on the grid in 95 of 100 cases"
    return _accuracy("DQ_AbsoluteExternalPositionalAccuracy", measure, weakest.radius)


def _accuracy(element: str, measure: str, radius: float) -> str:
    return (
        f"<gmd:report><gmd:{element}><gmd:nameOfMeasure>{_words(measure)}</gmd:nameOfMeasure>"
        "<gmd:result><gmd:DQ_QuantitativeResult>"
        '<gmd:valueUnit xlink:href="http://www.opengis.net/def/uom/EPSG/0/9001"/>'
        f"<gmd:value><gco:Record>{radius:.4f}</gco:Record></gmd:value>"
        f"</gmd:DQ_QuantitativeResult></gmd:result></gmd:{element}></gmd:report>"
    )
