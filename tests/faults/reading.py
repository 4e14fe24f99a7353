"""Faults in reading a picture file."""

from __future__ import annotations

from .kind import Fault

PICTURE = "tests/test_picture.py"
HEADER = "tests/test_picture_header.py"
ICC = "tests/test_picture_icc.py"
PDF = "tests/test_picture_pdf.py"

FAULTS = (
    Fault(
        "exif-5-turned-as-7",
        "digitize/reading/light.py",
        '5: ("rot90", "fliphor")',
        '5: ("rot270", "fliphor")',
        (PICTURE,),
    ),
    Fault("srgb-without-its-straight-part", "digitize/reading/curve.py", "0.04045", "0.0", (PICTURE,)),
    Fault(
        "densities-not-swapped-when-turned",
        "digitize/reading/density.py",
        "Density(y, x, claim.source) if swapped",
        "Density(x, y, claim.source) if swapped",
        (PICTURE, HEADER),
    ),
    Fault(
        "photo-has-a-density",
        "digitize/reading/density.py",
        "if camera is not None and (camera.focal_mm or camera.focal_35mm):",
        "if False:",
        (HEADER,),
    ),
    Fault(
        "filler-believed",
        "digitize/reading/density.py",
        "good.sort(key=lambda claim: claim.is_filler)",
        "good.sort(key=lambda claim: 0)",
        (HEADER,),
    ),
    Fault("centimetres-as-inches", "digitize/reading/exif.py", "3: 10.0}", "3: 25.4}", (HEADER,)),
    Fault(
        "jfif-centimetres-as-millimetres",
        "digitize/reading/headers.py",
        "{1: MM_PER_INCH, 2: 10.0}",
        "{1: MM_PER_INCH, 2: 1.0}",
        (HEADER,),
    ),
    Fault(
        "gamma-before-the-profile",
        "digitize/reading/headers.py",
        'chunks.keys() & {b"sRGB", b"iCCP", b"cICP"}',
        'chunks.keys() & {b"cICP"}',
        (PICTURE, ICC),
    ),
    Fault(
        "icc-gamma-of-256-as-255",
        "digitize/reading/icc.py",
        "codes ** (entries[0] / 256)",
        "codes ** (entries[0] / 255)",
        (ICC,),
    ),
    Fault("icc-line-below-the-break-dropped", "digitize/reading/icc.py", "c * codes + f)", "0 * codes + f)", (ICC,)),
    Fault("grey-lightness-taken-for-light", "digitize/reading/icc.py", "cubic**3, 3 *", "cubic, 3 *", (ICC,)),
    Fault("pdf-upside-down", "digitize/reading/pdf_page.py", "((1, 0), (0, -1)): 1,", "((1, 0), (0, -1)): 4,", (PDF,)),
    Fault(
        "scanned-pdf-point-of-72-27",
        "digitize/reading/pdf_page.py",
        "_MM_PER_POINT = 25.4 / 72",
        "_MM_PER_POINT = 25.4 / 72.27",
        (PDF,),
    ),
)
