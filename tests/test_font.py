"""Glyphs, widths and embedded parts of the fonts, against fontTools; and that what is embedded is drawn."""

import gzip
import io
import random
from importlib import resources

import numpy as np
import pytest
from fontTools.ttLib import TTFont

from digitize.write.font import CAPITAL, FONTS, font

SOME = "Aé€Ωж→½ﬁ鍵あ한ｱ0 "


@pytest.fixture(params=FONTS, scope="module")
def both(request):
    """Our reading of a font and fontTools' of the same bytes."""
    ours = font(request.param)
    whole = TTFont(io.BytesIO(repacked(ours)), lazy=True)
    return ours, whole


def repacked(ours):
    return gzip.decompress(resources.files("digitize").joinpath(f"data/{ours.name}.ttf.gz").read_bytes())


def test_every_letter_has_the_glyph_and_the_width_that_another_library_reads(both):
    ours, whole = both
    letters = whole.getBestCmap()
    assert len(letters) > 5000
    for code in random.Random(7).sample(sorted(letters), 3000):
        glyph = ours.glyph(chr(code))
        assert glyph == whole.getGlyphID(letters[code])
        units, _ = whole["hmtx"][letters[code]]
        assert ours.advance(glyph) == pytest.approx(1000 * units / whole["head"].unitsPerEm)
    for code in (0x10FFFF, 0x0378):  # no letter; not assigned
        assert ours.glyph(chr(code)) == 0


def test_a_part_has_the_same_outlines_under_the_same_numbers_and_no_others(both):
    ours, whole = both
    glyphs = sorted({ours.glyph(letter) for letter in SOME} - {0})
    assert glyphs
    part = TTFont(io.BytesIO(ours.subset(glyphs)), checkChecksums=2)  # 2: a wrong checksum is an error
    names = whole.getGlyphOrder()
    for glyph in glyphs:
        mine, theirs = (one["glyf"][one.getGlyphOrder()[glyph]] for one in (part, whole))
        assert mine.compile(part["glyf"]) == theirs.compile(whole["glyf"]) or mine.isComposite()
        if mine.isComposite():
            parts = [whole.getGlyphID(one.glyphName) for one in theirs.components]
            assert [part.getGlyphID(one.glyphName) for one in mine.components] == parts
            for inner in parts:
                assert part["glyf"][part.getGlyphOrder()[inner]].numberOfContours != 0
    kept = sum(part["glyf"][name].numberOfContours != 0 for name in part.getGlyphOrder())
    assert len(glyphs) - 1 <= kept <= 3 * len(glyphs) + 1  # a blank has no outline; composites bring their parts
    assert len(part.getGlyphOrder()) == len(names)


def test_capitals_are_as_high_as_is_counted_on():
    whole = TTFont(io.BytesIO(repacked(font(FONTS[0]))))
    assert whole["glyf"]["H"].yMax / whole["head"].unitsPerEm == pytest.approx(CAPITAL, abs=1e-6)
    heights = np.array([whole["glyf"][letter].yMax for letter in "EFHIKLMNTXZ"])
    assert np.ptp(heights) == 0
