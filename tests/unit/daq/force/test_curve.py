"""The inverse of a response: exact inside, the tangent outside."""

import numpy as np
import pytest

from daq.force.curve import Curve


@pytest.mark.parametrize(
    "coefficients",
    [(9.0, 100.0), (9.0, 100.0, -0.01), (9.0, 100.0, 0.02, -1e-5), (0, 1, 0, 0, 0, 1e-5)],
)
def test_the_inverse_gives_back_the_load(coefficients):
    top = 10.0 if len(coefficients) > 4 else 1000.0
    curve = Curve(coefficients, up_to_n=top)
    loads = np.linspace(0.0, top, 57)
    net = np.polynomial.polynomial.polyval(loads, (0.0, *coefficients[1:]))
    assert np.allclose(curve.loads_n(net), loads, rtol=1e-9, atol=1e-9)


def test_outside_the_verified_load_the_curve_goes_on_straight():
    curve = Curve((0.0, 100.0, -0.02), up_to_n=1000.0)
    top = 100.0 * 1000.0 - 0.02 * 1000.0**2
    found = curve.loads_n(np.array([top, top + 60.0 * 500.0, -200.0]))
    assert found == pytest.approx([1000.0, 1500.0, -2.0])


@pytest.mark.parametrize(
    ("coefficients", "up_to_n"),
    [((0.0,), 1.0), ((0.0, 0.0), 1.0), ((0.0, -2.0), 1.0), ((0.0, np.nan), 1.0),
     ((0.0, 100.0, -0.1), 1000.0), ((0.0, 100.0, -0.1), np.inf),
     ((0, 1, 0, 0, 0, 1), 10.0)],
)  # fmt: skip
def test_a_response_that_does_not_rise_is_no_curve(coefficients, up_to_n):
    with pytest.raises(ValueError, match=r"rise|finite"):
        Curve(coefficients, up_to_n)
