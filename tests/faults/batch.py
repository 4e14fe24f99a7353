"""Faults in the batch and the command."""

from __future__ import annotations

from .kind import Fault

BATCH = "tests/test_batch.py"
PARTS = "tests/test_batch_parts.py"
TABLE = "tests/test_table.py"

FAULTS = (
    Fault(
        "memory-a-picture-takes-tenth",
        "digitize/batch/memory.py",
        "PER_PX_BYTES = 16.0",
        "PER_PX_BYTES = 1.6",
        (BATCH, PARTS),
    ),
    Fault(
        "memory-of-a-worker-forgotten",
        "digitize/batch/memory.py",
        "return BASE_BYTES + int(",
        "return int(",
        (BATCH, PARTS),
    ),
    Fault(
        "memory-limit-of-containers-ignored",
        "digitize/batch/memory.py",
        "min([_free_of_system(), *_free_of_groups()])",
        "_free_of_system()",
        (BATCH, PARTS),
    ),
    Fault(
        "failed-not-redone-at-more-mpx",
        "digitize/batch/drive.py",
        "and known.max_mpx == batch.max_mpx and",
        "and",
        (f"{BATCH}::test_a_picture_too_large_is_done_when_more_is_allowed",),
    ),
    Fault(
        "deleted-result-not-redone",
        "digitize/batch/drive.py",
        "        return same and _are_there(known, batch)",
        "        return same",
        (f"{BATCH}::test_what_changed_is_redone_and_nothing_else",),
    ),
    Fault(
        "changed-options-not-redone",
        "digitize/batch/drive.py",
        "same = known.wanted == digest and known.stat",
        "same = known.stat",
        (f"{BATCH}::test_what_changed_is_redone_and_nothing_else",),
    ),
    Fault(
        "stale-results-stay",
        "digitize/batch/drive.py",
        "[name for name, _ in old], [name for name, _ in outcome.files])",
        "[], [])",
        (BATCH,),
    ),
    Fault(
        "two-folders-mixed",
        "digitize/batch/drive.py",
        "and before != root and",
        "and before == '' and",
        (f"{BATCH}::test_two_folders_are_not_mixed",),
    ),
    Fault(
        "attention-is-code-0",
        "digitize/batch/drive.py",
        "return 1 if self.counts.need_person or self.troubles else 0",
        "return 0",
        (BATCH,),
    ),
    Fault("worst-last", "digitize/batch/advice.py", "return *rank, -excess(", "return *rank, excess(", (PARTS,)),
    Fault(
        "one-more-try-for-ever",
        "digitize/batch/pool.py",
        "if job.lost > 1:",
        "if job.lost > 3:",
        (f"{BATCH}::test_workers_that_end_by_themselves",),
    ),
    Fault(
        "more-at-a-time-than-memory",
        "digitize/batch/pool.py",
        "and taken + job.need <= self.limits.memory_bytes",
        "",
        (f"{BATCH}::test_no_more_at_a_time_than_memory_carries",),
    ),
    Fault(
        "capitals-told-apart",
        "digitize/batch/names.py",
        "return place.folder.casefold(), place.stem.casefold()",
        "return place.folder, place.stem",
        (PARTS,),
    ),
    Fault(
        "result-named-like-a-picture",
        "digitize/batch/names.py",
        "return any(below + ending in inputs for ending in _WRITTEN)",
        "return False",
        (PARTS,),
    ),
    Fault(
        "own-results-taken-for-pictures",
        "digitize/batch/find.py",
        "return path.name.endswith(_MAY_BE_OURS) and written_by_digitize(path)",
        "return False",
        (PARTS,),
    ),
    Fault(
        "formula-in-a-spreadsheet",
        "digitize/batch/tables.py",
        """return f"'{text}" if text.startswith(_FORMULA) else text""",
        "return text",
        (PARTS,),
    ),
    Fault("living-run-s-part-swept", "digitize/batch/sweep.py", "(not _lives(int(match[1])) or", "(True or", (PARTS,)),
    Fault("picture-twice-in-a-list", "digitize/batch/lists.py", "if one.key in seen:", "if False:", (PARTS,)),
    Fault(
        "key-of-another-picture-s-note",
        "digitize/batch/ledger.py",
        '"DELETE FROM thumb WHERE key = ?"',
        '"DELETE FROM thumb WHERE key > ?"',
        (PARTS,),
    ),
    Fault(
        "dpi-of-y-from-x",
        "digitize/cli/table.py",
        "{25.4 / sx:.1f} x {25.4 / sy:.1f} dpi",
        "{25.4 / sx:.1f} x {25.4 / sx:.1f} dpi",
        (TABLE,),
    ),
)
