"""The whole path where a room has nothing to hand on."""

import numpy as np
import pytest

from tests.mending import faults
from verifier import inspect
from verifier.errors import CannotMend
from verifier.mending.solid import Origin, Solid
from verifier.rulebook import load_rules
from verifier.shipped import rules_folder


def test_a_surface_made_anew_from_end_to_end_is_refused_since_nothing_of_it_was_measured(monkeypatch):
    mesh = faults.latch_lever().mesh
    anew = Solid(mesh, np.full(len(mesh.faces), Origin.REBUILT, dtype=np.uint8))
    monkeypatch.setattr(inspect, "mend", lambda scan: anew)
    with pytest.raises(CannotMend, match="nothing is left to measure"):
        inspect.inspect_part(faults.scan_of(mesh), None, load_rules(rules_folder()), part="latch_lever")
