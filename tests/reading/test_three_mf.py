"""3MF: units, placing, and what a package may hold."""

import ctypes

import lib3mf
import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from tests.reading.examples import (
    LIMITS,
    box,
    mesh_xml,
    model_xml,
    object_xml,
    package,
    ring,
    rules,
    three_mf,
)
from verifier.errors import Malformed, NotAMesh, NoTriangles
from verifier.mesh import Mesh, extents_mm, volume_mm3
from verifier.reading import read_scan
from verifier.reading.three_mf import read_three_mf

PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"


def read(data, **limits):
    return read_three_mf(data, "seat_armrest.3mf", LIMITS.model_copy(update=limits))


def solid(raw):
    return Mesh(raw.vertices, raw.faces)


@pytest.mark.parametrize(
    ("unit", "factor_mm"),
    [
        ('unit="micron"', 0.001),
        ('unit="millimeter"', 1),
        ("", 1),
        ('unit="centimeter"', 10),
        ('unit="inch"', 25.4),
        ('unit="foot"', 304.8),
        ('unit="meter"', 1000),
    ],
)
def test_the_unit_of_the_file_becomes_millimetres(dropped, unit, factor_mm):
    """Factors of the 3MF core specification 1.4.0; millimetres where the file says nothing."""
    scan = read_scan(dropped(three_mf(box(3, 2, 1), unit), "latch_lever.3mf"), rules())
    assert scan.unit.factor_mm == factor_mm
    assert scan.unit.known_by == "file"
    assert_allclose(extents_mm(scan.mesh), np.array([3, 2, 1]) * factor_mm, rtol=1e-15)


def test_an_unknown_unit_is_refused():
    """lib3mf 2.5 reads it as millimetres without a word."""
    with pytest.raises(Malformed, match="unit"):
        read(three_mf(box(), 'unit="furlong"'))


def test_items_and_components_are_put_where_their_transforms_say():
    """Row vectors, as the specification writes them: inner transform first, then the item's."""
    turn = "0 1 0 -1 0 0 0 0 1 100 0 0"  # a quarter turn about z, then 100 along x
    move = "1 0 0 0 1 0 0 0 1 0 0 7"
    objects = object_xml(1, mesh_xml(box(4, 2, 1))) + object_xml(
        2, f'<components><component objectid="1" transform="{move}"/><component objectid="1"/></components>'
    )
    raw = read(package(model_xml(objects, f'<item objectid="2" transform="{turn}"/><item objectid="1"/>')))
    assert len(raw.faces) == 36
    first = box(4, 2, 1).vertices_mm
    turned = np.column_stack([100 - first[:, 1], first[:, 0], first[:, 2]])
    assert_allclose(raw.vertices, np.concatenate([turned + np.array([0, 0, 7]), turned, first]), atol=1e-12)


def test_a_mirrored_item_still_faces_outwards():
    raw = read(
        package(model_xml(object_xml(1, mesh_xml(ring())), '<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>'))
    )
    assert volume_mm3(solid(raw)) == pytest.approx(volume_mm3(ring()), rel=1e-12)


def test_further_model_parts_are_followed():
    """Production extension: a component may lie in another part of the package."""
    part = model_xml(object_xml(5, mesh_xml(box())), items="")
    inner = '<components><component p:path="/3D/Objects/a.model" objectid="5"/></components>'
    attributes = f'unit="millimeter" xmlns:p="{PRODUCTION}" requiredextensions="p"'
    model = model_xml(object_xml(1, inner), attributes=attributes)
    raw = read(package(model, **{"3D/Objects/a.model": part.encode()}))
    assert_array_equal(raw.faces, box().faces)
    with pytest.raises(Malformed, match="part that it does not hold"):
        read(package(model))
    with pytest.raises(Malformed, match="different units"):
        read(package(model, **{"3D/Objects/a.model": part.replace("millimeter", "inch").encode()}))


def test_support_structures_and_objects_off_the_plate_are_left_out_and_said():
    objects = (
        object_xml(1, mesh_xml(box())) + object_xml(2, mesh_xml(ring()), "support") + object_xml(3, mesh_xml(ring()))
    )
    raw = read(package(model_xml(objects, '<item objectid="1"/><item objectid="2"/>')))
    assert_array_equal(raw.vertices, box().vertices_mm)
    assert raw.notices == (
        "1 objects are support structures and were left out.",
        "1 objects are not on the build plate and were left out.",
    )


