"""Plain rows of a 3MF go past the XML parser, and what is read is what the parser alone would have read, to the bit."""

import ctypes
import re

import lib3mf
import pytest
import trimesh
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from tests.reading.examples import LIMITS, box, mesh_xml, model_xml, object_xml, package, ring, three_mf
from verifier.errors import TooLarge, VerifierError
from verifier.reading import three_mf_model, three_mf_package, three_mf_rows
from verifier.reading.raw_mesh import RawMesh
from verifier.reading.three_mf import read_three_mf
from verifier.reporting.mesh_files import three_mf_bytes

EVERY_LIST, NO_LIST = 64, 1 << 40


def read(data: bytes, least_bytes: int, chunk_bytes: int = 1 << 20, **limits) -> tuple[RawMesh | VerifierError, int]:
    """What a package is read as, or refused with, and how many rows went past the XML parser."""
    past = 0
    take = three_mf_model.ModelParser.take

    def counted(self, listing, rows, of_one_make):
        nonlocal past
        past += len(rows)
        take(self, listing, rows, of_one_make)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(three_mf_rows, "LEAST_BYTES", least_bytes)
        patch.setattr(three_mf_package, "CHUNK_BYTES", chunk_bytes)
        patch.setattr(three_mf_model.ModelParser, "take", counted)
        try:
            return read_three_mf(
                data, "latch_lever.3mf", LIMITS.model_copy(update={"max_unpack_ratio": 1e4} | limits)
            ), past
        except VerifierError as refused:
            return refused, past


def bits(raw: RawMesh) -> tuple:
    return raw.vertices.shape, raw.vertices.tobytes(), raw.faces.shape, raw.faces.tobytes(), raw.unit, raw.notices


def read_the_same_both_ways(data: bytes, chunk_bytes: int = 1 << 20) -> int:
    """Check that both ways agree; returns the rows that went past the parser."""
    (strict, none), (fast, past) = (read(data, least, chunk_bytes) for least in (NO_LIST, EVERY_LIST))
    assert none == 0
    if isinstance(strict, VerifierError):
        assert str(fast) == str(strict)
    else:
        assert not isinstance(fast, VerifierError), fast
        assert bits(fast) == bits(strict)
    return past


def written_by_lib3mf(mesh, path) -> bytes:
    model = lib3mf.get_wrapper().CreateModel()
    shape = model.AddMeshObject()
    shape.SetGeometry(
        [lib3mf.Position((ctypes.c_float * 3)(*corner)) for corner in mesh.vertices_mm],
        [lib3mf.Triangle((ctypes.c_uint32 * 3)(*face)) for face in mesh.faces],
    )
    model.AddBuildItem(shape, lib3mf.get_wrapper().GetIdentityTransform())
    model.QueryWriter("3mf").WriteToFile(str(path))
    return path.read_bytes()


def written_by_trimesh(mesh, path) -> bytes:
    trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False).export(path)
    return path.read_bytes()


WRITERS = {
    "this project's writer": lambda mesh, path: three_mf_bytes(mesh, path.stem),
    "lib3mf": written_by_lib3mf,
    "trimesh": written_by_trimesh,
    "the writer of these tests": lambda mesh, path: three_mf(mesh),
}


@pytest.mark.parametrize("writer", WRITERS)
@pytest.mark.parametrize("chunk_bytes", [997, 1 << 20])
def test_all_rows_of_these_writers_go_past_the_parser_and_come_out_the_same(writer, chunk_bytes, tmp_path):
    mesh = ring(60, 20)
    data = WRITERS[writer](mesh, tmp_path / "latch_lever.3mf")
    past = read_the_same_both_ways(data, chunk_bytes)
    assert past >= 0.9 * (len(mesh.vertices_mm) + len(mesh.faces))  # the end of a list may be left to the parser
    raw, _ = read(data, EVERY_LIST)
    assert_array_equal(raw.faces, mesh.faces)
    assert_allclose(raw.vertices, mesh.vertices_mm, atol=6e-6)  # lib3mf writes six figures behind the point, cut off


def test_rows_go_past_the_parser_in_files_as_they_are():
    """Without any constant changed: a list of more than 4096 bytes is taken."""
    mesh = ring(60, 20)
    _, past = read(three_mf(mesh), three_mf_rows.LEAST_BYTES)
    assert past == len(mesh.vertices_mm) + len(mesh.faces)


