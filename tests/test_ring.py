"""Recognition of coded rings, on the cards' PDF as rendered by pypdfium2 and turned, tilted, dimmed and blurred.

Truth: the projective map that the picture was warped with, applied to the corners of the card's geometry.
"""

from __future__ import annotations

import cv2
import numpy as np
import pypdfium2
import pytest

from digitize.card.kinds import CardLayout, card_layout
from digitize.card.parts import square_corners
from digitize.reference.codes import SeenCode, expected_ring_corners, find_codes
from digitize.write.card.pdf import card_pdf
from tests.sweeps import sweep

SINGLE, MAT = card_layout("single", "a4"), card_layout("mat", "letter")


def rendered(layout: CardLayout, dpi: float) -> np.ndarray:
    """(H, W) uint8 grey."""
    page = pypdfium2.PdfDocument(card_pdf(layout))[0]
    return page.render(scale=dpi / 72, grayscale=True).to_numpy().squeeze()


@pytest.fixture(scope="module")
def sheets() -> dict[str, np.ndarray]:
    """Both cards at 300 dpi."""
    return {layout.kind: rendered(layout, 300) for layout in (SINGLE, MAT)}


def card_to_px(layout: CardLayout, dpi: float = 300) -> np.ndarray:
    """3 x 3 from mm, y up, to px with (0, 0) in the middle of the first pixel."""
    k = dpi / 25.4
    return np.array([[k, 0, -0.5], [0, -k, layout.height_mm * k - 0.5], [0, 0, 1]])


def turn(shape: tuple[int, ...], degrees: float, scale: float) -> tuple[np.ndarray, tuple[int, int]]:
    """3 x 3 that turns a sheet about its middle and scales it, and the picture's size that holds it."""
    height, width = shape
    size = int(np.hypot(width, height) * scale) + 4
    matrix = np.vstack([cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), degrees, scale), [0, 0, 1]])
    matrix[0, 2] += size / 2 - width / 2
    matrix[1, 2] += size / 2 - height / 2
    return matrix, (size, size)


def tilt(shape: tuple[int, ...], size: tuple[int, int]) -> np.ndarray:
    """3 x 3 of a camera looking at the sheet from one side."""
    h, w = shape
    width, height = size
    there = [
        (0.12 * width, 0.06 * height),
        (0.88 * width, 0.02 * height),
        (width, 0.98 * height),
        (0.03 * width, 0.92 * height),
    ]
    return cv2.getPerspectiveTransform(np.float32([(0, 0), (w, 0), (w, h), (0, h)]), np.float32(there))


def warped(sheet: np.ndarray, matrix: np.ndarray, size: tuple[int, int], scale: float) -> np.ndarray:
    """Sheet through a map, blurred first so that reducing does not alias, with a little noise."""
    soft = cv2.GaussianBlur(sheet, (0, 0), 0.6 / scale)
    picture = cv2.warpPerspective(soft, matrix, size, flags=cv2.INTER_LINEAR, borderValue=180).astype(float)
    noise = np.random.default_rng(7).normal(0, 2, picture.shape)
    return np.clip(0.75 * picture + 30 + noise, 0, 255).astype(np.uint8)


def worst_corner(seen: SeenCode, layout: CardLayout, to_px: np.ndarray) -> float:
    """Largest distance of predicted to true corners, px, outer and inner."""
    ring = layout.ring(seen.code)
    worst = 0.0
    for found, corners in zip(
        expected_ring_corners(seen, ring), (ring.outer_corners_mm, ring.inner_corners_mm), strict=True
    ):
        true = cv2.perspectiveTransform(corners[None].copy(), to_px)[0]
        worst = max(worst, float(np.hypot(*(found - true).T).max()))
    return worst


@sweep("degrees", [0, 10, 45, 90, 137, 180, 271.3], (0, 45, 271.3))
@pytest.mark.parametrize("layout", [SINGLE, MAT], ids=["single", "mat"])
def test_turned_cards_are_recognised(sheets: dict[str, np.ndarray], layout: CardLayout, degrees: float) -> None:
    sheet = sheets[layout.kind]
    matrix, size = turn(sheet.shape, degrees, 0.4)
    seen = find_codes(warped(sheet, matrix, size, 0.4))
    assert sorted(s.code for s in seen) == sorted(layout.codes)
    assert max(worst_corner(s, layout, matrix @ card_to_px(layout)) for s in seen) < 1.5


