"""The recipe: from a decoded picture to its outlines. The command, the batch and the page all call it.

In: `Picture`, `Settings`. Out: `Outlined` (`outline.outline_picture`). Only this room joins the stages; nothing here
touches the disk. May import: errors, records, steady, words, settings, reading, card, reference, camera, scanner,
silhouette, edge, fitting, cutting, trust, measure, sound, hand.
"""
