"""Real files changed at random: the long run in tests/benchmarks/fuzz_reading.py, a few hundred times."""

from tests.benchmarks.fuzz_reading import run


def test_no_changed_file_is_read_with_fewer_triangles_than_a_second_reader_finds(capsys):
    """trimesh, and lib3mf for 3MF, are the second readers; a notice or a refusal is no silent loss."""
    told = run(mutations=250, seed=77)
    assert (
        told["crashed"] == told["refused with what cannot be printed"] == told["fewer than the second library"] == 0
    ), capsys.readouterr().out
    assert told["compared with a second library"] > 20
