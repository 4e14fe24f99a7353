import itertools
import json
import math
import re
from dataclasses import replace
from pathlib import Path as Path_
from typing import get_args

import hypothesis.strategies as st
import jsonschema
import msgspec
import numpy as np
import pytest
from hypothesis import given, settings

from digitize.document.document import document_bytes, read_document, schema
from digitize.document.outline import Outline
from digitize.document.text import text_of
from digitize.errors import DocumentError
from digitize.records import Calipers, Circle, FailedItem, Finding, LeastSure, LeftOut, Path, Usual, Why
from digitize.seal import is_sealed
from tests import made, outline_schema, strategies
from tests.sweeps import tried

VALIDATOR = jsonschema.Draft202012Validator(schema())
WHOLE = json.loads(document_bytes(made.result()))
# Few points, so that many changed copies are quick.
STORED = Path_(__file__).parent / "documents"
TRIANGLES = replace(
    made.tag(),
    exterior_mm=made.ring([(0, 0), (60, 0), (60, 40)]),
    holes_mm=(made.ring([(48, 20), (48, 21), (49, 21)]),),
)
SMALL_TEXT = document_bytes(made.result(TRIANGLES))
SMALL = json.loads(SMALL_TEXT)


def test_the_published_schema_is_that_of_the_declaration():
    assert outline_schema.FILE.read_text(encoding="utf-8") == outline_schema.text(), "python -m tests.outline_schema"


def test_the_schema_itself_is_valid_and_closed_everywhere():
    jsonschema.Draft202012Validator.check_schema(schema())

    whole = schema()
    # what an option is called and may be is told by the settings
    options = (whole["properties"]["options"], whole["$defs"]["Usual"]["properties"]["options"])

    def walk(part):
        if isinstance(part, dict):
            if part.get("type") == "object" and not any(part is one for one in options):
                assert not part["additionalProperties"] or "enum" in part.get("propertyNames", ())
            for value in part.values():
                walk(value)
        elif isinstance(part, list):
            for value in part:
                walk(value)

    walk(whole)


@given(strategies.rings(), st.floats(-1e6, 1e6))
@settings(max_examples=25, deadline=None)
def test_rings_are_written_as_the_standard_library_writes_them(ring, shift):
    (item,) = Outline.of(made.result(replace(TRIANGLES, exterior_mm=ring + shift, holes_mm=(), hole_paths=()))).items
    rows = [row for row in text_of(item).split("\n") if row.startswith('"geometry": ')]
    geometry = {"type": "Polygon", "coordinates": [(np.round(np.vstack([ring, ring[:1]]) + shift, 4) + 0.0).tolist()]}
    assert rows == [f'"geometry": {json.dumps(geometry)}']


def test_a_ring_that_holds_no_number_is_refused():
    (item,) = Outline.of(made.result(TRIANGLES)).items
    hollow = msgspec.structs.replace(item.geometry, coordinates=[[(0.0, 0.0), (math.nan, 1.0), (0.0, 0.0)]])
    with pytest.raises(ValueError, match="no number"):
        text_of(msgspec.structs.replace(item, geometry=hollow))


def test_a_written_document_is_valid_and_carries_the_mark():
    data = document_bytes(made.result())
    VALIDATOR.validate(json.loads(data))
    assert is_sealed(data)


def test_geometry_is_geojson():
    # RFC 7946, 3.1.6: a linear ring is closed, first and last positions identical, four or more
    # positions, exterior counter-clockwise, holes clockwise.
    for item in WHOLE["items"]:
        assert item["geometry"]["type"] == "Polygon"
        for number, ring in enumerate(item["geometry"]["coordinates"]):
            assert len(ring) >= 4
            assert ring[0] == ring[-1]
            twice = sum(a[0] * b[1] - b[0] * a[1] for a, b in itertools.pairwise(ring))
            assert (twice > 0) == (number == 0)
            assert all(value == round(value, 4) for point in ring for value in point)


