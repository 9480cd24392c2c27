import numpy as np
import pytest
from hypothesis import given
from hypothesis.strategies import floats

from verifier.correcting.bores_polygon import LEAST_SIDES, corners_round, facet_loss_mm, sides_for

# n >= pi / arccos(1 - t / D): a published formula for holes of prints; the counts follow from it.
SIDES_FOR_HUNDREDTH = [(3.0, 39), (5.0, 50), (8.0, 63), (10.0, 71), (20.0, 100), (50.0, 158)]
SIDES_FOR_TWO_HUNDREDTHS = [(3.0, 28), (5.0, 36), (8.0, 45), (10.0, 50), (20.0, 71), (50.0, 112)]


@pytest.mark.parametrize(("diameter_mm", "sides"), SIDES_FOR_HUNDREDTH)
def test_a_loss_of_a_hundredth_takes_so_many_sides(diameter_mm: float, sides: int) -> None:
    assert sides_for(diameter_mm, 0.01) == sides


@pytest.mark.parametrize(("diameter_mm", "sides"), SIDES_FOR_TWO_HUNDREDTHS)
def test_a_loss_of_two_hundredths_takes_so_many_sides(diameter_mm: float, sides: int) -> None:
    assert sides_for(diameter_mm, 0.02) == sides


# Diameter lost, mm, for diameters of 3, 5, 8, 10 and 20 mm.
LOST_MM = {
    8: (0.2284, 0.3806, 0.6090, 0.7612, 1.5224),
    12: (0.1022, 0.1704, 0.2726, 0.3407, 0.6815),
    16: (0.0576, 0.0961, 0.1537, 0.1921, 0.3843),
    24: (0.0257, 0.0428, 0.0684, 0.0856, 0.1711),
    32: (0.0144, 0.0241, 0.0385, 0.0482, 0.0963),
    48: (0.0064, 0.0107, 0.0171, 0.0214, 0.0428),
    64: (0.0036, 0.0060, 0.0096, 0.0120, 0.0241),
    96: (0.0016, 0.0027, 0.0043, 0.0054, 0.0107),
    128: (0.0009, 0.0015, 0.0024, 0.0030, 0.0060),
}


@pytest.mark.parametrize("sides", LOST_MM)
def test_a_polygon_is_so_much_smaller_across_its_flats(sides: int) -> None:
    """D (1 - cos(pi / n))."""
    found = [facet_loss_mm(diameter_mm, sides) for diameter_mm in (3.0, 5.0, 8.0, 10.0, 20.0)]
    # Half the last printed figure, and a rounding.
    assert found == pytest.approx(LOST_MM[sides], abs=0.000051)


@given(diameter_mm=floats(1.0, 100.0), loss_mm=floats(0.001, 0.1))
def test_the_loss_allowed_is_kept_and_one_side_less_would_not_keep_it(diameter_mm: float, loss_mm: float) -> None:
    sides = sides_for(diameter_mm, loss_mm)
    assert facet_loss_mm(diameter_mm, sides) <= loss_mm * (1 + 1e-6)
    assert sides == LEAST_SIDES or facet_loss_mm(diameter_mm, sides - 1) > loss_mm * (1 - 1e-6)


@given(diameter_mm=floats(0.5, 100.0), sides=floats(12, 200).map(int))
def test_the_wanted_circle_touches_every_flat_from_inside(diameter_mm: float, sides: int) -> None:
    corners = corners_round(diameter_mm, sides)
    flats = 0.5 * (corners + np.roll(corners, -1, axis=0))
    assert 2.0 * np.linalg.norm(flats, axis=1) == pytest.approx(diameter_mm, rel=1e-9)
    turns = np.diff(np.unwrap(np.arctan2(corners[:, 1], corners[:, 0])))
    assert turns == pytest.approx(2.0 * np.pi / sides)  # anticlockwise
