"""Scanner PDFs: the stored pixels, the density by the place on the page, and what is refused.

Orientation is checked against pypdfium2, an independent renderer.
"""

import math
import zlib
from io import BytesIO

import numpy as np
import pikepdf
import pypdfium2
import pytest
from PIL import Image

from digitize.errors import PictureError
from digitize.reading.picture import picture_from_bytes

from .picture_files import curv, jpeg, rgb_profile, saved, scene

RGB, GREY = scene(), scene(channels=1)
Name = pikepdf.Name


def document(*contents, images=(), save=None, pages=1, page_keys=None, forms=()):
    """A PDF of `pages` equal pages with the content given; images are (bytes, dictionary), named Im0, Im1 ..."""
    pdf = pikepdf.new()
    shown = pikepdf.Dictionary()
    for number, (body, keys) in enumerate(images):
        stream = pdf.make_stream(body, {"/Type": Name.XObject, "/Subtype": Name.Image, **keys})
        shown[f"/Im{number}"] = stream
    resources = pikepdf.Dictionary(XObject=shown)
    for number, body in enumerate(forms):
        shown[f"/Fm{number}"] = pdf.make_stream(
            body, {"/Subtype": Name.Form, "/BBox": [0, 0, 999, 999], "/Resources": pdf.make_indirect(resources)}
        )
    resources = pdf.make_indirect(resources)
    for _ in range(pages):
        page = pdf.add_blank_page(page_size=(300, 400))
        page.obj.Resources = resources
        page.obj.Contents = pdf.make_stream(b" ".join(contents))
        for key, value in (page_keys or {}).items():
            page.obj[key] = value
    stream = BytesIO()
    pdf.save(stream, **(save or {}))
    return stream.getvalue()


def keys(space=Name.DeviceRGB, bits=8, size=(90, 60), **more):
    return {
        "/Width": size[0],
        "/Height": size[1],
        "/BitsPerComponent": bits,
        "/ColorSpace": space,
        **{f"/{key}": value for key, value in more.items()},
    }


FLATE = (zlib.compress(RGB.tobytes()), keys(Filter=Name.FlateDecode))
PLACE = b"q 216 0 0 144 10 20 cm /Im0 Do Q"  # 90 px in 3 inches, 60 px in 2


def read(data):
    return picture_from_bytes(data, "a.pdf")


def filtered(pixels):
    """The rows with PNG filter 1 (Sub: the difference to the pixel at the left)."""
    rows = pixels.reshape(len(pixels), -1).astype(np.int16)
    bytes_per_px = rows.shape[1] // pixels.shape[1]
    left = np.pad(rows, ((0, 0), (bytes_per_px, 0)))[:, : rows.shape[1]]
    return np.pad(((rows - left) % 256).astype(np.uint8), ((0, 0), (1, 0)), constant_values=1).tobytes()


def parameters(**values):
    return pikepdf.Dictionary({f"/{key}": value for key, value in values.items()})


RGB16 = RGB.astype(np.uint16) * 251 + 7
BITS = np.packbits(GREY[:, :88] > 120, axis=1)
PALETTE = np.arange(768, dtype=np.uint8).reshape(256, 3)[::-1]
STORED = {
    "plain": ((RGB.tobytes(), keys()), RGB),
    "deflated": (FLATE, RGB),
    "deflated, filtered": (
        (
            zlib.compress(filtered(RGB)),
            keys(Filter=Name.FlateDecode, DecodeParms=parameters(Predictor=15, Colors=3, Columns=90)),
        ),
        RGB,
    ),
    "grey": ((zlib.compress(GREY.tobytes()), keys(Name.DeviceGray, Filter=Name.FlateDecode)), GREY),
    "grey, inverted": ((GREY.tobytes(), keys(Name.DeviceGray, Decode=[1, 0])), 255 - GREY),
    "16 bit": ((RGB16.astype(">u2").tobytes(), keys(bits=16)), RGB16),
    "bilevel": ((BITS.tobytes(), keys(Name.DeviceGray, 1, (88, 60))), np.where(GREY[:, :88] > 120, 255, 0)),
    "bilevel, inverted": (
        (BITS.tobytes(), keys(Name.DeviceGray, 1, (88, 60), Decode=[1, 0])),
        np.where(GREY[:, :88] > 120, 0, 255),
    ),
    "palette": (
        (GREY.tobytes(), keys(pikepdf.Array([Name.Indexed, Name.DeviceRGB, 255, pikepdf.String(PALETTE.tobytes())]))),
        PALETTE[GREY],
    ),
}


@pytest.mark.parametrize("case", STORED)
def test_the_stored_pixels_are_taken_out_unchanged(case):
    image, truth = STORED[case]
    picture = read(document(PLACE, images=[image]))
    assert np.array_equal(picture.pixels, truth.reshape(*truth.shape[:2], -1))
    assert picture.findings == ()