def test_path_of_a_rounded_rectangle_can_be_read_without_this_program():
    path = WHOLE["items"][0]["path"]["exterior"]
    assert path["start"] == [6.0, 0.0]
    assert path["segments"][:2] == [
        {"type": "line", "to": [54.0, 0.0]},
        {
            "type": "arc",
            "to": [60.0, 6.0],
            "centre": [54.0, 6.0],
            "radius": 6.0,
            "direction": "counter-clockwise",
            "sweep_deg": 90.0,
        },
    ]
    assert WHOLE["items"][0]["path"]["holes"] == [{"type": "circle", "centre": [8.0, 20.0], "radius": 2.5}]


def test_what_was_left_out_stands_beside_the_items():
    strip = LeftOut((120, 40, 1780, 150), (950.0, 95.0), 315.0, "thin", (20.5, 61.25))
    data = document_bytes(made.result(left_out=(strip,)))
    assert json.loads(data)["left_out"] == [
        {
            "place_mm": [20.5, 61.25],
            "place_px": [950.0, 95.0],
            "box_px": [120.0, 40.0, 1780.0, 150.0],
            "area_mm2": 315.0,
            "why": "thin",
        }
    ]
    VALIDATOR.validate(json.loads(data))
    assert read_document(data).result.left_out == (strip,)
    assert "left_out" not in WHOLE


def test_a_clockwise_arc_has_its_centre_on_the_right():
    notch = Path(made.ring([(0, 0), (10, 0), (10, 10), (0, 10)]), made.ring([-made.QUARTER, 0, 0, 0]))
    document = json.loads(document_bytes(made.result(replace(made.tag(), path=notch))))
    arc = document["items"][0]["path"]["exterior"]["segments"][0]
    assert arc["direction"] == "clockwise"
    assert arc["centre"] == [5.0, -5.0]  # a quarter of the circle about (5, -5) through (0, 0) and (10, 0)
    assert arc["radius"] == pytest.approx(math.sqrt(50), abs=1e-4)


def test_read_gives_back_all_that_was_written():
    result = made.result()
    document = read_document(document_bytes(result))
    assert document.version == 1
    assert document.written_by.startswith("digitize ")
    back = document.result
    for name in (
        "source_name",
        "source_sha256",
        "width_px",
        "height_px",
        "tolerance_mm",
        "findings",
        "options",
    ):
        assert getattr(back, name) == getattr(result, name)
    assert back.scale.mm_per_px == pytest.approx(result.scale.mm_per_px, rel=1e-7)
    assert np.array_equal(back.scale.corners_px, result.scale.corners_px)
    for read, item in zip(document.items, result.items, strict=True):
        assert read.uncertainty == item.uncertainty
        assert read.findings == item.findings
        assert read.sheet_mm == item.sheet_mm
        assert np.abs(read.exterior_mm - item.exterior_mm).max() <= 0.5001e-4
        assert np.abs(read.path.points_mm - item.path.points_mm).max() <= 0.5001e-4
        assert read.path.bulges == pytest.approx(item.path.bulges, abs=1e-9)
        assert read.hole_paths == item.hole_paths
        assert (read.pocket is None) == (item.pocket is None)
        for ring, as_seen in zip(read.least_sure, item.least_sure, strict=True):
            assert [one.at_px for one in ring] == [pytest.approx(one.at_px, abs=0.5001e-4) for one in as_seen]
            assert [one.k2_mm for one in ring] == pytest.approx([one.k2_mm for one in as_seen], abs=1e-9)
    assert document.items[0].pocket.chain == result.items[0].pocket.chain
    assert not document.items[0].exterior_mm.flags.writeable
    assert document.items[0].contours == ()


def without_next_step(members):
    """The first program had none: it follows from the code, and readers leave it alone."""
    return {key: value for key, value in members.items() if key != "next_step"}


@pytest.mark.parametrize("path", sorted(STORED.glob("*.json")), ids=lambda path: path.stem)
def test_documents_of_before_are_valid_and_read(path):
    """Written by the first program that wrote version 1: shapes, symmetry, and all that a way of cutting can add."""
    data = path.read_bytes()
    assert is_sealed(data)
    VALIDATOR.validate(json.loads(data))
    again = json.loads(document_bytes(read_document(data).result), object_hook=without_next_step)
    for key, value in json.loads(data).items():
        assert key in ("written_by", "mark") or again[key] == value, key


