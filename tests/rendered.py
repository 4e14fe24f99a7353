"""Small pictures for the tests of the numeric modules: exact coverage (tests/truth) put straight into a `Picture`."""

from __future__ import annotations

from functools import cache

import numpy as np

from digitize.records import Density, Picture
from tests.truth.flatbed import Rendered, Scene
from tests.truth.light import linear_light, paint, srgb_codes
from tests.truth.raster import blurred_coverage, coverage

PX_VARIANCE = 1 / 12  # of the square pixel, which the renderer adds to the Gaussian's own


@cache
def srgb_table(size: int = 256, channels: int = 3):
    """Linear light of every code, by IEC 61966-2-1."""
    light = linear_light(np.arange(size) * (255 / (size - 1))).astype(np.float32)
    return np.repeat(light[:, None], channels, axis=1)


def as_picture(pixels, *, dpi=None, name: str = "scan.png") -> Picture:
    """Wrap (H, W, C) codes of 8 or 16 bits as a picture, `dpi` (number or pair) being what the file claims."""
    pixels = np.ascontiguousarray(pixels)
    size = 256 if pixels.dtype == np.uint8 else 65536
    density = None
    if dpi is not None:
        x, y = (float(v) / 25.4 for v in np.broadcast_to(dpi, 2))
        density = Density(x, y, "PNG pHYs")
    return Picture(name, "0" * 64, pixels, srgb_table(size, pixels.shape[2]), density)


def codes_of(light, *, bits: int = 8, noise_codes: float = 0.0, seed: int = 0):
    """Codes of linear light (H, W, C), with noise in 8-bit codes."""
    light = np.asarray(light, np.float32)
    codes = srgb_codes(light).astype(float)
    if noise_codes:
        codes = codes + np.random.default_rng(seed).normal(0, noise_codes, codes.shape)
    top = 2**bits - 1
    return np.clip(np.rint(codes * (top / 255)), 0, top).astype(np.uint8 if bits == 8 else np.uint16)


def drawn(rings_px, shape, *, inside=0.05, outside=0.9, blur_px=0.8, bits=8, noise_codes=0.0, seed=0, channels=3):
    """Picture of one polygon (outer ring, then holes), px, on a plain ground."""
    canvas = np.broadcast_to(np.asarray(outside, np.float32), (*shape, channels)).copy()
    paint(canvas, blurred_coverage(rings_px, shape, blur_px), np.broadcast_to(np.asarray(inside, float), channels))
    return as_picture(codes_of(canvas, bits=bits, noise_codes=noise_codes, seed=seed))


def scanned(scene: Scene, *, dpi=None, name: str = "scan.png") -> tuple[Picture, Rendered]:
    """Picture and truth of a scene."""
    rendered = scene.render()
    return as_picture(rendered.pixels, dpi=dpi, name=name), rendered


def polygon_px(centre, radius: float, count: int, angle_deg: float = 0.0):
    """Regular polygon (N, 2) in px."""
    a = np.radians(angle_deg) + 2 * np.pi * np.arange(count) / count
    return np.asarray(centre, float) + radius * np.stack([np.cos(a), np.sin(a)], 1)


def circle_px(centre, radius: float):
    """Circle as a polygon whose chords stay within 1e-5 px of it."""
    return polygon_px(centre, radius, int(np.ceil(np.pi / np.sqrt(2e-5 / radius))))


def box_px(centre, sides, angle_deg: float = 0.0):
    """Rectangle turned about its centre, (4, 2) px."""
    w, h = np.broadcast_to(np.asarray(sides, float), 2) / 2
    a = np.radians(angle_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    return np.array([(-w, -h), (w, -h), (w, h), (-w, h)]) @ turn + np.asarray(centre, float)


def mask_of(rings_px, shape):
    """(H, W) uint8, 1 where the polygon covers more than half a pixel."""
    patch = coverage(rings_px, shape)
    mask = np.zeros(shape, np.uint8)
    mask[patch.slices] = patch.values > 0.5
    return mask


def traced(rings_px, shape, *, mask=None, picture=None, **look):
    """Trace every border of a drawn polygon: the outer one first, then the holes in order of their places."""
    import cv2

    from digitize.edge.trace import trace_edge

    picture = drawn(rings_px, shape, **look) if picture is None else picture
    mask = mask_of(rings_px, shape) if mask is None else mask
    chains, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    order = sorted(range(len(chains)), key=lambda i: (tree[0][i][3] >= 0, chains[i].min(axis=0).tolist()))
    found = []
    for i in order:
        chain = chains[i][:, 0, :].astype(np.int64)
        found.append(trace_edge(picture, mask, (0, 0), chain, is_hole=bool(tree[0][i][3] >= 0)))
    return found
