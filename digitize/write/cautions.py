"""The safety reminders that stand wherever a file is made that can hurt somebody.

They are reminders of common workshop practice, not instructions: the machine's manual, the
material's data sheet, local rules and a competent person decide.
"""

from __future__ import annotations

GOVERNS = "The machine's manual, the material's data sheet, local rules and a competent person come first."
LASER = (
    "Laser: cut only material you have positively identified; never PVC or vinyl (chlorine gas); ABS, thick "
    "polycarbonate, polystyrene foam and foam board are commonly forbidden. Never leave it running alone; interlocks "
    "intact, extraction on, extinguisher at hand, eyewear as the maker says."
)
KNIFE = "Knife: fresh blade, steel rule, cut away from the hand."
MILLING = "Router: clamp the work, eye and ear protection, dust extraction."
FORMER = "Vacuum former: hot parts and hot sheet, gloves; fumes from overheated sheet, extraction on."
PRINT_3D = "3D printer: hot nozzle and bed, fumes and fine dust; let it cool before reaching in."
UV_PRINT = (
    "UV printing: uncured ink irritates and sensitises; the lamp's light, reflected too, harms eyes and skin. "
    "Check the item's height before every run, an item standing proud strikes the head; hands clear of moving parts."
)
OPEN_IN_MM = "Open in millimetres at 100 %. Measure the check bar before cutting: it must be 100.0 mm."
OPEN_IN_INCHES = "Open in inches at 100 %. Measure the check bar before cutting: it must be 100.0 mm (3.937 in)."
