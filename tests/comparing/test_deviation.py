import numpy as np
import pytest

from inbox_demo import simulated
from tests.comparing.views import PARTS
from verifier.comparing.deviation import away_at, deviation_of, spread_of
from verifier.comparing.mirrored import mirrored
from verifier.finding import find_features
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Mesh


def solid_of(shape, seed, **scan):
    made = simulated.scan(shape, seed=seed, spacing_mm=1.0, correlated_mm=0.0, **{"white_mm": 0.005} | scan)
    return Solid(Mesh(made.vertices_mm, made.faces), np.zeros(len(made.faces), dtype=np.uint8))


@pytest.fixture(scope="module")
def lever():
    return solid_of(simulated.latch_lever(), seed=41)


def test_a_coat_of_a_tenth_stands_a_tenth_proud_everywhere(lever):
    coated = solid_of(simulated.latch_lever(), seed=42, coat_mm=0.1)
    told = deviation_of(coated, find_features(coated), lever, find_features(lever))
    # Triangles 1 mm wide cut off up to 0.2 mm of edges rounded at 0.25 mm, on a tenth of this surface, and 0.02 mm of
    # the bores' walls; corners lie on the true surface.
    assert told.whole.mean_mm == pytest.approx(0.1, abs=0.02)
    assert {r.name for r in told.regions} >= {"bore 1", "bore 2", "plane 1", "elsewhere"}
    for region in (each for each in told.regions if each.name != "elsewhere"):  # most of which is edges
        assert region.mean_mm == pytest.approx(0.1, abs=0.03), region.name
    assert told.outside.share > 0.99
    assert dict(told.within)[0.05] < 0.05
    assert dict(told.within)[0.2] > 0.9  # all but the edges


def test_a_larger_bore_lies_inside_the_reference_and_the_rest_does_not(lever):
    worn = solid_of(simulated.latch_lever(pin_mm=6.6), seed=43)
    features = find_features(worn)
    told = deviation_of(worn, features, lever, find_features(lever))
    pin = next(r for r in told.regions if r.name == "bore 2")
    assert pin.mean_mm == pytest.approx(-0.3, abs=0.03)  # half of the 0.6 mm; chords as above
    assert all(abs(r.mean_mm) < 0.02 for r in told.regions if r.name.startswith("plane"))
    assert told.inside.largest_mm > 0.2
    shown = away_at(told, worn, worn.mesh.vertices_mm[::50] + 0.001)
    assert shown == pytest.approx(told.away_mm[::50], nan_ok=True)


def test_what_was_filled_on_either_side_is_not_compared(lever):
    other = solid_of(simulated.latch_lever(), seed=44)
    dented = other.mesh.vertices_mm.copy()
    flat = find_features(other).planes[0].faces
    dented[np.unique(other.mesh.faces[flat])] += 0.8
    origin = other.origin.copy()
    touched = np.isin(other.mesh.faces, np.unique(other.mesh.faces[flat])).any(axis=1)
    origin[touched] = Origin.FILLED
    told = deviation_of(Solid(Mesh(dented, other.mesh.faces), origin), None, lever, None)
    assert not told.compared[np.unique(other.mesh.faces[flat])].any()
    assert abs(told.whole.mean_mm) < 0.02


def test_the_mirrored_twin_lies_on_its_mirror_image_and_not_on_itself():
    one, other = (solid_of(PARTS["fence_clip"](), seed=seed) for seed in (45, 46))
    told = deviation_of(mirrored(one), None, mirrored(other), None)
    assert told.whole.rms_mm < 0.08  # the cut-off edges, as above
    wrong = deviation_of(mirrored(one), None, other, None)
    assert wrong.whole.rms_mm > 0.3


def test_means_and_ends_count_every_corner_by_its_area():
    told = spread_of("pad", np.array([0.0, 1.0, 2.0]), np.array([2.0, 1.0, 1.0]))
    assert (told.area_mm2, told.mean_mm, told.least_mm, told.greatest_mm) == (4.0, 0.75, 0.0, 2.0)
    assert told.rms_mm == pytest.approx(np.sqrt(5.0 / 4.0))