def styled(mesh, order: str, quote: str, blank: str, end: str, gap: str) -> str:
    """The mesh with its rows in another make."""
    text = mesh_xml(mesh).replace("/>", end)
    names = {"x": "x", "y": "y", "z": "z"}, {"x": "v1", "y": "v2", "z": "v3"}
    for row in names:
        old = "".join(rf' {row[key]}="([^"]*)"' for key in "xyz")
        new = "".join(rf"{blank}{row[key]}={quote}\{'xyz'.index(key) + 1}{quote}" for key in order)
        text = re.sub(old, new, text)
    return text.replace("<vertex ", gap + "<vertex ").replace("<triangle ", gap + "<triangle ")


@given(
    order=st.permutations("xyz"),
    quote=st.sampled_from(["'", '"']),
    blank=st.sampled_from([" ", "  ", " \n\t"]),
    end=st.sampled_from(["/>", " />", "></{}>"]),
    gap=st.sampled_from(["", "\n", "\r\n\t\t", "  "]),
    chunk_bytes=st.sampled_from([64, 200, 1 << 20]),
)
@settings(max_examples=60, deadline=None)
def test_rows_of_any_one_make_are_read_the_same(order, quote, blank, end, gap, chunk_bytes):
    text = styled(ring(8, 6), order, quote, blank, "/>", gap)
    for element in ("vertex", "triangle"):
        text = re.sub(rf"(<{element}\s[^>]*?)/>", lambda found, e=element: found.group(1) + end.format(e), text)
    data = package(model_xml(object_xml(1, text)))
    past = read_the_same_both_ways(data, chunk_bytes)
    if chunk_bytes > 200:
        assert past == 48 + 96


ROW_STYLES = st.tuples(
    st.permutations(["v1", "v2", "v3"]),
    st.sampled_from(["", ' pid="7"', ' p1="0"', ' pid="12" p1="3"', ' p1="1" p2="2" p3="3" pid="9"']),
    st.booleans(),
    st.sampled_from([" ", "\n\t", "  "]),
    st.sampled_from(["/>", " />", "></triangle>", "/>\r\n  "]),
)


@given(styles=st.lists(ROW_STYLES, min_size=2, max_size=9), chunk_bytes=st.sampled_from([500, 1 << 20]))
@settings(max_examples=60, deadline=None)
def test_triangles_of_many_makes_with_colours_on_some_go_past_the_parser_too(styles, chunk_bytes):
    mesh = ring(8, 6)
    rows = []
    for k, face in enumerate(mesh.faces):
        order, colour, first, blank, end = styles[k % len(styles)]
        corners = "".join(f'{blank}{name}="{face[int(name[1]) - 1]}"' for name in order)
        rows.append(f"<triangle{colour if first else ''}{corners}{'' if first else colour}{end}")
    text = re.sub("<triangles>.*</triangles>", lambda _: f"<triangles>{''.join(rows)}</triangles>", mesh_xml(mesh))
    past = read_the_same_both_ways(package(model_xml(object_xml(1, text))), chunk_bytes)
    if chunk_bytes > 500:
        assert past == len(mesh.vertices_mm) + len(mesh.faces)


WRONG_ROWS = [
    *('<vertex x="1" y="1" z="1" x="1"/>', '<vertex x="1" y="1"/>', '<vertex x="" y="1" z="1"/>', "<vertex/>"),
    *('<vertex x="1"y="1" z="1"/>', '<vertex x="1" y="1" z="1">2</vertex>', '<vertex x="1" y="1" z="1"/>7'),
    *('<vertex x="1\' y="1" z="1"/>', '<vertexe x="1" y="1" z="1"/>', '<vertex x="1 2" y="1" z="1"/>'),
    *('<vertex x="1" y="1" z="1" pid="2"/>', '<vertex 1 x="1" y="1" z="1"/>', '</vertex x="1" y="1" z="1"/>'),
]


@pytest.mark.parametrize("wrong", WRONG_ROWS)
def test_a_row_that_is_none_among_rows_of_many_makes_is_left_to_the_parser(wrong):
    good = '<vertex y="1" x="2" z="3"/><vertex x="2" y="1" z="3"/>' * 4
    model = model_xml(object_xml(1, mesh_xml(box()).replace("</vertices>", good + wrong + good + "</vertices>")))
    read_the_same_both_ways(package(model))