def test_colours_on_some_triangles_and_attributes_in_any_order_do_not_disturb():
    text = mesh_xml(box())
    mixed = text.replace('<triangle v1="0" v2="1" v3="3"/>', '<triangle pid="9" v3="3" v2="1" v1="0" p1="0"/>')
    mixed = mixed.replace("<vertices>", "<!-- lever --><vertices >").replace("<triangle ", "<triangle\n ")
    assert mixed != text
    raw = read(package(model_xml(object_xml(1, mixed))))
    assert_array_equal(raw.faces, box().faces)
    assert_array_equal(raw.vertices, box().vertices_mm)


def test_a_model_with_a_prefix_or_in_utf_16_is_read():
    plain = model_xml(object_xml(1, mesh_xml(box())))
    prefixed = plain.replace("</", "\0").replace("<", "<c:").replace("\0", "</c:").replace("xmlns=", "xmlns:c=")
    wide = ('<?xml version="1.0" encoding="UTF-16"?>' + plain).encode("utf-16")
    for model in (prefixed, wide):
        assert_array_equal(read(package(model)).faces, box().faces)


def test_what_the_consortium_s_library_writes_is_read(tmp_path):
    """lib3mf is the second library: an inch model, placed by a transform."""
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    model.SetUnit(lib3mf.ModelUnit.Inch)
    shape = model.AddMeshObject()
    mesh = box(3.3125, 0.875, 0.375)
    vertices = [lib3mf.Position((ctypes.c_float * 3)(*corner)) for corner in mesh.vertices_mm]
    faces = [lib3mf.Triangle((ctypes.c_uint32 * 3)(*face)) for face in mesh.faces]
    shape.SetGeometry(vertices, faces)
    model.AddBuildItem(shape, wrapper.GetTranslationTransform(10, 0, 0))
    path = tmp_path / "latch_lever.3mf"
    model.QueryWriter("3mf").WriteToFile(str(path))
    scan = read_scan(path, rules())
    assert scan.unit.name == "in"
    assert_allclose(extents_mm(scan.mesh), np.array([3.3125, 0.875, 0.375]) * 25.4, atol=1e-6)
    assert scan.mesh.vertices_mm[:, 0].min() == pytest.approx((10 - 3.3125 / 2) * 25.4, abs=1e-4)
    assert volume_mm3(scan.mesh) > 0


@pytest.mark.parametrize(
    ("old", "new", "error"),
    [
        ("<vertices>", "<vertices><triangle/>", Malformed),
        ('x="', 'u="', Malformed),
        ('v1="0"', 'v1="zero"', Malformed),
        ('v1="0"', 'v1="99999999999999999999"', Malformed),
        ('objectid="1"', 'objectid="2"', Malformed),
        (' objectid="1"', "", Malformed),
        ("</model>", "", Malformed),
        ("<mesh>", "<mesh", Malformed),
        ('<item objectid="1"/>', "", NoTriangles),
        ('<item objectid="1"/>', '<item objectid="1" transform="1 0 0"/>', Malformed),
        ('<item objectid="1"/>', '<item objectid="1" transform="1 0 0 0 1 0 0 0 1 nan 0 0"/>', Malformed),
        ('<item objectid="1"/>', '<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>', Malformed),
        ('<object id="1" type="model"', "<object type='model'", Malformed),
        ("</object>", '</object><object id="1"/>', Malformed),
        ("<resources>", "<resources><vertex x='0' y='0' z='0'/>", Malformed),
        ("core/2015/02", "core/1999/01", Malformed),
        ("<model ", '<model xmlns:b="urn:beams" requiredextensions="b" ', NotAMesh),
        ("<model ", '<model requiredextensions="z" ', NotAMesh),
    ],
)
def test_what_breaks_the_model_is_refused(old, new, error):
    model = model_xml(object_xml(1, mesh_xml(box())))
    assert old in model
    with pytest.raises(error):
        read(package(model.replace(old, new, 1)))


@pytest.mark.parametrize("corner", ["-1", "8"])
def test_a_corner_of_another_object_is_not_taken_for_one_s_own(dropped, corner):
    """With two objects, number 8 of the first would be a corner of the second."""
    wrong = mesh_xml(box()).replace('v1="0"', f'v1="{corner}"', 1)
    data = package(
        model_xml(object_xml(1, wrong) + object_xml(2, mesh_xml(box())), '<item objectid="1"/><item objectid="2"/>')
    )
    with pytest.raises(Malformed, match="does not exist"):
        read_scan(dropped(data, "latch_lever.3mf"), rules())
