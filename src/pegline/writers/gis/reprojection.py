"""Layers in another CRS than the survey's own: which is taken, by which way, and what the way is good to."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from pegline.diagnosis.model import Survey
from pegline.errors import UnsuitableError, UsageError
from pegline.plane import Array
from pegline.records import record
from pegline.writers.gis.package import Motion, Package, move_package, package

if TYPE_CHECKING:
    from pegline.frame.datum_shift import DatumWay

__all__ = [
    "DEGREE_DECIMALS",
    "MAX_SHIFT",
    "OtherCRS",
    "datum_accuracy_words",
    "metres_between",
    "package_in",
    "reproject",
    "to_degrees",
    "way_to_wgs84",
]


#: How far a straight piece may lie from its line in the other CRS before it is divided, metres: that of arcs.
TOLERANCE: Final = 0.005
#: Steps by which derivatives are taken, in units of the source.
SOURCE_STEP: Final = 1.0
#: A piece is divided into so many at most.
MAX_PIECES: Final = 1024


@record(frozen=True, slots=False)
class OtherCRS:
    """A CRS that layers are asked for in, geographic ones too."""

    text: str  #: as asked for: EPSG:CODE, or whatever else pyproj reads
    allow_shift: float = 0.0  #: a change of datum no less accurate than so many metres is allowed

    @cached_property
    def crs(self) -> Any:
        """Return the CRS, with two axes that run east and north.

        Raises
        ------
        UsageError
            It is none that layers can be written in.
        """
        from pyproj import CRS
        from pyproj.exceptions import CRSError

        from pegline.frame.west_south import counterpart

        try:
            crs = CRS.from_user_input(self.text)
        except CRSError:
            raise UsageError(f"--crs {self.text}: no coordinate reference system; write it as EPSG:CODE") from None
        if crs.is_compound:
            crs = crs.sub_crs_list[0]
        if not (crs.is_projected or crs.is_geographic):
            raise UsageError(f"--crs {self.text}: {crs.name} is no grid and no latitude and longitude; take another")
        return counterpart(crs) or crs.to_2d()

    @property
    def name(self) -> str:
        """Return its name for people, with its code where it has one."""
        code = self.crs.to_authority(min_confidence=100)
        return f"{self.crs.name} ({':'.join(code)})" if code else str(self.crs.name)


def package_in(survey: Survey, other: OtherCRS | None) -> Package:
    """Return what the GeoPackage of a survey holds, in another CRS where one is asked for; raises as `reproject`."""
    own = package(survey)
    if other is None:
        return own
    control = survey.book.control
    return reproject(own, other, allow_shift=(control.allow_shift or 0.0) if control else 0.0)


def reproject(whole: Package, other: OtherCRS, *, allow_shift: float = 0.0) -> Package:
    """Return a package in another CRS, its history with the operation and what it is good to.

    Parameters
    ----------
    whole
        On a grid.
    other
        The CRS.
    allow_shift
        What the book allows a change of datum to be out by, metres; the larger of it and the call's counts.

    Raises
    ------
    UnsuitableError
        The package is in a frame of its own, which leads nowhere; or its coordinates hold for one moment only.
    UsageError
        The datum changes by more than is allowed, or nobody knows by how much.
    """
    from pyproj import CRS

    from pegline.frame.datum_shift import same_datum

    source = CRS.from_wkt(whole.wkt)
    if source.is_engineering:
        raise UnsuitableError(
            f"{source.name}: leads to no other CRS; book two stations under control, or leave out --crs"
        )
    if source == other.crs:
        return whole
    corners = next((layer.shapes.corners for layer in whole.layers if len(layer.shapes.corners)), None)
    if corners is None:
        return whole
    if whole.epoch is not None and not same_datum(source, other.crs):
        raise UnsuitableError(
            f"--crs {other.text}: coordinates of epoch {whole.epoch:g} are not carried from {source.name} there,"
            " because plates move and that is not reckoned; take a CRS of its datum"
        )
    way = _way(source, other, tuple(corners.mean(axis=0)), max(allow_shift, other.allow_shift))
    return move_package(whole, _motion(source, other, way, corners.mean(axis=0)))


def _way(source: Any, other: OtherCRS, sample: tuple[float, float], allowed: float) -> Any:
    from pegline.frame.datum_shift import way_between

    way = way_between(source, other.crs, sample)
    option = f"--crs {other.text}"
    if way is None:
        raise UsageError(f"{option}: nothing here leads from {source.name} there but a guess; take a CRS of its datum")
    if way.accuracy > allowed:
        raise UsageError(
            f"{option}: from {source.name} the datum changes, good to {way.accuracy:g} m; take a CRS of its datum, or"
            f" say --allow-shift {way.accuracy:g}"
        )
    return way


def _motion(source: Any, other: OtherCRS, way: Any, middle: Array) -> Motion:
    from pegline.frame.datum_shift import same_datum

    def places(corners: Array) -> Array:
        return np.stack(way.transformer.transform(*np.asarray(corners, float).T, errcheck=True), axis=-1)

    in_metres = metres_between(other.crs)
    unit = float(source.axis_info[0].unit_conversion_factor)

    def slopes(corners: Array) -> Array:
        columns = [
            (in_metres(places(corners + step), places(corners)) - in_metres(places(corners - step), places(corners)))
            / (2 * SOURCE_STEP * unit)
            for step in np.eye(2) * SOURCE_STEP
        ]
        return np.stack(columns, axis=-1)

    good = f"good to {way.accuracy:g} m" if way.accuracy else "no change of datum"
    return Motion(
        wkt=str(other.crs.to_wkt("WKT2_2019")),
        crs_name=other.name,
        places=places,
        slopes=slopes,
        spread=lambda corners: np.broadcast_to(way.accuracy**2 * np.eye(2), (len(corners), 2, 2)),
        on_earth=lambda corners: _on_earth(other.crs, corners),
        scale=float(np.sqrt(abs(np.linalg.det(slopes(middle[None])[0])))),
        same_datum=same_datum(source, other.crs),
        history=f"Transformed from {source.name} to {other.name}: {way.description} ({good}).",
        dense=lambda line: _dense(line, places, in_metres),
    )


def metres_between(crs: Any) -> Callable[[Array, Array], Array]:
    """Return what turns places less others near by into metres east and north: (n, 2) by (n, 2)."""
    unit = float(crs.axis_info[0].unit_conversion_factor)
    if crs.is_projected:
        return lambda there, here: np.asarray((there - here) * unit)
    a, b = crs.ellipsoid.semi_major_metre, crs.ellipsoid.semi_minor_metre

    def on_ellipsoid(there: Array, here: Array) -> Array:
        latitude = np.asarray(here)[:, 1] * unit
        root = np.hypot(a * np.cos(latitude), b * np.sin(latitude))
        across, along = a * a / root, (a * b) ** 2 / root**3
        return np.asarray((there - here) * unit * np.stack([across * np.cos(latitude), along], axis=-1))

    return on_ellipsoid


def _dense(line: Array, places: Callable[[Array], Array], in_metres: Callable[[Array, Array], Array]) -> Array:
    """Return a line's vertices with those between that keep its straight pieces within the tolerance.

    A straight line of one CRS is bent in another, about as an arc: the height of its middle over the chord
    shrinks by four where the piece is halved.
    """
    starts, ends = line[:-1], line[1:]
    true, chord = places((starts + ends) / 2), (places(starts) + places(ends)) / 2
    bends = np.hypot(*in_metres(true, chord).T)
    pieces = np.minimum(np.ceil(np.sqrt(np.maximum(bends / TOLERANCE, 1.0))), MAX_PIECES).astype(int)
    parts = [
        start + (end - start) * (np.arange(count) / count)[:, None]
        for start, end, count in zip(starts, ends, pieces.tolist(), strict=True)
    ]
    return np.concatenate([*parts, line[-1:]])


def _on_earth(crs: Any, corners: Array) -> list[tuple[float, float]]:
    """Return longitude and latitude of the corners of the box that holds places, degrees."""
    from pyproj import Transformer

    (west, south), (east, north) = corners.min(axis=0), corners.max(axis=0)
    box = [(x, y) for x in (west, east) for y in (south, north)]
    if crs.is_geographic:
        degrees = float(np.degrees(crs.axis_info[0].unit_conversion_factor))
        return [(float(x) * degrees, float(y) * degrees) for x, y in box]
    to_earth = Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
    return [(float(lon), float(lat)) for lon, lat in (to_earth.transform(x, y) for x, y in box)]


#: A change of datum may be out by so many metres for a look on a map.
MAX_SHIFT: Final = 5.0
#: WGS 84 is an ensemble of its realisations, which agree to so many metres (EPSG's register, datum 6326).
ENSEMBLE: Final = 2.0
#: Degrees kept: nine decimals are a tenth of a millimetre.
DEGREE_DECIMALS: Final = 9


def way_to_wgs84(survey: Survey, format_name: str) -> DatumWay:
    """Return the way from a survey's grid.

    Raises
    ------
    UnsuitableError
        The survey is not on a grid, or its datum's way to WGS 84 is not known well enough.
    """
    from pyproj import CRS

    from pegline.frame.datum_shift import way_between

    frame = survey.frame
    if frame.kind != "grid":
        raise UnsuitableError(
            f"{format_name} is for surveys on a grid, and this one has no control;"
            " book two stations under 'control', or take gpkg"
        )
    sample = (frame.origin[0] / frame.metres_per_unit, frame.origin[1] / frame.metres_per_unit)
    way = way_between(CRS(frame.wkt), CRS("EPSG:4326"), sample)
    if way is None or way.accuracy > MAX_SHIFT:
        good = "is not known" if way is None else f"is known to {way.accuracy:g} m only"
        raise UnsuitableError(
            f"{format_name} is in WGS 84, and the way there from {frame.crs_name} {good};"
            " take gpkg, which keeps the grid's own coordinates"
        )
    return way


def datum_accuracy_words(way: DatumWay) -> str:
    """Return in a sentence how well the way to WGS 84 is known, and WGS 84 itself."""
    good = f"good to {way.accuracy:g} m" if way.accuracy else "no loss"
    return f"To WGS 84: {way.description} ({good}); WGS 84 itself is known to about {ENSEMBLE:g} m."


def to_degrees(corners: Array, way: DatumWay) -> Array:
    """Return corners (k, 2) in longitude and latitude, degrees."""
    if not len(corners):
        return np.empty((0, 2))
    return np.stack(way.transformer.transform(*corners.T, errcheck=True), axis=-1).round(DEGREE_DECIMALS)