COORDINATES = st.floats(-500, 500, allow_nan=False).map(lambda v: round(v, 3))
BULGES = st.one_of(st.just(0.0), st.floats(-3, 3, allow_nan=False))
WORDS = st.text(max_size=20)
SIZES = st.floats(0, 1e4, allow_nan=False)
SIZES_ABOVE = st.floats(0.001, 1e4, allow_nan=False)
DIRECTIONS = st.floats(0, 180, exclude_max=True) | st.just(180 - 1e-12)

NUMBERS = st.integers(-(2**53), 2**53) | st.floats(allow_nan=False, allow_infinity=False)
OPTIONS = st.recursive(
    WORDS | NUMBERS | st.booleans() | st.none(),
    lambda one: st.lists(one, max_size=3) | st.dictionaries(WORDS, one, max_size=3),
    max_leaves=5,
)
USUAL = st.builds(Usual, WORDS, st.sampled_from(["working", "settings"]), st.dictionaries(WORDS, WORDS | st.booleans()))


@st.composite
def curves(draw):
    if draw(st.booleans()):
        return Circle((draw(COORDINATES), draw(COORDINATES)), draw(st.floats(0.001, 1000)))
    points = draw(st.lists(st.tuples(COORDINATES, COORDINATES), min_size=2, max_size=12, unique=True))
    return Path(made.ring(points), made.ring(draw(st.lists(BULGES, min_size=len(points), max_size=len(points)))))


FINDINGS = st.builds(
    Finding,
    code=st.sampled_from(["shadow-suspected", "a1", "dust"]),
    message=WORDS,
    value=st.none() | SIZES,
    limit=st.none() | SIZES,
    place_px=st.none() | st.tuples(COORDINATES, COORDINATES),
    attention=st.booleans(),
)


LEFT_OUT = st.builds(
    LeftOut,
    st.tuples(*[st.integers(0, 20000)] * 4),
    st.tuples(COORDINATES, COORDINATES),
    st.floats(0, 1e5),
    st.sampled_from(get_args(Why)),
    st.tuples(COORDINATES, COORDINATES),
)


LEAST_SURE = st.builds(LeastSure, st.tuples(COORDINATES, COORDINATES), SIZES)


@st.composite
def results(draw):
    item = TRIANGLES
    pocket = replace(item.pocket, curves=tuple(draw(st.lists(curves(), max_size=3))), cutter_mm=draw(SIZES))
    item = replace(
        item,
        name=draw(WORDS),
        path=draw(curves()),
        hole_paths=(draw(curves()),),
        calipers=draw(st.none() | st.builds(Calipers, SIZES_ABOVE, SIZES_ABOVE, DIRECTIONS, SIZES, SIZES)),
        rotation_deg=draw(st.floats(-45, 45)),
        sheet_mm=(draw(COORDINATES), draw(COORDINATES)),
        pocket=draw(st.none() | st.just(pocket)),
        print_area=tuple(draw(st.lists(curves(), max_size=2))),
        other_px=tuple(draw(st.lists(st.just(item.exterior_mm), max_size=2))),
        least_sure=tuple(draw(st.lists(st.lists(LEAST_SURE, max_size=3).map(tuple), max_size=2))),
        findings=tuple(draw(st.lists(FINDINGS, max_size=2))),
    )
    return made.result(
        *(item,) * draw(st.integers(1, 2)),
        source_name=draw(WORDS | st.just("odd \udcff.png")),
        failed=tuple(draw(st.lists(st.builds(FailedItem, st.tuples(*[COORDINATES] * 4), FINDINGS), max_size=2))),
        left_out=tuple(draw(st.lists(LEFT_OUT, max_size=2))),
        options=draw(st.dictionaries(WORDS, OPTIONS, max_size=3)),
        usual=draw(st.none() | USUAL),
    )


@pytest.mark.sweep
@settings(max_examples=tried(25, of=40), deadline=None)
@given(results())
def test_reading_and_writing_again_changes_no_byte(result):
    data = document_bytes(result)
    VALIDATOR.validate(json.loads(data))
    document = read_document(data)
    assert document_bytes(document.result) == data
    for read, item in zip(document.items, result.items, strict=True):
        if isinstance(item.path, Path):
            assert np.abs(read.path.points_mm - item.path.points_mm).max() <= 0.5001e-4
            # The widest part of an arc is bulge x chord / 2 off its chord.
            chords = np.hypot(*(np.roll(item.path.points_mm, -1, axis=0) - item.path.points_mm).T)
            assert np.abs((read.path.bulges - item.path.bulges) * chords / 2).max() <= 1e-4
        else:
            assert read.path.radius_mm == pytest.approx(item.path.radius_mm, abs=0.5001e-4)


