import pytest
from hypothesis import given
from hypothesis.strategies import floats

from tests.correcting.parts import block
from tests.made_up_rules import FILAMENT
from verifier.correcting.filling import OUTLINE_MM, filament_length_m, fill, filled_volume_mm3


@pytest.mark.parametrize(
    ("volume_mm3", "density", "price", "mass_g", "cost"),
    [(8_000.0, 1.24, 25.0, 9.92, 0.248), (24_000.0, 1.04, 22.0, 24.96, 0.549)],
)
def test_mass_and_cost_of_a_solid_print(
    volume_mm3: float, density: float, price: float, mass_g: float, cost: float
) -> None:
    """A 20 mm cube of PLA and a 100 x 60 x 4 plate of ABS, by m = V * rho and the price of a kilogram."""
    filament = FILAMENT.model_copy(update={"density_g_cm3": density, "price_per_kg": price})
    side = volume_mm3 ** (1 / 3)
    filling = fill(block(side, side, side), 1.0, filament)
    assert filling.mass_g == pytest.approx(mass_g, abs=0.005)
    assert filling.cost == pytest.approx(cost, abs=5e-4)
    assert filling.notes == ()


@pytest.mark.parametrize(("mass_g", "length_m"), [(1.0, 0.3353), (1000.0, 335.3)])
def test_length_of_a_strand_of_1_75_mm(mass_g: float, length_m: float) -> None:
    assert filament_length_m(mass_g, FILAMENT) == pytest.approx(length_m, rel=2e-4)


def test_an_infill_fills_only_what_lies_inside_the_outlines() -> None:
    """A 40 mm cube: 9600 mm2 of outline 1.2 thick is 11 520 mm3 solid, and a fifth of the other 52 480."""
    assert filled_volume_mm3(64_000.0, 9_600.0, 0.2) == pytest.approx(11_520 + 0.2 * 52_480)
    assert fill(block(40, 40, 40), 0.2, FILAMENT).notes == ("The mass is an estimate for 20 % infill.",)


def test_a_part_thinner_than_its_outlines_is_solid() -> None:
    volume_mm3, area_mm2 = 100 * 60 * 2.0, 2 * (100 * 60 + 100 * 2 + 60 * 2)
    assert area_mm2 * OUTLINE_MM > volume_mm3
    assert filled_volume_mm3(volume_mm3, area_mm2, 0.1) == volume_mm3


@given(volume=floats(1.0, 1e6), area=floats(1.0, 1e5), infill=floats(0.01, 1.0))
def test_no_print_takes_more_than_a_solid_one(volume: float, area: float, infill: float) -> None:
    assert 0.0 < filled_volume_mm3(volume, area, infill) <= volume * (1 + 1e-12)
