"""Reading of a million triangles in every format, and refusing what is made to harm, in CPU seconds and MiB.

`pytest tests/benchmarks/bench_reading.py --benchmark-only`; VERIFIER_BENCH_TRIANGLES=100000 for a shorter run.
Each file is read in a process of its own, so that its peak of memory is its own.
"""

import io
import json
import os
import subprocess
import sys
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.reading.examples import (
    CORE,
    RELS,
    box,
    glb_of,
    glb_parts,
    mesh_xml,
    model_xml,
    object_xml,
    ply_header,
    ring,
    stl_text,
    three_mf,
)
from verifier.mesh import Mesh
from verifier.reporting.mesh_files import stl_bytes, three_mf_bytes

TRIANGLES = int(os.environ.get("VERIFIER_BENCH_TRIANGLES", "1000000"))
# Bytes of a hostile file: what a mail or a web form lets through.
HOSTILE_BYTES = 10_000_000
# What refusing it may take above an idle process. (Its two seconds are printed, not asserted: they are a machine's.)
MOST_MIB = 200
RULES = Path(__file__).parents[2] / "rules"
# Reads one file and tells what it took; the numbers before it are those of an idle process with the package in it.
READ_ONE = """
import json, sys, time
from pathlib import Path
import psutil
from verifier.errors import VerifierError
from verifier.reading import read_scan
from verifier.rulebook import load_rules

def peak():
    memory = psutil.Process().memory_info()
    if hasattr(memory, "peak_wset"):
        return memory.peak_wset
    if sys.platform == "linux":  # getrusage would give the peak of the process that started this one, if greater
        lines = Path("/proc/self/status").read_text().splitlines()
        return next(int(line.split()[1]) * 1024 for line in lines if line.startswith("VmHWM"))
    import resource
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)

rules, before, started = load_rules(Path(sys.argv[2])), peak(), time.process_time()
try:
    scan = read_scan(Path(sys.argv[1]), rules)
    said = f"{len(scan.mesh.faces)} triangles"
except VerifierError as refused:
    said = str(refused)
print(json.dumps({"said": said, "cpu_s": time.process_time() - started, "peak_mib": (peak() - before) / 2**20}))
"""


