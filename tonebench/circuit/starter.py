# SPDX-License-Identifier: GPL-3.0-or-later
"""The starter circuit that ``tonebench new`` writes: small, and every line explained.

A text and nothing else; tests prove that it reads without a remark, and so does each
of the further parts at its end once its lines are no comments any more.
"""

#: The text of the file.
STARTER = """\
# A circuit file: your drawing, written down once. Change anything, then run
#   tonebench check FILE      to find slips and see every node
#   tonebench curves FILE     to see what the knobs do
# For battery circuits only, never for anything on mains power; take the battery out
# before you solder, and try a new unit at a low volume first.

schema = 1                            # the version of this format
title = "Treble cut and level"        # what people read
input = "in"                          # the node where the instrument comes in
output = "out"                        # the node where the sound goes out
# place = "onboard"                   # inside the instrument, not on the floor

[supply]
volts = 9.0                           # one battery; the bias stands at half of it
draw = "1.2m"                         # the current it takes at rest, in amperes

# Knobs run from 0 to 10 and 5 is their centre. "start" is where they stand at first.
[knobs.treble]
label = "Treble"
start = 10

[knobs.level]
label = "Level"
start = 8

# One line a part. The name in front is the designator on your drawing. Nodes are the
# points where parts meet; name them as you like. Three of them are ground for signals:
# "gnd" (battery minus), "bias" (half the supply) and "rail" (battery plus).
# Values are written as on drawings and in quotes: "4k7", "22n", "1M", "0.56H".
[parts]
C1 = { capacitor = "22n", across = ["in", "a"] }       # keeps the bias off the pickup
R1 = { resistor = "1M", across = ["a", "bias"] }       # what the pickup has to drive

# The op-amp stage: R2 and R3 set its gain, 1 + R2/R3 = 2, which is 6 dB.
U1 = { opamp = "generic", plus = "a", minus = "m", out = "b" }
R2 = { resistor = "10k", across = ["b", "m"] }
R3 = { resistor = "10k", across = ["m", "bias"] }

# Treble cut: the lower the knob, the more treble C2 takes to ground. A pot with two
# terminals in use is written with "across"; its resistance rises with the knob.
R4 = { resistor = "4k7", across = ["b", "c"] }
P1 = { pot = "100k", taper = "audio", knob = "treble", across = ["c", "d"] }
C2 = { capacitor = "10n", across = ["d", "gnd"] }

# Level: C3 keeps the bias off the pot. A pot with three terminals has two ends and a
# wiper, which stands at the first end at 0 and at the second at 10.
C3 = { capacitor = "1u", across = ["c", "e"] }
P2 = { pot = "50k", taper = "audio", knob = "level", ends = ["gnd","e"], wiper = "out" }

# More parts: take the "# " away in front of the lines you want, and take out the lines
# above that they replace.

# A coil, and the ohms of its winding:
# L1 = { inductor = "0.56H", across = ["b", "c"], winding = "38" }

# A pot with a taper of its own, for P1: rows of [position, share of the track], here
# all of it in the first half of the turn.
# P1 = { pot = "1M", taper = [[0,0],[5,1],[10,1]], knob = "treble", across = ["c","d"] }

# A "generic" op-amp has gbw = "3M" (hertz), open_loop_gain = "100k", noise = "5n" (V
# per root hertz) and short_of_rail = 1.5 (V); write what your type has. An "ideal" one
# has no noise, no limit to gain or bandwidth, and reaches the rails. For U1:
# U1 = { opamp = "generic", plus = "a", minus = "m", out = "b", short_of_rail = 0.1 }
# U1 = { opamp = "ideal", plus = "a", minus = "m", out = "b" }

# A switch: "on" joins c and d; "off" has no throw, so it is open. Its table is below.
# S1 = { switch = "dark", common = "c", throws = { on = "d" } }

# What a second input needs. Both inputs have tables below, for the line input = "in":
# C4 = { capacitor = "22n", across = ["in2", "a"] }

# Tables come after the last part.
# [switches.dark]
# positions = ["off", "on"]

# [inputs.neck]
# node = "in"
# [inputs.bridge]
# node = "in2"
"""
