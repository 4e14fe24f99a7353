"""OpenCV's import: what is said when it fails."""

import subprocess
import sys

import numpy as np
import pytest

from digitize.errors import DigitizeError
from digitize.opencv import OpenCVError, cv


class _Failing:
    """A finder that raises `error` when cv2 is imported."""

    def __init__(self, error):
        self.error = error

    def find_spec(self, name, path=None, target=None):
        if name == "cv2":
            raise self.error


def _failing_import(monkeypatch, error):
    cv.cache_clear()
    monkeypatch.delitem(sys.modules, "cv2", raising=False)
    monkeypatch.setattr(sys, "meta_path", [_Failing(error), *sys.meta_path])


def test_gives_opencv():
    white = np.full((2, 3, 3), 255, np.uint8)
    assert np.array_equal(cv().cvtColor(white, cv().COLOR_BGR2GRAY), np.full((2, 3), 255))


@pytest.mark.parametrize("library", ["libGL.so.1", "libgthread-2.0.so.0", "libxcb.so.1"])
def test_missing_system_library_names_the_packages(monkeypatch, library):
    # the wording of the dynamic loader (glibc, dlerror)
    text = f"{library}: cannot open shared object file: No such file or directory"
    _failing_import(monkeypatch, ImportError(text))
    with pytest.raises(OpenCVError) as caught:
        cv()
    message = str(caught.value)
    assert isinstance(caught.value, DigitizeError)
    assert library in message
    for package in ("libgl1", "libglib2.0-0", "libxcb1"):
        assert package in message


def test_missing_package_says_how_to_install(monkeypatch):
    _failing_import(monkeypatch, ModuleNotFoundError("No module named 'cv2'", name="cv2"))
    with pytest.raises(OpenCVError, match="pip install opencv-python"):
        cv()


def test_importing_the_wrapper_does_not_import_opencv():
    code = "import sys, digitize.opencv; sys.exit('cv2' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
