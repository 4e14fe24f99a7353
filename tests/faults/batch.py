"""Faults in the batch and the command."""

from __future__ import annotations

from .kind import Fault

FAULTS = (
    Fault(
        "memory-a-picture-takes-tenth",
        "digitize/batch/memory.py",
        "PER_PX_BYTES = 16.0",
        "PER_PX_BYTES = 1.6",
        ("tests/test_batch.py::test_need_is_told_from_the_header",),
    ),
    Fault(
        "memory-of-a-worker-forgotten",
        "digitize/batch/memory.py",
        "return BASE_BYTES + int(",
        "return int(",
        (
            "tests/test_batch.py",
            "tests/test_batch_parts.py",
        ),
    ),
    Fault(
        "memory-limit-of-containers-ignored",
        "digitize/batch/memory.py",
        "min([_free_of_system(), *_free_of_groups()])",
        "_free_of_system()",
        (
            "tests/test_batch.py",
            "tests/test_batch_parts.py",
        ),
    ),
    Fault(
        "failed-not-redone-at-more-mpx",
        "digitize/batch/drive.py",
        "and known.max_mpx == batch.max_mpx and",
        "and",
        ("tests/test_batch.py::test_a_picture_too_large_is_done_when_more_is_allowed",),
    ),
    Fault(
        "deleted-result-not-redone",
        "digitize/batch/drive.py",
        "        return same and _are_there(known, batch)",
        "        return same",
        ("tests/test_batch.py::test_what_changed_is_redone_and_nothing_else",),
    ),
    Fault(
        "changed-options-not-redone",
        "digitize/batch/drive.py",
        "same = known.wanted == digest and known.stat",
        "same = known.stat",
        ("tests/test_batch.py::test_what_changed_is_redone_and_nothing_else",),
    ),
    Fault(
        "stale-results-stay",
        "digitize/batch/drive.py",
        "[name for name, _ in old], [name for name, _ in outcome.files])",
        "[], [])",
        ("tests/test_batch.py::test_what_changed_is_redone_and_nothing_else",),
    ),
    Fault(
        "two-folders-mixed",
        "digitize/batch/drive.py",
        "and before != root and",
        "and before == '' and",
        ("tests/test_batch.py::test_two_folders_are_not_mixed",),
    ),
    Fault(
        "attention-is-code-0",
        "digitize/batch/drive.py",
        "return 1 if self.counts.need_person or self.troubles else 0",
        "return 0",
        ("tests/test_batch.py::test_failed_waits_for_retry_or_change",),
    ),
    Fault(
        "worst-last",
        "digitize/batch/advice.py",
        "return *rank, -excess(",
        "return *rank, excess(",
        ("tests/test_batch_parts.py::test_worst_comes_first",),
    ),
    Fault(
        "one-more-try-for-ever",
        "digitize/batch/pool.py",
        "if job.lost > 1:",
        "if job.lost > 3:",
        ("tests/test_batch.py::test_workers_that_end_by_themselves",),
    ),
    Fault(
        "more-at-a-time-than-memory",
        "digitize/batch/pool.py",
        "and taken + job.need <= self.limits.memory_bytes",
        "",
        ("tests/test_batch.py::test_no_more_at_a_time_than_memory_carries",),
    ),
    Fault(
        "capitals-told-apart",
        "digitize/batch/names.py",
        "return place.folder.casefold(), place.stem.casefold()",
        "return place.folder, place.stem",
        ("tests/test_batch_parts.py::test_same_stem_in_one_folder",),
    ),
    Fault(
        "result-named-like-a-picture",
        "digitize/batch/names.py",
        "return any(below + ending in inputs for ending in _WRITTEN)",
        "return False",
        ("tests/test_batch_parts.py::test_results_never_take_the_name_of_a_picture",),
    ),
    Fault(
        "own-results-taken-for-pictures",
        "digitize/batch/find.py",
        "return path.name.endswith(_MAY_BE_OURS) and written_by_digitize(path)",
        "return False",
        ("tests/test_batch_parts.py::test_own_results_are_no_pictures",),
    ),
    Fault(
        "formula-in-a-spreadsheet",
        "digitize/batch/tables.py",
        'return f"\'{text}" if text.startswith(_FORMULA) else text',
        "return text",
        ("tests/test_batch_parts.py::test_no_cell_is_a_formula",),
    ),
    Fault(
        "living-run-s-part-swept",
        "digitize/batch/sweep.py",
        "(not _lives(int(match[1])) or",
        "(True or",
        ("tests/test_batch_parts.py::test_only_parts_of_the_dead_are_swept",),
    ),
    Fault(
        "picture-twice-in-a-list",
        "digitize/batch/lists.py",
        "if one.key in seen:",
        "if False:",
        ("tests/test_batch_parts.py::test_manifest_that_cannot_be_meant",),
    ),
    Fault(
        "key-of-another-picture-s-note",
        "digitize/batch/ledger.py",
        '"DELETE FROM thumb WHERE key = ?"',
        '"DELETE FROM thumb WHERE key > ?"',
        ("tests/test_batch_parts.py::test_ledger_gives_back_what_it_took",),
    ),
    Fault(
        "dpi-of-y-from-x",
        "digitize/cli/table.py",
        "{25.4 / sx:.1f} x {25.4 / sy:.1f} dpi",
        "{25.4 / sx:.1f} x {25.4 / sx:.1f} dpi",
        ("tests/test_table.py::test_the_first_line_says_what_the_scale_rests_on",),
    ),
)
