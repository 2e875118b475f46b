"""The mechanisms of a rig, one a file, each a plain function over scalars and rigid changes.

Angles come in degrees. On the right side a positive turn is the mirror image of the same turn on the left, so a
mirrored pose has equal channel values: `side` (+1 left, -1 right) puts in the signs, here and nowhere else.
"""