def test_jpeg_is_decoded_like_the_file_itself():
    data = jpeg(RGB)
    picture = read(document(PLACE, images=[(data, keys(Filter=Name.DCTDecode))]))
    assert np.array_equal(picture.pixels, picture_from_bytes(data, "a.jpg").pixels)


@pytest.mark.parametrize("inverted", [False, True])
def test_fax(inverted):
    bilevel = np.where(GREY[:, :88] > 120, 255, 0).astype(np.uint8)
    tiff = saved(Image.fromarray(bilevel).convert("1"), "TIFF", compression="group4")
    with Image.open(BytesIO(tiff)) as opened:
        offset, count = opened.tag_v2[273][0], opened.tag_v2[279][0]
        zero_is_white = opened.tag_v2[262] == 0
    given = parameters(K=-1, Columns=88, Rows=60, BlackIs1=not zero_is_white)
    # 7.4.6: without BlackIs1 a black run of the code is 0; TIFF writes black where its photometric says so
    decode = {"Decode": [1, 0]} if inverted else {}
    image = (tiff[offset : offset + count], keys(Name.DeviceGray, 1, (88, 60), Filter=Name.CCITTFaxDecode, **decode))
    image[1]["/DecodeParms"] = given
    data = document(PLACE, images=[image])
    rendered = np.asarray(pypdfium2.PdfDocument(data)[0].render(scale=4).to_pil().convert("L"))
    mine = read(data).pixels[..., 0]
    # the same place on the page: 88 x 60 px lie in 216 x 144 points from (10, 20) on a page of 400 points
    rows = np.round(((400 - 20 - 144) + (np.arange(60) + 0.5) * 144 / 60) * 4 - 0.5).astype(int)
    columns = np.round((10 + (np.arange(88) + 0.5) * 216 / 88) * 4 - 0.5).astype(int)
    assert np.mean((rendered[np.ix_(rows, columns)] > 127) == (mine > 127)) > 0.99


def test_density_comes_from_the_place_on_the_page():
    picture = read(document(PLACE, images=[FLATE]))
    x, y = 90 / (216 / 72 * 25.4), 60 / (144 / 72 * 25.4)
    assert (picture.density.x_px_per_mm, picture.density.y_px_per_mm) == pytest.approx((x, y), rel=1e-12)
    assert picture.density.source == "PDF page"


def test_density_through_nested_matrices_forms_and_user_units():
    content = b"q 2 0 0 2 0 0 cm q 0.5 0 0 0.25 3 3 cm /Fm0 Do Q Q"
    data = document(content, images=[FLATE], forms=[b"q 216 0 0 288 0 0 cm /Im0 Do Q"], page_keys={"/UserUnit": 2})
    density = read(data).density
    assert density.x_px_per_mm == pytest.approx(90 / (432 / 72 * 25.4))
    assert density.y_px_per_mm == pytest.approx(60 / (288 / 72 * 25.4))


MATRICES = {
    "upright": "90 0 0 60 0 0",
    "mirrored": "-90 0 0 60 90 0",
    "half turn": "-90 0 0 -60 90 60",
    "upside down": "90 0 0 -60 0 60",
    "left": "0 90 -60 0 60 0",
    "right": "0 -90 60 0 0 90",
    "transposed": "0 -90 -60 0 60 90",
    "transversed": "0 90 60 0 0 0",
}


@pytest.mark.parametrize("rotate", [0, 90, 180, 270, -90])
@pytest.mark.parametrize("case", MATRICES)
def test_orientation_is_that_of_the_displayed_page(case, rotate):
    content = f"q {MATRICES[case]} cm /Im0 Do Q".encode()
    wide = MATRICES[case].split()[0] != "0"
    page = {"/Rotate": rotate, "/MediaBox": [0, 0, 90, 60] if wide else [0, 0, 60, 90]}
    data = document(content, images=[FLATE], page_keys=page)
    rendered = np.asarray(pypdfium2.PdfDocument(data)[0].render(scale=1).to_pil().convert("RGB")).astype(int)
    mine = read(data).pixels.astype(int)
    assert mine.shape == rendered.shape
    assert np.abs(mine - rendered).mean() < 3
    for other in (mine[::-1], mine[:, ::-1], mine[::-1, ::-1]):
        assert np.abs(other - rendered).mean() > 10


def test_a_picture_turned_by_an_odd_angle_keeps_pixels_and_density():
    c, s = math.cos(0.02), math.sin(0.02)
    content = f"q {216 * c} {216 * s} {-144 * s} {144 * c} 10 20 cm /Im0 Do Q".encode()
    picture = read(document(content, images=[FLATE]))
    assert np.array_equal(picture.pixels, RGB)
    assert picture.density.x_px_per_mm == pytest.approx(90 / 76.2)