@pytest.mark.parametrize("layout", [SINGLE, MAT], ids=["single", "mat"])
@pytest.mark.parametrize("size", [(850, 1200), (620, 880)])
def test_tilted_cards_are_recognised(sheets: dict[str, np.ndarray], layout: CardLayout, size: tuple[int, int]) -> None:
    sheet = sheets[layout.kind]
    matrix = tilt(sheet.shape, size)
    seen = find_codes(warped(sheet, matrix, size, size[0] / sheet.shape[1]))
    assert sorted(s.code for s in seen) == sorted(layout.codes)
    assert max(worst_corner(s, layout, matrix @ card_to_px(layout)) for s in seen) < 1.5


@pytest.mark.parametrize("layout", [SINGLE, MAT], ids=["single", "mat"])
def test_full_rendering_is_recognised(sheets: dict[str, np.ndarray], layout: CardLayout) -> None:
    seen = find_codes(sheets[layout.kind])
    assert sorted(s.code for s in seen) == sorted(layout.codes)
    assert max(worst_corner(s, layout, card_to_px(layout)) for s in seen) < 1.5


def test_cells_of_4_px_are_enough(sheets: dict[str, np.ndarray]) -> None:
    scale = 4.0 / (MAT.rings[0].marker_mm / 6 * 300 / 25.4)
    matrix, size = turn(sheets["mat"].shape, 17, scale)
    seen = find_codes(warped(sheets["mat"], matrix, size, scale))
    assert sorted(s.code for s in seen) == sorted(MAT.codes)


@pytest.mark.parametrize(("contrast", "dark"), [(0.15, 8), (0.15, 205), (0.12, 110), (1.0, 0)])
def test_dark_bright_and_flat_pictures(sheets: dict[str, np.ndarray], contrast: float, dark: float) -> None:
    matrix, size = turn(sheets["mat"].shape, 3, 0.4)
    picture = warped(sheets["mat"], matrix, size, 0.4).astype(float)
    seen = find_codes(np.clip(contrast * picture + dark, 0, 255).astype(np.uint8))
    assert sorted(s.code for s in seen) == sorted(MAT.codes)


def test_light_falling_off_across_the_sheet(sheets: dict[str, np.ndarray]) -> None:
    matrix, size = turn(sheets["mat"].shape, 0, 0.4)
    picture = warped(sheets["mat"], matrix, size, 0.4).astype(float)
    light = np.linspace(0.2, 1.0, size[0])[None, :]
    assert len(find_codes((picture * light).astype(np.uint8))) == len(MAT.codes)


@pytest.mark.parametrize("kind", ["single", "mat"])
def test_inverted_and_mirrored_prints_are_rejected(sheets: dict[str, np.ndarray], kind: str) -> None:
    picture = cv2.resize(sheets[kind], None, fx=0.4, fy=0.4, interpolation=cv2.INTER_AREA)
    assert len(find_codes(picture)) > 0
    assert find_codes(255 - picture) == ()
    assert find_codes(picture[:, ::-1]) == ()


def test_codes_of_no_card_are_left_out() -> None:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    picture = np.full((300, 300), 255, np.uint8)
    picture[100:196, 100:196] = cv2.aruco.generateImageMarker(dictionary, 17, 96)
    assert find_codes(picture) == ()
    picture[100:196, 100:196] = cv2.aruco.generateImageMarker(dictionary, 18, 96)
    assert [s.code for s in find_codes(picture)] == [18]


def test_nothing_is_seen_in_noise_and_blank_pictures() -> None:
    rng = np.random.default_rng(3)
    assert find_codes(np.full((400, 500), 255, np.uint8)) == ()
    assert find_codes(np.zeros((1, 1), np.uint8)) == ()
    for blur in (0.8, 2.0, 5.0):
        texture = cv2.GaussianBlur(rng.normal(0, 1, (600, 800)), (0, 0), blur)
        assert find_codes(np.clip(texture / texture.std() * 60 + 120, 0, 255).astype(np.uint8)) == ()
    blocks = np.kron(rng.integers(0, 2, (60, 80)), np.ones((10, 10))) * 255
    assert find_codes(blocks.astype(np.uint8)) == ()


def test_expected_corners_of_a_known_map() -> None:
    """A marker placed by a made-up projective map; corners by the same map, exactly."""
    ring = MAT.rings[3]
    matrix = np.array([[4.0, 1.2, 30.0], [-0.9, -3.8, 900.0], [1e-4, -3e-4, 1.0]])
    seen = SeenCode(
        ring.code, cv2.perspectiveTransform(square_corners(ring.centre_mm, ring.marker_mm)[None], matrix)[0]
    )
    outer, inner = expected_ring_corners(seen, ring)
    assert outer == pytest.approx(cv2.perspectiveTransform(ring.outer_corners_mm[None].copy(), matrix)[0], abs=1e-3)
    assert inner == pytest.approx(cv2.perspectiveTransform(ring.inner_corners_mm[None].copy(), matrix)[0], abs=1e-3)
