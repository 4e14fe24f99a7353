"""A few scans of the accuracy benchmark as ordinary tests; all of them: ``python tests/bench/accuracy.py``."""

from tests.bench.accuracy import TARGETS_UM, measure
from tests.sweeps import sweep


@sweep("seed", [7, 10], [7])  # light on black; 80/42
def test_outline_of_a_rendered_scan_lies_within_the_targets(seed):
    row = measure(seed, hard=False, bound=False)
    assert row.ours is not None, row.note
    score = row.ours
    assert abs(score.bias_um) <= TARGETS_UM["bias"]
    assert score.rms_um <= TARGETS_UM["rms"]
    assert score.p95_um <= TARGETS_UM["p95"]
    assert score.max_um <= TARGETS_UM["max"]
    assert row.stated_um >= score.p95_um
    for error, stated in row.sizes:
        assert abs(error) <= stated
