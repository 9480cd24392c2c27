"""Real files changed at random, thousands of times: `python -m tests.benchmarks.fuzz_reading [MUTATIONS] [SEED]`.

The files are the exports of the demo, a scan that comes with pymeshfix, and one small part in every format, as trimesh
and as the tests write it. Each mutation changes, inserts, deletes, repeats, cuts or splices bytes, up to six times;
inside a 3MF the model is changed before it is packed, as often as the package is. What must come of it is a refusal
with a sentence, or triangles; never another error, never over the time. Of a file that is read without a notice, no
second library (trimesh, for 3MF also lib3mf) that reads it without complaint may find more triangles.
"""

import contextlib
import importlib.resources
import io
import os
import sys
import time
import zipfile
from collections import Counter
from pathlib import Path

import lib3mf
import numpy as np
import trimesh

from tests.reading.examples import LIMITS, WRITERS, ring
from verifier.errors import VerifierError
from verifier.reading.checks import checked
from verifier.reading.formats import format_of
from verifier.reading.raw_mesh import RawMesh

EXPORTS = Path(__file__).parents[2] / "inbox_demo" / "exports"
SLOW_S = 2.0
WORDS = [b"9" * 30, b"nan", b"-1", b"inf", b"1e999", b"\n", b"\r", b"\0", b'"', b"<", b">", b"/", b" ", b"#", b"\\\n"]


def files() -> dict[str, bytes]:
    """Files of every format, by a name that says which."""
    made = {path.name: path.read_bytes() for path in sorted(EXPORTS.iterdir()) if path.stem != "gate_hinge"}
    planar = importlib.resources.files("pymeshfix") / "examples" / "planar_mesh.ply"
    part = trimesh.Trimesh(ring(24, 12).vertices_mm, ring(24, 12).faces, process=False)
    for kind in ("stl", "stl_ascii", "ply", "obj", "off", "3mf", "glb"):
        written = part.export(file_type=kind)
        made[f"trimesh.{kind}".replace("stl_ascii", "text.stl")] = (
            written.encode() if isinstance(written, str) else written
        )
    own = {f"own.{name}": write(ring(24, 12)) for name, write in WRITERS.items()}
    return {**made, "planar_mesh.ply": planar.read_bytes(), **own}


def one_change(data: bytes, rng: np.random.Generator) -> bytes:
    """The bytes with one of eight things done to them."""
    at = int(rng.integers(0, len(data) + 1))
    length = int(rng.integers(1, 5)) if rng.random() < 0.7 else int(rng.integers(1, 200))
    word = WORDS[rng.integers(0, len(WORDS))] if rng.random() < 0.5 else rng.bytes(int(rng.integers(1, 5)))
    other = int(rng.integers(0, len(data) + 1))
    return (
        lambda: data[:at] + word + data[at + len(word) :],
        lambda: data[:at] + word + data[at:],
        lambda: data[:at] + data[at + length :],
        lambda: data[: at + length] + data[at:],
        lambda: data[:at],
        lambda: data[:at] + data[other : other + length] + data[at + length :],
        lambda: data[:at] + bytes([data[at % len(data)] ^ (1 << int(rng.integers(0, 8)))]) + data[at + 1 :],
        lambda: changed_number(data, at, rng),
    )[rng.integers(0, 8)]()


def changed_number(data: bytes, at: int, rng: np.random.Generator) -> bytes:
    """Another digit in place of the next one: a count, an index, a coordinate."""
    place = next((k for k in range(at, min(at + 200, len(data))) if 48 <= data[k] <= 57), None)
    return data if place is None else data[:place] + b"%d" % rng.integers(0, 10) + data[place + 1 :]


def changed(data: bytes, rng: np.random.Generator) -> bytes:
    """One change, or up to six; three in ten are near the head, where the counts and lists are."""
    for _ in range(1 if rng.random() < 0.6 else int(rng.integers(2, 7))):
        head = 400 if rng.random() < 0.3 else len(data)
        data = one_change(data[:head], rng) + data[head:] or b"\0"
    return data


