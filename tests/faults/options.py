"""Faults in what reads and checks the options."""

from __future__ import annotations

from .kind import Fault

PARAMETERS, VALUES, SETTINGS = "tests/test_parameters.py", "tests/test_cutting_values.py", "tests/test_settings.py"
WORKSHOP = "tests/test_workshop.py"

FAULTS = (
    Fault(
        "last-of-two-holds",
        "digitize/cli/once.py",
        "if counts[id(one)] < 2 or getattr",
        "if True or getattr",
        ("tests/test_once.py",),
    ),
    Fault(
        "camera-and-flatbed-both",
        "digitize/cli/once.py",
        "if set(names) & set(one.secondary_opts) and",
        "if False and",
        ("tests/test_once.py",),
    ),
    Fault(
        "limits-not-kept",
        "digitize/kinds.py",
        "if not self.low <= number <= self.high:",
        "if number != number:",
        (PARAMETERS,),
    ),
    Fault(
        "nan-is-a-number",
        "digitize/kinds.py",
        "if not self.low <= number <= self.high:",
        "if number < self.low or number > self.high:",
        (PARAMETERS,),
    ),
    Fault(
        "yes-is-a-number",
        "digitize/kinds.py",
        "if isinstance(plain, bool) or not isinstance(plain, numbers.Real):",
        "if not isinstance(plain, numbers.Real):",
        (PARAMETERS,),
    ),
    Fault(
        "text-is-two-numbers",
        "digitize/kinds.py",
        "if not isinstance(plain, Sequence) or isinstance(plain, str | bytes) or len(plain) != 2:",
        "if not isinstance(plain, Sequence) or len(plain) != 2:",
        (PARAMETERS,),
    ),
    Fault(
        "second-number-not-checked",
        "digitize/kinds.py",
        "if not all(self.low <= one <= self.high for one in pair):",
        "if not self.low <= pair[0] <= self.high:",
        (PARAMETERS, SETTINGS),
    ),
    Fault(
        "comma-parts-two-numbers-in-silence",
        "digitize/kinds.py",
        "        self._refuse_two_with_comma(text, name)\n",
        "",
        (PARAMETERS,),
    ),
    Fault(
        "thousands-taken-for-ones", "digitize/kinds.py", "if thousands is not None and", "if False and", (PARAMETERS,)
    ),
    Fault(
        "names-not-known-passed-over",
        "digitize/parameters.py",
        "        if name not in names:\n            raise",
        "        if name not in names:\n            continue\n        if False:\n            raise",
        (PARAMETERS,),
    ),
    Fault(
        "value-of-another-way-taken",
        "digitize/cutting/ways.py",
        "        if _has(way, one):\n            continue",
        "        if True:\n            continue",
        (VALUES, PARAMETERS),
    ),
    Fault(
        "zero-clearance-is-no-pocket",
        "digitize/parameters.py",
        "return None if self.tables or self.group else self.default",
        "return self.default",
        (PARAMETERS, VALUES),
    ),
    Fault(
        "plain-pocket-asks-for-webs",
        "digitize/cutting/ways.py",
        'checks = "" if way is None',
        'checks = "" if False',
        (VALUES,),
    ),
    Fault(
        "usual-lost-when-made-again",
        "digitize/again.py",
        '{**told.result.options, "usual": told.result.usual}',
        "{**told.result.options}",
        (WORKSHOP,),
    ),
    Fault(
        "usual-though-it-was-said",
        "digitize/cli/workshop.py",
        "for name, word in words.items() if name in open_}",
        "for name, word in words.items()}",
        (WORKSHOP,),
    ),
    Fault(
        "usual-of-plates-before-what-is-said",
        "digitize/cli/tables.py",
        "gone = said.union(*(_ASIDE.get(name, ()) for name in said))",
        "gone = set()",
        (WORKSHOP,),
    ),
    Fault(
        "usual-of-plates-beside-a-table-of-places",
        "digitize/cli/tables.py",
        '    "lay": _OF_ROWS |',
        '    "": _OF_ROWS |',
        (WORKSHOP,),
    ),
    Fault(
        "usual-of-plates-not-told",
        "digitize/cli/plate.py",
        "heights=heights, usual=usual)",
        "heights=heights)",
        (WORKSHOP,),
    ),
    Fault(
        "usual-of-plates-though-a-hand-changed-it",
        "digitize/review/plate/form.py",
        "name in _KEYS and start[_KEYS[name]] == words[_KEYS[name]]",
        "name in _KEYS",
        ("tests/test_review_plate.py",),
    ),
    Fault(
        "usual-though-a-card-was-named",
        "digitize/cli/workshop.py",
        "        usual = less(usual, read)",
        "        pass",
        (WORKSHOP,),
    ),
    Fault(
        "usual-though-it-cannot-stand-beside",
        "digitize/cli/workshop.py",
        "    open_ -= stepping_back(",
        "    stepping_back(",
        (f"{WORKSHOP}::test_beside_the_command_line_what_cannot_stand_steps_back",),
    ),
    Fault(
        "usual-though-it-cannot-stand-beside-a-row",
        "digitize/cli/workshop.py",
        "words={**said.words, **unsaid}",
        "words={**said.words}",
        (f"{WORKSHOP}::test_beside_a_row_too_but_nothing_that_was_said_here",),
    ),
    Fault(
        "usual-of-no-command-passed-over",
        "digitize/cli/usual_file.py",
        "            _refuse_strange(folder / FILE, tables)\n",
        "",
        (f"{WORKSHOP}::test_a_table_that_cannot_be_meant_is_refused",),
    ),
    Fault(
        "usual-of-plates-among-those-of-pictures",
        "digitize/cli/tables.py",
        "name in options and name not in _of_pictures()",
        "False",
        (f"{WORKSHOP}::test_a_table_that_cannot_be_meant_is_refused",),
    ),
    Fault(
        "usual-though-a-hand-changed-it",
        "digitize/options.py",
        "return less(self.usual, changed(self.group, set_, self.words))",
        "return self.usual",
        ("tests/test_review.py",),
    ),
    Fault(
        "usual-though-changed-from-a-document",
        "digitize/spoken.py",
        "usual = less(self.usual, changed(Settings, self.words, words))",
        "usual = self.usual",
        (WORKSHOP,),
    ),
    Fault("usual-though-a-row-says-it", "digitize/options.py", "usual=less(self.usual, cells)", "", (WORKSHOP,)),
    Fault(
        "anew-for-where-an-option-was-said",
        "digitize/batch/task.py",
        '        del shape["settings"]["usual"]',
        "        pass",
        (WORKSHOP,),
    ),
)
