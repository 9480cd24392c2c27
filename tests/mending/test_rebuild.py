"""The last resort makes a closed part of what no local mending closes, says so, and gives up on what it would alter."""

import importlib

import faults
import numpy as np
import pytest
from test_mend import euler

from verifier.errors import CannotMend
from verifier.mending import Origin, Solid, mend
from verifier.mending.check import NOT_ASKED, Judgement, judge_as_written
from verifier.mending.draft import Draft
from verifier.mending.rebuild import rebuilt
from verifier.mesh import Mesh

# The module, not the function of the same name that the room hands out.
mend_module = importlib.import_module("verifier.mending.mend")


@pytest.fixture
def coarse_grid(monkeypatch):
    """A sixth of the grid: for the tests that ask whether it is rebuilt, and not how well."""
    monkeypatch.setattr(importlib.import_module("verifier.mending.rebuild"), "CORNERS", 250_000)


def draft_of(mesh: Mesh) -> Draft:
    return Draft(mesh, np.zeros(len(mesh.faces), dtype=np.uint8))


@pytest.mark.parametrize(
    "part", [pytest.param(faults.latch_lever, marks=pytest.mark.long), faults.pump_rocker], indirect=True
)
@pytest.mark.parametrize("pose", [None, pytest.param(1, marks=pytest.mark.long)])
def test_a_torn_surface_is_rebuilt_closed_and_marked(part, pose):
    rng = np.random.default_rng(5)
    mesh = part.mesh if pose is None else faults.turned(part.mesh, np.random.default_rng(pose))
    torn = Mesh(mesh.vertices_mm, mesh.faces[rng.random(len(mesh.faces)) > 0.01])
    made = rebuilt(draft_of(torn))
    assert made is not None
    assert judge_as_written(made.mesh).sound
    assert (made.origin == Origin.REBUILT).all()
    assert [step.what for step in made.steps] == ["Rebuilt the surface"]
    solid = Solid(made.mesh, made.origin, made.steps)
    assert euler(solid) == part.euler
    # Edges are cut off by part of a 0.13 mm cell: along 300 mm of edge that is a few mm3 of 1,700 and 3,100.
    assert solid.volume_mm3 == pytest.approx(part.volume_mm3, rel=3e-3)


def test_a_part_that_would_need_coarse_cells_is_not_rebuilt(part):
    assert rebuilt(draft_of(Mesh(10.0 * part.mesh.vertices_mm, part.mesh.faces))) is None


def test_half_a_part_is_not_rebuilt_as_a_part(part):
    """Seen from one side only, its surface would come to lie half-way into nowhere."""
    x = faults.middles(part.mesh)[:, 2]
    sheet = Mesh(part.mesh.vertices_mm, part.mesh.faces[x > part.mesh.vertices_mm[:, 2].max() - 0.3])
    assert rebuilt(draft_of(sheet)) is None


@pytest.mark.usefixtures("coarse_grid")
def test_a_rebuilt_part_is_given_only_when_the_judge_says_no(part, monkeypatch):
    answers = iter([Judgement(4, 0, 0, 1.0, NOT_ASKED)])
    monkeypatch.setattr(mend_module, "judge_as_written", lambda mesh: next(answers, None) or judge_as_written(mesh))
    solid = mend(faults.scan_of(part.mesh))
    assert (solid.origin == Origin.REBUILT).all()
    assert judge_as_written(solid.mesh).sound


@pytest.mark.usefixtures("coarse_grid")
def test_what_cannot_be_rebuilt_either_is_refused(part, monkeypatch):
    monkeypatch.setattr(mend_module, "judge_as_written", lambda mesh: Judgement(4, 0, 0, 1.0, NOT_ASKED))
    with pytest.raises(CannotMend) as refused:
        mend(faults.scan_of(part.mesh))
    assert "4 edges" in refused.value.what
