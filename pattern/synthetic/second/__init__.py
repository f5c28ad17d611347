"""A second renderer of test photos, so that the reader is measured on pictures not of its own making.

It draws painted ring gear teeth with their truth and was written from trade knowledge alone, without
sight of the renderer whose pictures the reader learns from. For that it must stay apart: it shares no
code with the rest of `pattern.synthetic` and imports nothing of it, and no network is ever trained,
tuned or chosen on its pictures. What the reader does on them is the fair outside check.

    python -m pattern.synthetic.second --out DIR

Lengths are mm, angles rad unless a name says otherwise. Gear frame: the axis is z, the teeth look to
+z, the pitch apex is the origin. Sides are 0 for drive (convex) and 1 for coast (concave).
"""
