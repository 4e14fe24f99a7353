"""The contact page: self-contained, harmless whatever the names, its outlines where the items are."""

import base64
import hashlib
import json
import re
from html.parser import HTMLParser
from importlib import resources
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

import digitize
from digitize.write.contact import AT_ONCE, Entry, Line, Word, contact_html
from digitize.write.preview.thumb import SIDE_PX, thumbnail

from .batch_scans import scan

LINE = Line(
    name="a-1",
    length_mm=30.0,
    width_mm=20.0,
    area_mm2=500.0,
    holes=0,
    outline_k2_mm=0.02,
    length_k2_mm=0.04,
    rings=((1.0, 2.0, 3.5, 4.0, 5.0, 1.0),),
)


def entry(name="a.png", **more):
    return Entry(**{"name": name, "reference": "plain square", "done": True, "lines": (LINE,)} | more)


class Page(HTMLParser):
    """Every element with its attributes, and the texts."""

    def __init__(self, data):
        super().__init__()
        self.elements, self.texts, self.open = [], [], []
        self.feed(data.decode("utf-8"))

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in ("meta", "img", "input", "path"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        if tag not in ("path",):
            assert self.open.pop() == tag

    def handle_data(self, data):
        self.texts.append(data)

    def all(self, tag):
        return [attributes for name, attributes in self.elements if name == tag]


NASTY = "<img src=x onerror=alert(1)> \"&' \u202e </script>"


def test_every_element_is_closed_and_nothing_comes_from_outside():
    links = (("DXF", "sub/a b.dxf"), ("picture", "../in/x:y?#.png"), ("outline", "s3://shelf/out/a.json"))
    words = (Word(code="edge-unclear", where="a-1", message="Look.", next_step="Scan again."),)
    page = Page(contact_html([entry(jpeg=b"jpeg", width=4, height=3, links=links, words=words), entry(done=False)]))
    assert page.open == []
    for _, attributes in page.elements:
        for name, value in attributes.items():
            assert not name.startswith("on")
            assert name not in ("src",) or value.startswith("data:")
    assert [a["href"] for a in page.all("a")] == ["sub/a%20b.dxf", "../in/x%3Ay%3F%23.png", "s3://shelf/out/a.json"]
    assert not page.all("link")
    assert all(image["alt"] for image in page.all("img"))


def test_names_are_text_and_nothing_else():
    words = (Word(code="no-scale", where=NASTY, message=NASTY, next_step=NASTY),)
    page = Page(contact_html([entry(NASTY, words=words, reference=NASTY, lines=())]))
    assert "".join(page.texts).count(NASTY) == 4
    assert [script for script in page.all("script") if script.get("type") != "application/json"] == [{}]
    assert not page.all("img")


def test_policy_allows_only_what_the_page_holds():
    data = contact_html([entry()]).decode()
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', data)[1]
    for tag in ("style", "script"):
        content = re.search(rf"<{tag}>(.*?)</{tag}>", data, re.DOTALL)[1]
        digest = base64.b64encode(hashlib.sha256(content.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy


def test_filters_count_what_they_show():
    look = Word(code="edge-unclear", where="a-1", message="Look.")
    remark = Word(code="colours-converted", where="a", message="So it is.", attention=False)
    entries = [entry(), entry(words=(look,)), entry(words=(look, remark)), entry(done=False, words=(look,), lines=())]
    page = Page(contact_html(entries, left_out=7))
    buttons = [button["value"] for button in page.all("button") if "value" in button]
    assert buttons == ["all", "needs-a-person", "no-result", "fine", "edge-unclear"]
    rows = [row["data-codes"].split() for row in page.all("li") if "data-codes" in row]
    counts = dict(zip(buttons, re.findall(r"<span>(\d+)</span>", contact_html(entries).decode()), strict=True))
    assert counts["all"] == str(len(rows)) == "4"
    for code in buttons[1:]:
        assert counts[code] == str(sum(code in codes for codes in rows))
    assert "7 more" in "".join(page.texts)


def test_rows_beyond_the_first_lie_in_the_page_as_text():
    data = contact_html([entry(f"{number:03d} {NASTY}", lines=()) for number in range(150)]).decode()
    index, *parcels = [json.loads(text) for text in re.findall(r'<script type="application/json">(.*?)</script>', data)]
    assert [row["data-rank"] for row in Page(data.encode()).all("li")] == [str(rank) for rank in range(AT_ONCE)]
    assert [rank for *_, rank in index] == list(range(AT_ONCE, 150))
    assert [len(parcel) for parcel in parcels] == [60, 30]
    for (codes, name, size, doubt, rank), html in zip(
        index, [html for parcel in parcels for html in parcel], strict=True
    ):
        row = Page(html.encode())
        (told,) = row.all("li")
        assert (codes, name, str(rank)) == (told["data-codes"], told["data-name"], told["data-rank"])
        assert (size, doubt) == (float(told["data-size"]), float(told["data-doubt"]))
        assert row.texts[1] == f"{rank:03d} {NASTY}"
        assert not row.all("script")


def test_the_script_counts_as_many_rows_as_the_page():
    script = (resources.files("digitize") / "data" / "contact.js").read_text()
    assert int(re.search(r"AT_ONCE = (\d+);", script)[1]) == AT_ONCE


def test_same_entries_same_bytes():
    assert contact_html([entry()]) == contact_html([entry()])


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    path = tmp_path_factory.mktemp("thumb") / "tag.png"
    path.write_bytes(scan(1))
    return digitize.outline(path, square_mm=25)


def test_thumbnail_shows_the_picture_and_its_outline(found):
    small = thumbnail(found.picture, found.result, found.scale)
    image = np.asarray(Image.open(BytesIO(small.jpeg)).convert("RGB")).astype(int)
    assert image.shape == (small.height, small.width, 3)
    assert max(small.width, small.height) == SIDE_PX
    expected = np.asarray(
        Image.fromarray(found.picture.pixels).resize((small.width, small.height), Image.Resampling.BOX)
    )
    assert np.abs(image - expected).mean() < 2
    ring = np.array(small.rings[0][0]).reshape(-1, 2)
    contour = found.items[0].contours[0].points_px
    scale = small.width / found.picture.width_px
    assert ring.min(axis=0) == pytest.approx((contour.min(axis=0) + 0.5) * scale, abs=0.8)
    assert ring.max(axis=0) == pytest.approx((contour.max(axis=0) + 0.5) * scale, abs=0.8)
    # dark inside the outline, light outside it
    x, y = (ring.min(axis=0) + ring.max(axis=0)) / 2
    assert image[round(y), round(x)].mean() < 120 < image[2, 2].mean()


def test_thumbnail_of_grey_deep_and_tiny_pictures(found):
    from .rendered import as_picture

    for pixels in (
        np.full((40, 30, 1), 200, np.uint8),
        np.full((900, 20, 3), 51400, np.uint16),
        np.full((16, 5000, 1), 51400, np.uint16),
    ):
        small = thumbnail(as_picture(pixels))
        image = np.asarray(Image.open(BytesIO(small.jpeg)).convert("L"))
        assert image.shape == (small.height, small.width)
        assert abs(int(image.mean()) - 200) <= 2
        assert small.rings == ()
