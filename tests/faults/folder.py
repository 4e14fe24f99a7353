"""Faults in what the page begins with, keeps aside, and puts down of a folder."""

from .kind import Fault

_BEGIN, _DESK = ("tests/test_review_begin.py",), ("tests/test_desk.py",)

FAULTS = (
    Fault(
        "aside-forgets-after-one-visit",
        "digitize/review/aside.py",
        "if sha256 in self._own:",
        "if True:",
        _BEGIN,
    ),
    Fault("aside-keeps-for-ever", "digitize/review/aside.py", "if changed < since or", "if False or", _BEGIN),
    Fault("aside-counts-nothing", "digitize/review/aside.py", "total += size", "total += 0", _BEGIN),
    Fault(
        "spoken-typical-values-as-said",
        "digitize/spoken.py",
        "if name in fields and name not in typical}",
        "if name in fields}",
        _BEGIN,
    ),
    Fault("spoken-six-digits", "digitize/spoken.py", 'repr(float(number)).removesuffix(".0")', 'f"{number:g}"', _BEGIN),
    Fault(
        "spoken-own-table-lost",
        "digitize/spoken.py",
        "if cutting and _cutting_of(words) != settings.cutting:",
        "if False:",
        _BEGIN,
    ),
    Fault(
        "document-corrections-left",
        "digitize/review/begin.py",
        "Begin(spoken(settings), settings.by_hand, items)",
        "Begin(spoken(settings), None, items)",
        _BEGIN,
    ),
    Fault(
        "decided-of-any-options",
        "digitize/batch/ledger.py",
        "(decision.sha256, decision.wanted) == (row.outcome.sha256, row.wanted)",
        "decision.sha256 == row.outcome.sha256",
        _DESK,
    ),
    Fault(
        "decided-of-any-picture",
        "digitize/batch/drive.py",
        "if not is_known and store.digest",
        "if False and store.digest",
        _DESK,
    ),
    Fault(
        "rejected-files-stay",
        "digitize/batch/desk.py",
        "drop_stale(Path(task.folder), [name",
        "drop_stale(Path(task.folder), [] and [name",
        _DESK,
    ),
    Fault("rejected-made-again", "digitize/batch/drive.py", 'if known.decided == "rejected":', "if False:", _DESK),
    Fault(
        "changed-picture-accepted",
        "digitize/batch/desk.py",
        "if store.digest(str(case.source)) != sha256:",
        "if False:",
        _DESK,
    ),
    Fault(
        "accepted-still-needs-a-person",
        "digitize/batch/row.py",
        'self.decided == "" and self.outcome',
        "self.outcome",
        _DESK,
    ),
    Fault("change-of-words-forgotten", "digitize/batch/decided.py", "if self.words:", "if False:", _DESK),
    Fault(
        "accepted-written-over",
        "digitize/batch/desk.py",
        "if row is None or not self._lies_there",
        "if True or not self._lies_there",
        _DESK,
    ),
    Fault(
        "older-ledger-set-aside",
        "digitize/batch/salvage.py",
        "if table in there or table not in _LATER:",
        "if True:",
        _DESK,
    ),
    Fault(
        "options-not-put-down",
        "digitize/batch/drive.py",
        "                ledger.set_asked(one.key, asked.settings.given())\n                counted",
        "                counted",
        _DESK,
    ),
)
