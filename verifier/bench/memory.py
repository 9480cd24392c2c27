"""How much memory a job will take, from its file; and what the jobs before it took."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import PurePath

MIB = 2**20
# At or above every peak that tests/benchmarks/whole_job.py saw: 379 MiB at 0.1 million triangles, 551 at 0.5,
# 862 at 1, 1525 at 2.
LEAST_BYTES = 320 * MIB
BYTES_A_TRIANGLE = 610 * MIB / 1e6
# What one triangle takes in a file, by the format's own layout, at its leanest: binary STL has 50 bytes, binary PLY 13
# and half a vertex of 12, GLB three indices of 4 and half a vertex. 3MF is packed: 12 on our own exports, no source.
FILE_BYTES_A_TRIANGLE = {".stl": 50.0, ".ply": 19.0, ".glb": 18.0, ".3mf": 12.0, ".obj": 30.0, ".off": 30.0}
# Below this the libraries' share hides the triangles', and nothing is learned.
TELLING_FILE_BYTES = 5_000_000
# A job is stopped only well beyond what was expected of it: folds and holes cost more than a clean scan.
LEEWAY = 2.0


# The worst of so many last jobs of a format says what the next one takes; from the fifth job on they alone do.
REMEMBERED = 20
TELLING_JOBS = 5


@dataclass(frozen=True, slots=True)
class Peak:
    """The most memory a job on a file of this name and size was seen to take."""

    name: str
    size_bytes: int
    peak_bytes: int


class MemoryNeed:
    """What a file of a kind takes: a figure at first, then the worst of the last jobs on such files."""

    def __init__(self, measured: Iterable[Peak] = ()) -> None:
        """As known from the last jobs, oldest first."""
        self._bytes_a_file_byte = {end: BYTES_A_TRIANGLE / size for end, size in FILE_BYTES_A_TRIANGLE.items()}
        self._otherwise = max(self._bytes_a_file_byte.values())
        self._took: dict[str, tuple[float, ...]] = {}
        for peak in measured:
            self.learn(peak)

    def expected_bytes(self, name: str, size_bytes: int) -> int:
        """Memory for a job on a file of this name and size."""
        return int(LEAST_BYTES + size_bytes * self._expected_of(_ending(name)))

    def learn(self, peak: Peak) -> None:
        """A job took this much at its worst."""
        ending = _ending(peak.name)
        if peak.size_bytes >= TELLING_FILE_BYTES and peak.peak_bytes > 0 and ending in self._bytes_a_file_byte:
            took = max(0.0, (peak.peak_bytes - LEAST_BYTES) / peak.size_bytes)
            self._took[ending] = (*self._took.get(ending, ()), took)[-REMEMBERED:]

    def _expected_of(self, ending: str) -> float:
        known, took = self._bytes_a_file_byte.get(ending, self._otherwise), self._took.get(ending, ())
        return max(took) if len(took) >= TELLING_JOBS else max(known, *took, 0.0)


def _ending(name: str) -> str:
    return PurePath(name).suffix.lower()
