"""What the adjustment gives: solutions with their covariances, checks and quality figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from pegline.errors import Finding, Place
from pegline.network.kinds import CheckKind, MeasurementKind
from pegline.network.least_squares import Fit
from pegline.network.linear_equations import Network
from pegline.network.observation_types import Booking
from pegline.plane import Array
from pegline.records import record

__all__ = ["Adjustment", "Check", "Covariances", "Measurement", "Solution"]


class Covariances(Protocol):
    """Access to the covariance of a solution without ever forming all of it.

    Parameters are numbered: 2 i and 2 i + 1 are x and y of point i of ``Solution.names``; 2 n + t is
    the scale of tape t of ``Solution.tapes``, and after those of the tapes come other errors that readings share.
    What is held has covariance zero.
    """

    def blocks(self, parameters: NDArray[np.int64], others: NDArray[np.int64] | None = None) -> Array:
        """Return the covariances (m, k, k) of m groups of k parameters each, given as (m, k) numbers.

        With ``others``, (m, l) or (1, l), those of each group with them: (m, k, l).
        """
        ...

    def of(self, gradients: Any) -> Array:
        """Return G C G' (r, r) for gradients G (r, parameters), dense or sparse: one solve a row."""
        ...


@record(frozen=True, slots=True)
class Solution:
    """Points fixed by least squares in the frame, about its origin."""

    names: tuple[str, ...]  #: n points: stations, tie stations, then points that share equations
    index: Mapping[str, int]  #: name to row
    stations: int  #: how many of them are stations; they come first
    positions: Array  #: (n, 2) x and y, metres
    tapes: tuple[str, ...]  #: t tapes
    #: (s,) how much each tape reads long, metres a metre: reading = distance x (1 + scale); then what readings share
    scales: Array
    variances: Array  #: (n, 2, 2) covariance of each position in the frame, square metres
    local_variances: Array  #: (n, 2, 2) relative to the base line: its first station and direction held
    covariances: Covariances
    base: tuple[int, int]  #: rows of the base line's ends

    def position(self, name: str) -> Array:
        """Return x and y of a point, metres about the frame's origin."""
        row: Array = self.positions[self.index[name]]
        return row


@record(frozen=True, slots=True)
class Check:
    """Something measured that the plotting solution did not need, compared with it."""

    booking: Booking  #: of the observation; of the worst one where several are compared together
    kind: CheckKind
    numbers: tuple[int, ...]  #: of the observations that are compared together
    taped: float  #: on the ground, metres; radians for a bearing
    computed: float
    sd: float  #: of the difference
    allowed: float  #: largest difference that passes, same unit
    test: float  #: difference over its standard deviation
    passed: bool
    angle: bool = False  #: taped, computed and the like are radians
    chosen: bool = False  #: passes because a reading left open was chosen so: proves less than a check

    @property
    def what(self) -> str:
        """Return how it is shown: ``P-Q``, or ``P-Q at 8.20``, or a station for control."""
        return self.booking.label

    @property
    def place(self) -> Place:
        """Return where it is booked."""
        return self.booking.place

    @property
    def difference(self) -> float:
        """Return taped minus computed."""
        return self.taped - self.computed


@record(frozen=True, slots=True)
class Measurement:
    """One observation of the adjusted solution with its quality figures."""

    booking: Booking
    value: float  #: observed, metres on the ground, or radians; control on its grid
    residual: float  #: observed minus computed
    redundancy: float | None  #: 0 to 1; None for what is compared with the solution and has no part in it
    test: float  #: residual over its standard deviation; 0 where nothing checks it
    angle: bool = False  #: value, residual and the like are radians

    @property
    def what(self) -> str:
        """Return how it is shown: ``P-Q``, or ``P-Q at 8.20``, or a station for control."""
        return self.booking.label

    @property
    def kind(self) -> MeasurementKind:
        """Return what was measured."""
        return self.booking.kind

    @property
    def sd(self) -> float:
        """Return the standard deviation of the observation, the tape's scale left out."""
        return self.booking.sd

    @property
    def place(self) -> Place:
        """Return where it is booked."""
        return self.booking.place


@record(frozen=True, slots=True)
class Adjustment:
    """The plotting and the adjusted solution, compared."""

    plotting: Solution
    adjusted: Solution
    delivered: Literal["plotting", "adjusted"]
    checks: tuple[Check, ...]
    measurements: tuple[Measurement, ...]  #: of the adjusted solution
    critical: float  #: family-wise critical value of the tests
    freedom: int  #: redundant measurements in the adjusted solution
    variance_factor: float | None
    chi2_probability: float | None
    unreliable: tuple[str, ...]  #: points whose ellipse is not to be trusted: the figure is too flat there
    fit: Fit  #: the adjusted solution, for questions of the kind 'what if'
    plotting_fit: Fit  #: the plotting solution; what only places it comes after the observations
    warnings: Sequence[Finding] = ()
    misfit: float = 0.0  #: square sum of all residuals over their standard deviations, what fails included
    missing: tuple[str, ...] = ()  #: points of a half-finished book that nothing fixes yet
    unfinished: bool = False  #: of a half-finished book: something is left out

    @property
    def network(self) -> Network:
        """Return what was solved."""
        return self.fit.network

    @property
    def delivered_fit(self) -> Fit:
        """Return the solution that is delivered, with its residuals and factor."""
        return self.fit if self.delivered == "adjusted" else self.plotting_fit

    @property
    def solution(self) -> Solution:
        """Return the solution that is delivered."""
        return self.adjusted if self.delivered == "adjusted" else self.plotting