def changed_inside(package: bytes, rng: np.random.Generator) -> bytes:
    """A package whose model was changed before it was packed."""
    packed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(package)) as old, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as new:
        for info in old.infolist():
            data = old.read(info)
            new.writestr(info.filename, changed(data, rng) if info.filename.endswith(".model") else data)
    return packed.getvalue()


def ours(data: bytes, name: str) -> RawMesh | VerifierError:
    """What this reader makes of it; any other error goes through."""
    try:
        return checked(format_of(data, name).read(data, name, LIMITS), name, LIMITS)
    except VerifierError as refused:
        return refused


def trimesh_count(data: bytes, kind: str) -> int | None:
    """Triangles that trimesh finds; None when it complains."""
    with contextlib.suppress(Exception):
        found = trimesh.load(io.BytesIO(data), file_type=kind, process=False)
        parts = found.dump() if isinstance(found, trimesh.Scene) else [found]
        return sum(len(part.faces) for part in parts if hasattr(part, "faces"))
    return None


def lib3mf_count(data: bytes) -> int | None:
    """Triangles of the items that lib3mf finds, components unfolded; None when it complains."""
    with contextlib.suppress(lib3mf.ELib3MFException):
        model = lib3mf.get_wrapper().CreateModel()
        model.QueryReader("3mf").ReadFromBuffer(list(data))
        items, count = model.GetBuildItems(), 0
        while items.MoveNext():
            found = items.GetCurrent().GetObjectResource()
            if not found.IsMeshObject():
                return None
            count += found.GetTriangleCount()
        return count
    return None


def second_counts(data: bytes, kind: str) -> list[int]:
    found = [trimesh_count(data, kind), lib3mf_count(data) if kind == "3mf" else None]
    return [count for count in found if count is not None]


def run(mutations: int, seed: int) -> Counter[str]:
    """Counts of what became of the mutations; whatever may not happen is printed with what brings it back."""
    told: Counter[str] = Counter()
    known = list(files().items())
    slowest = 0.0
    for number in range(mutations):
        rng = np.random.default_rng([seed, number])
        name, data = known[number % len(known)]
        kind = name.rpartition(".")[2]
        inside = kind == "3mf" and rng.random() < 0.7
        data = changed_inside(data, rng) if inside else changed(data, rng)
        started = time.process_time()
        try:
            found = ours(data, name)
        except Exception as error:  # noqa: BLE001  # whatever it is, it is what is looked for
            told["crashed"] += 1
            print(f"CRASHED {name} seed [{seed}, {number}]: {error!r}")
            continue
        seconds = time.process_time() - started
        slowest = max(slowest, seconds)
        told["slow"] += seconds > SLOW_S
        if isinstance(found, VerifierError):
            told[f"refused {type(found).__name__}"] += 1
            told["refused with what cannot be printed"] += not str(found).isprintable()
            continue
        told["read"] += 1
        told["read with a notice"] += bool(found.notices)
        counts = second_counts(data, kind) if not found.notices else []
        told["compared with a second library"] += bool(counts)
        if counts and len(found.faces) < max(counts):
            told["fewer than the second library"] += 1
            print(f"FEWER {name} seed [{seed}, {number}]: {len(found.faces)} against {counts}")
    print(f"{mutations} mutations of {len(known)} files, seed {seed}; slowest {slowest:.2f} s of CPU")
    return told


def main() -> None:
    """Run it, and tell what became of the mutations."""
    mutations, seed = (int(word) for word in [*sys.argv[1:], *("10000", "20261")[len(sys.argv) - 1 :]])
    if hasattr(os, "nice"):
        os.nice(10)
    for what, count in sorted(run(mutations, seed).items()):
        print(f"{count:7,} {what}")


if __name__ == "__main__":
    main()
