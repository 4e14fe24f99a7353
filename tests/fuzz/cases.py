"""Mutated pictures, one a number: the bytes of a file and the options to outline it with."""

import functools
from io import BytesIO

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from tests.picture_files import exif, exif_segment, jpeg, png
from tests.truth import zoo
from tests.truth.flatbed import Scene
from tests.truth.shapes import Shape, rectangle

DPI = 90.0
SQUARE = 16.0


def _flat(shapes, lid=0.85, ink=0.03, item=0.12, turn=9.0, seed=0):
    scene = Scene(80, 58, dpi_x=DPI, background=(lid,) * 3, seed=seed)
    if lid < 0.5:
        scene.add_paper(SQUARE + 7, SQUARE + 7, (14, 28), turn, 0.88)
    scene.add_square(SQUARE, (14, 28), turn, ink)
    for shape, place, angle in shapes:
        scene.add_item(shape, place, angle, (item, item * 0.9, item * 0.8))
    return scene.render().pixels


def _card(kind, dpi, item):
    """Our own card, by another renderer, with an item drawn on it."""
    import pypdfium2

    from digitize.card.kinds import card_layout
    from digitize.write.card.pdf import card_pdf

    layout = card_layout(kind, "a4")
    with pypdfium2.PdfDocument(card_pdf(layout)) as document:
        page = document[0].render(scale=dpi / 72).to_pil().convert("RGB")
    ImageDraw.Draw(page).polygon([(x * page.width, y * page.height) for x, y in item], fill=(40, 60, 90))
    return np.asarray(page.filter(ImageFilter.GaussianBlur(0.7)))


@functools.cache
def base_pixels():
    """Small pictures that are outlined as they are, (H, W, 3) uint8."""
    tag, star = zoo.BLANKS["key-fob"](), zoo.BLANKS["star"]()
    bar = Shape(rectangle(14, 5))
    return (
        _flat([(tag, (52, 29), 20)]),
        _flat([(bar, (38, 14), 10), (bar, (60, 30), 80)], seed=1),
        _flat([(star, (52, 29), 5)], item=0.45, seed=2),
        _flat([(Shape(rectangle(20, 12)), (52, 29), 40)], lid=0.04, item=0.6, seed=3),
        _card("mat", 55, [(0.42, 0.45), (0.6, 0.47), (0.55, 0.6), (0.44, 0.57)]),
        _card("single", 60, [(0.05, 0.1), (0.2, 0.08), (0.22, 0.2), (0.08, 0.22)])[:260, :300],
    )


SHARES = (0.24, 0.24, 0.24, 0.22, 0.01, 0.05)  # a mat takes ten times as long as the others

FORMS = ("PNG", "JPEG", "TIFF", "BMP", "WEBP", "GIF", "PDF", "AVIF", "JPEG camera", "TIFF lzw", "PNG 16", "PNG grey")


def encoded(pixels, form):
    """The bytes of a file of the given form."""
    if form == "JPEG camera":
        details = {0x920A: (5, [(4250, 1000)]), 0xA405: (3, [26])}
        block = exif({0x10F: (2, b"Lantern Row\0"), 0x110: (2, b"Box 1\0")}, details)
        return jpeg(pixels, exif_segment(block))
    image = Image.fromarray(pixels)
    options = {"dpi": (DPI, DPI)} if form in ("PNG", "JPEG", "TIFF", "BMP") else {}
    if form == "TIFF lzw":
        form, options = "TIFF", {"compression": "tiff_lzw"}
    if form == "PNG 16":
        return png(pixels.astype(np.uint16) * 257)
    if form == "PNG grey":
        form, image = "PNG", image.convert("L")
    stream = BytesIO()
    image.save(stream, form, **options)
    return stream.getvalue()


@functools.cache
def _encoded_base(which, form):
    return encoded(base_pixels()[which], form)


def case(number, seed=0):
    """Return (bytes, options of `digitize.settings.Settings`, what was done) of the case `number`."""
    rng = np.random.default_rng([seed, number])
    which = int(rng.choice(len(base_pixels()), p=SHARES))
    form = FORMS[rng.integers(len(FORMS))]
    steps = []
    if rng.random() < 0.7:
        data = bytes(_torn(bytearray(_encoded_base(which, form)), rng, steps))
    else:
        pixels = base_pixels()[which]
        for _ in range(rng.integers(1, 4)):
            change = CHANGES[rng.integers(len(CHANGES))]
            pixels = np.ascontiguousarray(change(pixels, rng))
            steps.append(change.__name__)
        if min(pixels.shape[:2]) < 1:
            pixels = base_pixels()[which]
        data = encoded(pixels, form)
    return data, _options(rng), f"{form} of {which}: {', '.join(steps)}"


def _options(rng):
    """Mostly what suits the picture, sometimes anything a user may give."""
    options = {"square_mm": (SQUARE, SQUARE), "tolerance_mm": 0.02 if rng.random() < 0.1 else 0.2}
    if rng.random() < 0.3:
        draw = rng.random
        options |= [
            {"square_mm": None, "dpi": (DPI, DPI)},
            {"square_at_px": (draw() * 250, draw() * 150)},
            {"item_at_px": (draw() * 250, draw() * 150)},
            {"background": ["light", "dark", "#808080", "#d0c0b0"][rng.integers(4)]},
            {"dust_mm": draw() * 30},
            {"tolerance_mm": 10 ** rng.uniform(-3, 0)},
            {"clearance_mm": rng.uniform(-5, 20), "kerf_mm": rng.uniform(0, 5)},
            {"clearance_mm": rng.uniform(-1, 1), "cut_holes": True},
            {"taken_with": "camera", "item_height_mm": draw() * 5},
            {"taken_with": "camera", "edge_height_mm": draw() * 5},
            {"taken_with": "flatbed"},
            {"measured_mm": (54.0, 54.0), "square_mm": None},
        ][rng.integers(12)]
    return options


