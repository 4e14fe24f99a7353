"""Faults in the outline document: what is written, what is read, what is refused."""

from __future__ import annotations

from .kind import Fault

DOCUMENT = "tests/test_document.py"
CURVES = "digitize/document/curves.py"
FORM = "digitize/document/form.py"
TEXT = "digitize/document/document.py"
ITEM = "digitize/document/item.py"

AGAIN = "digitize/again.py"
TOLD_AGAIN = ("tests/test_again.py",)

FAULTS = (
    Fault("again-changed-document", AGAIN, "if not is_sealed(data):", "if False:", TOLD_AGAIN),
    Fault("again-other-version", AGAIN, "if told.written_by != WRITTEN_BY:", "if False:", TOLD_AGAIN),
    Fault("again-any-picture", AGAIN, "if _sha256(path) == sha256:", "if True:", TOLD_AGAIN),
    Fault("again-any-result", AGAIN, "if told.data in alike:", "if True:", TOLD_AGAIN),
    Fault("again-all-items-in-one", AGAIN, "separate=output.separate or some", "separate=output.separate", TOLD_AGAIN),
    Fault(
        "again-options-forgotten",
        "digitize/recipe/outline.py",
        "options=_told(settings, empty)",
        "options={}",
        TOLD_AGAIN,
    ),
    Fault(
        "again-photo-without-hash", "digitize/recipe/outline.py", '"sha256": empty.sha256', '"sha256": ""', TOLD_AGAIN
    ),
    Fault("document-length-of-micrometres", FORM, "LENGTH_DIGITS = 4", "LENGTH_DIGITS = 3", (DOCUMENT,)),
    Fault("document-ratio-coarse", FORM, "FINE_DIGITS = 9", "FINE_DIGITS = 6", (DOCUMENT,)),
    Fault("document-minus-zero", FORM, "self.digits) + 0.0", "self.digits)", (DOCUMENT,)),
    Fault("document-ring-of-no-numbers", "digitize/document/text.py", 'if "null" in text:', "if False:", (DOCUMENT,)),
    Fault("document-odd-bytes-kept", FORM, 'text.encode("utf-8", "replace").decode("utf-8")', "text", (DOCUMENT,)),
    Fault("document-unknown-members-read", FORM, ", forbid_unknown_fields=True", "", (DOCUMENT,)),
    Fault("document-record-unchecked", FORM, "except ValueError as error:", "except KeyError as error:", (DOCUMENT,)),
    Fault(
        "document-arc-unchecked", CURVES, "if math.dist(self.centre, centre) > slack or", "if False and", (DOCUMENT,)
    ),
    Fault("document-arc-turned", CURVES, "* (1 if left else -1)", "* 1", (DOCUMENT,)),
    Fault("document-open-path-read", CURVES, "if points[-1] != points[0]:", "if False:", (DOCUMENT,)),
    Fault("document-open-ring-read", CURVES, "if not np.array_equal(closed[0], closed[-1]):", "if False:", (DOCUMENT,)),
    Fault(
        "document-ring-any-way-round",
        CURVES,
        "if not (twice_area > 0 if counter",
        "if False and (0 if counter",
        (DOCUMENT,),
    ),
    Fault("document-ring-left-open", CURVES, "return [*rounded, rounded[0]]", "return rounded", (DOCUMENT,)),
    Fault("document-hole-without-path", ITEM, "if len(paths) != len(holes):", "if False:", (DOCUMENT,)),
    Fault(
        "document-mirrored-not-read",
        "digitize/document/outline.py",
        "replace(item, mirrored=self.face.mirrored)",
        "replace(item, mirrored=False)",
        ("tests/test_mirrored.py",),
    ),
    Fault("document-key-twice", "digitize/document/text.py", "if len(found) != len(pairs):", "if False:", (DOCUMENT,)),
    Fault("document-newer-version-read", "digitize/document/text.py", "if version > newest:", "if False:", (DOCUMENT,)),
    Fault(
        "document-unsealed",
        TEXT,
        "return seal(_text(Outline.of(result if",
        "return (_text(Outline.of(result if",
        (DOCUMENT,),
    ),
    Fault(
        "document-sizes-of-another-shape",
        "digitize/document/regular.py",
        "sorted({*sizes} ^ {*SIZES[self.kind]})",
        "()",
        ("tests/test_regular.py",),
    ),
    Fault(
        "document-uncut-any-way-round",
        "digitize/document/pocket.py",
        'f"{at}.ring", counter_clockwise=True',
        'f"{at}.ring", counter_clockwise=False',
        (DOCUMENT,),
    ),
    Fault(
        "blank-counted-twice",
        "digitize/cli/lot.py",
        "return near and one.result",
        "return False and one.result",
        ("tests/test_lot.py::test_a_blank_is_not_counted_twice",),
    ),
    Fault(
        "blank-of-another-picture-refused",
        "digitize/cli/lot.py",
        "one.result.source_sha256 == other.result.source_sha256",
        "True",
        ("tests/test_lot.py::test_command_makes_a_pocket_that_fits_the_largest_and_art_within_the_smallest",),
    ),
    Fault(
        "one-reading-tells-all-causes",
        "digitize/trust/causes.py",
        "*(() if is_alone else several)",
        "*several",
        ("tests/test_check.py::test_the_cause_of_a_mistake_is_named",),
    ),
    Fault(
        "height-never-said-too-large",
        "digitize/trust/causes.py",
        "0 < 1 - ratio <= height / _PHOTO_NEAREST_MM",
        "False",
        ("tests/test_check.py::test_the_cause_of_a_mistake_is_named",),
    ),
    Fault(
        "height-said-too-large-from-anywhere",
        "digitize/trust/causes.py",
        "_PHOTO_NEAREST_MM = 150.0",
        "_PHOTO_NEAREST_MM = 15.0",
        ("tests/test_check.py::test_the_cause_of_a_mistake_is_named",),
    ),
)
