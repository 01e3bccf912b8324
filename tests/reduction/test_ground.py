"""The χ² distribution is that of another library."""

import pytest

from pegline.reduction.ground import chi2_exceeded


def test_chi2_is_that_of_scipy():
    from scipy.stats import chi2

    for freedom in (1, 2, 3, 10, 25, 100, 299):
        for value in (0.0, 0.5 * freedom, freedom, 1.5 * freedom + 3):
            assert chi2_exceeded(value, freedom) == pytest.approx(chi2.sf(value, freedom), abs=1e-12)
    for freedom in (301, 5000):  # Wilson and Hilferty's cube root
        for value in (0.9 * freedom, freedom, 1.1 * freedom):
            assert chi2_exceeded(value, freedom) == pytest.approx(chi2.sf(value, freedom), abs=1e-4)
