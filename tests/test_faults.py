"""The planted faults fit the code they are planted in, so that `python -m tests.mutate` can be run at any time."""

from collections import Counter

from tests.faults import FAULTS
from tests.mutate import ROOT, unfit


def test_every_fault_can_be_planted():
    assert {fault.name: said for fault in FAULTS if (said := unfit(fault, ROOT))} == {}


def test_names_are_told_apart_and_there_are_enough():
    assert Counter(fault.name for fault in FAULTS).most_common(1)[0][1] == 1
    assert len(FAULTS) >= 60
