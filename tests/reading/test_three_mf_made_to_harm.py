"""3MF packages that were made to harm, or came to harm."""

import io
import struct
import time
import zipfile

import numpy as np
import pytest

from tests.reading.examples import (
    RELS,
    box,
    mesh_xml,
    model_xml,
    object_xml,
    package,
    ring,
    three_mf,
)
from verifier.errors import Malformed, NotAMesh, TooLarge, Truncated
from verifier.mesh import Mesh
from verifier.reading import three_mf_effort

from .test_three_mf import PRODUCTION, read


def test_a_bomb_of_zeros_is_refused_from_its_list_of_parts(dropped):
    bomb = io.BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("_rels/.rels", RELS)
        file.writestr("3D/3dmodel.model", bytes(40_000_000))
    started = time.perf_counter()
    with pytest.raises(TooLarge, match="times its size"):
        read(bomb.getvalue())
    with pytest.raises(TooLarge, match=r"unpacks to 40,000,\d+ bytes"):
        read(bomb.getvalue(), max_unpacked_bytes=30_000_000)
    assert time.perf_counter() - started < 1  # seconds; unpacking would not be the only cost, but the first


def test_a_bomb_that_lies_about_its_size_is_unpacked_no_further_than_it_says():
    """Both lists of the zip say 1000 bytes for a part of ten million."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("_rels/.rels", RELS)
        file.writestr("3D/3dmodel.model", b" " * 10_000_000)
    data = packed.getvalue().replace(struct.pack("<I", 10_000_000), struct.pack("<I", 1000))
    with pytest.raises(Malformed):
        read(data)


@pytest.mark.parametrize(
    "name", ["/etc/lever", "../lever", "3D/../../lever", "..\\lever", "C:/lever", "a\nb", "3D/3DMODEL.MODEL"]
)
def test_names_that_lead_out_of_the_package_or_double_a_part_are_refused(name):
    with pytest.raises(Malformed):
        read(package(model_xml(object_xml(1, mesh_xml(box()))), **{name: b"x"}))


@pytest.mark.parametrize(
    "prolog",
    [
        '<!DOCTYPE model [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>',
        '<!DOCTYPE model SYSTEM "file:///etc/hostname">',
        '<!DOCTYPE model [<!ENTITY a SYSTEM "file:///etc/hostname">]>',
    ],
)
@pytest.mark.parametrize("part", ["model", "relationships"])
def test_a_document_type_is_refused_and_with_it_every_entity(prolog, part):
    model = model_xml(object_xml(1, mesh_xml(box())))
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as file:
        file.writestr("_rels/.rels", (prolog if part == "relationships" else "") + RELS)
        file.writestr("3D/3dmodel.model", (prolog if part == "model" else "") + model)
    with pytest.raises(Malformed, match="document type"):
        read(packed.getvalue())


def test_twenty_two_objects_that_stand_for_four_million_are_refused_in_time():
    """Each holds the one before it twice: 2^22 instances. trimesh 5.2.0 reads 531 of them and says nothing."""
    objects = object_xml(1, mesh_xml(box()))
    for number in range(2, 24):
        twice = f'<component objectid="{number - 1}"/>' * 2
        objects += object_xml(number, f"<components>{twice}</components>")
    started = time.perf_counter()
    with pytest.raises(TooLarge, match="1,000 once put together"):
        read(package(model_xml(objects, '<item objectid="23"/>')))
    assert time.perf_counter() - started < 2  # seconds


def test_an_object_that_holds_itself_is_refused():
    inner = '<components><component objectid="1"/></components>'
    with pytest.raises(TooLarge, match="once put together"):
        read(package(model_xml(object_xml(1, inner))))


def test_many_instances_of_many_triangles_are_refused_before_they_are_made():
    items = '<item objectid="1"/>' * 500
    with pytest.raises(TooLarge, match="triangles"):
        read(package(model_xml(object_xml(1, mesh_xml(ring())), items)))
    loose = box().vertices_mm.repeat(1000, axis=0)
    few = Mesh(loose, np.array([[0, 1000, 2000]]))
    with pytest.raises(TooLarge, match="points"):
        read(package(model_xml(object_xml(1, mesh_xml(few)), items)), max_unpack_ratio=1000)


@pytest.mark.parametrize("many", ['<component objectid="1"/>', '<object id="{}"/>'])
def test_a_great_many_empty_elements_are_refused(many):
    each = "".join(many.format(k + 2) for k in range(1001))
    inside = object_xml(1, f"<components>{each}</components>") if "component" in many else object_xml(1, "") + each
    with pytest.raises(TooLarge):
        read(package(model_xml(inside)))


@pytest.mark.parametrize("each", ["<a>", '<vertex x="1" y="1" z="1">', "<object>"])
def test_elements_in_one_another_without_end_are_refused(each):
    model = model_xml(object_xml(1, "<mesh><vertices>")).partition("</object>")[0] + each * 100
    with pytest.raises(Malformed, match=r"without end|lacks"):
        read(package(model), max_unpack_ratio=1000)


def test_an_element_of_more_than_a_megabyte_is_refused():
    wide = model_xml("").replace("<resources>", f'<resources a="{"x" * 3_000_000}">')
    with pytest.raises(Malformed, match="element of more than"):
        read(package(wide), max_unpack_ratio=10_000)


@pytest.mark.parametrize(
    "each",
    ["<a/>", "<a></a>", "<!---->", "<?a?>", "&lt;" * 9 + ">", "<a b='' c=''/>", "\n" * 99 + ">", ">" + " " * 500],
)
def test_one_thing_again_and_again_is_refused_wherever_it_stands(each, monkeypatch):
    """Nine megabytes out of some thousand bytes, where a tenth of the usual is allowed at all events."""
    monkeypatch.setattr(three_mf_effort, "NS_AT_ALL_EVENTS", 30_000_000)
    model = model_xml(object_xml(1, each * (9_000_000 // len(each))))
    with pytest.raises(TooLarge, match="repeats itself"):
        read(package(model), max_unpack_ratio=1e6)


def test_one_corner_again_and_again_is_refused():
    corners = '<vertex x="1" y="1" z="1"/>' * 1_200_000
    with pytest.raises(TooLarge, match="repeats itself"):
        read(
            package(model_xml(object_xml(1, f"<mesh><vertices>{corners}</vertices></mesh>"))),
            max_unpack_ratio=1e6,
            max_triangles=1_000_000,
        )


def test_what_the_parts_of_a_package_ask_for_is_counted_together():
    """Ten parts of which each alone would be parsed."""
    part = model_xml(object_xml(1, "<a/>" * 80_000 + mesh_xml(box())), items="")
    parts = {f"3D/{k}.model": part.encode() for k in range(10)}
    inner = "".join(f'<component p:path="/{name}" objectid="1"/>' for name in parts)
    model = model_xml(object_xml(1, f"<components>{inner}</components>"), attributes=f'xmlns:p="{PRODUCTION}"')
    with pytest.raises(TooLarge, match="repeats itself"):
        read(package(model, **parts), max_unpack_ratio=1e6)
    few = model.replace(inner, inner[: inner.index("/>") + 2])
    assert len(read(package(few, **parts), max_unpack_ratio=1e6).faces) == 12


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("</vertices>", "</vertices><vertices></vertices>", "two lists"),
        ("</mesh>", "</mesh><mesh><triangles></triangles></mesh>", "two lists"),
        ("<vertex ", "<vertex " + " ".join(f'a{k}=""' for k in range(70)) + " ", "more than 64 attributes"),
        ("<mesh>", "".join(f"<a{k}/>" for k in range(11_000)) + "<mesh>", "10,000 different names"),
        (
            "<mesh>",
            "".join(f"<a xmlns:p{k}='u'/>" for k in range(11_000)) + "<mesh>",
            "10,000 (prefixes|different names)",
        ),
        ('id="1"', f'id="{"1" * 2000}"', "1,024 letters"),
    ],
)
def test_what_no_writer_writes_and_would_pile_up_is_refused(old, new, said):
    model = model_xml(object_xml(1, mesh_xml(box())))
    assert old in model
    with pytest.raises(Malformed, match=said):
        read(package(model.replace(old, new, 1)))


@pytest.mark.parametrize("encoding", ["cp1252", "koi8-r"])
def test_xml_in_an_encoding_that_the_package_may_not_have_is_refused(encoding):
    """Open Packaging Conventions: UTF-8 or UTF-16. In others a tag does not look like one until it is parsed."""
    model = f'<?xml version="1.0" encoding="{encoding}"?>' + model_xml(object_xml(1, mesh_xml(box())))
    with pytest.raises(Malformed, match="neither UTF-8 nor UTF-16"):
        read(package(model.encode(encoding)))
    with pytest.raises(Malformed, match="not well formed"):
        read(package(model.replace(encoding, "cp037").encode("cp037")))  # not even its first letter is XML's


def test_a_list_of_a_hundred_thousand_parts_is_refused_before_it_is_read():
    with pytest.raises(TooLarge, match="100,002 parts"):
        read(three_mf(box()) + b"PK\x01\x02" * 100_000)


def test_a_zip_of_something_else_is_named_as_such():
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as file:
        file.writestr("lever.stl", b"solid")
    with pytest.raises(NotAMesh, match="zip archive without one 3D model"):
        read(packed.getvalue())


def test_one_changed_byte_inside_a_part_is_found_by_its_check_sum():
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as file:
        file.writestr("_rels/.rels", RELS)
        file.writestr("3D/3dmodel.model", model_xml(object_xml(1, mesh_xml(box()))))
    data = packed.getvalue()
    with pytest.raises(Malformed, match="does not unpack"):
        read(data.replace(b'v1="0"', b'v1="1"', 1))


def test_an_encrypted_or_oddly_packed_package_is_refused():
    data = bytearray(three_mf(box()))
    place = data.index(b"PK\x01\x02")
    data[place + 8] |= 1
    with pytest.raises(Malformed, match="encrypted"):
        read(bytes(data))
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_BZIP2) as file:
        file.writestr("_rels/.rels", RELS)
    with pytest.raises(Malformed, match="packed in a way"):
        read(packed.getvalue())


def test_a_cut_package_is_told_from_a_damaged_one():
    data = three_mf(box())
    with pytest.raises(Truncated, match="ends before its list"):
        read(data[:-30])
    with pytest.raises(Malformed, match="damaged"):
        read(data.replace(b"PK\x01\x02", b"PK\x01\x03"))
    with pytest.raises(Malformed, match="does not unpack"):
        read(data[:20] + data[60:])


def test_the_deflate_stream_broken_with_its_sum_kept_is_refused():
    data = bytearray(three_mf(ring()))
    start = data.index(b"3D/3dmodel.model") + 16
    data[start + 50 : start + 60] = bytes(10)
    with pytest.raises(Malformed):
        read(bytes(data))
