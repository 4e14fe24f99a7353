"""What is said to people: every finding's sentence, rank and next step, in one table that all rooms use.

In: codes of findings with their figures. Out: findings, and sentences in which like ones of many items stand once.
May import: records.
"""