# bytes


def _torn(data, rng, steps):
    for _ in range(rng.integers(1, 4)):
        tear = TEARS[rng.integers(len(TEARS))]
        steps.append(tear.__name__)
        data = tear(data, rng)
        if not data:
            break
    return data


def flip_bits(data, rng):
    for place in rng.integers(0, len(data), rng.integers(1, 9)):
        data[place] ^= 1 << rng.integers(8)
    return data


def change_head(data, rng):
    for place in rng.integers(0, min(len(data), 160), rng.integers(1, 5)):
        data[place] = rng.choice([0, 1, 0x7F, 0x80, 0xFF, rng.integers(256)])
    return data


def cut_off(data, rng):
    return data[: rng.integers(0, len(data))]


def cut_out(data, rng):
    a, b = sorted(rng.integers(0, len(data), 2))
    return data[:a] + data[b:]


def double(data, rng):
    a, b = sorted(rng.integers(0, len(data), 2))
    return data[:b] + data[a:]


def append(data, rng):
    return data + rng.bytes(rng.integers(1, 2000))


def change_number(data, rng):
    place = int(rng.integers(0, max(1, len(data) - 4)))
    value = int(rng.choice([0, 1, 2**31 - 1, 2**31, 2**32 - 1, 65535, len(data)]))
    data[place : place + 4] = value.to_bytes(4, "big" if rng.random() < 0.5 else "little")
    return data


TEARS = (flip_bits, change_head, cut_off, cut_out, double, append, change_number)


# pixels


def crop(pixels, rng):
    h, w = pixels.shape[:2]
    y, x = rng.integers(0, h // 2), rng.integers(0, w // 2)
    return pixels[y : y + rng.integers(20, max(21, h)), x : x + rng.integers(20, max(21, w))]


def turn(pixels, rng):
    return np.rot90(pixels, rng.integers(1, 4))


def flip(pixels, rng):
    return pixels[:, ::-1]


def invert(pixels, rng):
    return 255 - pixels


def fade(pixels, rng):
    return (128 + (pixels.astype(float) - 128) * rng.uniform(0, 0.3)).astype(np.uint8)


def noisy(pixels, rng):
    return np.clip(pixels + rng.normal(0, rng.uniform(1, 80), pixels.shape), 0, 255).astype(np.uint8)


def specks(pixels, rng):
    out = pixels.copy()
    out[rng.random(out.shape[:2]) < rng.uniform(0, 0.2)] = rng.integers(0, 256, 3)
    return out


def patch(pixels, rng):
    out = pixels.copy()
    h, w = out.shape[:2]
    (y0, y1), (x0, x1) = sorted(rng.integers(0, h + 1, 2)), sorted(rng.integers(0, w + 1, 2))
    out[y0:y1, x0:x1] = rng.integers(0, 256, 3)
    return out


def stripes(pixels, rng):
    out = pixels.copy()
    out[:: rng.integers(2, 20)] = rng.integers(0, 256, 3)
    return out


def squares(pixels, rng):
    out = pixels.copy()
    for _ in range(rng.integers(1, 30)):
        side = rng.integers(3, 50)
        y, x = rng.integers(0, out.shape[0]), rng.integers(0, out.shape[1])
        out[y : y + side, x : x + side] = rng.integers(0, 256, 3)
    return out


def smear(pixels, rng):
    kernel = rng.integers(2, 25)
    summed = np.cumsum(np.pad(pixels.astype(np.int64), ((0, 0), (kernel, 0), (0, 0)), mode="edge"), axis=1)
    return ((summed[:, kernel:] - summed[:, :-kernel]) // kernel).astype(np.uint8)


def coarse(pixels, rng):
    step = rng.integers(2, 8)
    return pixels[::step, ::step]


def large(pixels, rng):
    times = rng.uniform(1.2, 3)
    size = round(pixels.shape[1] * times), round(pixels.shape[0] * times)
    return np.asarray(Image.fromarray(pixels).resize(size, Image.Resampling.BICUBIC))


def sheer(pixels, rng):
    image = Image.fromarray(pixels)
    shift = rng.uniform(-0.4, 0.4, 2)
    tilt = rng.uniform(-1.5e-3, 1.5e-3, 2)
    data = (1, shift[0], 0, shift[1], 1, 0, tilt[0], tilt[1])
    grey = tuple(int(v) for v in np.median(pixels.reshape(-1, 3), axis=0))
    return np.asarray(
        image.transform(image.size, Image.Transform.PERSPECTIVE, data, Image.Resampling.BICUBIC, fillcolor=grey)
    )


def plain(pixels, rng):
    return np.full_like(pixels, rng.integers(0, 256))


def tile(pixels, rng):
    return np.concatenate([pixels, pixels[:, ::-1]], axis=rng.integers(2))


def few_codes(pixels, rng):
    step = rng.integers(8, 128)
    return (pixels // step * step).astype(np.uint8)


def one_channel(pixels, rng):
    out = pixels.copy()
    out[..., rng.integers(3)] = rng.integers(0, 256)
    return out


CHANGES = (
    crop, turn, flip, invert, fade, noisy, specks, patch, stripes, squares, smear, coarse, large, sheer, plain, tile,
    few_codes, one_channel,
)  # fmt: skip
