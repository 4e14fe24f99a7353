"""Faults in the page's server."""

from __future__ import annotations

from .kind import Fault

_GUARD = "digitize/review/guard.py"
FAULTS = (
    Fault(
        "review-host-not-checked",
        _GUARD,
        'if told.get("host") != [self._authority]:',
        "if False:",
        ("tests/test_review.py",),
    ),
    Fault(
        "review-no-origin-will-do",
        _GUARD,
        "if origin != [self._origin] and (origin is not None or method not in READING):",
        "if origin not in ([self._origin], None):",
        ("tests/test_review.py",),
    ),
    Fault("review-address-opens-again", _GUARD, "        self.once = None\n", "", ("tests/test_review.py",)),
    Fault(
        "review-any-cookie",
        _GUARD,
        "if name == self._name and self._keys.fits(value):",
        "if name == self._name:",
        ("tests/test_review.py",),
    ),
    Fault(
        "review-upload-unbounded",
        "digitize/review/shelf.py",
        "self._refuse(name, size)",
        "pass",
        ("tests/test_review.py",),
    ),
    Fault(
        "review-half-an-upload-stays",
        "digitize/review/shelf.py",
        "            shutil.rmtree(folder, ignore_errors=True)\n            raise",
        "            raise",
        ("tests/test_review.py",),
    ),
    Fault(
        "review-takes-files-of-the-machine",
        "digitize/review/form.py",
        "if key not in OFFERED:",
        "if key not in declared(Settings):",
        ("tests/test_review.py",),
    ),
    Fault(
        "review-zip-lacks-a-file",
        "digitize/review/bundle.py",
        "for name, data in files.items():",
        "for name, data in list(files.items())[1:]:",
        ("tests/test_review.py",),
    ),
    Fault(
        "review-tile-of-the-next-column",
        "digitize/review/tiles.py",
        "column * TILE : (column + 1) * TILE]",
        "(column + 1) * TILE : (column + 2) * TILE]",
        ("tests/test_review.py",),
    ),
    Fault(
        "review-undo-forgets",
        "digitize/review/steps.py",
        "(*self.all[: self.at + 1], wish)",
        "(*self.all[:1], wish)",
        ("tests/test_review.py",),
    ),
    Fault(
        "review-writes-over-files-of-others",
        "digitize/review/work.py",
        "force=output.force, keep=made.keep",
        "force=True, keep=made.keep",
        ("tests/test_review.py",),
    ),
    Fault(
        "review-plate-locked-pockets-go",
        "digitize/review/plate/work.py",
        "at_most(beside(moved, wish.stay), wish.counts)",
        "at_most(moved, wish.counts)",
        ("tests/test_review_plate.py",),
    ),
    Fault(
        "review-plate-rows-in-the-way-of-locked-pockets-stay",
        "digitize/plate/keep.py",
        "if number not in in_the_way",
        "if number not in ()",
        ("tests/test_review_plate.py",),
    ),
    Fault(
        "review-plate-of-an-outline-that-was-changed",
        "digitize/review/plate/work.py",
        "if held is None or held[0] != now:",
        "if held is None:",
        ("tests/test_review_plate.py",),
    ),
    Fault(
        "review-plate-of-another-tab-written-over",
        "digitize/review/plate/work.py",
        'if sent.get("seen") != self._count:',
        "if False:",
        ("tests/test_review_plate.py",),
    ),
    Fault(
        "review-plate-command-lacks-its-table",
        "digitize/review/plate/work.py",
        '        if laid.by_table:\n            words += ["--lay"',
        '        if False:\n            words += ["--lay"',
        ("tests/test_review_plate.py",),
    ),
)