def part() -> Mesh:
    """A closed ring of about as many triangles as asked for."""
    around = round((TRIANGLES / 4) ** 0.5) * 2
    return ring(around, TRIANGLES // 2 // around)


def rows(table: np.ndarray, row: str) -> bytes:
    return (row * len(table) % tuple(table.ravel().tolist())).encode()


def text_stl(mesh: Mesh) -> bytes:
    corners = "      vertex %.6e %.6e %.6e\n" * 3
    facet = f"  facet normal 0 0 1\n    outer loop\n{corners}    endloop\n  endfacet\n"
    return b"solid latch_lever\n" + rows(mesh.corners_mm.reshape(-1, 9), facet) + b"endsolid latch_lever\n"


def text_ply(mesh: Mesh) -> bytes:
    head = ply_header("ascii", len(mesh.vertices_mm), len(mesh.faces))
    return head + rows(mesh.vertices_mm, "%.6f %.6f %.6f\n") + rows(mesh.faces, "3 %d %d %d\n")


def binary_ply(mesh: Mesh) -> bytes:
    faces = np.zeros(len(mesh.faces), dtype=[("count", "u1"), ("corners", "<i4", 3)])
    faces["count"], faces["corners"] = 3, mesh.faces
    head = ply_header("binary_little_endian", len(mesh.vertices_mm), len(mesh.faces))
    return head + mesh.vertices_mm.astype("<f4").tobytes() + faces.tobytes()


def off(mesh: Mesh) -> bytes:
    head = f"OFF\n{len(mesh.vertices_mm)} {len(mesh.faces)} 0\n".encode()
    return head + rows(mesh.vertices_mm, "%.6f %.6f %.6f\n") + rows(mesh.faces, "3 %d %d %d\n")


def glb(mesh: Mesh) -> bytes:
    return glb_of(*glb_parts(replace(mesh, vertices_mm=mesh.vertices_mm / 1000), "<u4"))


FORMATS = {
    "binary.stl": stl_bytes,
    "text.stl": text_stl,
    "binary.ply": binary_ply,
    "text.ply": text_ply,
    "plain.obj": lambda mesh: rows(mesh.vertices_mm, "v %.6f %.6f %.6f\n") + rows(mesh.faces + 1, "f %d %d %d\n"),
    "textured.obj": lambda mesh: (
        rows(mesh.vertices_mm, "v %.6f %.6f %.6f\n") + rows((mesh.faces + 1).repeat(2, 1), "f %d/%d %d/%d %d/%d\n")
    ),
    "plain.off": off,
    "plain.3mf": lambda mesh: three_mf_bytes(mesh, "latch_lever"),
    "scene.glb": glb,
}


def padded_package(model: str | bytes, unpacked: int, **parts: bytes) -> bytes:
    """A package that unpacks to so many bytes, and is just large enough for the limit of the ratio."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("_rels/.rels", RELS)
        file.writestr("3D/3dmodel.model", model)
        for name, data in parts.items():
            file.writestr(name, data)
        file.writestr("Metadata/noise.bin", np.random.default_rng(0).bytes(unpacked // 58))
    return packed.getvalue()


def bomb(each: str, head: str = "", unpacked: int = 50 * HOSTILE_BYTES) -> bytes:
    return padded_package(head + each * ((unpacked - len(head)) // len(each)), unpacked)


def wide_objects() -> bytes:
    twice = "".join(
        object_xml(number, f'<components>{f"""<component objectid="{number - 1}"/>""" * 2}</components>')
        for number in range(2, 24)
    )
    return padded_package(model_xml(object_xml(1, mesh_xml(box())) + twice, '<item objectid="23"/>'), 10_000)


def filled(head: bytes, each: bytes, tail: bytes = b"") -> bytes:
    return head + each * ((HOSTILE_BYTES - len(head)) // len(each)) + tail


def parts_alike(each: str, count: int) -> bytes:
    """A package of many model parts, of which none alone is remarkable."""
    unpacked = 50 * HOSTILE_BYTES
    part = model_xml(object_xml(1, each * (unpacked // count // len(each))), items="").encode()
    inner = "".join(f'<component p:path="/3D/{k}.model" objectid="1"/>' for k in range(count))
    space = 'xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06"'
    model = model_xml(object_xml(1, f"<components>{inner}</components>"), attributes=space)
    return padded_package(model, unpacked, **{f"3D/{k}.model": part for k in range(count)})


def ply_lists(each: bytes, faces: int, lists: str) -> bytes:
    """A binary PLY of three corners, whose lists are these bytes again and again."""
    count = HOSTILE_BYTES // len(each)
    head = ply_header("binary_little_endian", 3, faces * count)
    return head.replace(b"property list uchar int vertex_indices\n", lists.encode()) + bytes(36) + each * count


def off_of(line: bytes) -> bytes:
    lines = HOSTILE_BYTES // len(line)
    return b"OFF\n3 %d 0\n0 0 0\n1 0 0\n0 1 0\n" % lines + line * lines


CORNER_LIST = "property list uchar uchar vertex_indices\n"
TEXTURE_LIST = "property list uchar uchar texcoord\n"
MESH_OPEN = f'<model xmlns="{CORE}"><resources><object id="1"><mesh>'
FACET = stl_text(box()).partition(b"\n")[2].partition(b"  facet")[2].partition(b"  facet")[0]
HOSTILE = {
    "empty solids.stl": lambda: filled(b"", b"solid\nendsolid\n"),
    "facets with a comma at the end.stl": lambda: filled(b"solid a\n", b"  facet" + FACET, b"facet ,\nendsolid a\n"),
    "cut.stl": lambda: stl_text(ring(120, 120))[:-100],
    "line ends.obj": lambda: filled(b"v 1 2 3\nf 1 2 3\n", b"\n"),
    "short faces.obj": lambda: filled(b"v 1 2 3\n", b"f 1\n"),
    "false corners.obj": lambda: filled(b"v 1 2 3\n", b"f 9 9 9\n"),
    "signs.obj": lambda: filled(b"v 1 2 3\nf 1 2 3\n", b"v - - -\n"),
    "polygons.obj": lambda: filled(b"v 1 2 3\n", b"f" + b" 1" * 32_000 + b"\n"),
    "comments.obj": lambda: filled(b"v 1 2 3\nf 1 2 3\n", b"# \n"),
    "continued lines.obj": lambda: filled(b"v 1 2 3\nf 1 2 3\n", b"\\\n "),
    "textures.obj": lambda: filled(b"v 1 2 3\n" * 50, b"f 1/ 1/ 1/\n"),
    "corners of no face.obj": lambda: filled(b"f 1 2 3\n", b"v 0 0 0\n"),
    "polygons.off": lambda: off_of(b"32000" + b" 1" * 32_000 + b"\n"),
    "triangles.off": lambda: off_of(b"3 1 1 1\n"),
    "line ends.off": lambda: filled(b"OFF\n1 1 0\n", b"\n"),
    "words.ply": lambda: filled(ply_header("ascii", 3, 1), b"0 "),
    "lists.ply": lambda: filled(ply_header("binary_little_endian", 0, HOSTILE_BYTES - 500), b"\0"),
    "lists of two lengths.ply": lambda: ply_lists(b"\3\0\0\0\4\0\0\0\0", 2, CORNER_LIST),
    "textures.ply": lambda: ply_lists(b"\3\0\0\0\2\0\0\4\0\0\0\0\1\0", 2, CORNER_LIST + TEXTURE_LIST),
    "description.glb": lambda: glb_of({"nodes": [{}] * 130_000}, b""),
    "nodes.glb": lambda: glb_of({"nodes": [{}] * (HOSTILE_BYTES // 4)}, b""),
    "zeros.3mf": lambda: padded_package("\0" * 100_000_000, 1_000_000),
    "further elements.3mf": lambda: bomb("<a/>", f'<model xmlns="{CORE}">'),
    "corners.3mf": lambda: bomb('<vertex x="1" y="1" z="1"/>', MESH_OPEN + "<vertices>"),
    "corners of other makes.3mf": lambda: bomb(
        '<vertex x="1" y="1" z="1"/><vertex y="1" x="1" z="1"/>', MESH_OPEN + "<vertices>"
    ),
    "corners of no make.3mf": lambda: bomb('<vertex x="1" y="1" z="1" q="a"/>', MESH_OPEN + "<vertices>"),
    "blanks.3mf": lambda: bomb(" " * 1000 + ">", MESH_OPEN),
    "entities.3mf": lambda: bomb("&lt;" * 99 + ">", MESH_OPEN),
    "parts.3mf": lambda: parts_alike("<a/>", 500),
    "lists.3mf": lambda: bomb("<vertices><triangles>", MESH_OPEN, 50_000_000),
    "nested.3mf": lambda: bomb("<a>", MESH_OPEN, 50_000_000),
    "short lists.3mf": lambda: bomb('<vertices><vertex x="1" y="1" z="1"/></vertices>', MESH_OPEN),
    "objects in objects.3mf": wide_objects,
    "cut.3mf": lambda: three_mf(ring(120, 120))[:-30],
}


def read_in_own_process(path: Path) -> dict:
    command = [sys.executable, "-c", READ_ONE, str(path), str(RULES)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=RULES.parent)
    return json.loads(done.stdout)


def measured(benchmark, path: Path) -> dict:
    """Read the file three times, and keep the least CPU seconds and the peak of memory."""
    runs = []
    benchmark.pedantic(lambda: runs.append(read_in_own_process(path)), rounds=3)
    found = {**runs[0], "cpu_s": min(run["cpu_s"] for run in runs), "peak_mib": max(run["peak_mib"] for run in runs)}
    benchmark.extra_info.update(found)
    print(f"\n  {path.name}: {found['cpu_s']:.2f} CPU s, {found['peak_mib']:.0f} MiB above idle: {found['said'][:110]}")
    return found


@pytest.mark.parametrize("name", FORMATS)
def test_a_million_triangles(name, benchmark, tmp_path):
    path = tmp_path / f"latch_lever.{name}"
    mesh = part()
    path.write_bytes(FORMATS[name](mesh))
    assert measured(benchmark, path)["said"] == f"{len(mesh.faces)} triangles"


@pytest.mark.parametrize("name", HOSTILE)
def test_what_is_made_to_harm(name, benchmark, tmp_path):
    path = tmp_path / name
    path.write_bytes(HOSTILE[name]())
    found = measured(benchmark, path)
    assert found["said"].startswith(f"{name}: ")  # a refusal, and no count of triangles
    assert found["peak_mib"] <= MOST_MIB


def test_a_facet_a_solid_is_read_as_what_it_is(benchmark, tmp_path):
    """Ten megabytes hold fewer solids than may be: one facet again and again, which mending refuses."""
    path = tmp_path / "a facet a solid.stl"
    path.write_bytes(filled(b"", b"solid\n  facet" + FACET + b"endsolid\n"))
    found = measured(benchmark, path)
    assert found["said"].endswith(" triangles")
    assert found["peak_mib"] <= MOST_MIB
