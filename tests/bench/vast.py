"""The largest radius in the drawings of all shapes of `tests/truth/zoo.py`, asked for in the ways of test_vast.py.

python -m tests.bench.vast
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from digitize.recipe.outline import outline_picture
from tests.test_samples import settings
from tests.test_vast import ASKED, LARGEST_MM, laid, radii
from tests.truth import zoo

EACH = 7  # shapes of a scan


def main() -> int:
    names, worst = sorted({**zoo.BLANKS, **zoo.PUBLISHED}.keys() - {"phone-case"}), 0.0  # that is samples/case.jpg
    with tempfile.TemporaryDirectory() as folder:
        for number, first in enumerate(range(0, len(names), EACH)):
            some = names[first : first + EACH]
            read, options = laid(some, number, Path(folder) / "scan.png")
            for asked, words in ASKED.items():
                most = max(radii(outline_picture(read, settings(options, words)).result))
                worst = max(worst, most)
                print(f"{most:8.1f} mm  {asked}: {', '.join(some)}", flush=True)
    print(f"the largest {worst:.1f} mm; target {LARGEST_MM:g} mm")
    return 1 if worst > LARGEST_MM else 0


if __name__ == "__main__":
    sys.exit(main())