def places(value, at=()):
    """Yield the way to every member of a document, lists only at their first two."""
    yield at
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, member in inside:
        if not (isinstance(key, int) and key > 1):
            yield from places(member, (*at, key))


PLACES = [place for place in places(SMALL) if place and place[0] != "options"]


def changed(place, change):
    document = json.loads(SMALL_TEXT)  # sooner than a copy
    parent = document
    for key in place[:-1]:
        parent = parent[key]
    change(parent, place[-1])
    return document


def assert_both_refuse(document):
    assert not VALIDATOR.is_valid(document), "the schema lets it pass"
    with pytest.raises(DocumentError):
        read_document(json.dumps(document).encode())


def complaint_of(document):
    try:
        read_document(json.dumps(document).encode())
    except DocumentError as error:
        return str(error)
    return None


@pytest.mark.parametrize("value", [None, True, -1.5, [], {"type": "spline"}])
def test_schema_and_reader_agree_on_every_replaced_value(value):
    for place in PLACES:
        document = changed(place, lambda parent, key: parent.__setitem__(key, value))
        complaint = complaint_of(document)
        if VALIDATOR.is_valid(document):
            # What a schema cannot say: agreement between members.
            cross = ("contradicts itself", "is open", "holes in its geometry", "does not run", "is no outline")
            assert complaint is None or any(part in complaint for part in cross), (place, complaint)
        else:
            assert complaint is not None, place


def test_every_missing_and_every_unknown_key_is_refused_by_both():
    for place in PLACES:
        if isinstance(place[-1], str):
            if place[-1] not in ("next_step", "least_sure"):  # one follows from the code, one stands where it is known
                assert_both_refuse(changed(place, lambda parent, key: parent.pop(key)))
            assert_both_refuse(changed(place, lambda parent, key: parent.__setitem__("extra", parent[key])))


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "no outline document, or a damaged one"),
        (b"\xff\xfe{}", "not UTF-8"),
        (b"{}", 'does not say "format"'),
        (b"[1]", 'does not say "format"'),
        (b'{"format": "FeatureCollection"}', 'does not say "format"'),
        (b'{"format": "digitize-outline", "version": 2}', "version 2.*newer digitize"),
        (b'{"format": "digitize-outline", "version": true}', "which version"),
        (b'{"format": "digitize-outline"}', "which version it is"),
        (b'{"format": "digitize-outline", "version": 1, "version": 1}', "twice"),
        (b"[" * 100_000, "nested too deeply"),
        (b"9" * 10_000, "damaged"),
    ],
)
def test_foreign_bytes_are_refused_with_a_sentence(data, sentence):
    with pytest.raises(DocumentError, match=sentence) as caught:
        read_document(data)
    assert caught.value.exit_code == 3


def test_a_cut_off_document_is_refused_wherever_it_is_cut():
    data = document_bytes(made.result())
    for end in range(0, len(data) - 2, 97):
        with pytest.raises(DocumentError):
            read_document(data[:end])


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1e999", "1" + "0" * 400])
def test_numbers_that_are_none_are_refused(number):
    data = document_bytes(made.result()).replace(b'"width_mm": 60.0', b'"width_mm": ' + number.encode())
    with pytest.raises(DocumentError):
        read_document(data)


@pytest.mark.parametrize("number", ["1e999", "1" + "0" * 400])
def test_numbers_without_end_are_named_with_their_place(number):
    data = json.dumps(SMALL).replace('"radius": 2.5', f'"radius": {number}').encode()
    with pytest.raises(DocumentError, match=r"items\[0\].path.holes\[0\].radius should be a finite number, it is"):
        read_document(data)


def test_half_a_character_is_refused():
    with pytest.raises(DocumentError, match="half of a character"):
        read_document(json.dumps(SMALL | {"written_by": "\ud800"}).encode())


