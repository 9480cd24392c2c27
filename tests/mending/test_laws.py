"""What must hold whatever the faults are: seeds that were never seen before."""

import faults
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis.strategies import integers, sampled_from
from test_mend import assert_closed_and_true, euler, rows, steps

from verifier.mending import mend
from verifier.mesh import Mesh

few = settings(max_examples=2, deadline=None, suppress_health_check=list(HealthCheck))
seeds = integers(0, 2**32 - 1)
parts = sampled_from(faults.PARTS)


def with_everything(part: faults.Part, rng: np.random.Generator) -> tuple[Mesh, np.ndarray]:
    """Many faults at once, and the places they were put."""
    mesh = part.mesh
    places = [faults.some_place(mesh, rng) for _ in range(8)]
    for at in places:
        mesh = faults.with_hole(mesh, at, rng.uniform(0.8, 2.0))
    mesh = faults.with_flipped(mesh, rng.random(len(mesh.faces)) < 0.01)
    mesh = faults.with_duplicates(mesh, rng, 30)
    for face in rng.choice(len(mesh.faces), 5, replace=False):
        places.append(faults.middles(mesh)[face])
        mesh = faults.with_fin(mesh, int(face))
    return faults.unwelded(faults.with_specks(mesh, rng, 10)), np.array(places)


@few
@given(parts, seeds)
def test_many_faults_at_once_leave_the_part_true(make, seed):
    part = make()
    faulty, places = with_everything(part, np.random.default_rng(seed))
    solid = mend(faults.scan_of(faulty))
    assert_closed_and_true(solid, part)
    away = np.linalg.norm(part.mesh.vertices_mm[:, None] - places[None], axis=2).min(axis=1) > 2.0
    untouched = rows(part.mesh.vertices_mm[away])
    assert len(untouched & rows(solid.mesh.vertices_mm)) >= 0.99 * len(untouched)


@few
@given(parts, seeds)
def test_mending_twice_is_mending_once(make, seed):
    faulty, _ = with_everything(make(), np.random.default_rng(seed))
    once = mend(faults.scan_of(faulty))
    twice = mend(faults.scan_of(once.mesh))
    assert np.array_equal(once.mesh.vertices_mm, twice.mesh.vertices_mm)
    assert np.array_equal(once.mesh.faces, twice.mesh.faces)
    assert twice.steps == ()


@few
@given(parts, seeds)
def test_turning_the_part_changes_no_count(make, seed):
    rng = np.random.default_rng(seed)
    part = make()
    faulty, _ = with_everything(part, rng)
    as_it_was, elsewhere = mend(faults.scan_of(faulty)), mend(faults.scan_of(faults.turned(faulty, rng)))
    assert steps(as_it_was) == steps(elsewhere)
    assert euler(elsewhere) == part.euler
    assert elsewhere.volume_mm3 == pytest.approx(as_it_was.volume_mm3, rel=1e-4)


@few
@given(seeds)
def test_a_thin_wall_survives(seed):
    """The rib is 1 mm thick; holes on both sides make no bore through it."""
    part = faults.latch_lever()
    rng = np.random.default_rng(seed)
    x, z = rng.uniform(8, 32), rng.uniform(6.5, 7.5)
    mesh = faults.with_hole(part.mesh, np.array([x, 1.0, z]), 0.9)
    mesh = faults.with_hole(mesh, np.array([x + 4.0, 2.0, z]), 0.9)
    assert_closed_and_true(mend(faults.scan_of(mesh)), part)
