"""Plots laid out on the ellipsoid by geodesics, taped through geocentric coordinates, and brought onto their grid."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray
from pyproj import CRS, Geod, Proj, Transformer

from pegline.readers import parse_book
from pegline.survey import Survey, reduce

MILLIMETRE = 1e-3
NAMES = "ABCDE"
#: CRS, its area (west, south, east, north), unit of its coordinates in metres, and the ellipsoid its geodesics run on.
ZONES = {
    "a UTM zone": ("utm", (-180.0, -80.0, 180.0, 84.0)),
    "a national transverse Mercator": ("EPSG:27700", (-6.0, 50.0, 1.5, 58.5)),
    "a Lambert conic": ("EPSG:2154", (-4.0, 42.5, 8.0, 51.0)),
    "a State Plane zone in US survey feet": ("EPSG:2229", (-121.0, 33.0, -115.0, 35.5)),
}


@dataclass(frozen=True)
class Plot:
    """Five stations within a circle of 500 m at a place on the earth, at one height."""

    crs: str
    lonlat: NDArray[np.float64]  #: (5, 2) degrees, on the datum of the CRS
    height: float

    @cached_property
    def geod(self) -> Geod:
        ellipsoid = CRS(self.crs).ellipsoid
        assert ellipsoid is not None
        return Geod(a=ellipsoid.semi_major_metre, b=ellipsoid.semi_minor_metre)

    @property
    def unit(self) -> float:
        """Return metres in one unit of the CRS."""
        return float(CRS(self.crs).axis_info[0].unit_conversion_factor)

    @cached_property
    def grid(self) -> NDArray[np.float64]:
        """Return (5, 2) easting and northing in the unit of the CRS."""
        return np.array([Proj(self.crs)(*place) for place in self.lonlat])

    @cached_property
    def ground(self) -> NDArray[np.float64]:
        """Return (5, 5) distances at the height of the plot, metres, through geocentric coordinates."""
        ellipsoid = CRS(self.crs).ellipsoid
        assert ellipsoid is not None
        shape = f"+a={ellipsoid.semi_major_metre!r} +b={ellipsoid.semi_minor_metre!r}"
        to_space = Transformer.from_pipeline(
            f"+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart {shape}"
        )
        space = np.array([to_space.transform(lon, lat, self.height) for lon, lat in self.lonlat])
        return np.asarray(np.linalg.norm(space[:, None] - space[None], axis=-1))

    def azimuth(self, start: str, end: str) -> float:
        p, q = (self.lonlat[NAMES.index(name)] for name in (start, end))
        return float(self.geod.inv(*p, *q)[0]) % 360

    def book(self, placing: str, noise: NDArray[np.float64] | None = None) -> str:
        taped = self.ground if noise is None else self.ground + noise
        use = {"AB": "base", "AC": "side", "BC": "side", "AD": "side", "BD": "side", "AE": "side", "BE": "side"}
        lines = [
            f"  {p}-{q}: {{use: {use.get(p + q, 'check')}, taped: {taped[NAMES.index(p), NAMES.index(q)]:.9f}}}"
            for p, q in combinations(NAMES, 2)
        ]
        a = self.grid[0]
        along = self.grid[1] - a
        sides = []
        for name, point in zip(NAMES[2:], self.grid[2:], strict=True):
            cross = along[0] * (point - a)[1] - along[1] * (point - a)[0]
            sides.append(f"  {name}: {{{'left_of' if cross > 0 else 'right_of'}: A-B}}")
        return "\n".join(
            [
                "book: 1",
                "unit: m",
                "tapes: {steel: {material: steel, length: 50}}",
                "stations:",
                *sides,
                "lines:",
                *lines,
                placing,
            ]
        )

    def control_line(self, name: str, accuracy: float) -> str:
        east, north = self.grid[NAMES.index(name)]
        return f"{name}: {{easting: {east:.6f}, northing: {north:.6f}, accuracy: {accuracy}}}"

    def known_by_degrees(self, name: str, accuracy: float) -> str:
        lon, lat = self.lonlat[NAMES.index(name)]
        base = CRS(self.crs).geodetic_crs
        assert base is not None
        code = ":".join(base.to_authority() or ())
        return f"{name}: {{latitude: {lat:.11f}, longitude: {lon:.11f}, crs: {code}, accuracy: {accuracy}}}"

    def control(self, *points: str) -> str:
        return f"control: {{crs: {self.crs}, ground_height: {self.height}, points: {{{', '.join(points)}}}}}"


def draw_plot(zone: str, random: np.random.Generator) -> Plot:
    crs, (west, south, east, north) = ZONES[zone]
    lon, lat = random.uniform(west, east), random.uniform(south, north)
    if crs == "utm":
        crs = f"EPSG:{32600 if lat >= 0 else 32700}".replace("00", f"{int((lon + 180) // 6) + 1:02d}")
    ellipsoid = CRS(crs).ellipsoid
    assert ellipsoid is not None
    geod = Geod(a=ellipsoid.semi_major_metre, b=ellipsoid.semi_minor_metre)
    size = random.uniform(40, 250)
    # Spread round the circle, so that every triangle stands well; the order is not that of the names.
    azimuths = random.uniform(0, 360) + np.array([0, 150, 75, 230, 300]) + random.uniform(-15, 15, 5)
    reach = size * random.uniform(0.8, 1.0, 5)
    places = [geod.fwd(lon, lat, azimuth, far)[:2] for azimuth, far in zip(azimuths, reach, strict=True)]
    return Plot(crs, np.array(places), float(random.uniform(0, 4500)))


def solve_plot(plot: Plot, placing: str, noise: NDArray[np.float64] | None = None) -> Survey:
    return reduce(parse_book(plot.book(placing, noise).encode(), "plot.yaml"))


def errors(plot: Plot, survey: Survey) -> NDArray[np.float64]:
    """Return (5, 2) how far each station came out from the truth, metres."""
    found = np.array([survey.adjustment.solution.position(name) for name in NAMES]) + survey.frame.origin
    return np.asarray(found - plot.grid * plot.unit)


@pytest.mark.parametrize("zone", ZONES)
def test_exact_measurements_bring_the_truth_back(zone: str) -> None:
    _exact(zone, plots=4)


@pytest.mark.long
@pytest.mark.parametrize("zone", ZONES)
def test_exact_measurements_of_many_plots_bring_the_truth_back(zone: str) -> None:
    _exact(zone, plots=125)


def _exact(zone: str, plots: int) -> None:
    random = np.random.default_rng(list(ZONES).index(zone))
    for _ in range(plots):
        plot = draw_plot(zone, random)
        north = f"north: {{from: true, bearings: {{A-B: {plot.azimuth('A', 'B'):.10f}}}}}\n"
        for placing in (
            north + plot.control(plot.control_line("A", 0.01)),
            plot.control(plot.control_line("A", 0.01), plot.control_line("C", 0.01)),
            plot.control(plot.known_by_degrees("B", 0.02), plot.control_line("D", 0.01), plot.control_line("E", 1.0)),
        ):
            worst = np.abs(errors(plot, solve_plot(plot, placing))).max()

            assert worst < MILLIMETRE, (plot, placing)


#: Share of 2,000 plots in which a station lies within its 95 % ellipse: three deviations of such a share.
COVERED = (0.935, 0.965)


@pytest.mark.long
def test_with_noise_the_stated_accuracy_is_honest() -> None:
    random = np.random.default_rng(42)
    inside = []
    for number in range(2000):
        plot = draw_plot([*ZONES][number % len(ZONES)], random)
        # What a steel tape of 50 m gives: 5 mm a lay, and a scale of its own within 1/5000.
        noise = 0.005 * np.sqrt(np.ceil(plot.ground / 50)) * np.triu(random.normal(size=(5, 5)), 1)
        noise += random.normal(scale=1 / 5000) * plot.ground
        off = random.normal(scale=0.02 / plot.unit, size=plot.grid.shape)
        points = [
            f"{name}: {{easting: {east:.6f}, northing: {north:.6f}, accuracy: {0.02 / plot.unit}}}"
            for name, (east, north) in list(zip(NAMES, plot.grid + off, strict=True))[:3]
        ]
        survey = solve_plot(plot, plot.control(*points), noise)
        solution = survey.adjustment.solution
        variances = solution.variances[[solution.index[name] for name in NAMES]]
        off = errors(plot, survey)
        squares = np.einsum("ni,ni->n", off, np.linalg.solve(variances, off[..., None])[..., 0])
        inside.append(squares < 5.991)  # χ², two degrees of freedom, 95 %

    for name, share in zip(NAMES, np.mean(inside, axis=0), strict=True):
        assert COVERED[0] <= share <= COVERED[1], (name, share)
