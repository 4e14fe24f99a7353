"""Real pictures with something known of them, and where they come from: none is part of the clone.

Where each lies: the open data folder (``DIGITIZE_DATA``), the package scikit-image, Debian's package opencv-doc
(``/usr/share/doc/opencv-doc/examples/data``, or the folder named by ``OPENCV_SAMPLES``). What is not there is left
out, and said. Places of things were read off the pictures by eye, in px of the picture as it stands.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np


@dataclass(frozen=True)
class Known:
    """A picture and what is known of it."""

    name: str
    source: str
    licence: str
    dpi: float
    places_px: tuple[tuple[float, float], ...]  # one within each whole thing that stands alone
    areas_cm2: tuple[float, ...] = ()  # in the order of the places; empty where none are published
    close: float = 0.01  # share by which an area may differ from the published one
    either_px: tuple[tuple[float, float], ...] = ()  # things that may be found or not
    must_be_said: str = ""  # what no outline is possible of, e.g. things cut by the border
    note: str = ""

    def pixels(self):
        """Return (H, W, 3) uint8, or None where the picture is not there."""
        path = self.path()
        if path is None:
            return _of_skimage(self.name) if self.source == "scikit-image" else None
        from PIL import Image, ImageOps

        return np.asarray(ImageOps.exif_transpose(Image.open(path)).convert("RGB"))

    def path(self) -> Path | None:
        """Return the file, or None where there is none."""
        folder = {"data": data_folder(), "opencv-doc": opencv_folder()}.get(self.source)
        path = None if folder is None else folder / self.name
        return path if path is not None and path.exists() else None


def data_folder() -> Path:
    """Return the open data folder: $DIGITIZE_DATA, or shared/data beside the clone."""
    given = os.environ.get("DIGITIZE_DATA")
    return Path(given) if given else Path(__file__).resolve().parents[3] / "shared" / "data"


def opencv_folder() -> Path:
    return Path(os.environ.get("OPENCV_SAMPLES", "/usr/share/doc/opencv-doc/examples/data"))


def _of_skimage(name: str):
    try:
        from skimage import data
    except ImportError:
        return None
    grey = np.asarray(getattr(data, name)())
    grey = grey.astype(np.uint8) * 255 if grey.dtype == bool else grey
    return np.repeat(grey[..., None], 3, axis=2) if grey.ndim == 2 else grey


LEAVES = "mattocci27/LeafArea, GPL-2; areas as its author measured on the same pixels"
SAMPLES = "OpenCV samples, Apache-2.0 and BSD-3-Clause"
COINS = "scikit-image, BSD-3-Clause; Greek coins, no known copyright restrictions (Brooklyn Museum)"
PICTURES = (
    Known(
        "citrus_1.jpg", "data", "esuarez-12/Leaf-Area-Analyzer, MIT", 300,
        ((540, 1250), (1600, 1300), (420, 2800), (1170, 2800), (2040, 2800)), note="five leaves, one curls",
    ),
    Known("A1-01.jpeg", "data", LEAVES, 100, ((560, 450), (160, 500)), (116.799, 124.069)),
    Known("A1-02.jpeg", "data", LEAVES, 100, ((340, 600),), (109.472,)),
    Known(
        "A2.jpeg", "data", LEAVES, 100, ((109, 454), (297, 454), (511, 454), (720, 502)),
        (41.427, 43.328, 44.875, 47.558), close=0.015, note="areas counted by a level of codes",
    ),
    Known(
        "coins", "scikit-image", COINS, 50,
        (
            (44, 54), (100, 56), (155, 51), (215, 51), (276, 52), (335, 43),
            (45, 124), (103, 126), (153, 127), (206, 124), (270, 119), (336, 125),
            (44, 197), (102, 196), (154, 198), (212, 193), (274, 194), (347, 187),
            (46, 260), (114, 265), (172, 262), (244, 264), (301, 263), (358, 268),
        ),
    ),
    Known("horse", "scikit-image", "scikit-image, BSD-3-Clause; the silhouette CC0", 60, ((254, 136),)),
    Known(
        "stuff.jpg", "opencv-doc", SAMPLES, 43, ((228, 58), (200, 172), (395, 185), (209, 307), (336, 405)),
        note="five things on a table, 640 x 480",
    ),
    Known(
        "smarties.png", "opencv-doc", SAMPLES, 60,
        ((377, 81), (269, 118), (206, 212), (288, 214), (348, 238), (34, 229), (99, 260), (152, 272), (220, 306),
         (294, 321)),
        either_px=((135, 327),), must_be_said="three are cut by the border",
    ),
    Known(
        "pca_test1.jpg", "opencv-doc", SAMPLES, 60,
        ((188, 200), (350, 102), (350, 170), (350, 240), (350, 325), (350, 410)),
        either_px=((722, 200), (722, 257), (722, 340)), note="six blanks on a light table with a dark frame",
    ),
    Known(
        "pic1.png", "opencv-doc", SAMPLES, 60,
        ((204, 102), (311, 100), (54, 218), (175, 225), (308, 235)), either_px=((118, 142), (107, 180)), note="drawn",
    ),
    Known(
        "pic3.png", "opencv-doc", SAMPLES, 60, ((65, 41), (256, 137), (341, 177)), either_px=((88, 250),), note="drawn",
    ),
)  # fmt: skip
