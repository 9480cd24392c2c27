"""A cut part's pieces in the slicer folder: all of them, and no mesh that this result has not."""

import pytest
from service import drop, make_bench, serve_until_idle

from verifier.bench import Bench


@pytest.fixture
def bench(tmp_path) -> Bench:
    return make_bench(tmp_path)


def meshes(bench: Bench) -> list[str]:
    return sorted(path.name for path in bench.slicer.iterdir() if path.suffix == ".3mf")


def earlier(bench: Bench) -> list[str]:
    return sorted(path.name for path in bench.earlier.rglob("*.3mf"))


def test_pieces_take_the_place_of_the_whole_and_of_pieces_of_another_cut(bench) -> None:
    drop(bench, "draw_bar.stl", "PASS\n1\n")
    serve_until_idle(bench)
    assert meshes(bench) == ["draw_bar.3mf"]
    drop(bench, "draw_bar.stl", "PASS\n3\n")
    serve_until_idle(bench, "stubs:in_pieces")
    assert meshes(bench) == [f"draw_bar.piece_{k}_of_3.3mf" for k in (1, 2, 3)]
    assert earlier(bench) == ["draw_bar.3mf"]
    drop(bench, "draw_bar.stl", "PASS\n2\n")
    serve_until_idle(bench, "stubs:in_pieces")
    assert meshes(bench) == [f"draw_bar.piece_{k}_of_2.3mf" for k in (1, 2)]
    assert len(earlier(bench)) == 4


def test_another_part_s_meshes_stay(bench) -> None:
    (bench.slicer / "draw_bar_left.3mf").write_bytes(b"another part")
    (bench.slicer / "draw_bar.piece_1.3mf").write_bytes(b"a file of the person's own")
    drop(bench, "draw_bar.stl", "PASS\n2\n")
    serve_until_idle(bench, "stubs:in_pieces")
    assert {"draw_bar_left.3mf", "draw_bar.piece_1.3mf"} <= set(meshes(bench))