PIECES = [
    "<!-- x -->",
    "<!--",
    "-->",
    "<![CDATA[",
    "]]>",
    "<?pi ?>",
    "&#49;",
    "&amp;",
    "<vertices>",
    "</vertices>",
    "<triangles>",
    "</triangles>",
    '<vertex x="1" y="2" z="3"/>',
    '<vertex x="1" z="3" y="2"/>',
    '<triangle v1="0" v2="1" v3="2"/>',
    '<triangle v1="0" v2="1" v3="2" pid="1" p1="0"/>',
    '<triangle p1="0" v3="0" v1="1" v2="2"/>',
    ' p1="0"',
    ' p1="x"',
    ' pid="1"',
    ' xmlns="urn:other"',
    " ",
    "",
    "1_0",
    "-0",
    "+1",
    "1.",
    ".5",
    "1e999",
    "9" * 25,
    "\x01",
    "\x0b",
    ",",
    '"',
    "'",
    "nan",
    "é",
    "<",
    ">",
]


@given(
    edits=st.lists(
        st.tuples(st.floats(0, 1, exclude_max=True), st.sampled_from(PIECES), st.integers(0, 12)),
        min_size=1,
        max_size=4,
    ),
    chunk_bytes=st.sampled_from([100, 1000, 1 << 20]),
)
@example(edits=[(0.2, "-0", 0)], chunk_bytes=1 << 20)
@settings(max_examples=400, deadline=None)
def test_a_model_changed_anywhere_is_read_or_refused_the_same(edits, chunk_bytes):
    text = model_xml(object_xml(1, mesh_xml(box())) + object_xml(2, mesh_xml(box(3, 2, 1))))
    for where, piece, length in edits:
        at = int(where * len(text))
        text = text[:at] + piece + text[at + length :]
    read_the_same_both_ways(package(text.encode()), chunk_bytes)


HIDDEN = '<vertex x="1" y="2" z="3"/>' * 8


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("<vertices>", f"<vertices><!-- <vertices>{HIDDEN}</vertices> -->"),
        ("<vertices>", f"<vertices ><!-- <vertices>{HIDDEN}</vertices> -->"),
        ("<vertices>", f"<vertices><![CDATA[<vertices>{HIDDEN}</vertices>]]>"),
        ("<vertices>", f"<vertices><?a <vertices>{HIDDEN}</vertices>?>"),
        ("<vertices>", f"<vertices><a b='&lt;vertices>{HIDDEN.replace('<', '').replace(chr(39), '')}'/>"),
        ("<vertices>", f"<vertices>{HIDDEN}<vertices>{HIDDEN}</vertices>"),
        ("<mesh>", f"<a xmlns='urn:other'><vertices>{HIDDEN}</vertices></a><mesh>"),
        ("<mesh>", f"<vertices>{HIDDEN}</vertices><mesh>"),
        ("<resources>", f"<resources><vertices>{HIDDEN}</vertices>"),
        ("<triangles>", f"<triangles>{HIDDEN}"),
        ("<triangles>", "<triangles></triangles><triangles>"),
        ('<triangle v1="0"', '<triangle v1="-0"'),
    ],
)
@pytest.mark.parametrize("chunk_bytes", [50, 1 << 20])
def test_rows_that_are_no_rows_are_not_taken(old, new, chunk_bytes):
    model = model_xml(object_xml(1, mesh_xml(box())))
    assert old in model
    read_the_same_both_ways(package(model.replace(old, new, 1)), chunk_bytes)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "iso-8859-1", "cp1252", "cp037", "us-ascii"])
def test_an_encoding_changes_nothing(encoding):
    model = f'<?xml version="1.0" encoding="{encoding}"?>' + model_xml(object_xml(1, mesh_xml(box())))
    read_the_same_both_ways(package(model.encode(encoding)))


def test_a_list_within_64_elements_is_refused_for_its_depth_either_way():
    deep = "<a>" * (three_mf_model.MAX_DEPTH - 4)
    model = model_xml(object_xml(1, deep + mesh_xml(box()))).replace("</mesh>", "</mesh>" + deep.replace("<", "</"))
    refused, past = read(package(model), EVERY_LIST)
    assert "without end" in str(refused)
    assert past == 0


@pytest.mark.parametrize(("limit", "said"), [(95, "96 triangles"), (15, "points")])
def test_the_limits_hold_for_rows_past_the_parser(limit, said):
    refused, _ = read(three_mf(ring(8, 6)), EVERY_LIST, max_triangles=limit)
    assert isinstance(refused, TooLarge)
    assert said in str(refused)


def test_a_part_full_of_doubtful_lists_costs_no_more_than_without_the_short_way():
    """Ten thousand lists, each of which seems to reach to the end of the part."""
    model = model_xml(object_xml(1, "<vertices><vertex />" * 30 + "<vertices>" + "<!---->" * 100_000))
    refused, past = read(package(model), EVERY_LIST)
    assert isinstance(refused, VerifierError)
    assert past == 0
