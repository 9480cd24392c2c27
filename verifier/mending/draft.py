"""The surface while it is being mended, and what has been done to it so far."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from verifier.mending.edges import (
    Edges,
    grows_on,
    pair_edges,
    piece_of_faces,
    pieces_left,
    pieces_of_one,
    with_faces,
    with_faces_changed,
    with_faces_turned,
    without_faces,
)
from verifier.mending.solid import MendStep, Origin
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_areas_mm2

Told = TypeVar("Told")


@dataclass(frozen=True)
class Draft:
    """A surface on its way to being closed.

    mesh : corners that came with the scan first, in their order and never moved, then new ones
    origin : (m,) uint8, an Origin for every face
    steps : what was done, in order
    """

    mesh: Mesh
    origin: NDArray[np.uint8]
    steps: tuple[MendStep, ...] = ()

    @cached_property
    def edges(self) -> Edges:
        """The edge table of this surface, paired when first asked for and handed on by the methods below."""
        return pair_edges(self.mesh.faces, len(self.mesh.vertices_mm))

    @cached_property
    def pieces(self) -> tuple[int, IntArray]:
        """Number of pieces that hang together by edges of two faces, and the piece of every face, (m,)."""
        return piece_of_faces(self.edges)

    @cached_property
    def areas_mm2(self) -> Array:
        """Area of every face, (m,). A million take 0.17 s and half the stages ask: handed on like the edge table."""
        return face_areas_mm2(self.mesh)

    def once(self, ask: "Callable[[Draft], Told]") -> Told:
        """What a function says of this surface, worked out when first asked for; nobody may change it."""
        told: dict[object, Told] = self.__dict__.setdefault("told", {})
        if ask not in told:
            told[ask] = ask(self)
        return told[ask]

    def telling(self, *steps: MendStep) -> "Draft":
        """The same surface with more to tell; steps that did nothing are left out."""
        return self._with_steps(self.steps + tuple(step for step in steps if step.count))

    def untelling(self, what: str) -> "Draft":
        """The same surface without what was told under this name and holds no more."""
        return self._with_steps(tuple(step for step in self.steps if step.what != what))

    def _with_steps(self, steps: tuple[MendStep, ...]) -> "Draft":
        told = replace(self, steps=steps)
        return _handed_on(told, **{name: self.__dict__.get(name) for name in ("edges", "pieces", "areas_mm2", "told")})

    def bare(self) -> "Draft":
        """The same surface without what was worked out of it, which takes as much memory as the surface."""
        return replace(self)

    def _is_one_piece(self) -> bool:
        """Whether that is known; to ask costs nothing."""
        return "pieces" in self.__dict__ and self.pieces[0] == 1

    def without(self, dropped: BoolArray) -> "Draft":
        """The surface less some faces; corners stay where they are."""
        if not dropped.any():
            return self
        edges = without_faces(self.edges, dropped)
        mesh = Mesh(self.mesh.vertices_mm, edges.faces)
        areas = self.areas_mm2[~dropped] if "areas_mm2" in self.__dict__ else None
        less = replace(self, mesh=mesh, origin=self.origin[~dropped])
        return _handed_on(less, edges=edges, areas_mm2=areas, pieces=self._pieces_without(dropped, edges))

    def _pieces_without(self, dropped: BoolArray, edges: Edges) -> tuple[int, IntArray] | None:
        """The pieces that are left without some faces, where it is known without looking for them again."""
        if "pieces" not in self.__dict__:
            return None
        if self._is_one_piece():
            return pieces_of_one(self.edges, dropped)
        return pieces_left(self.pieces, dropped, self.edges, edges)

    def with_turned(self, turned: BoolArray) -> "Draft":
        """The surface with some faces running round the other way."""
        edges = with_faces_turned(self.edges, turned)
        turned_draft = replace(self, mesh=Mesh(self.mesh.vertices_mm, edges.faces))
        known = {name: self.__dict__.get(name) for name in ("pieces", "areas_mm2")}
        return _handed_on(turned_draft, edges=edges, **known)

    def with_sewn(self, new_vertices_mm: Array, new_faces: IntArray, origin: Origin = Origin.FILLED) -> "Draft":
        """The surface with faces sewn to its borders; corner numbers past the last one mean the new corners."""
        if len(new_faces) == 0:
            return self
        edges = with_faces(self.edges, new_faces)
        mesh = Mesh(np.concatenate([self.mesh.vertices_mm, new_vertices_mm]), edges.faces)
        marks = np.concatenate([self.origin, np.full(len(new_faces), origin, dtype=np.uint8)])
        pieces = _one_piece(edges) if self._is_one_piece() and grows_on(edges, len(self.mesh.faces)) else None
        return _handed_on(replace(self, mesh=mesh, origin=marks), edges=edges, pieces=pieces).with_areas_of(self)

    def with_areas_of(self, before: "Draft") -> "Draft":
        """The same surface, grown on one whose faces are all as they were: of these the areas may be known."""
        if "areas_mm2" not in before.__dict__:
            return self
        new = face_areas_mm2(Mesh(self.mesh.vertices_mm, self.mesh.faces[len(before.mesh.faces) :]))
        known = {name: self.__dict__.get(name) for name in ("edges", "pieces")}
        return _handed_on(replace(self), **known, areas_mm2=np.concatenate([before.areas_mm2, new]))

    def with_edges_turned(self, faces: IntArray, changed: IntArray) -> "Draft":
        """The surface after two faces at a time exchanged the edge between them; which faces changed."""
        if len(self.edges.crowded):
            return Draft(Mesh(self.mesh.vertices_mm, faces), self.origin, self.steps)
        edges = with_faces_changed(self.edges, faces, changed)
        turned = replace(self, mesh=Mesh(self.mesh.vertices_mm, faces))
        return _handed_on(turned, edges=edges, pieces=self.__dict__.get("pieces"))

    def with_corners(self, vertices_mm: Array, faces: IntArray) -> "Draft":
        """The same faces over other corner numbers; twins stay twins."""
        edges = Edges(faces, self.edges.twin)
        return _handed_on(replace(self, mesh=Mesh(vertices_mm, faces)), edges=edges, pieces=self.__dict__.get("pieces"))


def _one_piece(edges: Edges) -> tuple[int, IntArray]:
    return 1, np.zeros(len(edges.faces), dtype=np.int64)


def _handed_on(draft: Draft, **known: object) -> Draft:
    """Give the new value what the old one had worked out already and what still holds."""
    draft.__dict__.update({name: value for name, value in known.items() if value is not None})
    return draft
