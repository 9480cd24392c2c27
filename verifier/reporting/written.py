"""The mesh as its file holds it, judged before anything is delivered: rounding may join corners that were apart."""

from verifier.errors import CannotDeliver
from verifier.mending.check import as_written, is_closed_as_numbered, judge_as_numbered
from verifier.mesh import Mesh
from verifier.reporting.mesh_files import corners_of_three_mf


def refuse_open_three_mf(mesh: Mesh, name: str) -> None:
    """See that the 3MF holds a closed solid: every edge with two faces, every corner with one fan, the inside in.

    Its corners are numbered, so that two in one place stay two. 0.6 to 0.9 CPU s a million triangles; the mending
    room has asked for crossings, and rounding by 4e-6 mm at 100 mm adds none that a nozzle could see.
    Raises CannotDeliver.
    """
    _refuse_open(
        Mesh(corners_of_three_mf(mesh)[0], mesh.faces),
        name,
        do="Scan the part again; if its sheet reshapes it, take the newest of those lines out first",
    )


def refuse_open_stl(mesh: Mesh, name: str) -> None:
    """See the same of an STL, where corners in one place are one. Raises CannotDeliver."""
    _refuse_open(as_written(mesh), name, do="Print the 3MF, whose corners stay apart, and do without the STL")


def _refuse_open(read: Mesh, name: str, do: str) -> None:
    if not is_closed_as_numbered(read):
        found = judge_as_numbered(read)
        raise CannotDeliver(f"the mesh would be no closed solid in its file: {found.sentence}", where=name, do=do)
