"""The corpus of the coverage-guided fuzzing, gone through again without the fuzzer."""

import time

import pytest

from digitize.errors import PictureError

from .fuzz import guided, targets

KEPT = sorted(path for path in guided.CORPUS.rglob("*") if path.is_file())
CAME = {"headers/exif": "EXIF", "headers/profile": "profile", "reader/png": "read", "recipe/png": "outlined"}


@pytest.mark.parametrize("path", KEPT, ids=[f"{path.parent.name}/{path.name}" for path in KEPT])
def test_nothing_of_the_corpus_is_a_fault(path, tmp_path):
    name = path.parent.name
    watched = guided.Watched(name, targets.TARGETS[name], tmp_path)
    watched(path.read_bytes())
    assert not watched.kinds
    expected = CAME.get(f"{name}/{path.name}")
    assert expected is None or watched.came == {expected: 1}


def refused(_):
    raise PictureError("short")


def untidy(data):
    targets.check_sentence("nan")
    return "read"


def slow(data):
    end = time.process_time() + (0.2 if data == b"late" else 0.0)
    while time.process_time() < end:
        pass
    return "read"


@pytest.mark.parametrize("target", [refused, untidy], ids=["an error let through", "no sentence"])
def test_the_harness_sees_exceptions(target, tmp_path):
    watched = guided.Watched("headers", target, tmp_path)
    watched(b"some")
    watched(b"more")
    assert watched.came == {"fault": 2}
    assert len(watched.kinds) == 1
    assert (tmp_path / "faults" / "headers-1").read_bytes() == b"some"


def test_the_harness_sees_what_is_slow(tmp_path):
    watched = guided.Watched("headers", slow, tmp_path)
    for _ in range(30):
        watched(b"soon")
    watched(b"late")
    assert list(watched.kinds) == ["slow"]


def test_the_harness_sees_memory(tmp_path):
    watched = guided.Watched("headers", lambda _: "read", tmp_path)
    watched.seconds = [0.0] * 30
    watched._judge(b"", 0.0, targets.PLANNED_MB + guided.SPARE_MB + 1)
    assert list(watched.kinds) == ["memory"]


def test_check_sums_are_mended():
    data = (guided.CORPUS / "reader" / "png").read_bytes()
    torn = bytearray(data)
    torn[29] ^= 1  # of the header's sum
    assert targets.mended(bytes(torn)) == data
    assert targets.mended(b"GIF89a") == b"GIF89a"