def test_a_sheared_picture_has_no_density():
    assert read(document(b"q 216 0 30 144 10 20 cm /Im0 Do Q", images=[FLATE])).density is None


def profiled(pdf_keys):
    pdf = pikepdf.new()
    page = pdf.add_blank_page(page_size=(300, 400))
    space = pikepdf.Array([Name.ICCBased, pdf.make_stream(rgb_profile(curv(512)), {"/N": 3})])
    if pdf_keys == "calibrated":
        space = pikepdf.Array([Name.CalRGB, parameters(WhitePoint=[0.95, 1, 1.09], Gamma=[2, 2, 2])])
    image = pdf.make_stream(RGB.tobytes(), {"/Subtype": Name.Image, **keys(space)})
    page.obj.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(Im0=image))
    page.obj.Contents = pdf.make_stream(PLACE)
    stream = BytesIO()
    pdf.save(stream)
    return stream.getvalue()


@pytest.mark.parametrize("how", ["profile", "calibrated"])
def test_curve_of_the_pdf_is_used(how):
    picture = read(profiled(how))
    assert np.allclose(picture.to_linear[:, 0], (np.arange(256) / 255) ** 2, atol=1e-6)


def test_first_of_many_pages_is_said():
    picture = read(document(PLACE, images=[FLATE], pages=300))
    assert [(finding.code, finding.value) for finding in picture.findings] == [("first-page-only", 300)]


def test_text_beside_the_picture_does_no_harm():
    content = PLACE + b" BT /F1 12 Tf 3 Tr (words) Tj ET 0 0 m 5 5 l S"
    assert np.array_equal(read(document(content, images=[FLATE])).pixels, RGB)


AES = pikepdf.Encryption(owner="o", user="u", R=6)
OWNER_ONLY = pikepdf.Encryption(owner="o", user="", R=6)
REFUSED = {
    "no picture": (lambda: document(b"0 0 m 9 9 l S"), "no picture"),
    "empty page": (lambda: document(b""), "no picture"),
    "two pictures": (lambda: document(PLACE + b" " + PLACE, images=[FLATE]), "2 pictures"),
    "no pages": (lambda: document(pages=0), "no pages|damaged"),
    "password": (lambda: document(PLACE, images=[FLATE], save={"encryption": AES}), "password"),
    "encrypted": (lambda: document(PLACE, images=[FLATE], save={"encryption": OWNER_ONLY}), "encrypted"),
    "inline": (lambda: document(b"q 9 0 0 9 0 0 cm BI /W 2 /H 2 /CS /G /BPC 8 ID abcd EI Q"), "inline"),
    "too large": (lambda: document(PLACE, images=[(b"", keys(size=(30000, 30000)))]), "--max-mpx"),
    "too small": (lambda: document(PLACE, images=[(b"", keys(size=(3, 3)))]), "at least 16"),
    "data short": (lambda: document(PLACE, images=[(RGB.tobytes()[:-1], keys())]), "damaged"),
    "CMYK": (lambda: document(PLACE, images=[(b"x" * 21600, keys(Name.DeviceCMYK))]), "DeviceCMYK"),
    "JPEG 2000": (lambda: document(PLACE, images=[(b"x", keys(Filter=Name.JPXDecode))]), "JPXDecode"),
    "masked": (lambda: document(PLACE, images=[(RGB.tobytes(), keys(Mask=[0, 0, 0, 0, 0, 0]))]), "mask"),
    "missing picture": (lambda: document(b"/Im7 Do", images=[FLATE]), "damaged"),
    "endless forms": (lambda: document(b"/Fm0 Do", forms=[b"/Fm0 Do /Fm0 Do"]), "complex"),
    "many forms": (lambda: document(b"/Fm0 Do " * 3000, forms=[b"0 0 m"]), "complex"),
    # a q takes two bytes here and some 300 in a parser; ISO 32000-1, annex C.2: 28 of them nested at most
    "a million q": (lambda: document(b"q " * 1_000_000, PLACE, images=[FLATE]), "complex"),
    "long form again and again": (lambda: document(b"/Fm0 Do " * 900, forms=[b"0 0 m " * 5000]), "complex"),
    "unpacks to too much": (lambda: document(b" " * 5_000_000), "complex"),
    "damaged table": (lambda: document(PLACE, images=[FLATE]).replace(b"startxref", b"startxxxx"), "damaged"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_refused(case, capfd):
    make, expected = REFUSED[case]
    with pytest.raises(PictureError, match=expected):
        read(make())
    assert capfd.readouterr() == ("", "")
