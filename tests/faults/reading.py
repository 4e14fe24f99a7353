"""Faults in reading a picture file."""

from __future__ import annotations

from .kind import Fault

FAULTS = (
    Fault(
        "jpeg-steps-of-the-mean-alone",
        "digitize/reading/headers.py",
        "_BROAD = 6 ",
        "_BROAD = 1 ",
        ("tests/test_picture_header.py::test_steps_of_a_jpegs_blocks_are_those_of_its_tables",),
    ),
    Fault(
        "jpeg-blue-as-far-off-as-red",
        "digitize/reading/reduced.py",
        "math.hypot(0.344136, 0.714136), 1.772])",
        "math.hypot(0.344136, 0.714136), 1.402])",
        ("tests/test_picture_header.py::test_what_a_block_may_be_off_is_what_rounding_leaves",),
    ),
    Fault(
        "exif-5-turned-as-7",
        "digitize/reading/light.py",
        '5: ("rot90", "fliphor")',
        '5: ("rot270", "fliphor")',
        ("tests/test_picture.py::test_orientation_is_applied_once_as_pillow_does",),
    ),
    Fault(
        "srgb-without-its-straight-part",
        "digitize/reading/curve.py",
        "0.04045",
        "0.0",
        ("tests/test_picture.py::test_srgb_curve_against_scikit_image",),
    ),
    Fault(
        "densities-not-swapped-when-turned",
        "digitize/reading/density.py",
        "Density(y, x, claim.source) if swapped",
        "Density(x, y, claim.source) if swapped",
        ("tests/test_picture.py::test_orientation_is_applied_once_as_pillow_does",),
    ),
    Fault(
        "photo-has-a-density",
        "digitize/reading/density.py",
        "if camera is not None and (camera.focal_mm or camera.focal_35mm):",
        "if False:",
        ("tests/test_picture_header.py::test_a_photo_has_no_density",),
    ),
    Fault(
        "filler-believed",
        "digitize/reading/density.py",
        "good.sort(key=lambda claim: claim.is_filler)",
        "good.sort(key=lambda claim: 0)",
        ("tests/test_picture_header.py::test_filler_in_jfif_gives_way_to_exif_and_only_then",),
    ),
    Fault(
        "centimetres-as-inches",
        "digitize/reading/exif.py",
        "3: 10.0}",
        "3: 25.4}",
        ("tests/test_picture_header.py::test_tiff_with_its_unit",),
    ),
    Fault(
        "tiff-strips-taken-in-any-order",
        "digitize/reading/tiff.py",
        "np.array_equal(starts[1:], (starts + counts)[:-1]) and",
        "",
        ("tests/test_picture.py",),
    ),
    Fault(
        "jfif-centimetres-as-millimetres",
        "digitize/reading/headers.py",
        "{1: MM_PER_INCH, 2: 10.0}",
        "{1: MM_PER_INCH, 2: 1.0}",
        ("tests/test_picture_header.py::test_jfif_with_its_unit",),
    ),
    Fault(
        "gamma-before-the-profile",
        "digitize/reading/headers.py",
        'chunks.keys() & {b"sRGB", b"iCCP", b"cICP"}',
        'chunks.keys() & {b"cICP"}',
        ("tests/test_picture.py::test_png_gamma_counts_only_without_a_better_word",),
    ),
    Fault(
        "icc-gamma-of-256-as-255",
        "digitize/reading/icc.py",
        "codes ** (entries[0] / 256)",
        "codes ** (entries[0] / 255)",
        ("tests/test_picture_icc.py::test_curve_by_formula",),
    ),
    Fault(
        "icc-line-below-the-break-dropped",
        "digitize/reading/icc.py",
        "c * codes + f)",
        "0 * codes + f)",
        ("tests/test_picture_icc.py::test_curve_by_formula",),
    ),
    Fault(
        "grey-lightness-taken-for-light",
        "digitize/reading/icc.py",
        "cubic**3, 3 *",
        "cubic, 3 *",
        ("tests/test_picture_icc.py::test_grey_profile_through_lab",),
    ),
    Fault(
        "pdf-upside-down",
        "digitize/reading/pdf_page.py",
        "((1, 0), (0, -1)): 1,",
        "((1, 0), (0, -1)): 4,",
        ("tests/test_picture_pdf.py::test_the_stored_pixels_are_taken_out_unchanged",),
    ),
    Fault(
        "scanned-pdf-point-of-72-27",
        "digitize/reading/pdf_page.py",
        "_MM_PER_POINT = 25.4 / 72",
        "_MM_PER_POINT = 25.4 / 72.27",
        ("tests/test_picture_pdf.py::test_density_comes_from_the_place_on_the_page",),
    ),
    Fault(
        "focal-plane-of-the-side-that-was-cut",
        "digitize/reading/exif.py",
        "focal_mm * max(stated) / mm",
        "focal_mm * min(stated) / mm",
        ("tests/test_picture_header.py::test_focal_length_in_pixels_by_the_focal_plane",),
    ),
)
