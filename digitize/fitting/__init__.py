"""Numerics shared by the curve and the pocket stage: lines and arcs, their fit, their distance to a ring."""
