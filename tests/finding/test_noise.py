import numpy as np
import pytest

from inbox_demo import simulated as sim
from verifier.finding import find_features
from verifier.finding.noise import LAID_MM, noise_on_planes

from .parts import COARSE, NOISE_A, WHITE, found, solid_of


@pytest.mark.parametrize(("name", "truth"), [("A", NOISE_A), ("coarse", COARSE)])
def test_white_and_shared_scatter_are_told_apart(name, truth):
    features, _ = found("link", noise=name)
    assert features.noise.white_mm == pytest.approx(truth["white_mm"], rel=0.1)
    # Over a plane of 13 x 55 mm there are 20 to 80 independent patches: their spread is known to a tenth or two.
    assert features.noise.correlated_mm == pytest.approx(truth["correlated_mm"], rel=0.3)
    assert features.noise.correlation_mm == pytest.approx(truth["correlation_mm"], rel=0.3)


def test_white_scatter_alone_is_not_called_shared():
    features, _ = found("link", noise="white")
    assert features.noise.white_mm == pytest.approx(WHITE["white_mm"], rel=0.05)
    assert features.noise.correlated_mm < 0.2 * WHITE["white_mm"]


def test_a_part_without_a_flat_is_judged_from_neighbours():
    def egg(p):
        scaled = np.linalg.norm(p / [12.0, 8.0, 6.0], axis=1)
        return scaled * (scaled - 1.0) / np.maximum(np.linalg.norm(p / [144.0, 64.0, 36.0], axis=1), 1e-6)

    shape = sim.Shape("egg", egg, (-13, -9, -7), (13, 9, 7))
    features = find_features(solid_of(sim.scan(shape, spacing_mm=0.4, white_mm=0.02, correlated_mm=0.0)))
    assert features.noise.white_mm == pytest.approx(0.02, rel=0.15)
    assert any("No flat face" in notice for notice in features.notices)
    assert features.planes == ()
    assert features.cylinders == ()
    # Second-order crests on an ellipsoid of 24 x 16 x 12; the fourth order adds about 0.02.
    assert [e.length_mm for e in features.extents] == pytest.approx([24.0, 16.0, 12.0], abs=0.09)


def test_the_variogram_of_pure_white_scatter_is_flat():
    rng = np.random.default_rng(7)
    points = np.column_stack([rng.uniform(0, 30, (20_000, 2)), np.zeros(20_000)])
    noise = noise_on_planes([(points, rng.normal(scale=0.03, size=20_000))], spacing_mm=0.2)
    assert noise.white_mm == pytest.approx(0.03, rel=0.03)


def test_a_flat_of_a_few_points_tells_nothing_of_scatter():
    points = np.column_stack([np.indices((7, 7)).reshape(2, -1).T * 1.6, np.zeros(49)])
    assert noise_on_planes([(points, np.zeros(49))], spacing_mm=1.6) is None


def test_long_waves_are_found_and_stand_in_the_uncertainty_of_a_flat():
    features, _ = found("lever", spacing_mm=0.6, noise="waves")
    # On flats of 84 x 28 there are some twenty patches of waves over 8 mm: their spread is known to a sixth or so.
    assert features.noise.wave_mm == pytest.approx(0.03, rel=0.5)
    assert features.planes[0].u_offset_mm > 0.003
    calm, _ = found("lever", spacing_mm=0.6)
    assert calm.noise.wave_mm < 1e-4
    # What is left is how the scanner lays its pictures on one another.
    assert calm.planes[0].u_offset_mm < 1.25 * LAID_MM < 0.5 * features.planes[0].u_offset_mm
