"""The frozen data passed between the stages; read this module first.

Frames
------
px : (x, y), x right, y down, (0, 0) is the centre of the top-left pixel of the upright picture.
mm : (x, y), x right, y up. The *plane* frame is whatever the scale maps to (origin arbitrary);
    the *sheet* frame has its origin at the lower-left corner of the box around all items;
    an *item* frame has its origin at the lower-left corner of that item's own box.
Rings are (N, 2) float64 arrays without a repeated last point; in mm an outer ring runs
counter-clockwise and a hole clockwise. All record arrays are read-only.

In: numbers and arrays. Out: records, checked as they are made. May import: sound, steady.
"""

from .arrays import BoolArray, ByteArray, Float32Array, FloatArray, eight_bit, frozen_array, turning
from .curves import Circle, Curve, IdealShape, OpenPath, Path, ShapeKind, Symmetry
from .item import Acts, Calipers, Contribution, FailedItem, Item, LeastSure, Uncertainty
from .picture import CameraTag, Contour, Density, Finding, LeftOut, Picture, ReferenceEdge, Scale, Why
from .pocket import Allowance, Notch, Pocket, Relief, Uncut
from .result import LotFacts, LotSample, Result, ScaleFacts, Usual

__all__ = ["BoolArray", "ByteArray", "Float32Array", "FloatArray", "eight_bit", "frozen_array", "turning"]
__all__ += ["CameraTag", "Contour", "Density", "Finding", "LeftOut", "Picture", "ReferenceEdge", "Scale", "Why"]
__all__ += ["Circle", "Curve", "IdealShape", "OpenPath", "Path", "ShapeKind", "Symmetry"]
__all__ += ["Allowance", "Notch", "Pocket", "Relief", "Uncut"]
__all__ += ["Acts", "Calipers", "Contribution", "FailedItem", "Item", "LeastSure", "Uncertainty"]
__all__ += ["LotFacts", "LotSample", "Result", "ScaleFacts", "Usual"]
