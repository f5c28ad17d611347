"""The physics of the pair: what marks a ring gear and pinion leave, and how moves change them.

From the data of a set to a mark, each step one module:

    defaults     what a shop does not know of a set, and how far it may be off
    lengthwise   the lengthwise tooth curve: cutter circle or extended epicycloid
    pitch_cones  spiral bevel and hypoid pitch cones (ISO 23509)
    apex_line    hypoid pitch cones on one line with the cutter (ISO 23509, Method 2)
    proportions  tooth heights, thickness, face and root cones (ISO 23509)
    blank        all of that in one record; `blank_from_axle`
    sweep        the surface that the ring gear's blades leave, in closed form
    flank        points and normals of the tooth sides; `ring_flank`
    kinematics   both gears' motion, moves, the equation of meshing
    lattice      a tooth side on a lattice with its conjugate pinion, cached by set
    easeoff      how much the pinion is relieved against the conjugate one
    separation   how close each point comes to the moved, relieved pinion
    mesh_cycle   which point carries at each roll, all neighbouring pairs considered
    marks        centre, extents, tilt, area, edges of a mark
    backlash     from free angle to what a dial reads
    evaluate     all of it for one state, or for many draws at once

What is made of it: `predict` (what the shop would see), `response` (rates with their spread), `prior`
(draws of sets), `crowning` (ease-off behind a measured mark), `drawing` (SVG), `published` (printed rules
as signs), `sign_sweep` and `tables` (RESPONSE.md beside this file).

How contact is found. The ring gear's tooth side is the surface its cutter leaves. The pinion's is the one
that keeps the ratio with it at the drawing position, found in closed form from the equation of meshing,
less an ease-off. Under moves each ring gear point is followed through the roll to where it comes closest
to the pinion; the smallest angular gap of all pairs at a roll says where the pinion rests, and a point is
marked when its normal gap ever falls under the film.

What it leaves out. Load: no tooth, shaft or housing bends. Pitch errors and runout. The generating roll
and machine settings of a real pinion: relief is a quadratic surface, so a bridged profile or a waisted
mark cannot come out of it. Fillets: profile 0 is one clearance above the root. The ends of the pinion's
face, taken as wide enough. The tilt of a hand-braked set in its bearings.
"""