@pytest.mark.parametrize(
    ("place", "value", "sentence"),
    [
        (("items", 0, "width_mm"), "60", r"items\[0\]\.width_mm should be a number, it is \"60\""),
        (("items", 0, "path", "exterior", "start"), [1.0, 1.0], "is open"),
        (("items", 0, "path", "exterior", "segments", 1, "centre"), [54.0, 6.1], "contradicts itself"),
        (("items", 0, "path", "holes"), [], "1 holes in its geometry and 0 in its path"),
        (
            ("source", "sha256"),
            "short",
            r"source.sha256 should be a text of the form \[0-9a-f\]\{64\}, it is \"short\"",
        ),
        (("units",), "inch", 'units should be one of mm, it is "inch"'),
        (("source", "width_px"), 1.5, r"source\.width_px should be a whole number, it is 1\.5"),
        (("source", "width_px"), 0, r"source\.width_px should be a number of 1 or more, it is 0"),
        (("scale", "kind"), "drum", 'scale.kind should be one of camera, flatbed, it is "drum"'),
        (("scale", "mm_per_px"), [1.0], r"scale\.mm_per_px should be a list of 2, it is \[1\.0\]"),
        (("face", "mirrored"), 1, r"face\.mirrored should be true or false, it is 1"),
        (("items", 0, "area_mm2"), 0, r"items\[0\]\.area_mm2 should be a number above 0, it is 0"),
        (("items", 0, "placement", "rotation_deg"), 90, r"rotation_deg should be a number of 45 or less, it is 90"),
        (("items", 0, "warnings", 0, "attention"), 1, r"warnings\[0\]\.attention should be true or false, it is 1"),
        (("items", 0, "pocket"), [], r"items\[0\]\.pocket should be an object or null, it is \[\]"),
        (("items", 0, "path", "exterior", "type"), "spline", 'exterior.type should be one of circle, path, it is "spl'),
        (("items", 0, "path", "exterior", "segments"), [], r"segments should be a list of at least 2, it is \[\]"),
        (("items", 0, "path", "exterior", "segments", 1, "sweep_deg"), 360, "sweep_deg should be a number below 360"),
        (("items", 0, "geometry", "type"), "Point", r"geometry\.type should be one of Polygon, it is \"Point\""),
        (
            ("items", 0, "geometry", "coordinates", 0, 1),
            [1],
            r"coordinates\[0\]\[1\] should be a list of 2, it is \[1\]",
        ),
        (("items", 0, "geometry", "coordinates", 0, 1, 0), None, r"\[0\]\[1\]\[0\] should be a number, it is null"),
        (("items", 0, "geometry", "coordinates", 0, 0), [1, 1], r"ring items\[0\]\.geometry\.coordinates\[0\] is open"),
        (("items", 0, "geometry", "holes"), [], r"'holes' is not known in items\[0\]\.geometry"),
        (("items", 0, "geometry"), {"type": "Polygon"}, r"'coordinates' is missing in items\[0\]\.geometry"),
        (("colour",), "red", "'colour' is not known"),
    ],
)
def test_damage_is_named_with_its_place(place, value, sentence):
    document = changed(place, lambda parent, key: parent.__setitem__(key, value))
    with pytest.raises(DocumentError, match=sentence):
        read_document(json.dumps(document).encode())


def test_a_reversed_ring_is_refused():
    place = ("items", 0, "geometry", "coordinates", 0)
    document = changed(place, lambda parent, key: parent[key].reverse())
    with pytest.raises(DocumentError, match="does not run counter-clockwise"):
        read_document(json.dumps(document).encode())


def test_what_rounds_to_nothing_is_a_plain_zero():
    below = -1e-12
    item = replace(
        TRIANGLES,
        sheet_mm=(below, -0.0),
        exterior_mm=made.ring([(below, -0.0), (60, 0), (60, 40)]),
        path=Path(made.ring([(below, -0.0), (60, 0), (60, 40)]), made.ring([0, 0, 0])),
        findings=(Finding("dust", "", below, -0.0, (below, -0.0)),),
    )
    data = document_bytes(made.result(item))
    assert b"[0.0, 0.0]" in data
    assert not re.search(rb"-0\.0[],}]|[0-9]e-", data)


def test_a_subset_of_items():
    result = made.result()
    assert [i.name for i in read_document(document_bytes(result, items=result.items[1:])).items] == ["fob-1"]
