"""Long waves of a scan move walls alike, as powder does: the coat that is told says so."""

from dataclasses import replace

import numpy as np
import pytest

from tests.correcting.bench import LEVER, reading_u_mm, scanned, sheet_for, shop
from verifier.correcting.evidence import gather_evidence
from verifier.correcting.scale_coat import separate_scale_from_coat
from verifier.correcting.terms import fit_terms
from verifier.correcting.waves import covariance_by_waves, shared_by_waves_mm2
from verifier.finding.feature import Noise
from verifier.mesh import Array

RULES = shop()
# Of a bore's stated 0.015 mm nearly all; known from 70 patches.
WAVES = Noise(0.02, 0.0, 1.0, wave_mm=0.0075, wavelength_mm=15.0, seen_on_mm2=1e5)
SIZES = scanned(LEVER)


def drawn_errors(rng: np.random.Generator) -> Array:
    """Errors of the lever's sizes by such waves, and as much more of each by itself as its uncertainty states."""
    shared = shared_by_waves_mm2(SIZES, WAVES.wave_mm, WAVES.wavelength_mm)
    own = np.array([size.u_mm for size in SIZES]) ** 2 - np.diag(shared)
    return rng.multivariate_normal(np.zeros(len(SIZES)), shared + np.diag(own))


def test_walls_in_one_place_share_a_wave_wholly_and_a_bore_moves_the_other_way() -> None:
    """Closed form: waves far longer than the part move each wall by one height h, a size by walls * h."""
    unbounded = [replace(size, u_mm=1.0) for size in SIZES]
    walls = np.array([row.walls for row in LEVER])
    found = shared_by_waves_mm2(unbounded, 0.03, reach_mm=1e5)
    assert found == pytest.approx(0.03**2 * np.outer(walls, walls), abs=1e-8)


def test_no_more_of_a_size_is_shared_than_it_states() -> None:
    found = shared_by_waves_mm2(SIZES, 0.5, reach_mm=15.0)
    stated = np.array([size.u_mm for size in SIZES]) ** 2
    assert np.all(np.diag(found) <= stated * (1.0 + 1e-12))


def test_waves_are_called_powder_in_one_scan_of_twenty_and_not_in_one_of_six() -> None:
    rng, true = np.random.default_rng(8), np.array([row.true_mm for row in LEVER])
    as_told, as_fitted = [], []
    for _ in range(300):
        readings = list(true + reading_u_mm(LEVER) * rng.standard_normal(len(LEVER)))
        sizes = scanned(LEVER, errors=drawn_errors(rng))
        evidence = gather_evidence(sizes, sheet_for(LEVER, readings), RULES)
        terms = fit_terms(evidence, RULES.acceptance.expectation)
        more = covariance_by_waves(sizes, evidence, terms, WAVES)
        as_fitted.append(abs(terms.coat_mm) > 2.0 * np.sqrt(terms.covariance[1, 1]))
        as_told.append(abs(terms.coat_mm) > 2.0 * np.sqrt(terms.covariance[1, 1] + more[1, 1]))
    # 4.6 % by k = 2; 300 scans leave a standard deviation of 1.2 %.
    assert np.mean(as_told) <= 0.08
    assert np.mean(as_fitted) >= 0.12


def test_waves_make_the_coat_less_sure_and_no_corrected_size() -> None:
    sheet = sheet_for(LEVER)
    calm, waved = (separate_scale_from_coat(SIZES, sheet, RULES, noise) for noise in (None, WAVES))
    few = separate_scale_from_coat(SIZES, sheet, RULES, replace(WAVES, seen_on_mm2=3000.0))
    assert few.coat.u > 1.2 * waved.coat.u > 1.2 * calm.coat.u
    assert [s.u_mm for s in waved.sizes] == [s.u_mm for s in calm.sizes]
    without = separate_scale_from_coat(SIZES, sheet, RULES, replace(WAVES, wave_mm=0.0))
    assert without.covariance == pytest.approx(calm.covariance, rel=1e-12)


def test_a_scan_moved_by_waves_or_powder_is_put_right_and_not_called_powdered() -> None:
    sheet, off = sheet_for(LEVER), scanned(LEVER, coat_mm=0.02)
    told = separate_scale_from_coat(off, sheet, RULES, replace(WAVES, seen_on_mm2=3000.0)).coat
    assert told.applied
    assert abs(told.value) < 2.0 * told.u
    assert (
        "The scan lies 0.020 mm over each face; the mesh is corrected for it. That it is powder is not sure"
        in told.reason
    )
    assert "The powder is 0.020 mm" in separate_scale_from_coat(off, sheet, RULES).coat.reason
