"""What was found out of a surface is not worked out again while the surface stays as it is."""

import faults
import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.loops import loops_of, open_loops
from verifier.mending.solid import MendStep
from verifier.mending.welding import weld_equal


def holed() -> Draft:
    part = faults.latch_lever()
    return weld_equal(faults.unwelded(faults.with_hole(part.mesh, np.array([12.0, 0.0, 4.0]), 3.0)))


def test_a_question_is_asked_once_of_one_surface():
    asked: list[Draft] = []

    def ask(draft: Draft) -> int:
        asked.append(draft)
        return len(draft.mesh.faces)

    draft = holed()
    told = draft.telling(MendStep("Filled holes", 1, 1.0))
    assert draft.once(ask) == draft.once(ask) == len(draft.mesh.faces)
    assert draft.telling(MendStep("Filled holes", 1, 1.0)).once(ask) == len(draft.mesh.faces)
    assert len(asked) == 1
    assert told.once(ask) == len(draft.mesh.faces)  # told before it was asked: another surface, as far as is known
    assert len(asked) == 2


def test_the_loops_of_a_surface_less_a_face_are_its_own():
    draft = holed()
    before = loops_of(draft)
    dropped = np.zeros(len(draft.mesh.faces), dtype=bool)
    dropped[before[0][0] // 3] = True
    less = draft.without(dropped)
    for surface in (draft, less):
        walked = open_loops(surface.edges)
        assert len(loops_of(surface)) == len(walked) > 0
        assert all(np.array_equal(one, other) for one, other in zip(loops_of(surface), walked, strict=True))
    assert sum(map(len, loops_of(less))) != sum(map(len, before))
